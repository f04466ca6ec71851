//! How long a link waits before it is tried again, and when it counts again.

use std::collections::VecDeque;
use std::time::Duration;

const FIRST_MS: u64 = 100;
const LONGEST_MS: u64 = 5_000;
const ABSENT_MS: u64 = 2_000;
const HELD_US: u64 = 5_000_000;

/// So many times a link may go within a minute, each told; after that it flaps.
const OFTEN: usize = 5;
const MINUTE_US: u64 = 60_000_000;

/// The wait before the next attempt to open: 0.1 s, doubled up to 5 s. A link that held for five
/// seconds starts afresh; one that is only absent is looked for every 2 s at least.
///
/// A link that went five times within a minute flaps: from then on it counts as open only when it
/// held until a minute after it last went, and it flaps until it counted for a minute. So it comes
/// and goes at most once a minute for whoever watches, while the log has it all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BackOff {
    wait_ms: u64,
    /// When it went, by the boot-time clock; the last minute of it.
    went_us: VecDeque<u64>,
    flaps: bool,
}

impl Default for BackOff {
    fn default() -> BackOff {
        BackOff { wait_ms: FIRST_MS, went_us: VecDeque::new(), flaps: false }
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
        if open_us >= MINUTE_US {
            self.flaps = false;
            self.went_us.clear();
        }
    }

    /// A link that counted as open went at this moment. `true`: it flaps now.
    pub fn went(&mut self, now_us: u64) -> bool {
        self.went_us.retain(|went| now_us.saturating_sub(*went) < MINUTE_US);
        if self.went_us.len() == OFTEN {
            self.went_us.pop_front();
        }
        self.went_us.push_back(now_us);
        self.flaps |= self.went_us.len() == OFTEN;
        self.flaps
    }

    /// How long a link that opens at this moment must hold before it counts: nothing, unless it
    /// flaps.
    #[must_use]
    pub fn probation(&self, now_us: u64) -> Duration {
        match self.went_us.back() {
            Some(last) if self.flaps => {
                Duration::from_micros((last + MINUTE_US).saturating_sub(now_us))
            }
            _ => Duration::ZERO,
        }
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

    /// A contact that opens and closes twenty times a second, for an hour of virtual time.
    #[test]
    fn a_link_that_flaps_is_told_once_a_minute() {
        let (mut back_off, mut now_us, mut told) = (BackOff::default(), 0, Vec::new());
        while now_us < 3_600_000_000 {
            let hold = u64::try_from(back_off.probation(now_us).as_micros()).unwrap();
            // It is there for 50 ms, then it is gone.
            if hold < 50_000 {
                told.push(now_us);
                now_us += 50_000;
                back_off.went(now_us);
            } else {
                now_us += 50_000;
            }
            back_off.held(50_000);
            now_us += u64::try_from(back_off.next(false).as_micros()).unwrap();
        }
        for minute in 1..60 {
            let within = |us: &&u64| **us / MINUTE_US == minute;
            let count = told.iter().filter(within).count();
            assert!(count <= 1, "minute {minute}: told {count} times");
        }
        assert!((OFTEN..=OFTEN + 60).contains(&told.len()), "{told:?}");
    }

    #[test]
    fn a_plug_that_was_moved_four_times_counts_at_once_and_a_repaired_one_within_a_minute() {
        let mut back_off = BackOff::default();
        for us in [500_000, 1_000_000, 1_500_000, 2_000_000] {
            assert!(!back_off.went(us));
        }
        assert_eq!(back_off.probation(2_100_000), Duration::ZERO);
        assert!(back_off.went(3_000_000));
        assert_eq!(back_off.probation(3_100_000), Duration::from_micros(59_900_000));
        assert_eq!(back_off.probation(63_000_000), Duration::ZERO);
        back_off.held(MINUTE_US);
        assert!(!back_off.went(130_000_000), "after a minute it is the first time again");
    }
}
