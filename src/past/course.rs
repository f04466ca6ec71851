//! How the date of an asset moves, whoever tells what happened to it: the books or the index.

use tapline_protocols::due::{Counting, Day, Done, Every};
use tapline_protocols::fact::Word;

/// The date of an asset on its way through what happened to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Course {
    /// The date that the register names.
    named: Option<Day>,
    /// The day on which it is due.
    pub(crate) due: Option<Day>,
}

impl Course {
    /// A date that the register names anew is what somebody decided.
    pub(crate) fn register(&mut self, named: Option<Day>) {
        if named != self.named && named.is_some() {
            self.due = named;
        }
        self.named = named;
    }

    /// An inspection was signed, while the register had this interval and the site counted so.
    pub(crate) fn inspect(&mut self, every: Option<Every>, counting: Counting, done: &Done) {
        if let Some(every) = every {
            self.due = counting.every(every).after(done, self.due);
        }
    }

    /// Why there is no date, or how it stands to the day; a code of the words.
    pub(crate) fn state(self, has_interval: bool, inspected: bool, today: Day) -> &'static str {
        match (self.due, has_interval, inspected) {
            (Some(due), ..) if due < today => "overdue",
            (Some(_), ..) => "due",
            (None, false, _) => "no_interval",
            (None, true, false) => "never",
            (None, true, true) => "not_passed",
        }
    }
}

/// What a signed inspection was, as far as it moves the date.
pub(crate) fn done(day: Day, reason: &str, by_its_plan: bool, outcome: Word) -> Done {
    Done {
        day,
        scheduled: is_scheduled(reason),
        complete: by_its_plan && outcome != Word::Undecided,
        passed: matches!(outcome, Word::Pass | Word::ConditionalPass),
    }
}

/// It was begun because it was due, or to take the asset into use.
pub(crate) fn is_scheduled(reason: &str) -> bool {
    matches!(reason, "scheduled" | "acceptance")
}
