//! Instruments that are only listened to: what is common to all of them.
//!
//! A style is a way to cut the stream ([`Cutter`]) and a way to read the pieces ([`Reader`]).

use crate::driver::{Driver, Input, Never, Output};
use crate::reading::Now;
use crate::wire::lines::Line;

/// Cuts a stream into lines, frames or whole reports. Every byte belongs to one piece; pieces
/// depend on the bytes and on when they came, never on how reads cut them.
pub trait Cutter: Send + Sync + core::fmt::Debug {
    /// Bytes that one read returned.
    fn push(&mut self, now: Now, bytes: &[u8]);

    /// The next piece, `None` when more bytes or the deadline are needed.
    fn take(&mut self) -> Option<Line>;

    /// The deadline may have come. Does nothing before it.
    fn tick(&mut self, now: Now);

    /// When [`Cutter::tick`] would end what waits.
    fn deadline(&self) -> Option<Now>;

    /// Starts a fresh stream at offset 0 and gives up what was held.
    fn open(&mut self) -> Option<Line>;

    /// Offset of the first byte that is not yet given out.
    fn offset(&self) -> u64;
}

/// Says what a piece means. What it does not understand becomes a note, never nothing.
pub trait Reader: Send {
    /// A fresh stream began.
    fn open(&mut self);

    /// What a piece says first, or all that it says.
    fn read(&mut self, piece: &Line) -> Output<Never>;

    /// What it says besides; `None` when all is said.
    fn more(&mut self) -> Option<Output<Never>> {
        None
    }
}

/// A listen-only driver. Sends nothing, by type.
#[derive(Debug)]
pub struct Listener<C, R> {
    cutter: C,
    reader: R,
    given_up: Option<Line>,
}

impl<C: Cutter, R: Reader> Listener<C, R> {
    /// A driver of a cutter and a reader.
    #[must_use]
    pub fn of(cutter: C, reader: R) -> Listener<C, R> {
        Listener { cutter, reader, given_up: None }
    }
}

impl<C: Cutter, R: Reader> Driver for Listener<C, R> {
    type Sends = Never;

    fn handle(&mut self, now: Now, input: Input<'_>) {
        match input {
            Input::Open => {
                self.given_up = self.cutter.open();
                self.reader.open();
            }
            Input::Bytes(bytes) => self.cutter.push(now, bytes),
            Input::Tick => self.cutter.tick(now),
            Input::Want(_) => {}
        }
    }

    fn poll(&mut self) -> Option<Output<Never>> {
        if let Some(piece) = self.given_up.take() {
            return Some(Output::Note(piece.note("held", None)));
        }
        if let Some(output) = self.reader.more() {
            return Some(output);
        }
        let piece = self.cutter.take()?;
        Some(self.reader.read(&piece))
    }

    fn deadline(&self) -> Option<Now> {
        self.cutter.deadline()
    }
}
