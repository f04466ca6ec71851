//! What is summed up at once: a day, a week or a month of the calendar.

use alloc::format;
use alloc::string::String;

use super::Day;

const WEEK: u32 = 7;

/// A day (`2026-11-27`), a week as ISO 8601 counts them (`2026-W48`) or a month (`2026-11`).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Period {
    kind: Kind,
    first: Day,
}

/// How long it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A day.
    Day,
    /// Monday to Sunday.
    Week,
    /// A month.
    Month,
}

impl Period {
    /// Reads its name. `None` for what is none.
    #[must_use]
    pub fn parse(text: &str) -> Option<Period> {
        let (kind, first) = match text.len() {
            10 => (Kind::Day, Day::parse(text)?),
            8 => (Kind::Week, monday(text)?),
            7 => (Kind::Month, Day::parse(&format!("{text}-01"))?),
            _ => return None,
        };
        let found = Period { kind, first };
        // A year has 52 weeks or 53, and a name is written in one way.
        (found.name() == text).then_some(found)
    }

    /// The month of a day.
    #[must_use]
    pub fn month_of(day: Day) -> Period {
        let first = Day::parse(&format!("{}-01", &day.text()[..7]));
        Period { kind: Kind::Month, first: first.unwrap_or(day) }
    }

    /// The week of a day; of the last days of 2999, the last that is whole.
    #[must_use]
    pub fn week_of(day: Day) -> Period {
        Period { kind: Kind::Week, first: earlier(day, day.number() % WEEK) }
    }

    /// As it is read.
    #[must_use]
    pub fn name(self) -> String {
        match self.kind {
            Kind::Day => self.first.text(),
            Kind::Month => self.first.text()[..7].into(),
            Kind::Week => {
                // A week is of the year that has its Thursday, and counted there.
                let thursday = later(self.first, 3).text();
                let year = &thursday[..4];
                let new_year = Day::parse(&format!("{year}-01-01")).unwrap_or(self.first);
                let week = (later(self.first, 3).number() - new_year.number()) / WEEK + 1;
                format!("{year}-W{week:02}")
            }
        }
    }

    /// How long it is.
    #[must_use]
    pub fn kind(self) -> Kind {
        self.kind
    }

    /// Its first day.
    #[must_use]
    pub fn first(self) -> Day {
        self.first
    }

    /// The first day after it, or the last day there is.
    #[must_use]
    pub fn next(self) -> Day {
        match self.kind {
            Kind::Day => later(self.first, 1),
            Kind::Week => later(self.first, WEEK),
            Kind::Month => self.first.plus_months(1).unwrap_or(self.first.month_end()),
        }
    }
}

/// The Monday of `2026-W48`.
fn monday(text: &str) -> Option<Day> {
    let (year, week) = text.split_once("-W")?;
    let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    let week = week.parse::<u32>().ok().filter(|n| digits(week) && (1..=53).contains(n))?;
    // The fourth of January is in the first week.
    let fourth = Day::parse(&format!("{year}-01-04"))?;
    let first = earlier(fourth, fourth.number() % WEEK);
    first.plus_days((week - 1) * WEEK)
}

/// 1900-01-01, the first day there is, was a Monday.
fn earlier(day: Day, days: u32) -> Day {
    let first = Day::parse("1900-01-01").unwrap_or(day);
    first.plus_days(day.number().saturating_sub(days)).unwrap_or(day)
}

/// So many days later, or the last day there is.
fn later(day: Day, days: u32) -> Day {
    day.plus_days(days).or_else(|| Day::parse("2999-12-31")).unwrap_or(day)
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;
    use alloc::vec::Vec;

    fn day(text: &str) -> Day {
        Day::parse(text).unwrap()
    }

    /// Source: Python's `datetime.date.isocalendar` and `fromisocalendar`, by which
    /// `tests/outside/isoweeks.py` made the table: each year's first Monday and the number of its
    /// weeks.
    #[test]
    fn weeks_are_those_of_iso_8601() {
        let table = include_str!("isoweeks.txt");
        let lines: Vec<&str> = table.lines().filter(|line| !line.starts_with('#')).collect();
        assert_eq!(lines.len(), 400, "one turn of the calendar");
        for line in lines {
            let [year, first, weeks] = line.split(' ').collect::<Vec<_>>()[..] else { panic!() };
            let weeks: u32 = weeks.parse().unwrap();
            let mut monday = day(first);
            for week in 1..=weeks {
                let name = format!("{year}-W{week:02}");
                let period = Period::parse(&name).unwrap_or_else(|| panic!("{name}"));
                assert_eq!((period.first(), period.name()), (monday, name.clone()));
                assert_eq!(period.next(), monday.plus_days(7).unwrap());
                for at in 0..7 {
                    let of = Period::week_of(monday.plus_days(at).unwrap());
                    assert_eq!(of.name(), name);
                }
                monday = monday.plus_days(7).unwrap();
            }
            assert_eq!(Period::parse(&format!("{year}-W{:02}", weeks + 1)), None, "{year}");
        }
    }

    #[test]
    fn a_period_is_read_as_it_is_written() {
        for (text, first, next) in [
            ("2026-11-27", "2026-11-27", "2026-11-28"),
            ("2026-W48", "2026-11-23", "2026-11-30"),
            // ISO 8601:2004, 3.2.2, from memory: 2005-01-01 is a day of 2004-W53.
            ("2004-W53", "2004-12-27", "2005-01-03"),
            ("2026-12", "2026-12-01", "2027-01-01"),
            ("2024-02", "2024-02-01", "2024-03-01"),
        ] {
            let period = Period::parse(text).unwrap();
            assert_eq!((period.name(), period.first(), period.next()), {
                (text.to_string(), day(first), day(next))
            });
        }
        let none = ["2026", "2026-13", "2026-W00", "2026-W54", "2026-W5", "2026-w48", "2026-W+4"];
        for text in none.iter().chain(&["2026-02-30", "1899-W01", "2026-W4é", "2026-11-2"]) {
            assert_eq!(Period::parse(text), None, "{text}");
        }
        assert_eq!(Period::month_of(day("2026-11-27")).name(), "2026-11");
    }
}
