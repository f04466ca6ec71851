//! What the fields of a frame mean: codes to words of ours, digits to a number.

use alloc::vec::Vec;

use crate::frame::marks::{Mark, Marks};
use crate::frame::{MALFORMED, OTHER, Said, Shown, number};
use crate::reading::{Function, Indication};
use crate::unit::Unit;
use crate::wire::number::{Numeric, numeric};
use crate::wire::words::indication;

/// What a field of a frame is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Field {
    /// The code of what is measured.
    Function,
    /// The code of the unit.
    Unit,
    /// The number, or what stands for it.
    Value,
    /// The code of the sign.
    Sign,
    /// The code of the range: digits behind the point and unit.
    Range,
    /// The code of the place of the point.
    Point,
    /// A code that says something about the reading.
    Flag,
    /// Bytes that say nothing that matters to a value.
    Skip,
}

/// The fields of a file with their names.
pub const FIELDS: [(&str, Field); 8] = [
    ("function", Field::Function),
    ("unit", Field::Unit),
    ("value", Field::Value),
    ("sign", Field::Sign),
    ("range", Field::Range),
    ("point", Field::Point),
    ("flag", Field::Flag),
    ("skip", Field::Skip),
];

impl Field {
    /// Its name in a file.
    #[must_use]
    pub fn name(self) -> &'static str {
        FIELDS.iter().find(|(_, field)| *field == self).map_or("", |(name, _)| name)
    }

    /// The field of a name.
    #[must_use]
    pub fn named(name: &str) -> Option<Field> {
        FIELDS.iter().find(|(known, _)| *known == name).map(|(_, field)| *field)
    }
}

/// Codes as they are sent, blanks around them taken off, and what they mean.
pub type Codes<T> = Vec<(Vec<u8>, T)>;

/// Something that is always the same, or stands in a field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Known<T> {
    /// Always the same.
    Always(T),
    /// By the code in its field.
    Sent(Codes<T>),
}

/// What is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Measured {
    /// `None`: something that a reading has no place for.
    pub function: Option<Function>,
    /// Its unit, where the code tells that, too.
    pub unit: Option<Unit>,
}

/// What stands in place of a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Word {
    /// Beyond the range.
    Overload,
    /// Nothing that could be a value.
    Nothing,
}

/// What the first character of a value makes of the number behind it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bound {
    /// More than it.
    Above,
    /// Less than it.
    Below,
}

/// A range of the instrument.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Range {
    /// Its code means this only when that is measured.
    pub function: Option<Function>,
    /// Its code.
    pub code: Vec<u8>,
    /// Digits behind the point, 0 to 15.
    pub places: u8,
    /// Its unit.
    pub unit: Unit,
}

/// Where the point of a number is known from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Places {
    /// It is sent with the number.
    Sent,
    /// So many digits always stand behind it, 0 to 15.
    Always(u8),
    /// By the code in the field `point`.
    Point(Codes<u8>),
    /// By the range, which also tells the unit.
    Range(Vec<Range>),
}

/// What the fields of a frame mean.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Meaning {
    /// What is measured.
    pub function: Known<Measured>,
    /// Unit; `None` where function or range tell it.
    pub unit: Option<Known<Unit>>,
    /// What may stand in place of a number.
    pub words: Codes<Word>,
    /// First characters of a value that make a bound of it.
    pub prefixes: Codes<Bound>,
    /// What the field `flag` may say.
    pub flags: Codes<Mark>,
    /// Codes of the field `sign`: `true` below zero.
    pub signs: Codes<bool>,
    /// Where the point is.
    pub places: Places,
    /// What is sent as the point: `.` or `,`.
    pub point: u8,
}

/// The fields of one frame.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Fields<'f> {
    /// Code of the function.
    pub function: Option<&'f [u8]>,
    /// Code of the unit.
    pub unit: Option<&'f [u8]>,
    /// The value.
    pub value: Option<&'f [u8]>,
    /// Code of the sign.
    pub sign: Option<&'f [u8]>,
    /// Code of the range.
    pub range: Option<&'f [u8]>,
    /// Code of the point.
    pub point: Option<&'f [u8]>,
    /// Codes about the reading.
    pub flags: Vec<&'f [u8]>,
    /// What bits said.
    pub marks: Marks,
}

