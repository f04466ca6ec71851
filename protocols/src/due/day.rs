//! A day of the Gregorian calendar, and arithmetic with it.

use alloc::format;
use alloc::string::String;

use crate::read::is_date;

/// A day from 1900-01-01 to 2999-12-31. Sorts as the days do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Day {
    year: u16,
    /// 1 to 12.
    month: u8,
    /// 1 to 31.
    day: u8,
}

impl Day {
    /// Reads `2027-03-31`. `None` for what is no day of the calendar.
    #[must_use]
    pub fn parse(text: &str) -> Option<Day> {
        let year = text.get(..4)?.parse().ok()?;
        let part = |from: usize, to: usize| text.get(from..to)?.parse().ok();
        let whole = Day { year, month: part(5, 7)?, day: part(8, 10)? };
        is_date(text).then_some(whole)
    }

    /// As it was read.
    #[must_use]
    pub fn text(self) -> String {
        format!("{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }

    /// Days since 1900-01-01, which is 0.
    #[must_use]
    pub fn number(self) -> u32 {
        let leaps = |years: u32| years / 4 - years / 100 + years / 400;
        let year = u32::from(self.year);
        let before = (year - 1900) * 365 + leaps(year - 1) - leaps(1899);
        let months = (1..self.month).map(|month| u32::from(length(self.year, month)));
        before + months.sum::<u32>() + u32::from(self.day) - 1
    }

    /// So many days later. `None` beyond 2999.
    #[must_use]
    pub fn plus_days(self, days: u32) -> Option<Day> {
        let mut rest = self.number().checked_add(days)?;
        let (mut year, mut month) = (1900, 1);
        while rest >= year_length(year) {
            rest -= year_length(year);
            year += 1;
            if year > 2999 {
                return None;
            }
        }
        while rest >= u32::from(length(year, month)) {
            rest -= u32::from(length(year, month));
            month += 1;
        }
        Some(Day { year, month, day: u8::try_from(rest + 1).ok()? })
    }

    /// So many months later; a day that the month does not have becomes its last. `None` beyond
    /// 2999.
    #[must_use]
    pub fn plus_months(self, months: u32) -> Option<Day> {
        let first = u32::from(self.year) * 12 + u32::from(self.month) - 1;
        let all = first.checked_add(months)?;
        let year = u16::try_from(all / 12).ok().filter(|year| *year <= 2999)?;
        let month = u8::try_from(all % 12 + 1).ok()?;
        Some(Day { year, month, day: self.day.min(length(year, month)) })
    }

    /// The last day of its month.
    #[must_use]
    pub fn month_end(self) -> Day {
        Day { day: length(self.year, self.month), ..self }
    }
}

fn year_length(year: u16) -> u32 {
    365 + u32::from(length(year, 2) == 29)
}

fn length(year: u16, month: u8) -> u8 {
    let leap = year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
    match month {
        2 if leap => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn day(text: &str) -> Day {
        Day::parse(text).unwrap()
    }

    /// Day numbers by GNU date: `(date -u -d DAY +%s) / 86400 + 25567`.
    #[test]
    fn days_are_counted() {
        for (text, number) in [
            ("1900-01-01", 0),
            ("1970-01-01", 25_567),
            ("2000-02-29", 36_583),
            ("2026-11-26", 46_350),
            ("2999-12-31", 401_766),
        ] {
            assert_eq!(day(text).number(), number, "{text}");
        }
    }

    #[test]
    fn what_is_no_day_is_none() {
        for text in ["2026-02-29", "2026-1-01", "", "2026-01-01x", "1899-12-31", "ä026-01-0"] {
            assert_eq!(Day::parse(text), None, "{text}");
        }
        assert_eq!(day("2999-12-31").plus_days(1), None);
        assert_eq!(day("2999-12-31").plus_months(1), None);
    }

    proptest! {
        #[test]
        fn days_and_their_numbers_go_together(number in 0..401_767_u32, more in 0..2_000_u32) {
            let found = day("1900-01-01").plus_days(number).unwrap();
            prop_assert_eq!(found.number(), number);
            prop_assert_eq!(Day::parse(&found.text()), Some(found));
            if let Some(later) = found.plus_days(more) {
                prop_assert_eq!(later.number(), number + more);
                prop_assert!(found <= later);
            }
        }

        #[test]
        fn a_month_never_leads_into_the_month_after_next(number in 0..400_000_u32) {
            let from = day("1900-01-01").plus_days(number).unwrap();
            let to = from.plus_months(1).unwrap();
            prop_assert!((28..=31).contains(&(to.number() - from.number())));
            prop_assert!(to <= to.month_end());
        }
    }
}
