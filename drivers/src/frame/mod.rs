//! Talk-only instruments that send frames of one shape: what is common to them.
//!
//! A style is a shape, a function from a frame to what it says, and a rule for shapes without a
//! checksum: there a flipped bit may give another digit, so a value needs two equal frames
//! ([`Pair`]). The frame that is not yet paired is a reading like any other, with its bytes, and
//! says `unpaired`: it is shown and never judged. Held back until its twin came, its bytes would
//! lie without a span; left out, a meter whose last digit flickers would seem silent.

pub mod ascii14;
pub mod envelope;
pub mod fixed14;
pub mod marks;
pub mod nib11;
pub mod pair;
pub mod range;
pub mod seg14;
pub mod stx16;
#[cfg(test)]
mod tests;

use alloc::vec::Vec;

use crate::driver::{Never, Output};
use crate::listen::{Listener, Reader};
use crate::number::Number;
use crate::reading::{Flag, Function, Indication, Reading};
use crate::unit::Unit;
use crate::wire::frames::{Frames, Shape};
use crate::wire::lines::Line;
use crate::wire::parity;
use pair::{Pair, Pairing};

/// A style of instrument.
#[derive(Debug)]
pub struct Style {
    /// How its frames are told from the rest.
    pub shape: Shape,
    /// What a frame says.
    pub read: fn(&[u8]) -> Said,
    /// When it is believed.
    pub pair: Pair,
}

/// What a frame says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Said {
    /// What it shows.
    Shown(Shown),
    /// Nothing that is a reading: the word of a note.
    Note(&'static str),
}

/// What the instrument shows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shown {
    /// What it measures.
    pub function: Function,
    /// What it indicates.
    pub indication: Indication,
    /// In which unit.
    pub unit: Unit,
    /// What it says about it, sorted, without doubles.
    pub flags: Vec<Flag>,
}

/// A frame that can't be understood.
pub const MALFORMED: Said = Said::Note("malformed");

/// A frame in order, of something that a reading has no place for.
pub const OTHER: Said = Said::Note("other_function");

/// A listen-only driver for a style.
pub type Framed = Listener<Frames, FrameReader>;

impl Framed {
    /// A driver for a style.
    #[must_use]
    pub fn new(style: &'static Style) -> Framed {
        Listener::of(Frames::new(style.shape), FrameReader::new(style))
    }
}

/// Reads frames one by one, suspects the first and waits for the second of a pair.
#[derive(Debug)]
pub struct FrameReader {
    style: &'static Style,
    fresh: bool,
    pairing: Pairing,
}

impl FrameReader {
    /// A reader that has seen nothing.
    #[must_use]
    pub fn new(style: &'static Style) -> FrameReader {
        FrameReader { style, fresh: false, pairing: Pairing::new(style.pair) }
    }

    /// The first frame after opening may have begun before it or be stale; it makes no pair.
    fn shown(&mut self, frame: &Line, shown: Shown) -> Reading {
        let why = if core::mem::take(&mut self.fresh) {
            Some("first_after_open")
        } else {
            self.pairing.doubt(frame.first, &shown)
        };
        shown.reading(frame, why)
    }
}

impl Shown {
    /// The reading of a frame or line that shows this.
    #[must_use]
    pub fn reading(self, line: &Line, why: Option<&'static str>) -> Reading {
        let Shown { function, indication, unit, flags } = self;
        Reading { flags, why, ..line.reading(indication, function, unit) }
    }

    /// Its number has no digit that is too small to be compared.
    #[must_use]
    pub fn held(&self) -> bool {
        self.indication.number().is_none_or(|number| self.unit.holds(number))
    }
}

impl Reader for FrameReader {
    fn open(&mut self) {
        *self = FrameReader { fresh: true, ..FrameReader::new(self.style) };
    }

    fn read(&mut self, piece: &Line) -> Output<Never> {
        let said = if piece.ended { (self.style.read)(&piece.bytes) } else { MALFORMED };
        let word = match said {
            Said::Shown(shown) if shown.held() => {
                return Output::Reading(self.shown(piece, shown));
            }
            Said::Shown(_) => "malformed",
            Said::Note(word) => word,
        };
        self.pairing.broken();
        let note = piece.note(word, None);
        Output::Note(if piece.ended { note } else { parity::named(note, &piece.bytes) })
    }
}

/// Digits as sent, `places` of them behind the point; `None` for another byte among them and for
/// more than 15 digits.
#[must_use]
pub fn number(negative: bool, digits: &[u8], places: u8) -> Option<Number> {
    if digits.is_empty() || digits.len() > 15 || !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    let exponent = 0_i8.checked_sub_unsigned(places).filter(|_| places <= 15)?;
    let digits = digits.iter().fold(0, |sum, byte| sum * 10 + u64::from(byte - b'0'));
    Some(Number { negative, digits, exponent })
}
