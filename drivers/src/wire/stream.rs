//! The bytes of a link that nobody has taken yet, with their place and the stamps of their reads.

use alloc::collections::VecDeque;
use alloc::vec::Vec;

use crate::reading::{Now, Span};

/// What was read and is not yet given out. Its user bounds it: nothing is dropped here.
#[derive(Debug, Clone, Default)]
pub struct Stream {
    held: Vec<u8>,
    head: usize,
    offset: u64,
    stamps: VecDeque<(u64, Now)>,
}

impl Stream {
    /// An empty stream at offset 0.
    #[must_use]
    pub fn new() -> Stream {
        Stream::default()
    }

    /// Bytes that one read returned.
    pub fn push(&mut self, now: Now, bytes: &[u8]) {
        if bytes.is_empty() {
            return;
        }
        self.held.drain(..self.head);
        self.head = 0;
        if self.stamps.back().is_none_or(|(_, stamp)| *stamp != now) {
            self.stamps.push_back((self.end(), now));
        }
        self.held.extend_from_slice(bytes);
    }

    /// What is held.
    #[must_use]
    pub fn tail(&self) -> &[u8] {
        &self.held[self.head..]
    }

    /// Offset of the first byte that is held.
    #[must_use]
    pub fn offset(&self) -> u64 {
        self.offset
    }

    /// Offset behind the last byte that is held.
    #[must_use]
    pub fn end(&self) -> u64 {
        self.offset + self.tail().len() as u64
    }

    /// When the byte at an offset was read; of the newest bytes when there is none yet.
    #[must_use]
    pub fn stamp(&self, offset: u64) -> Now {
        let after = self.stamps.partition_point(|(from, _)| *from <= offset);
        after.checked_sub(1).and_then(|at| self.stamps.get(at)).map_or(Now(0), |(_, now)| *now)
    }

    /// When the newest byte was read, `None` when nothing is held.
    #[must_use]
    pub fn newest(&self) -> Option<Now> {
        self.tail().last().map(|_| self.stamp(self.end() - 1))
    }

    /// Gives out the first `length` bytes, of which there must be so many: only their span is
    /// told, so look at them before.
    pub fn give(&mut self, length: usize) -> Span {
        let length = length.min(self.tail().len());
        let span = Span { from: self.offset, to: self.offset + length as u64 };
        self.head += length;
        self.offset = span.to;
        while self.stamps.get(1).is_some_and(|(from, _)| *from <= self.offset) {
            self.stamps.pop_front();
        }
        span
    }
}
