//! Contacts on the modem inputs of a serial port: CTS, DSR, DCD and RI are inputs 1 to 4.
//!
//! What is read is told to the station as the line that a contact box would send, `C 1010`: the
//! same driver reads both, and a record shows what was seen. It is told when the port is opened,
//! after each change that was stable for 50 ms, and whenever the station begins a new stream,
//! because nothing is known of contacts before their first line there.
//!
//! A thread waits for the kernel to say that an input moved (TIOCMIWAIT); once a second the inputs
//! are read all the same, because a change between two waits is not told. A port that can't be
//! waited for is read ten times a second. Contacts that do not come to rest are unknown: the link
//! is down then, and witnesses nothing.

use std::io;
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use rustix::fs::OFlags;
use rustix::io::Errno;
use tokio::sync::{Notify, mpsc};
use tokio::time::sleep;

use super::teller::{Ended, Teller};
use super::{LinkError, modem, serial, shut};
use crate::clock;
use crate::config::Signals;

/// A change counts when the inputs did not move for this long.
const STABLE_US: u64 = 50_000;
/// How often inputs that moved are read until they rest.
const BOUNCE_US: u64 = 10_000;
/// Inputs that move for this long without a rest are unknown.
const RESTLESS_US: u64 = 1_000_000;
/// How often inputs at rest are read where the kernel tells of changes.
const REST_US: u64 = 1_000_000;
/// How often where it does not.
const POLL_US: u64 = 100_000;

/// What the inputs come to. Pure: time is given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Debounce {
    seen: Option<([bool; 4], u64)>,
    restless_since: Option<u64>,
    told: Option<[bool; 4]>,
    /// The kernel tells of changes.
    waits: bool,
}

/// What is to be done about the inputs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Seen {
    /// Nothing is new.
    Same,
    /// They rest in this state, and that was not told yet.
    State([bool; 4]),
    /// They do not come to rest.
    Restless,
}

impl Debounce {
    pub(super) fn new() -> Debounce {
        Debounce { seen: None, restless_since: None, told: None, waits: true }
    }

    /// The state is to be told again.
    pub(super) fn again(&mut self) {
        self.told = None;
    }

    /// The inputs were read at this moment, microseconds.
    pub(super) fn see(&mut self, inputs: [bool; 4], now_us: u64) -> Seen {
        let since = match self.seen {
            Some((state, since)) if state == inputs => since,
            _ => {
                self.seen = Some((inputs, now_us));
                self.restless_since.get_or_insert(now_us);
                now_us
            }
        };
        if now_us.saturating_sub(since) >= STABLE_US {
            self.restless_since = None;
            if self.told == Some(inputs) {
                return Seen::Same;
            }
            self.told = Some(inputs);
            return Seen::State(inputs);
        }
        match self.restless_since {
            Some(since) if now_us.saturating_sub(since) >= RESTLESS_US => Seen::Restless,
            _ => Seen::Same,
        }
    }

    /// When they should be read next.
    pub(super) fn wait(&self) -> Duration {
        Duration::from_micros(match (self.restless_since, self.waits) {
            (Some(_), _) => BOUNCE_US,
            (None, _) if self.told.is_none() => BOUNCE_US,
            (None, true) => REST_US,
            (None, false) => POLL_US,
        })
    }
}

/// The line of a state.
fn line(closed: [bool; 4]) -> String {
    let bits: String = closed.iter().map(|closed| if *closed { '1' } else { '0' }).collect();
    format!("C {bits}\r\n")
}

/// A port that is open for its inputs. No byte of it is ever read or sent. Dropping it closes it,
/// off the runtime's thread.
#[derive(Debug)]
pub(super) struct Inputs {
    port: Option<Arc<OwnedFd>>,
    path: PathBuf,
}

impl Inputs {
    /// Opens a port for reading its inputs.
    pub(super) fn open(path: &Path, signals: Signals) -> Result<Inputs, LinkError> {
        let port = serial::open(path, OFlags::RDONLY);
        let port = port.map_err(|error| LinkError::of(path, &error))?;
        let inputs = Inputs { port: Some(Arc::new(port)), path: path.to_owned() };
        let Signals { dtr, rts } = signals;
        let set = modem::set(inputs.port(), dtr, rts);
        match set.and_then(|_| modem::inputs(inputs.port())) {
            Ok(_) => {
                tracing::info!(port = %path.display(), dtr, rts, "Opened modem inputs.");
                Ok(inputs)
            }
            Err(Errno::NOTTY | Errno::INVAL) => {
                Err(LinkError::NoInputs { port: path.display().to_string() })
            }
            Err(error) => Err(LinkError::of(path, &io::Error::from(error))),
        }
    }

    fn port(&self) -> &Arc<OwnedFd> {
        self.port.as_ref().expect("it is taken by `drop` alone")
    }

