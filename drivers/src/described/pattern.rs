//! A line as people write it down: `{function} {value} {unit}`.
//!
//! `{field}` stands for what is sent there, a blank for one blank or more, everything else for
//! itself. A field ends where the text behind it first stands; two fields without anything between
//! are told apart by the codes of one of them, and only when that can be done in one way. Whatever
//! could be read in two ways is refused beforehand ([`Pattern::faults`]), or is no reading.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use super::meaning::{FIELDS, Field, Fields, Meaning};
use crate::wire::{blank, trim};

/// Most pieces of a pattern.
const PIECES_MAX: usize = 32;

/// A pattern.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pattern(Vec<Piece>);

#[derive(Debug, Clone, PartialEq, Eq)]
enum Piece {
    /// Itself.
    Text(Vec<u8>),
    /// One blank or more.
    Blank,
    /// A field.
    Field(Field),
}

impl Pattern {
    /// Reads a pattern.
    ///
    /// # Errors
    /// What is wrong with it, in words.
    pub fn parse(text: &str) -> Result<Pattern, String> {
        let mut pieces: Vec<Piece> = Vec::new();
        let mut rest = text;
        while let Some(c) = rest.chars().next() {
            let piece;
            (piece, rest) = match c {
                '{' => field(&rest[1..])?,
                '}' => return Err("a `}` without `{` before it".into()),
                ' ' => (Piece::Blank, rest.trim_start_matches(' ')),
                _ => plain(rest)?,
            };
            pieces.push(piece);
        }
        if pieces.len() > PIECES_MAX {
            return Err(format!("more than {PIECES_MAX} pieces"));
        }
        let outer = [pieces.first(), pieces.last()];
        if outer.iter().flatten().any(|piece| **piece == Piece::Blank) {
            return Err("blanks around a line are passed over: leave them out here".into());
        }
        Ok(Pattern(pieces))
    }

    /// Its fields, in order.
    pub fn names(&self) -> impl Iterator<Item = Field> {
        self.0.iter().filter_map(|piece| match piece {
            Piece::Field(field) => Some(*field),
            _ => None,
        })
    }

    /// The fewest bytes that a line of it has.
    #[must_use]
    pub fn shortest(&self, meaning: &Meaning) -> usize {
        let least = |field| {
            let codes = meaning.codes(field).unwrap_or_default();
            codes.iter().map(|code| code.len()).min().unwrap_or(1).max(1)
        };
        let length = |piece: &Piece| match piece {
            Piece::Text(text) => text.len(),
            Piece::Blank => 1,
            Piece::Field(field) => least(*field),
        };
        self.0.iter().map(length).sum()
    }

    /// The fields of a line; `None` when it is none of this pattern.
    pub(super) fn fields<'l>(&self, line: &'l [u8], meaning: &Meaning) -> Option<Fields<'l>> {
        let mut fields = Fields::default();
        let mut rest = trim(line);
        let mut pieces = &self.0[..];
        while let Some((piece, behind)) = pieces.split_first() {
            pieces = behind;
            match piece {
                Piece::Text(text) => rest = rest.strip_prefix(&text[..])?,
                Piece::Blank => {
                    let blanks = rest.iter().take_while(|byte| blank(**byte)).count();
                    rest = Some(&rest[blanks..]).filter(|_| blanks > 0)?;
                }
                Piece::Field(first) => {
                    let second = match behind.first() {
                        Some(Piece::Field(second)) => Some(*second),
                        _ => None,
                    };
                    pieces = &behind[usize::from(second.is_some())..];
                    let sent;
                    (sent, rest) = rest.split_at(stop(rest, pieces.first())?);
                    put(&mut fields, (*first, second), sent, meaning)?;
                }
            }
        }
        rest.is_empty().then_some(fields)
    }

    /// Everything by which a line could be read in two ways, in words.
    #[must_use]
    pub fn faults(&self, meaning: &Meaning) -> Vec<String> {
        let mut faults = Vec::new();
        for (_, field) in FIELDS {
            let count = self.names().filter(|other| *other == field).count();
            if count > 1 && !matches!(field, Field::Flag | Field::Skip) {
                faults.push(format!("`{{{}}}` stands there twice", field.name()));
            }
        }
        if self.names().all(|field| field != Field::Value) {
            faults.push("needs a `{value}`".to_string());
        }
        for (at, piece) in self.0.iter().enumerate() {
            let Piece::Field(field) = piece else { continue };
            let behind = self.0.get(at + 1..).unwrap_or_default();
            faults.extend(match behind {
                [Piece::Field(_), Piece::Field(_), ..] => {
                    Some("three fields without anything between them can't be told apart".into())
                }
                [Piece::Field(second), ..] => glued(*field, *second, meaning),
                [Piece::Text(text), ..] => ends(*field, text, meaning),
                [Piece::Blank, ..] => ends(*field, b" ", meaning),
                [] => None,
            });
        }
        faults
    }
}

