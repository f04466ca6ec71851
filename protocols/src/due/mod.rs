//! When an asset is due next.
//!
//! Two meanings of "end of the month" are kept apart. A day that the month does not have becomes
//! its last (29 February + a year is 28 February): that is arithmetic, and always so. A site may
//! also ask for the end of the month in which the day falls ([`Snap::MonthEnd`]), as Germany's
//! ordinance on operating medical products counts its two years (section 12, in force since
//! 2025-02-20, excerpt seen).

pub mod day;
pub mod period;

use serde::{Deserialize, Serialize};

pub use day::Day;
pub use period::Period;

/// How the next day is found: `due = { every = "P2Y", anchor = "last_done", snap = "month_end" }`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DueRule {
    /// Time between inspections.
    #[serde(with = "every")]
    pub every: Every,
    /// What it is counted from.
    pub anchor: Anchor,
    /// What the day is moved to.
    pub snap: Snap,
}

/// How a site counts, whatever the interval of an asset.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Counting {
    /// What the time is counted from.
    pub anchor: Anchor,
    /// What the day is moved to.
    pub snap: Snap,
}

/// Time between inspections, ISO 8601 with one unit: `P12M`, `P2Y`, `P90D`, `P26W`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Every {
    /// Months, above 0.
    Months(u32),
    /// Days, above 0.
    Days(u32),
}

/// What the time is counted from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Anchor {
    /// The day of the last inspection.
    #[default]
    LastDone,
    /// The day on which it was due: early and late days do not move the grid.
    LastDue,
}

/// What the day is moved to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Snap {
    /// It stays.
    #[default]
    Day,
    /// To the end of its month.
    MonthEnd,
}

/// What an inspection was, as far as it moves the date.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Done {
    /// The day.
    pub day: Day,
    /// It was begun as `scheduled` or `acceptance`, not after a repair or for another reason.
    pub scheduled: bool,
    /// Its plan was gone through to the end: nothing left out, nothing undecided.
    pub complete: bool,
    /// Its outcome is a pass, conditional or not.
    pub passed: bool,
}

impl Every {
    /// Reads `P12M`, `P2Y`, `P90D`, `P26W`. `None` for anything else and for nothing.
    #[must_use]
    pub fn parse(text: &str) -> Option<Every> {
        let body = text.strip_prefix('P').filter(|body| body.is_ascii())?;
        let (number, unit) = body.split_at_checked(body.len().checked_sub(1)?)?;
        let digits = (1..=4).contains(&number.len()) && number.bytes().all(|b| b.is_ascii_digit());
        let count: u32 = number.parse().ok().filter(|n| digits && *n > 0)?;
        match unit {
            "Y" => Some(Every::Months(count * 12)),
            "M" => Some(Every::Months(count)),
            "W" => Some(Every::Days(count * 7)),
            "D" => Some(Every::Days(count)),
            _ => None,
        }
    }

    /// The day that comes so long after a day; `None` beyond 2999.
    #[must_use]
    pub fn after(self, day: Day) -> Option<Day> {
        match self {
            Every::Months(months) => day.plus_months(months),
            Every::Days(days) => day.plus_days(days),
        }
    }
}

impl Counting {
    /// The rule of an asset with this interval.
    #[must_use]
    pub fn every(self, every: Every) -> DueRule {
        DueRule { every, anchor: self.anchor, snap: self.snap }
    }

    /// As every station counted before it could be told: from the inspection, to the day.
    #[must_use]
    pub fn is_usual(&self) -> bool {
        *self == Counting::default()
    }
}

impl DueRule {
    /// The next day, after an inspection on `done` that was due on `due`.
    ///
    /// Counted from when it was due, the day is the first of that grid after the inspection, but
    /// an inspection a whole interval early leaves the day that there was: two in one week do not
    /// count for two intervals. Without a day on which it was due, it is counted from the
    /// inspection. `None` beyond 2999.
    #[must_use]
    pub fn next(&self, done: Day, due: Option<Day>) -> Option<Day> {
        let mut day = match (self.anchor, due) {
            (Anchor::LastDue, Some(due)) if self.every.after(done)? <= due => {
                return Some(self.snapped(due));
            }
            (Anchor::LastDue, Some(due)) => due,
            (Anchor::LastDone, _) | (Anchor::LastDue, None) => done,
        };
        loop {
            day = self.every.after(day)?;
            let snapped = self.snapped(day);
            if snapped > done {
                return Some(snapped);
            }
        }
    }

    fn snapped(&self, day: Day) -> Day {
        match self.snap {
            Snap::Day => day,
            Snap::MonthEnd => day.month_end(),
        }
    }

    /// The day after an inspection: it moves only with a complete scheduled plan that passed.
    /// Whatever else was done, repairs and their retests too, leaves the day that there was.
    #[must_use]
    pub fn after(&self, done: &Done, due: Option<Day>) -> Option<Day> {
        match done.scheduled && done.complete && done.passed {
            true => self.next(done.day, due),
            false => due,
        }
    }
}

