//! Frames of a fixed number of bytes: what stands in which place, and a checksum.

use alloc::vec::Vec;

use super::meaning::{Field, Fields, Meaning};
use crate::frame::marks::{Mark, Marks};
use crate::wire::frames::{self, Look};

/// What stands in some bytes of a frame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Content {
    /// A field.
    Field(Field),
    /// Always these bytes.
    Always(Vec<u8>),
    /// One byte of bits: mask and what a set one says.
    Bits(Vec<(u8, Bit)>),
    /// The checksum.
    Check,
}

/// What a set bit says. A bit that is set and is in no row makes the frame one that is not
/// understood.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bit {
    /// Nothing: it is always set.
    Always,
    /// Something.
    Says(Mark),
}

/// Some bytes of a frame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// First byte, from 0.
    pub from: usize,
    /// Behind the last byte.
    pub to: usize,
    /// What stands there.
    pub content: Content,
}

/// How a checksum is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The sum of the bytes, its lowest eight bits.
    Sum8,
    /// The sum of the bytes, its lowest sixteen bits, high byte first.
    Sum16,
    /// The same, low byte first.
    Sum16LowFirst,
    /// The exclusive or of the bytes.
    Xor8,
}

/// A checksum.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Check {
    /// How it is made.
    pub kind: Kind,
    /// First byte that it covers, from 0.
    pub from: usize,
    /// Behind the last byte that it covers.
    pub to: usize,
    /// Where it stands, from 0.
    pub at: usize,
}

/// Which bytes may stand in a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Set([u64; 4]);

/// A frame of a fixed number of bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fixed {
    parts: Vec<Part>,
    check: Option<Check>,
    places: Vec<Set>,
}

impl Set {
    fn of(fits: impl Fn(u8) -> bool) -> Set {
        let mut set = Set::default();
        for byte in (0..=u8::MAX).filter(|byte| fits(*byte)) {
            set.0[usize::from(byte >> 6)] |= 1 << (byte & 63);
        }
        set
    }

    fn has(self, byte: u8) -> bool {
        self.0[usize::from(byte >> 6)] >> (byte & 63) & 1 == 1
    }
}

impl Kind {
    /// Bytes that it takes.
    #[must_use]
    pub fn width(self) -> usize {
        match self {
            Kind::Sum8 | Kind::Xor8 => 1,
            Kind::Sum16 | Kind::Sum16LowFirst => 2,
        }
    }

    /// The checksum of some bytes, as it is sent.
    #[must_use]
    pub fn of(self, bytes: &[u8]) -> Vec<u8> {
        let sum = bytes.iter().fold(0_u16, |sum, byte| sum.wrapping_add(u16::from(*byte)));
        let [high, low] = [(sum >> 8) & 0xff, sum & 0xff].map(|b| u8::try_from(b).unwrap_or(0));
        match self {
            Kind::Sum8 => [low].into(),
            Kind::Sum16 => [high, low].into(),
            Kind::Sum16LowFirst => [low, high].into(),
            Kind::Xor8 => [bytes.iter().fold(0, |all, byte| all ^ byte)].into(),
        }
    }
}

impl Check {
    fn holds(&self, frame: &[u8]) -> bool {
        let covered = frame.get(self.from..self.to);
        let sent = frame.get(self.at..self.at + self.kind.width());
        covered.zip(sent).is_some_and(|(covered, sent)| self.kind.of(covered) == sent)
    }
}

impl Fixed {
    /// A frame of `length` bytes; what is in no part may be anything.
    #[must_use]
    pub fn new(length: usize, parts: Vec<Part>, check: Option<Check>, meaning: &Meaning) -> Fixed {
        let mut places = alloc::vec![Set::of(|_| true); length.min(super::LONGEST)];
        for part in &parts {
            for at in part.from..part.to.min(places.len()) {
                places[at] = may(part, at - part.from, meaning);
            }
        }
        Fixed { parts, check, places }
    }

    /// The checksum.
    #[must_use]
    pub fn check(&self) -> Option<Check> {
        self.check
    }

    /// Its parts.
    #[must_use]
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// How many bytes.
    #[must_use]
    pub fn length(&self) -> usize {
        self.places.len()
    }

    pub(super) fn look(&self, bytes: &[u8]) -> Look {
        let place = |at: usize, byte| self.places.get(at).is_some_and(|set| set.has(byte));
        match frames::fixed(bytes, self.length(), place) {
            Look::Frame(length) if self.check.is_some_and(|c| !c.holds(&bytes[..length])) => {
                Look::No
            }
            look => look,
        }
    }

    pub(super) fn fields<'f>(&self, frame: &'f [u8]) -> Option<Fields<'f>> {
        let mut fields = Fields::default();
        for part in &self.parts {
            let bytes = frame.get(part.from..part.to)?;
            match &part.content {
                Content::Field(field) => fields.put(*field, bytes),
                Content::Bits(rows) => bits(rows, *bytes.first()?, &mut fields.marks)?,
                Content::Always(_) | Content::Check => {}
            }
        }
        Some(fields)
    }
}

fn bits(rows: &[(u8, Bit)], byte: u8, marks: &mut Marks) -> Option<()> {
    for mask in (0..8).map(|bit| 1_u8 << bit) {
        let row = rows.iter().find(|(own, _)| *own == mask).map(|(_, bit)| *bit);
        match (byte & mask != 0, row) {
            (true, Some(Bit::Says(mark))) => marks.take(mark)?,
            (true, None) | (false, Some(Bit::Always)) => return None,
            (true, Some(Bit::Always)) | (false, _) => {}
        }
    }
    Some(())
}

/// What may stand in the byte `at` of a part.
fn may(part: &Part, at: usize, meaning: &Meaning) -> Set {
    match &part.content {
        Content::Always(bytes) => Set::of(|byte| bytes.get(at) == Some(&byte)),
        Content::Bits(rows) => Set::of(|byte| bits(rows, byte, &mut Marks::default()).is_some()),
        Content::Check | Content::Field(Field::Skip) => Set::of(|_| true),
        Content::Field(Field::Value) => {
            let letters = meaning.letters();
            Set::of(|byte| byte == b' ' || letters.contains(&byte))
        }
        Content::Field(field) => {
            let (width, codes) = (part.to - part.from, meaning.codes(*field).unwrap_or_default());
            // A code that is shorter than its field may stand at either end of it.
            let fits = |code: &&[u8], byte| match code.len() == width {
                true => code.get(at) == Some(&byte),
                false => byte == b' ' || code.contains(&byte),
            };
            Set::of(|byte| codes.iter().any(|code| fits(code, byte)))
        }
    }
}
