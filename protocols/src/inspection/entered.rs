//! What a person types is entered twice, each time from what shows it: one slip of a finger gives
//! no value. Two that differ both count for nothing, and nobody is told which figures they were:
//! whoever saw them would enter one of them again.

use super::evidence::ENTER_AGAIN;
use super::record::Line;
use crate::fact::ProveFact;

/// Which of two entries one is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Entry {
    /// It is no check yet.
    First,
    /// The same as the first one, by the same person.
    Again,
    /// Another than the first one: begin anew.
    Differs,
}

impl Entry {
    /// After the newest one of its kind.
    pub(super) fn after(
        last: Option<&Line<ProveFact>>,
        by: Option<&str>,
        is_same: impl Fn(&ProveFact) -> bool,
    ) -> Entry {
        let waits = |line: &&Line<ProveFact>| {
            line.fact.why.as_deref() == Some(ENTER_AGAIN) && !line.fact.differs
        };
        match last.filter(waits).filter(|line| line.by.as_deref() == by) {
            None => Entry::First,
            Some(line) if is_same(&line.fact) => Entry::Again,
            Some(_) => Entry::Differs,
        }
    }

    /// Why it is no check; `fault` says what is wrong with what was entered twice.
    pub(super) fn why(self, fault: impl FnOnce() -> Option<&'static str>) -> Option<&'static str> {
        if self == Entry::Again { fault() } else { Some(ENTER_AGAIN) }
    }
}
