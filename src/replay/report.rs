//! What a replay found.

use serde::Serialize;
use tapline_protocols::fact::Judged;

/// So many differences of one book are listed; the others are counted.
pub const DIFFERENCES_MAX: usize = 1000;

/// What a replay found.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct Report {
    /// Name of the book.
    pub name: String,
    /// Asset, of an inspection.
    pub asset: Option<String>,
    /// Lines that were read.
    pub lines: usize,
    /// Readings that came out of the drivers.
    pub readings: usize,
    /// Program, judgement or drivers that differ from the record's.
    pub versions: Vec<Difference>,
    /// What differs, in the order of the book; at most [`DIFFERENCES_MAX`].
    pub differences: Vec<Difference>,
    /// Differences beyond those.
    pub unlisted: usize,
    /// Verdicts in force that would be another word now, or that come within their doubt.
    pub verdicts: Vec<Verdict>,
    /// Verdicts in force that lie within their doubt of the limit now.
    pub doubtful: usize,
}

/// A verdict in force as it was and as it would be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Verdict {
    /// Its line.
    pub seq: u64,
    /// Step of the plan.
    pub step: String,
    /// Another word now.
    pub changes: bool,
    /// The value lies within its doubt of the limit now.
    pub within_doubt: bool,
    /// As the book has it.
    pub recorded: Judged,
    /// As it would be; `null` where none is due.
    pub replayed: Option<Judged>,
}

/// One difference.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Difference {
    /// Line of the book; `null` where the book ended before it.
    pub seq: Option<u64>,
    /// `fact read out offset raw tap plan driver`, or the name of what has a version.
    pub what: String,
    /// What came out now, JSON.
    pub replayed: Option<String>,
    /// What the book says, JSON.
    pub recorded: Option<String>,
}

impl Report {
    /// 0 the same, 1 it differs under equal versions, 3 it differs under others.
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        match (self.differences.is_empty(), self.versions.is_empty()) {
            (true, _) => 0,
            (false, true) => 1,
            (false, false) => 3,
        }
    }

    pub(super) fn compare<T: PartialEq + Serialize>(
        &mut self,
        seq: u64,
        what: &str,
        replayed: Option<&T>,
        recorded: Option<&T>,
    ) {
        if replayed != recorded {
            self.differs(Some(seq), what, replayed, recorded);
        }
    }

    pub(super) fn differs<T: Serialize>(
        &mut self,
        seq: Option<u64>,
        what: &str,
        replayed: Option<&T>,
        recorded: Option<&T>,
    ) {
        let text = |value: Option<&T>| value.and_then(|value| serde_json::to_string(value).ok());
        if self.differences.len() == DIFFERENCES_MAX {
            self.unlisted += 1;
            return;
        }
        let (replayed, recorded) = (text(replayed), text(recorded));
        self.differences.push(Difference { seq, what: what.into(), replayed, recorded });
    }

    pub(super) fn version(&mut self, seq: u64, what: &str, recorded: &str, now: &str) {
        if recorded != now {
            let (replayed, recorded) = (Some(now.to_string()), Some(recorded.to_string()));
            let difference = Difference { seq: Some(seq), what: what.into(), replayed, recorded };
            self.versions.push(difference);
        }
    }
}
