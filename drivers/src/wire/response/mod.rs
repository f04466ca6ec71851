//! Whole answers of IEEE 488.2: units by `;`, items by `,`, every kind of item.
//!
//! IEEE 488.2-1992 8.4.1 to 8.4.3 (separators, headers), 8.7.1 to 8.7.10 (items) and 8.5
//! (terminators). The clause of integers is quoted in a public programming guide, `#HA2F #Q62
//! #B01011` and the definite block stand in public manuals, the rest is from memory. Beyond the
//! standard, as public manuals and test suites of general-purpose libraries show: units behind
//! numbers, header letters glued to a signed number, blanks and NUL in front of the end.
//!
//! A `;`, a `,` or an end inside quotes or a block is data. What a number of 9.89E37 and more means
//! is [`super::number`]'s to say: it is never a value. That other numbers mean "open leads" on some
//! meter is the driver's to say, never this grammar's: 1E9 is one meter's sentinel and another's
//! reading.

use alloc::vec::Vec;

use nom::branch::alt;
use nom::bytes::complete::{tag, take, take_while, take_while_m_n, take_while1};
use nom::character::complete::one_of;
use nom::combinator::{all_consuming, map, map_opt, opt, peek, recognize, verify};
use nom::multi::separated_list1;
use nom::sequence::{pair, preceded, terminated};
use nom::{IResult, Parser};

use super::blank;
use super::list::quoted;
use super::number::{Numeric, leading};

/// One item of an answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Datum {
    /// A number.
    Number(Numeric),
    /// A number with letters behind it, a blank between them or not.
    Measured(Numeric, Vec<u8>),
    /// `#H`, `#Q` or `#B`.
    Based(u64),
    /// A word of capitals, digits and `_` (small letters are let pass).
    Word(Vec<u8>),
    /// What stood in quotes, doubled quotes folded.
    Text(Vec<u8>),
    /// The bytes of a block.
    Block(Vec<u8>),
    /// Nothing at all.
    Empty,
}

/// One unit of an answer: an optional header, and items.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unit {
    /// `FRES` of `FRES +1.0E+01,+3.0E-06`, `TI` of `TI+46.E-09`.
    pub header: Option<Vec<u8>>,
    /// At least one.
    pub data: Vec<Datum>,
}

/// Longest text of digits behind `#H`, `#Q` and `#B`.
const BASED_MAX: usize = 64;

/// Reads a whole answer, its end included. Blocks of more than `most` bytes are refused.
/// `None` for what is no answer.
///
/// A block of unknown length (`#0`) goes to the end of `bytes`, but for one LF, and comes last: on
/// a line without an END message only silence tells where it ends.
#[must_use]
pub fn answer(bytes: &[u8], most: usize) -> Option<Vec<Unit>> {
    let units = separated_list1(tag(&b";"[..]), |rest| unit(rest, most));
    let end = take_while(|byte| blank(byte) || matches!(byte, b'\r' | b'\n'));
    all_consuming(terminated(units, end)).parse(bytes).ok().map(|(_, units)| units)
}

/// `1` and `0`, and, though only commands should say so, `ON` and `OFF`. SCPI-99 volume 1, 7.3
/// (from memory).
#[must_use]
pub fn boolean(datum: &Datum) -> Option<bool> {
    match datum {
        Datum::Number(Numeric::Value(n)) if n.exponent == 0 && !n.negative && n.digits < 2 => {
            Some(n.digits == 1)
        }
        Datum::Word(word) if word.eq_ignore_ascii_case(b"ON") => Some(true),
        Datum::Word(word) if word.eq_ignore_ascii_case(b"OFF") => Some(false),
        _ => None,
    }
}

/// Where the first end of an answer stands: outside quotes and outside blocks, which begin where an
/// item does. Blocks of unknown length are none: see [`answer`]. `None` when more bytes are needed,
/// or more than `longest`.
#[must_use]
pub fn end(bytes: &[u8], longest: usize, is_end: impl Fn(u8) -> bool) -> Option<usize> {
    let (mut at, mut fresh) = (0, true);
    while let Some(&byte) = bytes.get(at) {
        if is_end(byte) {
            return Some(at);
        }
        at += match byte {
            b'"' => bytes[at + 1..].iter().position(|byte| *byte == b'"')? + 2,
            b'#' if fresh => match definite(&bytes[at..]) {
                Ok(Some(length)) if at + length > longest => 1,
                Ok(Some(length)) => length,
                Ok(None) => 1,
                Err(Short) => return None,
            },
            _ => 1,
        };
        fresh = matches!(byte, b',' | b';') || blank(byte);
    }
    None
}

/// More bytes are needed to tell.
struct Short;

/// Bytes of a definite block with its header; `None` when it is none.
fn definite(bytes: &[u8]) -> Result<Option<usize>, Short> {
    let Some(count) = bytes.get(1) else { return Err(Short) };
    if !(b'1'..=b'9').contains(count) {
        return Ok(None);
    }
    let count = usize::from(count - b'0');
    match bytes.get(2..2 + count) {
        Some(digits) => Ok(decimal(digits).map(|length| 2 + count + length)),
        // What can't become a length any more is not waited for.
        None if bytes[2..].iter().all(u8::is_ascii_digit) => Err(Short),
        None => Ok(None),
    }
}

