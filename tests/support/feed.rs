//! A client of the feed: a thread that reads server-sent events as they come.

use std::io::BufRead;
use std::path::Path;
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::Duration;

use super::http;

/// A generous cap against hangs.
const PATIENCE: Duration = Duration::from_secs(30);

/// One event: a stored line.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Seen {
    /// Its number.
    pub(crate) seq: u64,
    /// Its kind.
    pub(crate) kind: String,
    /// The stored line, `"book"` and `"bench"` in front.
    pub(crate) data: String,
}

impl Seen {
    /// The stored line as the book must have it.
    pub(crate) fn line(&self) -> String {
        let from = self.data.find("\"seq\":").expect("a stored line has its number");
        format!("{{{}", &self.data[from..])
    }

    /// The book that it stands in.
    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.data).unwrap()
    }
}

/// The live feed.
#[derive(Debug)]
pub(crate) struct Feed {
    lines: Receiver<Seen>,
    states: Receiver<serde_json::Value>,
}

impl Feed {
    /// Connects, and returns when the station has greeted: nothing from now on is missed. With
    /// `after`, from that line on; otherwise what is committed from now on.
    pub(crate) fn open(socket: &Path, after: Option<u64>) -> Feed {
        let path = match after {
            Some(seq) => format!("/v1/feed?after={seq}"),
            None => "/v1/feed".to_owned(),
        };
        let (status, mut answer) = http::open(socket, "GET", &path, "").unwrap();
        assert_eq!(status, 200, "the feed is open");
        let mut hello = String::new();
        answer.read_line(&mut hello).unwrap();
        assert_eq!(hello, "event: hello\n");
        let (send, lines) = channel();
        let (send_state, states) = channel();
        thread::spawn(move || {
            let mut event = Seen::default();
            for line in answer.lines() {
                let Ok(line) = line else { return };
                match line.split_once(": ") {
                    Some(("id", seq)) => event.seq = seq.parse().unwrap(),
                    Some(("event", kind)) => kind.clone_into(&mut event.kind),
                    Some(("data", data)) => data.clone_into(&mut event.data),
                    // An empty line ends an event: one that a kill cut off never came.
                    None if line.is_empty() => {
                        let event = std::mem::take(&mut event);
                        if event.kind == "state" {
                            // Who reads lines alone has let go of the other end.
                            let _ = send_state.send(event.json());
                        }
                        // `hello`, `lost` and `state` have no number and are no lines.
                        if event.seq != 0 && send.send(event).is_err() {
                            return;
                        }
                    }
                    _ => {}
                }
            }
        });
        Feed { lines, states }
    }

    /// The next line; `None` when the station is gone.
    #[track_caller]
    pub(crate) fn next(&self) -> Option<Seen> {
        use std::sync::mpsc::RecvTimeoutError::{Disconnected, Timeout};
        match self.lines.recv_timeout(PATIENCE) {
            Ok(seen) => Some(seen),
            Err(Disconnected) => None,
            Err(Timeout) => panic!("waited {PATIENCE:?} in vain for a line in the feed"),
        }
    }

    /// The next line of which something holds.
    #[track_caller]
    pub(crate) fn find(&self, what: &str, holds: impl Fn(&Seen) -> bool) -> Seen {
        loop {
            match self.next() {
                Some(seen) if holds(&seen) => return seen,
                Some(_) => {}
                None => panic!("the station went away: {what}"),
            }
        }
    }

    /// The next time that the station says of itself whether it judges.
    #[track_caller]
    pub(crate) fn state(&self) -> serde_json::Value {
        self.states.recv_timeout(PATIENCE).expect("the feed tells when judging stops and begins")
    }

    /// What has come so far.
    pub(crate) fn so_far(&self) -> Vec<Seen> {
        self.lines.try_iter().collect()
    }

    /// Everything to the end of the station.
    pub(crate) fn rest(&self) -> Vec<Seen> {
        std::iter::from_fn(|| self.next()).collect()
    }
}
