//! What the driver remembers between two inputs.

use alloc::vec::Vec;

use super::message::Query;
use super::take::List;
use crate::reading::{Function, Now};

/// Pause after an unanswered error queue, microseconds; doubled each time up to the second.
pub(super) const RETRY_US: (u64, u64) = (3_000_000, 12_000_000);

/// Longest time between two readings that a meter sends by itself, microseconds: after a longer
/// one it may have been switched off and on.
pub(super) const AUTO_US: u64 = 3_000_000;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Phase {
    /// Nothing to do: no query, no deadline.
    Idle,
    /// A query is in flight.
    Asked { query: Query, at: Now, until: Now },
    /// The next message may go out then.
    Pause { until: Now },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stage {
    /// To be configured.
    New,
    /// Configured; how it answers is still to be said.
    Shapeless,
    /// Configured; the error queue says whether that was understood.
    Sent,
    /// Understood; `CONF?` is to confirm it.
    Accepted,
    /// Confirmed; which elements its lists have is to be asked.
    Confirmed,
    /// `CONF?` stayed unanswered; the error queue says why.
    Unanswered,
    /// Readings may be asked for.
    Ready,
    /// The instrument does not take it.
    Failed,
}

/// How far the wanted function is configured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Setup {
    pub(super) function: Function,
    pub(super) stage: Stage,
    pub(super) attempts: u8,
    /// It was told; else it is only asked whether it still is what it was.
    pub(super) told: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Step {
    Ask(Query),
    Configure(Function),
    /// Says what the profile says first.
    Begin,
    /// Says how the answers shall look.
    Shape,
    /// Aborts a reading that stayed out.
    Clear,
    /// Lets the meter go.
    Leave,
}

/// What the driver knows of its instrument; all forgotten on opening.
#[derive(Debug, Clone)]
pub(super) struct Known {
    /// The stream was opened.
    pub(super) open: bool,
    /// The first look at the instrument is not over.
    pub(super) opening: bool,
    /// Asked since opening.
    pub(super) asked_identity: bool,
    /// Answered, and nothing since then makes that doubtful.
    pub(super) identified: bool,
    /// Something was late or out of place: the error queue has to answer before anything else.
    /// Holds the number of entries taken.
    pub(super) doubt: Option<u8>,
    /// The error queue held something since the last configuration.
    pub(super) errors: bool,
    /// It was told what the profile says first.
    pub(super) begun: bool,
    /// Whether it was switched on has to be asked before it is configured.
    pub(super) status_due: bool,
    /// When it last sent a reading by itself.
    pub(super) sent_itself: Option<Now>,
    /// It knows `CONF?`.
    pub(super) answers_conf: bool,
    /// Function of the last `READ?`.
    pub(super) last_read: Option<Function>,
    /// Where the reading stands in its lists; `None`: it sends none.
    pub(super) element: Option<List>,
    /// The function that it was last told since opening.
    pub(super) told: Option<Function>,
    /// Another number came while the question for one was in flight: whose answer is whose?
    pub(super) spoiled: bool,
    /// The reading that waits was said twice.
    pub(super) again: bool,
    /// A reading stayed out.
    pub(super) stuck: bool,
    /// Form of the last value since the function was configured.
    pub(super) form: Option<Vec<u8>>,
    /// Pause after the next unanswered error queue, microseconds.
    pub(super) retry_us: u64,
}

impl Known {
    pub(super) fn nothing(open: bool) -> Known {
        Known {
            open,
            opening: open,
            asked_identity: false,
            identified: false,
            doubt: None,
            errors: false,
            begun: false,
            status_due: true,
            sent_itself: None,
            answers_conf: true,
            last_read: None,
            element: None,
            told: None,
            spoiled: false,
            again: false,
            stuck: false,
            form: None,
            retry_us: RETRY_US.0,
        }
    }
}
