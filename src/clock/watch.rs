//! Notices what befalls the clocks: a wall clock that was set, a machine that slept.

use super::{Clocks, Stamp};

/// A difference above this is told, microseconds. Below lies what reading clocks one after the
/// other can make.
const TOLD_US_MIN: i128 = 500_000;

/// Compares the clocks.
///
/// The kernel slews wall clock and boot-time clock alike (clock_gettime(2)), so their difference
/// changes when the wall clock is set and never else. It is held against the last that was told:
/// many small steps are told when they come to half a second.
#[derive(Debug, Clone, Copy)]
pub struct Watch {
    wall_less_boot: i128,
    boot_less_awake: i128,
}

/// What befell the clocks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Change {
    /// When it was noticed.
    pub at: Stamp,
    /// By how many microseconds the wall clock was set; 0: it was not.
    pub step_us: i64,
    /// For how many microseconds the machine slept; 0: it did not.
    pub slept_us: u64,
}

impl Watch {
    /// Begins to watch.
    #[must_use]
    pub fn since(clocks: Clocks) -> Watch {
        Watch {
            wall_less_boot: wall_less_boot(clocks.at),
            boot_less_awake: boot_less_awake(clocks),
        }
    }

    /// What happened since it was told last; `None`: nothing of note.
    pub fn check(&mut self, clocks: Clocks) -> Option<Change> {
        let step = wall_less_boot(clocks.at) - self.wall_less_boot;
        let slept = boot_less_awake(clocks) - self.boot_less_awake;
        let (stepped, woke) = (TOLD_US_MIN < step.abs(), TOLD_US_MIN < slept);
        if !stepped && !woke {
            return None;
        }
        let mut change = Change { at: clocks.at, step_us: 0, slept_us: 0 };
        if stepped {
            self.wall_less_boot += step;
            change.step_us = clamped(step);
        }
        if woke {
            self.boot_less_awake += slept;
            change.slept_us = u64::try_from(slept).unwrap_or(u64::MAX);
        }
        Some(change)
    }
}

/// By how many microseconds the wall clock was set between two moments of one boot; 0 where that
/// is too little to be told.
#[must_use]
pub fn step_us(from: Stamp, to: Stamp) -> i64 {
    let step = wall_less_boot(to) - wall_less_boot(from);
    if TOLD_US_MIN < step.abs() { clamped(step) } else { 0 }
}

fn clamped(step: i128) -> i64 {
    i64::try_from(step).unwrap_or(if step < 0 { i64::MIN } else { i64::MAX })
}

fn wall_less_boot(at: Stamp) -> i128 {
    i128::from(at.wall_us) - i128::from(at.boot_us)
}

fn boot_less_awake(clocks: Clocks) -> i128 {
    i128::from(clocks.at.boot_us) - i128::from(clocks.awake_us)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clocks(wall_us: i64, boot_us: u64, awake_us: u64) -> Clocks {
        Clocks { at: Stamp { wall_us, boot_us }, awake_us }
    }

    fn steps(told: Option<Change>) -> Option<(i64, u64)> {
        told.map(|change| (change.step_us, change.slept_us))
    }

    #[test]
    fn a_set_wall_clock_is_told_once() {
        let mut watch = Watch::since(clocks(0, 0, 0));
        assert_eq!(steps(watch.check(clocks(10_000_000, 10_000_000, 10_000_000))), None);
        let back = clocks(-3_580_000_000, 20_000_000, 20_000_000);
        assert_eq!(steps(watch.check(back)), Some((-3_600_000_000, 0)));
        assert_eq!(steps(watch.check(back)), None);
        let day = clocks(82_830_500_001, 30_000_000, 30_000_000);
        assert_eq!(steps(watch.check(day)), Some((86_400_500_001, 0)));
        assert_eq!(watch.check(day), None);
    }

    /// At half a second nothing, above it one; small ones add up to one.
    #[test]
    fn steps_of_half_a_second_are_not_told_until_they_add_up() {
        let mut watch = Watch::since(clocks(0, 0, 0));
        assert_eq!(steps(watch.check(clocks(500_000, 0, 0))), None);
        assert_eq!(steps(watch.check(clocks(500_001, 0, 0))), Some((500_001, 0)));
        for n in 1..=5 {
            assert_eq!(steps(watch.check(clocks(500_001 + n * 100_000, 0, 0))), None);
        }
        assert_eq!(steps(watch.check(clocks(1_100_001, 0, 0))), Some((600_000, 0)));
    }

    /// 500 ppm is the most that adjtimex(2) slews: the boot-time clock goes along.
    #[test]
    fn slewing_is_never_told() {
        let mut watch = Watch::since(clocks(0, 0, 0));
        for hour in 1..=240u64 {
            let slewed = hour * 3_600_000_000 + hour * 1_800_000;
            let wall = i64::try_from(slewed).unwrap();
            assert_eq!(watch.check(clocks(wall, slewed, slewed)), None);
        }
    }

    /// Wall clock and boot-time clock count through suspend, the other does not.
    #[test]
    fn a_machine_that_slept_is_told_once_and_alone() {
        let mut watch = Watch::since(clocks(0, 0, 0));
        assert_eq!(
            steps(watch.check(clocks(60_000_000, 60_000_000, 10_000_000))),
            Some((0, 50_000_000))
        );
        assert_eq!(steps(watch.check(clocks(61_000_000, 61_000_000, 11_000_000))), None);
        let both = clocks(100_000_000, 71_000_000, 12_000_000);
        assert_eq!(steps(watch.check(both)), Some((29_000_000, 9_000_000)));
    }

    #[test]
    fn no_difference_is_too_large_to_be_told() {
        let mut watch = Watch::since(clocks(i64::MAX, 0, 0));
        assert_eq!(steps(watch.check(clocks(i64::MIN, u64::MAX, 0))), Some((i64::MIN, u64::MAX)));
    }
}