impl<'f> Fields<'f> {
    pub(super) fn put(&mut self, field: Field, bytes: &'f [u8]) {
        let place = match field {
            Field::Function => &mut self.function,
            Field::Unit => &mut self.unit,
            Field::Value => &mut self.value,
            Field::Sign => &mut self.sign,
            Field::Range => &mut self.range,
            Field::Point => &mut self.point,
            Field::Flag => return self.flags.push(bytes),
            Field::Skip => return,
        };
        *place = Some(bytes);
    }
}

/// `bytes` without blanks (20 alone) at either end.
#[must_use]
pub fn bare(bytes: &[u8]) -> &[u8] {
    let from = bytes.iter().position(|b| *b != b' ').unwrap_or(bytes.len());
    let to = bytes.iter().rposition(|b| *b != b' ').map_or(from, |last| last + 1);
    &bytes[from..to]
}

fn among<T: Copy>(codes: &Codes<T>, sent: Option<&[u8]>) -> Option<T> {
    let sent = bare(sent?);
    codes.iter().find(|(code, _)| code == sent).map(|(_, meaning)| *meaning)
}

impl<T: Copy> Known<T> {
    fn of(&self, sent: Option<&[u8]>) -> Option<T> {
        match self {
            Known::Always(one) => Some(*one),
            Known::Sent(codes) => among(codes, sent),
        }
    }
}

impl Meaning {
    /// What a frame with these fields says.
    #[must_use]
    pub fn said(&self, fields: &Fields<'_>) -> Said {
        let Some(measured) = self.function.of(fields.function) else { return MALFORMED };
        let Some(marks) = self.marks(fields) else { return MALFORMED };
        let Some(function) = measured.function.filter(|_| !marks.other) else { return OTHER };
        self.shown(function, measured.unit, fields, marks).map_or(MALFORMED, Said::Shown)
    }

    fn shown(
        &self,
        function: Function,
        unit: Option<Unit>,
        fields: &Fields<'_>,
        marks: Marks,
    ) -> Option<Shown> {
        let (places, ranged) = self.place(function, fields)?;
        let own = || self.unit.as_ref().and_then(|unit| unit.of(fields.unit));
        let unit = unit.or(ranged).or_else(own)?;
        if function.quantity() != Some(unit.quantity) {
            return None;
        }
        let minus = match fields.sign {
            Some(_) => Some(among(&self.signs, fields.sign)?),
            None => marks.minus.then_some(true),
        };
        let indication = match marks.over {
            true => Marks { minus: minus == Some(true), ..marks.clone() }.overload(),
            false => self.indication(fields.value?, minus, places)?,
        };
        Some(Shown { function, indication, unit, flags: marks.flags.into_iter().collect() })
    }

    fn marks(&self, fields: &Fields<'_>) -> Option<Marks> {
        let mut marks = fields.marks.clone();
        for flag in &fields.flags {
            marks.take(among(&self.flags, Some(flag))?)?;
        }
        Some(marks)
    }

    /// Digits behind the point where they are not sent, and the unit of the range.
    fn place(&self, function: Function, fields: &Fields<'_>) -> Option<(Option<u8>, Option<Unit>)> {
        match &self.places {
            Places::Sent => Some((None, None)),
            Places::Always(places) => Some((Some(*places), None)),
            Places::Point(codes) => Some((Some(among(codes, fields.point)?), None)),
            Places::Range(ranges) => {
                let sent = bare(fields.range?);
                let fits = |range: &&Range| range.function.is_none_or(|own| own == function);
                let range = ranges.iter().filter(fits).find(|range| range.code == sent)?;
                Some((Some(range.places), Some(range.unit)))
            }
        }
    }

