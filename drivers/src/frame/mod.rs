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
pub mod range;
pub mod seg14;
pub mod stx16;
#[cfg(test)]
mod tests;

use alloc::vec::Vec;

use crate::driver::{Never, Output};
use crate::listen::{Listener, Reader};
use crate::number::Number;
use crate::reading::{Flag, Function, Indication, Now, Reading};
use crate::unit::Unit;
use crate::wire::frames::{Frames, Shape};
use crate::wire::lines::Line;
use crate::wire::parity;

/// When a frame is believed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pair {
    /// At once: it has a checksum.
    Checked,
    /// When it says the same as the frame before, which began at most this long before it.
    Equal {
        /// Microseconds from the beginning of one to the beginning of the next.
        within_us: u64,
    },
    /// The same, and each conversion is sent twice: a third frame begins a pair of its own, so
    /// that a conversion is one value.
    Twice {
        /// Microseconds from the beginning of one to the beginning of its copy.
        within_us: u64,
    },
}

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
    before: Option<(Shown, Now)>,
}

impl FrameReader {
    /// A reader that has seen nothing.
    #[must_use]
    pub fn new(style: &'static Style) -> FrameReader {
        FrameReader { style, fresh: false, before: None }
    }

    fn shown(&mut self, frame: &Line, shown: Shown) -> Reading {
        let why = self.doubt(frame.first, &shown);
        let Shown { function, indication, unit, flags } = shown;
        Reading { flags, why, ..frame.reading(indication, function, unit) }
    }

    /// Why it is not believed, if so. The first frame after opening may have begun before it or
    /// be stale, and believes nobody else either.
    fn doubt(&mut self, at: Now, shown: &Shown) -> Option<&'static str> {
        if core::mem::take(&mut self.fresh) {
            return Some("first_after_open");
        }
        let (within, once) = match self.style.pair {
            Pair::Checked => return None,
            Pair::Equal { within_us } => (within_us, false),
            Pair::Twice { within_us } => (within_us, true),
        };
        let before = self.before.take();
        let paired = before.is_some_and(|(s, was)| s == *shown && at.0 <= was.0 + within);
        if !(paired && once) {
            self.before = Some((shown.clone(), at));
        }
        (!paired).then_some("unpaired")
    }
}

impl Reader for FrameReader {
    fn open(&mut self) {
        *self = FrameReader { fresh: true, ..FrameReader::new(self.style) };
    }

    fn read(&mut self, piece: &Line) -> Output<Never> {
        let said = if piece.ended { (self.style.read)(&piece.bytes) } else { MALFORMED };
        let word = match said {
            Said::Shown(shown) if held(&shown) => {
                return Output::Reading(self.shown(piece, shown));
            }
            Said::Shown(_) => "malformed",
            Said::Note(word) => word,
        };
        self.before = None;
        let note = piece.note(word, None);
        Output::Note(if piece.ended { note } else { parity::named(note, &piece.bytes) })
    }
}

fn held(shown: &Shown) -> bool {
    shown.indication.number().is_none_or(|number| shown.unit.holds(number))
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
