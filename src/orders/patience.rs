//! How long a file is left alone: whoever writes it may not be done.
//!
//! Where the kernel says that it was closed or moved in, a second is enough, in which it may be
//! opened once more. Where nobody saw that, it must have stayed the same for five. What is empty
//! will be written, and what is written to is not done. Times are microseconds of the boot-time
//! clock.

use std::collections::BTreeMap;
use std::ffi::OsString;

use super::folder::Seen;

const CLOSED_US: u64 = 1_000_000;
const UNKNOWN_US: u64 = 5_000_000;
const EMPTY_US: u64 = 60_000_000;
/// Nobody writes for so long without a word.
const WRITING_US: u64 = 3_600_000_000;
/// What could not be done is tried again after it.
pub(super) const AGAIN_US: u64 = 10_000_000;
/// Files that are waited for; more are found when the folder is looked at again.
const FILES_MAX: usize = 4_000;

/// Files that are waited for.
#[derive(Debug, Default)]
pub(super) struct Patience(BTreeMap<OsString, Waits>);

#[derive(Debug, Clone, Copy)]
struct Waits {
    since_us: u64,
    how: How,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum How {
    Writing,
    Closed,
    Made,
    Unknown(Seen),
}

/// What is to be done with a file whose time has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Turn {
    /// It is read now.
    Ripe,
    /// It changed: it is waited for once more.
    Waits,
}

impl Patience {
    /// Somebody writes to a file.
    pub(super) fn written(&mut self, name: OsString, now_us: u64) -> bool {
        self.put(name, now_us, How::Writing)
    }

    /// Somebody has closed it, or moved it in.
    pub(super) fn closed(&mut self, name: OsString, now_us: u64) -> bool {
        self.put(name, now_us, How::Closed)
    }

    /// It lies there, and nobody saw how it came; what is known already stays.
    pub(super) fn found(&mut self, name: OsString, seen: Seen, now_us: u64) -> bool {
        self.0.contains_key(&name) || self.put(name, now_us, How::Unknown(seen))
    }

    /// It was made; it may be a link or a pipe, which nobody closes.
    pub(super) fn made(&mut self, name: OsString, now_us: u64) -> bool {
        self.put(name, now_us, How::Made)
    }

    /// It could not be taken now, for no fault of its own.
    pub(super) fn again(&mut self, name: OsString, now_us: u64) -> bool {
        self.put(name, now_us.saturating_add(AGAIN_US - UNKNOWN_US), How::Made)
    }

    /// Whether there was room for it.
    fn put(&mut self, name: OsString, since_us: u64, how: How) -> bool {
        let room = self.0.len() < FILES_MAX || self.0.contains_key(&name);
        if room {
            self.0.insert(name, Waits { since_us, how });
        }
        room
    }

    /// Nothing that was told of writing holds any more.
    pub(super) fn forget(&mut self) {
        self.0.clear();
    }

    /// When to look next.
    pub(super) fn due_us(&self) -> Option<u64> {
        self.0.values().map(|waits| waits.due_us()).min()
    }

    /// Files whose time has come.
    pub(super) fn due(&self, now_us: u64) -> Vec<OsString> {
        let due = self.0.iter().filter(|(_, waits)| waits.due_us() <= now_us);
        due.map(|(name, _)| name.clone()).collect()
    }

    /// The time of a file has come, and so it looks now; `None`: it is gone.
    pub(super) fn turn(&mut self, name: &OsString, seen: Option<Seen>, now_us: u64) -> Turn {
        let (Some(seen), Some(waits)) = (seen, self.0.remove(name)) else { return Turn::Waits };
        let empty_us = now_us.saturating_sub(waits.since_us);
        match waits.how {
            How::Made => drop(self.put(name.clone(), now_us, How::Unknown(seen))),
            How::Unknown(before) if before != seen => {
                self.put(name.clone(), now_us, How::Unknown(seen));
            }
            _ if seen.is_empty() && empty_us < EMPTY_US => {
                let how = How::Unknown(seen);
                self.0.insert(name.clone(), Waits { how, ..waits });
            }
            _ => return Turn::Ripe,
        }
        Turn::Waits
    }
}

impl Waits {
    fn due_us(&self) -> u64 {
        self.since_us.saturating_add(match self.how {
            How::Writing => WRITING_US,
            How::Closed => CLOSED_US,
            How::Unknown(seen) if seen.is_empty() => EMPTY_US,
            How::Made | How::Unknown(_) => UNKNOWN_US,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const S: u64 = 1_000_000;

    fn turns(patience: &mut Patience, seen: Seen, now_us: u64) -> Vec<Turn> {
        let due = patience.due(now_us);
        due.iter().map(|name| patience.turn(name, Some(seen), now_us)).collect()
    }

    #[test]
    fn a_file_that_is_written_is_left_alone_until_it_is_closed() {
        let (seen, name) = (Seen::made(7, 10), || OsString::from("a.csv"));
        let mut patience = Patience::default();
        patience.written(name(), 0);
        patience.found(name(), seen, S);
        assert!(turns(&mut patience, seen, 3_599 * S).is_empty());
        patience.closed(name(), 3_599 * S);
        assert_eq!(patience.due_us(), Some(3_600 * S));
        assert_eq!(turns(&mut patience, seen, 3_600 * S), [Turn::Ripe]);
        assert_eq!(patience.due_us(), None, "nothing waits: nothing wakes");
        patience.closed(name(), 0);
        patience.written(name(), S / 2);
        assert!(turns(&mut patience, seen, 2 * S).is_empty(), "it was opened once more");
    }

    #[test]
    fn what_nobody_saw_coming_must_stay_the_same() {
        let (first, second) = (Seen::made(7, 10), Seen::made(7, 20));
        let mut patience = Patience::default();
        patience.found("a.csv".into(), first, 0);
        assert_eq!(turns(&mut patience, second, 5 * S), [Turn::Waits]);
        assert_eq!(turns(&mut patience, second, 9 * S), []);
        assert_eq!(turns(&mut patience, second, 10 * S), [Turn::Ripe]);
    }

    #[test]
    fn an_empty_file_has_a_minute() {
        let empty = Seen::made(7, 0);
        let mut patience = Patience::default();
        patience.closed("a.csv".into(), 0);
        assert_eq!(turns(&mut patience, empty, S), [Turn::Waits]);
        assert_eq!(turns(&mut patience, empty, 59 * S), []);
        assert_eq!(turns(&mut patience, empty, 60 * S), [Turn::Ripe]);
    }

    #[test]
    fn no_more_are_waited_for_than_the_bound() {
        let mut patience = Patience::default();
        let kept = (0..2 * FILES_MAX).filter(|n| patience.closed(n.to_string().into(), 0)).count();
        assert_eq!((kept, patience.0.len()), (FILES_MAX, FILES_MAX));
        assert!(patience.again("0".into(), 5 * S));
        assert_eq!(patience.due(2 * S).len(), FILES_MAX - 1);
    }
}