    /// `minus`: told elsewhere than in the value, which then has no sign of its own.
    fn indication(
        &self,
        value: &[u8],
        minus: Option<bool>,
        places: Option<u8>,
    ) -> Option<Indication> {
        let (sent, below) = (bare(value), minus == Some(true));
        match among(&self.words, Some(sent)) {
            // The far end of the other sign is no bound.
            Some(Word::Overload) if !below => return Some(Indication::Overload),
            Some(_) => return Some(Indication::NoValue),
            None => {}
        }
        let bound = sent.split_at_checked(1).and_then(|(first, rest)| {
            among(&self.prefixes, Some(first).filter(|f| *f != b" ")).map(|bound| (bound, rest))
        });
        let Some((bound, rest)) = bound else { return self.number(sent, minus, places) };
        match (bound, self.number(rest, minus, places)?) {
            (Bound::Above, Indication::Value(n)) if !n.negative => Some(Indication::Above(n)),
            (Bound::Below, Indication::Value(n)) if !n.negative => Some(Indication::Below(n)),
            _ => None,
        }
    }

    fn number(&self, sent: &[u8], minus: Option<bool>, places: Option<u8>) -> Option<Indication> {
        let (signed, digits) = match sent {
            [b'+', rest @ ..] => (Some(false), rest),
            [b'-', rest @ ..] => (Some(true), rest),
            _ => (None, sent),
        };
        if minus.is_some() && signed.is_some() {
            return None;
        }
        let negative = minus.or(signed).unwrap_or(false);
        if let Some(places) = places {
            return number(negative, bare(digits), places).map(Indication::Value);
        }
        let pointed = |byte: &u8| match *byte {
            byte if byte == self.point => Some(b'.'),
            b'.' => None,
            byte => Some(byte),
        };
        // No second sign behind the first.
        let first = bare(digits).first().is_some_and(|b| b.is_ascii_digit() || *b == self.point);
        let text: Vec<u8> = bare(digits).iter().map(pointed).collect::<Option<_>>()?;
        let said = match numeric(&text).filter(|_| first)? {
            Numeric::Infinity { .. } => Numeric::Infinity { negative },
            Numeric::Value(value) => Numeric::Value(crate::number::Number { negative, ..value }),
            Numeric::NotANumber => Numeric::NotANumber,
        };
        Some(indication(said))
    }

    /// These bytes can be a value: a number, a bound or one of the words.
    pub(super) fn is_value(&self, bytes: &[u8]) -> bool {
        let places = (self.places != Places::Sent).then_some(0);
        bytes == bare(bytes) && self.indication(bytes, None, places).is_some()
    }

    /// The codes that a field may hold; `None` for a value and for what is not read.
    #[must_use]
    pub fn codes(&self, field: Field) -> Option<Vec<&[u8]>> {
        fn of<T>(codes: &Codes<T>) -> Vec<&[u8]> {
            codes.iter().map(|(code, _)| code.as_slice()).collect()
        }
        match field {
            Field::Value | Field::Skip => None,
            Field::Function => match &self.function {
                Known::Sent(codes) => Some(of(codes)),
                Known::Always(_) => Some(Vec::new()),
            },
            Field::Unit => match &self.unit {
                Some(Known::Sent(codes)) => Some(of(codes)),
                _ => Some(Vec::new()),
            },
            Field::Sign => Some(of(&self.signs)),
            Field::Flag => Some(of(&self.flags)),
            Field::Point => match &self.places {
                Places::Point(codes) => Some(of(codes)),
                _ => Some(Vec::new()),
            },
            Field::Range => match &self.places {
                Places::Range(rows) => Some(rows.iter().map(|row| &row.code[..]).collect()),
                _ => Some(Vec::new()),
            },
        }
    }

    /// Bytes that a number may be made of, its bound included.
    #[must_use]
    pub fn digits(&self) -> Vec<u8> {
        let mut digits: Vec<u8> = b"0123456789+-".to_vec();
        if self.places == Places::Sent {
            digits.extend([self.point, b'e', b'E']);
        }
        digits.extend(self.prefixes.iter().flat_map(|(prefix, _)| prefix));
        digits
    }

    /// Bytes that a value may be made of, blanks left out.
    #[must_use]
    pub fn letters(&self) -> Vec<u8> {
        let mut letters = self.digits();
        letters.extend(self.words.iter().flat_map(|(word, _)| word));
        letters
    }
}
