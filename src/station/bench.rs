//! What a bench remembers between two inspections.

use std::collections::BTreeMap;

use tapline_drivers::scan::Join;
use tapline_protocols::fact::{NullFact, ProveFact};
use tapline_protocols::inspection::CheckRun;

use super::carry::Hung;
use super::checkout::Asked;
use super::event::{Answer, Problem, Request};
use super::stranger::Stranger;

/// A fact of an earlier inspection that the next one may repeat.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Kept<T> {
    /// Inspection it was made in.
    pub book: String,
    /// Line.
    pub seq: u64,
    /// When, microseconds of the boot-time clock.
    pub at_us: u64,
    /// What.
    pub fact: T,
}

/// What the inspection before left on a bench.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Left {
    /// Nulls, while nothing was plugged anew.
    pub nulls: Vec<Kept<NullFact>>,
    /// Supply check of the day.
    pub supply: Option<Kept<ProveFact>>,
    /// What hung on the bench.
    pub hung: Hung,
    /// After a restart: what the instruments on these links said they are, and have to say again.
    pub told: BTreeMap<String, String>,
}

/// What a code asked for and only a badge lets happen: a signature, a value that is set aside.
#[derive(Debug, Clone)]
pub(super) struct Pending {
    /// When the code was scanned, microseconds of the boot-time clock.
    pub at_us: u64,
    /// What is done when the badge follows.
    pub request: Request,
}

/// A bench. All of it is lost at a restart; what the inspection before left is read from its book.
#[derive(Debug, Clone, Default)]
pub(super) struct Bench {
    /// Asset that was scanned, with the line of the scan.
    pub selected: Option<(String, u64)>,
    /// A code that nothing here knows, on its way into the register.
    pub stranger: Option<Stranger>,
    /// The first part of a label whose second may be typed next.
    pub join: Join,
    /// An instrument that another bench had: was it carried here?
    pub asked: Option<Asked>,
    /// Inspection whose links these are now.
    pub active: Option<String>,
    /// Last line before something was plugged anew, or taken up again.
    pub relinked: u64,
    /// What the next inspection may repeat.
    pub left: Left,
    /// A bench check in progress.
    pub check: Option<CheckRun>,
    /// A code that needs a badge: that of who is logged in must be the next code.
    pub pending: Option<Pending>,
    /// When somebody did something here last, microseconds of the boot-time clock.
    pub acted_us: Option<u64>,
    /// What came of the last scan of its own scanner.
    pub heard: Option<Result<Answer, Problem>>,
}