    /// Watches the inputs until the port is gone or they do not rest.
    pub(super) async fn watch(&self, teller: &Teller, again: &Notify) -> Result<LinkError, Ended> {
        let mut debounce = Debounce::new();
        let mut waiter = Waiter::start(self.port().clone());
        loop {
            let port = self.port().clone();
            // On an adapter this is a request over USB, which may take its time.
            let read = tokio::task::spawn_blocking(move || modem::inputs(&*port)).await;
            let Ok(Ok(inputs)) = read else { return Ok(LinkError::Gone) };
            match debounce.see(inputs, clock::now().boot_us) {
                Seen::Same => {}
                Seen::State(state) => teller.bytes(line(state).as_bytes()).await?,
                Seen::Restless => {
                    return Ok(LinkError::Changed("its contacts do not come to rest".into()));
                }
            }
            tokio::select! {
                moved = waiter.moved.recv(), if debounce.waits => {
                    debounce.waits = moved.is_some();
                    if moved.is_none() {
                        tracing::info!(port = %self.path.display(), "Inputs are polled.");
                    }
                }
                () = again.notified() => debounce.again(),
                () = sleep(debounce.wait()) => {}
            }
        }
    }
}

impl Drop for Inputs {
    fn drop(&mut self) {
        if let Some(port) = self.port.take() {
            shut::serial(port, &self.path);
        }
    }
}

/// The thread that waits for the kernel. It can't be called back: when nobody needs it any more it
/// ends at the next change or when the port goes, and until then it holds neither lock nor line.
struct Waiter {
    done: Arc<AtomicBool>,
    /// An input moved; ends where the port can't be waited for.
    moved: mpsc::Receiver<()>,
}

impl Waiter {
    fn start(port: Arc<OwnedFd>) -> Waiter {
        let (tell, moved) = mpsc::channel(1);
        let done = Arc::new(AtomicBool::new(false));
        let ended = done.clone();
        let thread = std::thread::Builder::new().name("inputs".into()).spawn(move || {
            while !ended.load(Ordering::Relaxed) && modem::moved(&*port).is_ok() {
                // One that was not yet seen is enough.
                let _ = tell.try_send(());
            }
        });
        if let Err(error) = thread {
            tracing::warn!(%error, "No thread to wait for modem inputs.");
        }
        Waiter { done, moved }
    }
}

impl Drop for Waiter {
    fn drop(&mut self) {
        self.done.store(true, Ordering::Relaxed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const OPEN: [bool; 4] = [false; 4];
    const FIRST: [bool; 4] = [true, false, false, false];

    /// Reads at the moments that are asked for, with these inputs from these moments on.
    fn told(inputs: &[(u64, [bool; 4])], until_us: u64) -> Vec<(u64, Seen)> {
        let (mut debounce, mut now, mut told) = (Debounce::new(), 0, Vec::new());
        while now <= until_us {
            let is = inputs.iter().rev().find(|(from, _)| *from <= now).unwrap().1;
            match debounce.see(is, now) {
                Seen::Same => {}
                seen => told.push((now, seen)),
            }
            now += u64::try_from(debounce.wait().as_micros()).unwrap();
        }
        told
    }

    #[test]
    fn the_state_is_told_when_it_rests_and_when_it_changed() {
        let got = told(&[(0, OPEN), (3_000_000, FIRST)], 10_000_000);
        // At rest it is read once a second, so the change is found at once or a second later.
        assert_eq!(got[0], (50_000, Seen::State(OPEN)));
        assert_eq!(got.len(), 2);
        assert_eq!(got[1].1, Seen::State(FIRST));
        assert!((3_050_000..4_110_000).contains(&got[1].0), "{got:?}");
    }

    #[test]
    fn a_bounce_is_no_change() {
        let bounce: Vec<(u64, [bool; 4])> =
            (0..6).map(|n| (n * 20_000, if n % 2 == 0 { OPEN } else { FIRST })).collect();
        // Five moves, then it rests from 100 ms on.
        assert_eq!(told(&bounce, 1_000_000), [(150_000, Seen::State(FIRST))]);
    }

    #[test]
    fn what_does_not_rest_is_unknown() {
        let restless: Vec<(u64, [bool; 4])> =
            (0..100).map(|n| (n * 20_000, if n % 2 == 0 { OPEN } else { FIRST })).collect();
        let got = told(&restless, 1_500_000);
        assert_eq!(got[0], (RESTLESS_US, Seen::Restless));
    }

    #[test]
    fn a_new_stream_is_told_the_state_though_nothing_moved() {
        let mut debounce = Debounce::new();
        debounce.see(FIRST, 0);
        assert_eq!(debounce.see(FIRST, STABLE_US), Seen::State(FIRST));
        assert_eq!(debounce.see(FIRST, 2 * STABLE_US), Seen::Same);
        debounce.again();
        assert_eq!(debounce.see(FIRST, 3 * STABLE_US), Seen::State(FIRST));
    }

    #[test]
    fn a_port_that_is_not_told_of_changes_is_read_ten_times_a_second() {
        let mut debounce = Debounce::new();
        debounce.see(OPEN, 0);
        debounce.see(OPEN, STABLE_US);
        assert_eq!(debounce.wait().as_millis(), 1000);
        debounce.waits = false;
        assert_eq!(debounce.wait().as_millis(), 100);
    }

    // The driver of contact boxes reads the line.
    #[test]
    fn the_line_is_that_of_a_contact_box() {
        assert_eq!(line([true, false, true, false]), "C 1010\r\n");
    }
}
