//! How long a link waits before it is tried again, and whether it comes and goes.

use std::collections::VecDeque;
use std::time::Duration;

const FIRST_MS: u64 = 100;
const LONGEST_MS: u64 = 5_000;
const ABSENT_MS: u64 = 2_000;
const HELD_US: u64 = 5_000_000;

/// A link that went so many times within a minute comes and goes.
const OFTEN: usize = 5;
const MINUTE_US: u64 = 60_000_000;

/// The wait before the next attempt to open: 0.1 s, doubled up to 5 s. A link that held for five
/// seconds starts afresh; one that is only absent is looked for every 2 s at least. So the worst
/// of plugs comes and goes about twelve times a minute, and each time counts: what it says in
/// between is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BackOff {
    wait_ms: u64,
    /// When it went, by the boot-time clock; the last few times.
    went_us: VecDeque<u64>,
}

impl Default for BackOff {
    fn default() -> BackOff {
        BackOff { wait_ms: FIRST_MS, went_us: VecDeque::new() }
    }
}

impl BackOff {
    /// The wait before the next attempt.
    pub fn next(&mut self, absent: bool) -> Duration {
        let wait = if absent { self.wait_ms.min(ABSENT_MS) } else { self.wait_ms };
        self.wait_ms = (self.wait_ms * 2).min(LONGEST_MS);
        Duration::from_millis(wait)
    }

    /// A link was open for so long, microseconds.
    pub fn held(&mut self, open_us: u64) {
        if open_us >= HELD_US {
            self.wait_ms = FIRST_MS;
        }
    }

    /// A link that was open went at this moment.
    pub fn went(&mut self, now_us: u64) {
        if self.went_us.len() == OFTEN {
            self.went_us.pop_front();
        }
        self.went_us.push_back(now_us);
    }

    /// It went five times within the minute before this moment.
    #[must_use]
    pub fn flaps(&self, now_us: u64) -> bool {
        let often = self.went_us.len() == OFTEN;
        often && self.went_us.iter().all(|went| now_us.saturating_sub(*went) < MINUTE_US)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wait_doubles_to_five_seconds() {
        let mut back_off = BackOff::default();
        let waits: Vec<u128> = (0..8).map(|_| back_off.next(false).as_millis()).collect();
        assert_eq!(waits, [100, 200, 400, 800, 1600, 3200, 5000, 5000]);
    }

    #[test]
    fn a_link_that_flaps_keeps_its_wait_and_one_that_held_starts_afresh() {
        let mut back_off = BackOff::default();
        back_off.next(false);
        back_off.held(HELD_US - 1);
        assert_eq!(back_off.next(false).as_millis(), 200);
        back_off.held(HELD_US);
        assert_eq!(back_off.next(false).as_millis(), 100);
    }

    #[test]
    fn what_is_absent_is_looked_for_every_two_seconds() {
        let mut back_off = BackOff { wait_ms: LONGEST_MS, ..BackOff::default() };
        assert_eq!(back_off.next(true).as_millis(), 2000);
    }

    /// A contact that opens and closes, for an hour of virtual time, however long it holds.
    #[test]
    fn the_worst_of_plugs_comes_and_goes_a_dozen_times_a_minute() {
        for hold_us in [50_000, 1_000_000, HELD_US - 1, HELD_US] {
            let (mut back_off, mut now_us, mut times) = (BackOff::default(), 0, 0);
            while now_us < 60 * MINUTE_US {
                now_us += hold_us;
                back_off.held(hold_us);
                back_off.went(now_us);
                times += u64::from(now_us > MINUTE_US);
                now_us += u64::try_from(back_off.next(false).as_micros()).unwrap();
            }
            assert!(times <= 59 * 12, "{hold_us}: {times} times");
            assert!(back_off.flaps(now_us), "{hold_us}");
        }
    }

    #[test]
    fn a_plug_that_was_moved_four_times_does_not_flap_and_five_do_for_a_minute() {
        let mut back_off = BackOff::default();
        for us in [500_000, 1_000_000, 1_500_000, 2_000_000] {
            back_off.went(us);
            assert!(!back_off.flaps(us));
        }
        back_off.went(3_000_000);
        assert!(back_off.flaps(3_000_000));
        assert!(back_off.flaps(60_499_999));
        assert!(!back_off.flaps(60_500_000));
        back_off.went(61_100_000);
        assert!(!back_off.flaps(61_100_000), "the second of the five is a minute old");
        back_off.went(61_200_000);
        assert!(back_off.flaps(61_200_000));
    }
}
