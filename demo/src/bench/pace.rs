//! The one clock of the bench and the one place where it waits: for an event or for its own next
//! moment, never for a time alone.

use std::io;
use std::time::{Duration, Instant};

use rustix::event::{PollFd, Timespec, poll};
use rustix::io::Errno;

/// Microseconds since the bench began.
#[derive(Debug, Clone, Copy)]
pub(super) struct Clock(Instant);

#[allow(
    clippy::disallowed_methods,
    reason = "a simulated bench is a peer with a clock of its own, read here and nowhere else"
)]
impl Clock {
    pub(super) fn start() -> Clock {
        Clock(Instant::now())
    }

    pub(super) fn now(self) -> u64 {
        u64::try_from(Instant::now().duration_since(self.0).as_micros()).unwrap_or(u64::MAX)
    }
}

/// The boot-time clock, microseconds: the one that a station stamps with.
pub(super) fn boot_us() -> u64 {
    let now = rustix::time::clock_gettime(rustix::time::ClockId::Boottime);
    let us = now.tv_sec * 1_000_000 + now.tv_nsec / 1_000;
    u64::try_from(us).unwrap_or(0)
}

/// Waits until one of the ports has something, or at most for `micros`.
pub(super) fn wait(fds: &mut [PollFd<'_>], micros: u64) -> io::Result<()> {
    let wanted = Duration::from_micros(micros);
    let timeout = Timespec::try_from(wanted).unwrap_or(Timespec { tv_sec: 1, tv_nsec: 0 });
    match poll(fds, Some(&timeout)) {
        Ok(_) | Err(Errno::INTR) => Ok(()),
        Err(errno) => Err(errno.into()),
    }
}
