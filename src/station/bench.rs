//! What a bench remembers between two inspections.

use tapline_protocols::fact::{NullFact, ProveFact};

use super::event::{Answer, Problem};
use crate::clock::Stamp;

/// A fact of an earlier inspection that the next one may repeat.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Kept<T> {
    /// Inspection it was made in.
    pub book: String,
    /// Line.
    pub seq: u64,
    /// When.
    pub at: Stamp,
    /// What.
    pub fact: T,
}

/// A bench. All of it is lost at a restart; what must not be lost is in a book.
#[derive(Debug, Clone, Default)]
pub(super) struct Bench {
    /// Asset that was scanned, with the line of the scan.
    pub selected: Option<(String, u64)>,
    /// Inspection whose links these are now.
    pub active: Option<String>,
    /// Nulls, while nothing was plugged anew.
    pub nulls: Vec<Kept<NullFact>>,
    /// Supply check of the day.
    pub supply: Option<Kept<ProveFact>>,
    /// What came of the last scan of its own scanner.
    pub heard: Option<Result<Answer, Problem>>,
}
