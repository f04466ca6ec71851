//! What the kernel says of its wall clock: whether somebody keeps it right, and when it was set.
#![allow(unsafe_code, reason = "no crate in use has a safe call for adjtimex")]

use std::io;
use std::os::fd::OwnedFd;
use std::time::Duration;

use rustix::io::{Errno, read};
use rustix::time::{
    Itimerspec, TimerfdClockId, TimerfdFlags, TimerfdTimerFlags, Timespec, timerfd_create,
    timerfd_settime,
};
use tokio::io::unix::AsyncFd;
use tokio::time::sleep;

/// How often to look where the kernel does not tell.
const LOOK_S: Duration = Duration::from_secs(10);

/// The wall clock is kept right by a time service: the kernel's mark `STA_UNSYNC` is off
/// (adjtimex(2)). It is set at boot, and again when no service has spoken for a good while.
#[must_use]
pub fn synchronised() -> bool {
    // SAFETY: `timex` is made of integers, for which zeros are values; no mode is set, so the
    // kernel fills the struct it is given and changes nothing.
    let (answer, status) = unsafe {
        let mut state: libc::timex = std::mem::zeroed();
        (libc::adjtimex(&raw mut state), state.status)
    };
    // A kernel that does not tell says nothing for its clock.
    0 <= answer && status & libc::STA_UNSYNC == 0
}

/// Tells when the wall clock is set and when the machine wakes from suspend, and takes no time
/// in between: a timer that never runs out and that the kernel cancels at either
/// (`TFD_TIMER_CANCEL_ON_SET`, timerfd_create(2)).
#[derive(Debug)]
pub struct Sets {
    timer: Option<AsyncFd<OwnedFd>>,
}

impl Sets {
    /// Begins to listen; within a runtime.
    #[must_use]
    pub fn listen() -> Sets {
        // SAFETY: the descriptor is owned by what is registered, is the same as long as that
        // lives, and is closed by its drop alone.
        match timer().and_then(|timer| Ok(unsafe { AsyncFd::register(timer) }?)) {
            Ok(timer) => Sets { timer: Some(timer) },
            Err(error) => {
                tracing::warn!(%error, "The kernel does not tell of a set clock: I look myself.");
                Sets { timer: None }
            }
        }
    }

    /// Comes back when the clocks are to be compared.
    pub async fn next(&self) {
        let Some(timer) = &self.timer else { return sleep(LOOK_S).await };
        loop {
            let Ok(mut ready) = timer.readable().await else { return sleep(LOOK_S).await };
            let mut ticks = [0; 8];
            match ready.try_io(|timer| Ok(read(timer, &mut ticks)?)) {
                Err(_would_block) => {}
                Ok(Err(error)) if error.kind() == io::ErrorKind::Interrupted => {}
                Ok(_) => {
                    // A fault shows at the next wait; until then events are compared, too.
                    let _ = arm(timer.get_ref());
                    return;
                }
            }
        }
    }
}

fn timer() -> io::Result<OwnedFd> {
    let flags = TimerfdFlags::NONBLOCK | TimerfdFlags::CLOEXEC;
    let timer = timerfd_create(TimerfdClockId::Realtime, flags)?;
    arm(&timer)?;
    Ok(timer)
}

fn arm(timer: &OwnedFd) -> io::Result<()> {
    let zero = Timespec { tv_sec: 0, tv_nsec: 0 };
    let never = Itimerspec { it_interval: zero, it_value: Timespec { tv_sec: i64::MAX, ..zero } };
    let flags = TimerfdTimerFlags::ABSTIME | TimerfdTimerFlags::CANCEL_ON_SET;
    match timerfd_settime(timer, flags, &never) {
        // It was set this moment, and is armed; the caller compares the clocks now.
        Ok(_) | Err(Errno::CANCELED) => Ok(()),
        Err(error) => Err(error.into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// That a set clock ends the wait can't be shown without setting this machine's clock (it was
    /// seen by hand in a virtual one: `DEVELOPERS.md` §8); that the kernel takes the timer, and
    /// that nothing else ends the wait, can.
    #[tokio::test]
    async fn nothing_ends_the_wait_while_nobody_sets_the_clock() {
        let sets = Sets::listen();
        assert!(sets.timer.is_some(), "this kernel tells of a set clock");
        let turns = async {
            for _ in 0..100 {
                tokio::task::yield_now().await;
            }
        };
        tokio::select! {
            biased;
            () = sets.next() => panic!("nobody set the clock"),
            () = turns => {}
        }
    }
}