fn field(rest: &str) -> Result<(Piece, &str), String> {
    let (name, rest) = rest.split_once('}').ok_or("a `{` without `}` behind it")?;
    let known = || FIELDS.map(|(name, _)| name).join(", ");
    let field = Field::named(name);
    let field = field.ok_or_else(|| format!("no field `{{{name}}}`; there are {}", known()))?;
    Ok((Piece::Field(field), rest))
}

fn plain(rest: &str) -> Result<(Piece, &str), String> {
    let (text, rest) = rest.split_at(rest.find(['{', '}', ' ']).unwrap_or(rest.len()));
    let byte = |c: char| u8::try_from(c).map_err(|_| format!("`{c}` is more than one byte"));
    Ok((Piece::Text(text.chars().map(byte).collect::<Result<_, _>>()?), rest))
}

/// Where the field in front of a piece ends.
fn stop(rest: &[u8], next: Option<&Piece>) -> Option<usize> {
    match next {
        None => Some(rest.len()),
        Some(Piece::Text(text)) => rest.windows(text.len()).position(|at| at == &text[..]),
        Some(Piece::Blank) => rest.iter().position(|byte| blank(*byte)),
        // Three fields in a row: refused.
        Some(Piece::Field(_)) => None,
    }
}

fn put<'l>(
    fields: &mut Fields<'l>,
    (first, second): (Field, Option<Field>),
    sent: &'l [u8],
    meaning: &Meaning,
) -> Option<()> {
    let parts = match second {
        None => [(first, sent), (Field::Skip, b"-")],
        Some(second) => {
            let (one, other) = sent.split_at(split(first, second, sent, meaning)?);
            [(first, one), (second, other)]
        }
    };
    for (field, part) in parts {
        let seen = field != Field::Skip || part.iter().all(u8::is_ascii_graphic);
        if part.is_empty() || !seen {
            return None;
        }
        fields.put(field, part);
    }
    Some(())
}

/// Where the second of two fields begins, when that can be said in one way.
fn split(first: Field, second: Field, sent: &[u8], meaning: &Meaning) -> Option<usize> {
    let mut places = (1..sent.len()).filter(|at| {
        let (one, other) = sent.split_at(*at);
        let fits = |field, part| match meaning.codes(field) {
            Some(codes) => codes.contains(&part),
            None => field == Field::Value && meaning.is_value(part),
        };
        fits(first, one) && fits(second, other)
    });
    let place = places.next();
    place.filter(|_| places.next().is_none())
}

/// A value and codes beside each other: no code may go on as a number does, and a word beside a
/// code must be told from it in one way.
fn glued(first: Field, second: Field, meaning: &Meaning) -> Option<String> {
    let ahead = first == Field::Value;
    let codes = match (ahead, second) {
        (true, second) => meaning.codes(second),
        (false, Field::Value) => meaning.codes(first),
        (false, _) => None,
    };
    let pair = format!("`{{{}}}{{{}}}`", first.name(), second.name());
    let Some(codes) = codes else {
        return Some(format!("{pair} can't be told apart: put what stands between them there"));
    };
    let digits = meaning.digits();
    let wordy = |code: &[u8]| {
        meaning.words.iter().all(|(word, _)| {
            let both = if ahead { [word, code] } else { [code, word] }.concat();
            split(first, second, &both, meaning).is_some()
        })
    };
    let edge = |code: &[u8]| if ahead { code.first().copied() } else { code.last().copied() };
    let clear = |code: &[u8]| edge(code).is_some_and(|b| !digits.contains(&b)) && wordy(code);
    let code = codes.into_iter().find(|code| !clear(code)).map(crate::wire::latin)?;
    Some(format!("{pair} is ambiguous: where the value ends is not clear beside `{code}`"))
}

/// A field and the text that ends it: it must not stand inside.
fn ends(field: Field, text: &[u8], meaning: &Meaning) -> Option<String> {
    let inside = |part: &[u8]| part.windows(text.len()).any(|at| at == text);
    let shown = crate::wire::latin(text);
    let letters = meaning.letters();
    match meaning.codes(field) {
        None if field == Field::Value && text.iter().all(|byte| letters.contains(byte)) => {
            Some(format!("ambiguous: `{shown}` behind `{{value}}` may be a part of it"))
        }
        None => None,
        Some(codes) => codes.into_iter().find(|code| inside(code)).map(|code| {
            let (name, code) = (field.name(), crate::wire::latin(code));
            format!("ambiguous: `{shown}` ends `{{{name}}}` and stands in its code `{code}`")
        }),
    }
}
