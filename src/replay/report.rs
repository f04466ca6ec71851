//! What a replay found.

use serde::Serialize;

/// What a replay found.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct Report {
    /// Name of the book.
    pub name: String,
    /// Lines that were read.
    pub lines: usize,
    /// Readings that came out of the drivers.
    pub readings: usize,
    /// Program, judgement or drivers that differ from the record's.
    pub versions: Vec<Difference>,
    /// What differs, in the order of the book.
    pub differences: Vec<Difference>,
}

/// One difference.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Difference {
    /// Line of the book; `null` where the book ended before it.
    pub seq: Option<u64>,
    /// `fact read out offset raw tap plan`, or the name of what has a version.
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
