//! What a summary tells of a day, a week or a month, counted elsewhere.

use serde::{Deserialize, Serialize};

use crate::moment::Moment;
use crate::report::Site;

/// The inspections of a period.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Summary {
    /// Who inspects.
    pub site: Site,
    /// Its name: `2026-11`, `2026-W48`, `2026-11-27`.
    pub period: String,
    /// `day week month`.
    pub kind: String,
    /// Its first day.
    pub first: String,
    /// Its last day.
    pub last: String,
    /// What was due before this day is overdue: the day after its end, or today while it lasts.
    pub as_of: String,
    /// It lasts yet.
    pub open: bool,
    /// Days after the due day on which an inspection is in time yet.
    pub grace: u32,
    /// When it was counted.
    pub counted: Option<Moment>,
    /// Version of the program.
    pub program: String,
    /// `on_time location yield first_time_pass repeat_failure`.
    pub shares: Vec<(String, Share)>,
    /// Minutes worked on an inspection.
    pub minutes: Minutes,
    /// What came of inspections.
    pub outcomes: Outcomes,
    /// The same, by day.
    pub days: Vec<(String, Outcomes)>,
    /// By the first part of the location; empty where none is known.
    pub places: Vec<Part>,
    /// By risk, `high medium low` or empty.
    pub risks: Vec<Part>,
    /// By operator: values set aside, and those that count all the same.
    pub set_aside: Vec<Aside>,
    /// Due and not inspected in time: all of them, or the first.
    pub missing: Vec<Missing>,
    /// How many are missing.
    pub missing_all: u64,
    /// Sealed inspections of any time that count for nothing, since their book is damaged.
    pub damaged: u64,
}

/// A count of a count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Share {
    /// Numerator.
    pub of: u64,
    /// Denominator.
    pub all: u64,
}

/// Minutes with one decimal; none without an inspection.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Minutes {
    /// Half of them took no longer.
    pub median: Option<String>,
    /// Nine of ten took no longer.
    pub p90: Option<String>,
    /// How many were signed.
    pub inspections: u64,
}

/// How many inspections came to what.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Outcomes {
    /// Passed.
    pub pass: u64,
    /// Passed within the guard band.
    pub conditional_pass: u64,
    /// Failed within the guard band.
    pub conditional_fail: u64,
    /// Failed.
    pub fail: u64,
    /// Signed without a verdict.
    pub undecided: u64,
    /// Ended without a signature.
    pub ended: u64,
}

/// A place or a risk.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Part {
    /// Its name.
    pub name: String,
    /// Inspected in time, of those that were due.
    pub on_time: Share,
    /// Overdue at the end, of all with a date.
    pub overdue: Share,
    /// What came of inspections.
    pub outcomes: Outcomes,
}

/// Values that somebody set aside.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Aside {
    /// Operator; empty where the record does not say.
    pub by: String,
    /// How many.
    pub values: u64,
    /// Of them those that count all the same.
    pub in_force: u64,
}

/// An asset that was due and not inspected in time.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Missing {
    /// Its number.
    pub asset: String,
    /// What it is.
    pub what: String,
    /// Where it was kept.
    pub place: String,
    /// `high medium low` or empty.
    pub risk: String,
    /// When it was due.
    pub due: String,
    /// The day of the period on which it was inspected too late.
    pub late: Option<String>,
    /// What came of looking for it, a code of `ended`.
    pub visit: Option<String>,
}

impl Share {
    /// Percent with one decimal, rounded half up; none of nothing.
    #[must_use]
    pub fn percent(self) -> Option<String> {
        let tenths = (self.of * 2000 + self.all).checked_div(self.all * 2)?;
        Some(format!("{}.{}", tenths / 10, tenths % 10))
    }

    pub(super) fn plus(self, other: Share) -> Share {
        Share { of: self.of + other.of, all: self.all + other.all }
    }
}

impl Outcomes {
    /// As they are named, from good to bad.
    #[must_use]
    pub fn named(&self) -> [(&'static str, u64); 6] {
        [
            ("pass", self.pass),
            ("conditional_pass", self.conditional_pass),
            ("conditional_fail", self.conditional_fail),
            ("fail", self.fail),
            ("undecided", self.undecided),
            ("ended", self.ended),
        ]
    }

    /// Passed, failed, undecided, ended: the guard band with what it belongs to.
    #[must_use]
    pub fn four(&self) -> [u64; 4] {
        [
            self.pass + self.conditional_pass,
            self.fail + self.conditional_fail,
            self.undecided,
            self.ended,
        ]
    }

    /// All of them.
    #[must_use]
    pub fn all(&self) -> u64 {
        self.four().iter().sum()
    }

    pub(super) fn plus(self, other: Outcomes) -> Outcomes {
        Outcomes {
            pass: self.pass + other.pass,
            conditional_pass: self.conditional_pass + other.conditional_pass,
            conditional_fail: self.conditional_fail + other.conditional_fail,
            fail: self.fail + other.fail,
            undecided: self.undecided + other.undecided,
            ended: self.ended + other.ended,
        }
    }
}

impl Part {
    /// Parts added up.
    pub(super) fn sum<'a>(name: String, parts: impl Iterator<Item = &'a Part>) -> Part {
        let first = Part { name, ..Part::default() };
        parts.fold(first, |sum, one| Part {
            on_time: sum.on_time.plus(one.on_time),
            overdue: sum.overdue.plus(one.overdue),
            outcomes: sum.outcomes.plus(one.outcomes),
            name: sum.name,
        })
    }
}
