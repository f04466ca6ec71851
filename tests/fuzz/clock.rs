//! How long a hunt may take when it is told so in minutes. No rule rests on it.

use rustix::time::{ClockId, clock_gettime};

/// Counts down the time that this thread has a core, or never ends: ten minutes are ten minutes
/// of hunting also on a machine that has other work.
pub(crate) struct Watch(Option<f64>);

impl Watch {
    pub(crate) fn never() -> Watch {
        Watch(None)
    }

    pub(crate) fn minutes(minutes: f64) -> Watch {
        Watch(Some(worked_s() + 60.0 * minutes))
    }

    pub(crate) fn over(&self) -> bool {
        self.0.is_some_and(|end| worked_s() >= end)
    }
}

#[allow(clippy::cast_precision_loss, reason = "seconds of a process")]
fn worked_s() -> f64 {
    let time = clock_gettime(ClockId::ThreadCPUTime);
    time.tv_sec as f64 + time.tv_nsec as f64 / 1e9
}
