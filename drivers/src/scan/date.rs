//! Days as codes write them. Two digits of a year leave its century open until somebody says which
//! year it is now: there is no clock here.

use alloc::format;
use alloc::string::String;

/// A year as a code writes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Year {
    /// All of it.
    Full(u16),
    /// Its last two digits, 0 to 99.
    Short(u8),
}

impl Year {
    /// The whole year. Of two digits it is the one nearest to `now`: more than 50 years ahead is
    /// the century before, 50 or more behind the next one (GS1 General Specifications 7.12, from
    /// memory).
    #[must_use]
    pub fn full(self, now: u16) -> u16 {
        match self {
            Year::Full(year) => year,
            Year::Short(short) => {
                let century = now / 100 * 100;
                let ahead = i32::from(short) - i32::from(now % 100);
                match ahead {
                    51.. => (century + u16::from(short)).saturating_sub(100),
                    ..=-50 => century + 100 + u16::from(short),
                    _ => century + u16::from(short),
                }
            }
        }
    }

    /// Whether 29 February exists. Of two digits every fourth year has one: the only full century
    /// within reach of this one is 2000.
    fn leaps(self) -> bool {
        match self {
            Year::Full(year) => year % 4 == 0 && (year % 100 != 0 || year % 400 == 0),
            Year::Short(short) => short % 4 == 0,
        }
    }
}

/// A day, maybe with its hour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Day {
    /// Its year.
    pub year: Year,
    /// 1 to 12.
    pub month: u8,
    /// 1 to 31.
    pub day: u8,
    /// 0 to 23.
    pub hour: Option<u8>,
}

const DAYS: [u8; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];

fn days_of(year: Year, month: u8) -> Option<u8> {
    let days = *DAYS.get(usize::from(month.checked_sub(1)?))?;
    Some(if month == 2 && year.leaps() { 29 } else { days })
}

impl Day {
    /// A day of a month; day 0 is the last one of the month. `None` where the calendar has no such.
    #[must_use]
    pub fn of_month(year: Year, month: u8, day: u8) -> Option<Day> {
        let last = days_of(year, month)?;
        let day = if day == 0 { last } else { day };
        (day <= last).then_some(Day { year, month, day, hour: None })
    }

    /// Day `number` of a year, 1 to 366.
    #[must_use]
    pub fn of_year(year: Year, number: u16) -> Option<Day> {
        let mut left = number.checked_sub(1)?;
        for month in 1..=12 {
            let days = days_of(year, month)?;
            if left < u16::from(days) {
                let day = u8::try_from(left).ok()? + 1;
                return Some(Day { year, month, day, hour: None });
            }
            left -= u16::from(days);
        }
        None
    }

    /// The same day at an hour, 0 to 23.
    #[must_use]
    pub fn at_hour(self, hour: u8) -> Option<Day> {
        (hour < 24).then_some(Day { hour: Some(hour), ..self })
    }

    /// ISO 8601, as seen from a year: `2027-11-20`, with its hour `2020-02-02T16`.
    #[must_use]
    pub fn text(&self, now: u16) -> String {
        let day = format!("{:04}-{:02}-{:02}", self.year.full(now), self.month, self.day);
        match self.hour {
            Some(hour) => format!("{day}T{hour:02}"),
            None => day,
        }
    }
}

/// A number of digits only, at most four of them.
#[must_use]
pub(super) fn number(digits: &str) -> Option<u16> {
    let plain = !digits.is_empty() && digits.len() <= 4;
    if plain && digits.bytes().all(|b| b.is_ascii_digit()) { digits.parse().ok() } else { None }
}

/// The same of two digits and less.
pub(super) fn small(digits: &str) -> Option<u8> {
    number(digits).and_then(|number| u8::try_from(number).ok())
}

/// `YYMMDD`; day 00 is the last of the month.
#[must_use]
pub(super) fn yymmdd(text: &str) -> Option<Day> {
    let (yy, mm, dd) = (text.get(..2)?, text.get(2..4)?, text.get(4..6)?);
    let day = Day::of_month(Year::Short(small(yy)?), small(mm)?, small(dd)?);
    day.filter(|_| text.len() == 6)
}

/// `YYYYMMDD`; day 00 is the last of the month.
#[must_use]
pub(super) fn yyyymmdd(text: &str) -> Option<Day> {
    let (year, mm, dd) = (text.get(..4)?, text.get(4..6)?, text.get(6..8)?);
    let day = Day::of_month(Year::Full(number(year)?), small(mm)?, small(dd)?);
    day.filter(|_| text.len() == 8)
}

#[cfg(test)]
mod tests {
    use super::*;

    // GS1 General Specifications 7.12, from memory: the window is 49 years back and 50 ahead.
    #[test]
    fn two_digits_mean_the_nearest_year() {
        for (short, now, full) in [
            (27, 2026, 2027),
            (76, 2026, 2076),
            (77, 2026, 1977),
            (0, 2026, 2000),
            (26, 2026, 2026),
        ] {
            assert_eq!(Year::Short(short).full(now), full, "{short} in {now}");
        }
        assert_eq!(Year::Short(9).full(2060), 2109);
        assert_eq!(Year::Short(10).full(2060), 2110);
        assert_eq!(Year::Short(11).full(2060), 2011);
        assert_eq!(Year::Short(51).full(2000), 1951);
        assert_eq!(Year::Full(1999).full(2026), 1999);
    }

    #[test]
    fn days_of_the_calendar_and_no_others() {
        let text = |day: Option<Day>| day.map(|day| day.text(2026));
        assert_eq!(text(yymmdd("150119")).as_deref(), Some("2015-01-19"));
        assert_eq!(text(yymmdd("240200")).as_deref(), Some("2024-02-29"));
        assert_eq!(text(yymmdd("230229")), None);
        assert_eq!(text(yymmdd("110000")), None);
        assert_eq!(text(yymmdd("111332")), None);
        assert_eq!(text(yyyymmdd("20111212")).as_deref(), Some("2011-12-12"));
        assert_eq!(text(yyyymmdd("19000229")), None);
        assert_eq!(text(Day::of_year(Year::Short(20), 15)).as_deref(), Some("2020-01-15"));
        assert_eq!(text(Day::of_year(Year::Full(2014), 32)).as_deref(), Some("2014-02-01"));
        assert_eq!(text(Day::of_year(Year::Full(2023), 366)), None);
        assert_eq!(text(Day::of_year(Year::Full(2024), 366)).as_deref(), Some("2024-12-31"));
        assert_eq!(Day::of_year(Year::Full(2024), 0), None);
        let hour = yymmdd("200202").and_then(|day| day.at_hour(16));
        assert_eq!(text(hour).as_deref(), Some("2020-02-02T16"));
        assert_eq!(yymmdd("200202").and_then(|day| day.at_hour(24)), None);
    }
}
