//! The one clock: nothing else in the house reads one.

mod day;
mod kernel;
mod watch;

use std::sync::OnceLock;
use std::time::{Instant, SystemTime, UNIX_EPOCH};

use jiff::Timestamp;
use jiff::tz::TimeZone;
use rustix::time::{ClockId, clock_gettime};

pub use day::{Minute, Today};
pub use kernel::{Sets, synchronised};
pub use watch::{Change, Watch, step_us};

/// A moment: wall clock for people, boot-time clock for intervals. Order is by `seq`, never by
/// either.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Stamp {
    /// Microseconds since 1970-01-01 UTC.
    pub wall_us: i64,
    /// Microseconds of the boot-time clock (it counts through suspend).
    pub boot_us: u64,
}

/// A wall clock before this is wrong whatever else is known: the program did not exist.
/// 2026-11-01T00:00:00Z, microseconds since 1970.
pub const EARLIEST_US: i64 = 1_793_491_200_000_000;

/// This moment on both clocks, the boot-time clock first.
#[must_use]
pub fn now() -> Stamp {
    let boot_us = boot_us();
    Stamp { wall_us: wall_us(), boot_us }
}

/// All clocks at one moment, for [`Watch`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Clocks {
    /// Wall clock and boot-time clock.
    pub at: Stamp,
    /// Microseconds of a clock that stands still while the machine is suspended, from some moment
    /// of this process on.
    pub awake_us: u64,
}

/// Longest between the first and the last of the clocks, microseconds.
const TOGETHER_US_MAX: u64 = 10_000;

/// All clocks at one moment; `None` where this process was interrupted between them again and
/// again. Then they are no match, and another moment will do.
#[must_use]
pub fn clocks() -> Option<Clocks> {
    (0..8).find_map(|_| {
        let boot_us = boot_us();
        let clocks = Clocks { at: Stamp { wall_us: wall_us(), boot_us }, awake_us: awake_us() };
        (self::boot_us().saturating_sub(boot_us) <= TOGETHER_US_MAX).then_some(clocks)
    })
}

/// The kernel's own: no library between us and it.
fn boot_us() -> u64 {
    let time = clock_gettime(ClockId::Boottime);
    let us = time.tv_sec.saturating_mul(1_000_000).saturating_add(time.tv_nsec / 1000);
    u64::try_from(us).unwrap_or(0)
}

/// By the C library, where a tool of the tests can stand between and pretend another time.
#[allow(clippy::disallowed_methods, reason = "this is the one clock")]
fn wall_us() -> i64 {
    let us = |time: std::time::Duration| i64::try_from(time.as_micros()).unwrap_or(i64::MAX);
    match SystemTime::now().duration_since(UNIX_EPOCH) {
        Ok(since) => us(since),
        Err(before) => -us(before.duration()),
    }
}

/// `Instant` is the monotonic clock, which does not count through suspend.
#[allow(clippy::disallowed_methods, reason = "this is the one clock")]
fn awake_us() -> u64 {
    static BEGAN: OnceLock<Instant> = OnceLock::new();
    let now = Instant::now();
    let awake = now.saturating_duration_since(*BEGAN.get_or_init(|| now));
    u64::try_from(awake.as_micros()).unwrap_or(u64::MAX)
}

/// Which boot the boot-time clock counts from: the kernel's random identity of it.
///
/// # Errors
/// The kernel does not tell (no `/proc`).
pub fn boot_id() -> std::io::Result<String> {
    let text = std::fs::read_to_string("/proc/sys/kernel/random/boot_id")?;
    Ok(text.trim().to_owned())
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
    fn the_clocks_of_this_machine_run() {
        let (a, b) = (now(), now());
        assert!(b.boot_us >= a.boot_us);
        assert!(a.wall_us > 1_700_000_000_000_000);
        assert!(EARLIEST_US < a.wall_us);
        assert_eq!(rfc3339(EARLIEST_US), "2026-11-01T00:00:00.000000Z");
        assert_eq!(boot_id().unwrap().len(), 36);
    }

    #[test]
    fn all_clocks_are_read_together_and_run_alike() {
        let (a, b) = (clocks().unwrap(), clocks().unwrap());
        assert!(a.at.boot_us <= b.at.boot_us && a.awake_us <= b.awake_us);
        assert_eq!(Watch::since(a).check(b), None);
    }
}
