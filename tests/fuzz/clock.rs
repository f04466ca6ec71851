//! How long a hunt may take when it is told so in minutes. No rule rests on it.
#![allow(clippy::disallowed_methods, reason = "a long hunt is bounded by time")]

use std::time::{Duration, Instant};

/// Counts down, or never ends.
pub(crate) struct Watch(Option<Instant>);

impl Watch {
    pub(crate) fn never() -> Watch {
        Watch(None)
    }

    pub(crate) fn minutes(minutes: f64) -> Watch {
        Watch(Some(Instant::now() + Duration::from_secs_f64(60.0 * minutes)))
    }

    pub(crate) fn over(&self) -> bool {
        self.0.is_some_and(|end| Instant::now() >= end)
    }
}