mod every {
    use alloc::format;
    use alloc::string::String;

    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serializer};

    use super::Every;

    pub(super) fn serialize<S: Serializer>(every: &Every, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&match every {
            Every::Months(months) => format!("P{months}M"),
            Every::Days(days) => format!("P{days}D"),
        })
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Every, D::Error> {
        let text = String::deserialize(from)?;
        let fault = || D::Error::custom(format!("`{text}` is no duration such as P12M, P2Y, P90D"));
        Every::parse(&text).ok_or_else(fault)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::String;
    use proptest::prelude::*;

    fn rule(every: &str, anchor: Anchor, snap: Snap) -> DueRule {
        DueRule { every: Every::parse(every).unwrap(), anchor, snap }
    }

    fn day(text: &str) -> Day {
        Day::parse(text).unwrap()
    }

    fn next(rule: DueRule, done: &str, due: Option<&str>) -> String {
        rule.next(day(done), due.map(day)).unwrap().text()
    }

    /// Section 12 of Germany's ordinance on operating medical products, in force since 2025-02-20
    /// (excerpt seen): two years to the end of the month of the last check. The other rows are
    /// the calendar.
    #[test]
    fn both_meanings_of_the_end_of_a_month() {
        use Anchor::{LastDone, LastDue};
        use Snap::MonthEnd;
        let day = Snap::Day;
        assert_eq!(next(rule("P2Y", LastDone, MonthEnd), "2024-05-06", None), "2026-05-31");
        assert_eq!(next(rule("P2Y", LastDone, day), "2024-05-06", None), "2026-05-06");
        assert_eq!(next(rule("P1Y", LastDone, day), "2024-02-29", None), "2025-02-28");
        let month = rule("P1M", LastDue, day);
        assert_eq!(next(month, "2024-01-31", Some("2024-01-31")), "2024-02-29");
        assert_eq!(next(month, "2024-02-29", Some("2024-02-29")), "2024-03-29");
        let month = rule("P1M", LastDue, MonthEnd);
        assert_eq!(next(month, "2024-01-31", Some("2024-01-31")), "2024-02-29");
        assert_eq!(next(month, "2024-02-29", Some("2024-02-29")), "2024-03-31");
        assert_eq!(next(rule("P26W", LastDone, day), "2026-01-01", None), "2026-07-02");
        assert_eq!(next(rule("P90D", LastDone, MonthEnd), "2026-01-01", None), "2026-04-30");
    }

    #[test]
    fn early_and_late_days_do_not_move_the_grid() {
        let yearly = rule("P1Y", Anchor::LastDue, Snap::Day);
        assert_eq!(next(yearly, "2026-05-20", Some("2026-06-15")), "2027-06-15");
        assert_eq!(next(yearly, "2026-07-01", Some("2026-06-15")), "2027-06-15");
        assert_eq!(next(yearly, "2028-07-01", Some("2026-06-15")), "2029-06-15");
        assert_eq!(next(yearly, "2026-07-01", None), "2027-07-01");
        assert_eq!(next(yearly, "2026-05-21", Some("2027-06-15")), "2027-06-15");
        assert_eq!(next(yearly, "2026-06-16", Some("2027-06-15")), "2028-06-15");
        assert_eq!(yearly.next(day("2999-07-01"), None), None);
    }

    #[test]
    fn only_a_complete_scheduled_pass_moves_the_date() {
        let yearly = rule("P1Y", Anchor::LastDone, Snap::Day);
        let whole = Done { day: day("2026-05-20"), scheduled: true, complete: true, passed: true };
        let old = Some(day("2026-06-15"));
        assert_eq!(yearly.after(&whole, old), Some(day("2027-05-20")));
        for less in [
            Done { scheduled: false, ..whole },
            Done { complete: false, ..whole },
            Done { passed: false, ..whole },
        ] {
            assert_eq!(yearly.after(&less, old), old);
            assert_eq!(yearly.after(&less, None), None);
        }
    }

    #[test]
    fn a_rule_is_written_as_it_is_read() {
        let text = "every = \"P24M\"\nanchor = \"last_done\"\nsnap = \"month_end\"\n";
        let read: DueRule = toml::from_str(text).unwrap();
        assert_eq!(read, rule("P2Y", Anchor::LastDone, Snap::MonthEnd));
        assert_eq!(serde_json::to_value(read).unwrap()["every"], "P24M");
        for wrong in ["P", "P0M", "2Y", "P1.5Y", "PT1M", "P12345D", "P1X", "P+1Y", "PäY"] {
            assert_eq!(Every::parse(wrong), None, "{wrong}");
        }
    }

    proptest! {
        #[test]
        fn the_next_day_lies_after_the_inspection(
            done in 0..390_000_u32, due in 0..390_000_u32, every in 1..60_u32,
            months: bool, end: bool, from_due: bool,
        ) {
            let first = day("1900-01-01");
            let rule = DueRule {
                every: if months { Every::Months(every) } else { Every::Days(every) },
                anchor: if from_due { Anchor::LastDue } else { Anchor::LastDone },
                snap: if end { Snap::MonthEnd } else { Snap::Day },
            };
            let done = first.plus_days(done).unwrap();
            let found = rule.next(done, first.plus_days(due)).unwrap();
            prop_assert!(found > done);
            prop_assert!(!end || found == found.month_end());
        }
    }
}
