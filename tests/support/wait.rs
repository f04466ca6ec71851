//! The only place in the tests that waits for a time: nothing is asserted about how long it was.

use std::thread::sleep;
use std::time::Duration;

/// Between two looks.
const LOOK: Duration = Duration::from_millis(5);
/// Looks in a second.
const LOOKS: u32 = 200;
/// A generous cap against hangs, seconds.
const PATIENCE_S: u32 = 30;

/// Looks until there is something to see.
#[track_caller]
pub(crate) fn until<T>(what: &str, look: impl FnMut() -> Option<T>) -> T {
    let Some(found) = within(PATIENCE_S * LOOKS, look) else {
        panic!("waited {PATIENCE_S} s in vain: {what}")
    };
    found
}

/// Looks until a condition holds.
#[track_caller]
pub(crate) fn until_true(what: &str, mut look: impl FnMut() -> bool) {
    until(what, || look().then_some(()));
}

/// Looks so many times, 5 ms apart.
#[allow(clippy::disallowed_methods, reason = "another process is waited for by looking at it")]
pub(crate) fn within<T>(looks: u32, mut look: impl FnMut() -> Option<T>) -> Option<T> {
    for _ in 0..looks {
        if let Some(found) = look() {
            return Some(found);
        }
        sleep(LOOK);
    }
    None
}
