//! The one place of the benchmarks that reads a clock.
#![allow(clippy::disallowed_methods, reason = "a benchmark measures time")]
#![allow(dead_code, reason = "each benchmark uses a part of it")]

use std::time::Instant;

/// This moment.
pub(crate) fn now() -> Instant {
    Instant::now()
}

/// Seconds since then.
pub(crate) fn seconds_since(began: Instant) -> f64 {
    began.elapsed().as_secs_f64()
}

/// Lets another process work, before it is looked at again.
pub(crate) fn pause_ms(ms: u64) {
    std::thread::sleep(std::time::Duration::from_millis(ms));
}
