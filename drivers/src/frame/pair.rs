//! When a frame without a checksum is believed: when another says the same.

use super::Shown;
use crate::reading::Now;

/// When a frame is believed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pair {
    /// At once: it has a checksum.
    Checked,
    /// When it says the same as the frame before, which began at most this long before it.
    Equal {
        /// Microseconds from the beginning of one to the beginning of the next.
        within_us: u64,
    },
    /// The same, and each conversion is sent twice: a third frame begins a pair of its own, so
    /// that a conversion is one value.
    Twice {
        /// Microseconds from the beginning of one to the beginning of its copy.
        within_us: u64,
    },
}

/// The rule and the frame that waits for an equal one. Frames are compared by what is read of
/// them: a bar graph may differ.
#[derive(Debug)]
pub struct Pairing {
    rule: Pair,
    before: Option<(Shown, Now)>,
}

impl Pairing {
    /// Nothing waits.
    #[must_use]
    pub fn new(rule: Pair) -> Pairing {
        Pairing { rule, before: None }
    }

    /// Why a frame that began at `at` is not believed, if so.
    pub fn doubt(&mut self, at: Now, shown: &Shown) -> Option<&'static str> {
        let (within, once) = match self.rule {
            Pair::Checked => return None,
            Pair::Equal { within_us } => (within_us, false),
            Pair::Twice { within_us } => (within_us, true),
        };
        let before = self.before.take();
        let paired = before.is_some_and(|(was, then)| was == *shown && at.0 <= then.0 + within);
        if !(paired && once) {
            self.before = Some((shown.clone(), at));
        }
        (!paired).then_some("unpaired")
    }

    /// Something else came in between: the next frame waits for one of its own.
    pub fn broken(&mut self) {
        self.before = None;
    }
}
