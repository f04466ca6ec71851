//! The one clock: nothing else in the house reads one.

use std::path::Path;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use rustix::time::{ClockId, Timespec, clock_gettime};

/// A moment: wall clock for people, boot-time clock for intervals. Order is by `seq`, never by
/// either.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Stamp {
    /// Microseconds since 1970-01-01 UTC.
    pub wall_us: i64,
    /// Microseconds of the boot-time clock (it counts through suspend).
    pub boot_us: u64,
}

/// This moment on both clocks, the boot-time clock first.
#[must_use]
pub fn now() -> Stamp {
    let boot = micros(clock_gettime(ClockId::Boottime));
    let wall = micros(clock_gettime(ClockId::Realtime));
    Stamp { wall_us: wall, boot_us: u64::try_from(boot).unwrap_or(0) }
}

/// Which boot the boot-time clock counts from: the kernel's random identity of it.
///
/// # Errors
/// The kernel does not tell (no `/proc`).
pub fn boot_id() -> std::io::Result<String> {
    let text = std::fs::read_to_string("/proc/sys/kernel/random/boot_id")?;
    Ok(text.trim().to_owned())
}

/// The wall clock is known to be synchronised. Only the mark that the system's own time service
/// leaves is believed; without it the answer is no.
#[must_use]
pub fn synchronised() -> bool {
    Path::new("/run/systemd/timesync/synchronized").exists()
}

/// RFC 3339 in UTC, six decimals and `Z`: `2026-11-24T08:14:03.512004Z`. Stamps outside the years
/// that the calendar holds become its nearest end.
#[must_use]
pub fn rfc3339(wall_us: i64) -> String {
    format!("{:.6}", timestamp(wall_us))
}

/// The moment of a text that [`rfc3339`] wrote, microseconds since 1970.
#[must_use]
pub fn wall_of(text: &str) -> Option<i64> {
    text.parse::<Timestamp>().ok().map(Timestamp::as_microsecond)
}

/// The UTC day, `2026-11-24`.
#[must_use]
pub fn utc_day(wall_us: i64) -> String {
    let mut text = rfc3339(wall_us);
    text.truncate(10);
    text
}

/// A zone, for folders, dates and paper.
#[derive(Debug, Clone, PartialEq)]
pub struct Zone(TimeZone);

impl Zone {
    /// The zone of an IANA name, `None` when this machine does not know it.
    #[must_use]
    pub fn named(name: &str) -> Option<Zone> {
        TimeZone::get(name).ok().map(Zone)
    }

    /// Local date `2026-11-24` at that moment.
    #[must_use]
    pub fn date(&self, wall_us: i64) -> String {
        timestamp(wall_us).to_zoned_datetime(self.0.clone()).date().to_string()
    }

    /// Local time of day, `09:14:03`.
    #[must_use]
    pub fn time(&self, wall_us: i64) -> String {
        timestamp(wall_us).to_zoned_datetime(self.0.clone()).strftime("%H:%M:%S").to_string()
    }

    /// Offset from UTC at that moment, `+01:00`.
    #[must_use]
    pub fn offset(&self, wall_us: i64) -> String {
        timestamp(wall_us).to_zoned_datetime(self.0.clone()).strftime("%:z").to_string()
    }
}

/// Notices when the wall clock steps against the boot-time clock. Asked every ten seconds.
#[derive(Debug, Clone, Copy)]
pub struct Steps {
    last: Stamp,
}

/// A difference above this is a step, not drift, microseconds.
const STEP_US_MIN: i128 = 500_000;

impl Steps {
    /// Begins to watch.
    #[must_use]
    pub fn since(last: Stamp) -> Steps {
        Steps { last }
    }

    /// By how many microseconds the wall clock stepped since the last call, `None` if it did not.
    pub fn check(&mut self, at: Stamp) -> Option<i64> {
        let wall = i128::from(at.wall_us) - i128::from(self.last.wall_us);
        let boot = i128::from(at.boot_us) - i128::from(self.last.boot_us);
        self.last = at;
        let step = wall - boot;
        if step.abs() <= STEP_US_MIN {
            return None;
        }
        let end = if step < 0 { i64::MIN } else { i64::MAX };
        Some(i64::try_from(step).unwrap_or(end))
    }
}

fn micros(time: Timespec) -> i64 {
    time.tv_sec.saturating_mul(1_000_000).saturating_add(time.tv_nsec / 1000)
}

fn timestamp(wall_us: i64) -> Timestamp {
    let end = if wall_us < 0 { Timestamp::MIN } else { Timestamp::MAX };
    Timestamp::from_microsecond(wall_us).unwrap_or(end)
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOON: i64 = 1_795_594_443_512_004;

    // `date -u -d @1795594443.512004 +%FT%T.%6NZ` prints the same text.
    #[test]
    fn a_stamp_is_written_with_six_decimals_and_read_back() {
        let text = rfc3339(NOON);
        assert_eq!(text, "2026-11-25T08:14:03.512004Z");
        assert_eq!(wall_of(&text), Some(NOON));
        assert_eq!(rfc3339(0), "1970-01-01T00:00:00.000000Z");
        assert_eq!(utc_day(NOON), "2026-11-25");
    }

    #[test]
    fn a_stamp_outside_the_calendar_is_its_end() {
        assert!(rfc3339(i64::MAX).starts_with("9999-12-30"));
        assert!(rfc3339(i64::MIN).starts_with("-009999-01-0"));
    }

    // `TZ=Europe/Zurich date -d @1795594443 +'%F %T %:z'` prints the same.
    #[test]
    fn a_zone_gives_date_and_offset() {
        let zone = Zone::named("Europe/Zurich").unwrap();
        assert_eq!(zone.date(NOON), "2026-11-25");
        assert_eq!(zone.time(NOON), "09:14:03");
        assert_eq!(zone.offset(NOON), "+01:00");
        assert_eq!(Zone::named("Etc/UTC").unwrap().offset(NOON), "+00:00");
        assert_eq!(Zone::named("Nowhere/At_All"), None);
    }

    #[test]
    fn only_a_jump_of_the_wall_clock_is_a_step() {
        let mut steps = Steps::since(Stamp { wall_us: 0, boot_us: 0 });
        let at = |wall_us, boot_us| Stamp { wall_us, boot_us };
        assert_eq!(steps.check(at(10_000_000, 10_000_000)), None);
        assert_eq!(steps.check(at(20_500_000, 20_000_000)), None);
        assert_eq!(steps.check(at(31_000_001, 30_000_000)), Some(500_001));
        assert_eq!(steps.check(at(-3_600_000_000, 40_000_000)), Some(-3_641_000_001));
    }

    #[test]
    fn the_clocks_of_this_machine_run() {
        let (a, b) = (now(), now());
        assert!(b.boot_us >= a.boot_us);
        assert!(a.wall_us > 1_700_000_000_000_000);
        assert_eq!(boot_id().unwrap().len(), 36);
    }
}