fn decimal(digits: &[u8]) -> Option<usize> {
    let all = digits.iter().all(u8::is_ascii_digit);
    let value = || digits.iter().fold(0, |sum, byte| sum * 10 + usize::from(byte - b'0'));
    // At most nine digits.
    all.then(value)
}

fn unit(bytes: &[u8], most: usize) -> IResult<&[u8], Unit> {
    let (rest, _) = take_while(blank).parse(bytes)?;
    let (rest, header) = opt(header).parse(rest)?;
    let item = |rest| datum(rest, most);
    let (rest, data) = separated_list1(tag(&b","[..]), item).parse(rest)?;
    let header = header.map(<[u8]>::to_vec);
    Ok((rest, Unit { header, data }))
}

fn letter(byte: u8) -> bool {
    byte.is_ascii_alphabetic()
}

fn wordly(byte: u8) -> bool {
    byte.is_ascii_alphanumeric() || byte == b'_'
}

/// A header with blanks behind it and something else than an end, or letters glued to a sign.
fn header(bytes: &[u8]) -> IResult<&[u8], &[u8]> {
    let path = take_while(|byte| wordly(byte) || byte == b':');
    let name =
        recognize((opt(one_of("*:")), verify(peek(take(1_usize)), |b: &[u8]| letter(b[0])), path));
    let data = |byte| !matches!(byte, b',' | b';' | b'\r' | b'\n');
    let spaced = terminated(
        name,
        pair(take_while1(blank), peek(verify(take(1_usize), move |b: &[u8]| data(b[0])))),
    );
    alt((spaced, terminated(take_while1(letter), peek(one_of("+-"))))).parse(bytes)
}

fn datum(bytes: &[u8], most: usize) -> IResult<&[u8], Datum> {
    let blanks = || take_while(blank);
    let word =
        recognize(pair(verify(peek(take(1_usize)), |b: &[u8]| letter(b[0])), take_while1(wordly)));
    let marks = alt((tag(&b"----"[..]), tag(&b"****"[..])));
    let mut one = alt((
        map(quoted, Datum::Text),
        |rest| block(rest, most),
        map(based, Datum::Based),
        measured,
        map(marks, |marks: &[u8]| Datum::Word(marks.to_vec())),
        map(word, |word: &[u8]| Datum::Word(word.to_vec())),
    ));
    let (rest, _) = blanks().parse(bytes)?;
    match one.parse(rest) {
        Ok((rest, datum @ Datum::Block(_))) => Ok((rest, datum)),
        Ok((rest, datum)) => {
            let (rest, _) = blanks().parse(rest)?;
            Ok((rest, datum))
        }
        Err(_) => map(peek(ended), |()| Datum::Empty).parse(rest),
    }
}

/// Nothing more of this item.
fn ended(bytes: &[u8]) -> IResult<&[u8], ()> {
    match bytes.first() {
        None | Some(b',' | b';' | b'\r' | b'\n') => Ok((bytes, ())),
        Some(_) => nom::combinator::fail().parse(bytes),
    }
}

/// A number, alone or with letters behind it.
fn measured(bytes: &[u8]) -> IResult<&[u8], Datum> {
    let (rest, number) = leading(bytes)?;
    let mut suffix = preceded(take_while(blank), take_while1(letter));
    match suffix.parse(rest) as IResult<&[u8], &[u8]> {
        // An exponent without digits is no unit.
        Ok((_, letters)) if rest.starts_with(letters) && matches!(letters[0], b'E' | b'e') => {
            nom::combinator::fail().parse(bytes)
        }
        Ok((after, letters)) => Ok((after, Datum::Measured(number, letters.to_vec()))),
        Err(_) => Ok((rest, Datum::Number(number))),
    }
}

fn based(bytes: &[u8]) -> IResult<&[u8], u64> {
    let digits = |radix: u8| {
        let fits = move |byte: u8| char::from(byte).is_digit(u32::from(radix));
        map_opt(take_while_m_n(1, BASED_MAX, fits), move |digits: &[u8]| {
            let text = core::str::from_utf8(digits).ok()?;
            u64::from_str_radix(text, u32::from(radix)).ok()
        })
    };
    let form =
        |letters: &'static str, radix| preceded((tag(&b"#"[..]), one_of(letters)), digits(radix));
    alt((form("Hh", 16), form("Qq", 8), form("Bb", 2))).parse(bytes)
}

fn block(bytes: &[u8], most: usize) -> IResult<&[u8], Datum> {
    let (rest, _) = tag(&b"#"[..]).parse(bytes)?;
    let (rest, count) = map_opt(take(1_usize), decimal).parse(rest)?;
    if count == 0 {
        let length = rest.len() - usize::from(rest.ends_with(b"\n"));
        return map(verify(take(length), |b: &[u8]| b.len() <= most), |payload: &[u8]| {
            Datum::Block(payload.to_vec())
        })
        .parse(rest);
    }
    let (rest, length) = verify(map_opt(take(count), decimal), |n| *n <= most).parse(rest)?;
    map(take(length), |payload: &[u8]| Datum::Block(payload.to_vec())).parse(rest)
}

#[cfg(test)]
mod tests;
