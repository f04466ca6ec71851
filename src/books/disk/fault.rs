//! How a disk in memory fails: what a power cut leaves, what an error leaves, what a system
//! believes of bytes that it could not write.

use std::io;
use std::ops::Range;

/// What the end of a life leaves of bytes and names that were not synced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Crash {
    /// The power went: nothing of it.
    LoseAll,
    /// The power went: all of it.
    KeepAll,
    /// The power went: all names; of each file's unsynced bytes the first n.
    Tear(usize),
    /// The power went: all names and all lengths, but unsynced bytes are zero up to the last n of
    /// each file, as when pages reach the disk out of order.
    Holes(usize),
    /// The power went: a coin, thrown from this seed, says for each name and for the bytes of each
    /// file whether and how much of it stayed. A rename never loses both of its names.
    Coin(u64),
    /// The process was killed and the system lives: all of it can be read, and a power cut can
    /// still take it.
    Killed,
}

/// One call that fails.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fault {
    /// Which call from now on; the next is 1.
    pub nth: u64,
    /// Calls that only look count too.
    pub looks: bool,
    /// What the system says.
    pub kind: io::ErrorKind,
    /// What was done of it all the same.
    pub done: Done,
}

/// What a call that failed has done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Done {
    /// Nothing. Of a sync: the bytes count as written from now on and are not, see fsync(2),
    /// ERRORS, and `vfs: report writeback errors` (Linux 4.13).
    Nothing,
    /// Of a write the first bytes; else nothing.
    Bytes(usize),
    /// All of it: the error came afterwards.
    All,
}

/// Throws of a coin that a seed decides (SplitMix64; constants from memory).
pub(super) struct Coin(u64);

impl Coin {
    pub(super) fn of(how: Crash) -> Coin {
        Coin(if let Crash::Coin(seed) = how { seed } else { 0 })
    }

    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        usize::try_from((z ^ (z >> 31)) % end.max(1) as u64).expect("below a size")
    }

    pub(super) fn head(&mut self) -> bool {
        self.below(2) == 0
    }

    /// What happens to the bytes of one file of which `unsynced` are not on disk.
    fn crash(&mut self, unsynced: usize) -> Crash {
        match self.below(4) {
            0 => Crash::LoseAll,
            1 => Crash::KeepAll,
            2 => Crash::Tear(self.below(unsynced + 1)),
            _ => Crash::Holes(self.below(unsynced + 1)),
        }
    }
}

/// A file's bytes.
#[derive(Debug, Default, Clone)]
pub(super) struct Bytes {
    /// What a reader gets.
    pub(super) now: Vec<u8>,
    /// What a power cut can't take.
    pub(super) durable: Vec<u8>,
    /// Bytes that the system believes written since a sync failed, and that are not.
    clean: Option<Range<usize>>,
}

impl Bytes {
    /// Bytes that are durable.
    pub(super) fn kept(bytes: &[u8]) -> Bytes {
        Bytes { now: bytes.to_vec(), durable: bytes.to_vec(), clean: None }
    }

    /// Makes durable what the system knows to be unwritten: not what it believes written.
    pub(super) fn sync(&mut self) {
        self.durable = self.on_disk();
    }

    /// A sync that failed: see [`Done::Nothing`].
    pub(super) fn fail_sync(&mut self) {
        let from = self.clean.as_ref().map_or(self.common(), |range| range.start);
        if from < self.now.len() {
            self.clean = Some(from..self.now.len());
        }
    }

    /// Syncs, and forgets what is held in memory: a reader gets what the disk has.
    pub(super) fn settle(&mut self) {
        self.sync();
        self.now = self.durable.clone();
        self.clean = None;
    }

    pub(super) fn truncate(&mut self, length: usize) {
        self.now.truncate(length);
        self.clean = self.clean.take().filter(|range| range.start < length);
        if let Some(range) = &mut self.clean {
            range.end = range.end.min(length);
        }
        self.sync();
    }

    /// The power goes.
    pub(super) fn crash(&mut self, how: Crash, coin: &mut Coin) {
        self.now = self.on_disk();
        self.clean = None;
        let common = self.common();
        let how = match how {
            Crash::Coin(_) => coin.crash(self.now.len() - common),
            how => how,
        };
        match how {
            Crash::LoseAll => self.now = self.durable.clone(),
            Crash::KeepAll | Crash::Coin(_) | Crash::Killed => {}
            // A cut that was not synced comes undone; of an append the first bytes stay.
            Crash::Tear(_) | Crash::Holes(_) if common < self.durable.len() => {
                self.now = self.durable.clone();
            }
            Crash::Tear(n) => self.now.truncate(common.saturating_add(n)),
            Crash::Holes(n) => {
                let kept = self.now.len().saturating_sub(n).max(common);
                self.now[common..kept].fill(0);
            }
        }
        self.durable = self.now.clone();
    }

    /// What the disk can have at most: bytes that only seem written are missing at the end, and
    /// zero before others.
    fn on_disk(&self) -> Vec<u8> {
        let mut bytes = self.now.clone();
        match &self.clean {
            Some(range) if range.end >= bytes.len() => bytes.truncate(range.start),
            Some(range) => bytes[range.clone()].fill(0),
            None => {}
        }
        bytes
    }

    fn common(&self) -> usize {
        self.now.iter().zip(&self.durable).take_while(|(a, b)| a == b).count()
    }
}
