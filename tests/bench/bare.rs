//! The grammars alone, written with nom over whole bytes: no stream, no cutting at reads, no
//! stamps, no notes. What a driver costs beyond this is what it is for.

use nom::branch::alt;
use nom::bytes::complete::{tag, take, take_while1};
use nom::character::complete::{digit1, i8, one_of};
use nom::combinator::{map_opt, opt, value};
use nom::sequence::{preceded, terminated};
use nom::{IResult, Parser};

/// Sign, digits as an integer, power of ten of the last.
fn decimal(bytes: &[u8]) -> IResult<&[u8], (bool, u64, i8)> {
    let (rest, sign) = opt(one_of("+-")).parse(bytes)?;
    let (rest, whole) = digit1.parse(rest)?;
    let (rest, part) = opt(preceded(tag(&b"."[..]), digit1)).parse(rest)?;
    let (rest, power) = opt(preceded(one_of("eE"), i8)).parse(rest)?;
    let part = part.unwrap_or_default();
    let all = whole.iter().chain(part);
    let digits = all.fold(0_u64, |sum, byte| sum.wrapping_mul(10) + u64::from(byte - b'0'));
    let places = i8::try_from(part.len()).unwrap_or(i8::MAX);
    Ok((rest, (sign == Some('-'), digits, power.unwrap_or(0).saturating_sub(places))))
}

/// `+1.98000000E-01\r\n`
pub(crate) fn number(bytes: &[u8]) -> Option<(&[u8], u64)> {
    let mut line = terminated(decimal, tag(&b"\r\n"[..]));
    line.parse(bytes).ok().map(|(rest, (_, digits, _))| (rest, digits))
}

/// `R4 +0.182 Ohm\r\n`
pub(crate) fn line(bytes: &[u8]) -> Option<(&[u8], u64)> {
    let function = alt((
        value(0, tag(&b"R4"[..])),
        value(1, tag(&b"R2"[..])),
        value(2, tag(&b"DCV"[..])),
        value(3, tag(&b"ACV"[..])),
    ));
    let unit = map_opt(take_while1(|byte| byte > b' '), |unit: &[u8]| match unit {
        b"Ohm" => Some(0),
        b"mOhm" => Some(-3),
        b"kOhm" => Some(3),
        b"V" => Some(0),
        b"mV" => Some(-3),
        _ => None,
    });
    let blank = || tag(&b" "[..]);
    let read = (terminated(function, blank()), terminated(decimal, blank()), unit);
    let mut line = terminated(read, tag(&b"\r\n"[..]));
    let (rest, (_, (_, digits, _), _)) = line.parse(bytes).ok()?;
    Some((rest, digits))
}

/// Fourteen bytes with their places and four digits of segments.
pub(crate) fn segments(bytes: &[u8]) -> Option<(&[u8], u64)> {
    let mut frame = map_opt(take(14_usize), |frame: &[u8]| {
        let places = frame.iter().enumerate().all(|(at, byte)| usize::from(byte >> 4) == at + 1);
        let digits = [1, 3, 5, 7].map(|at| digit((frame[at] & 7) << 4 | frame[at + 1] & 15));
        places.then_some(digits)
    });
    let read = frame.parse(bytes) as IResult<&[u8], [Option<u64>; 4]>;
    let (rest, digits) = read.ok()?;
    let digits = digits.into_iter().try_fold(0, |sum, digit| Some(sum * 10 + digit?))?;
    Some((rest, digits))
}

fn digit(segments: u8) -> Option<u64> {
    let shown = [0x7d, 0x05, 0x5b, 0x1f, 0x27, 0x3e, 0x7e, 0x15, 0x7f, 0x3f];
    shown.iter().position(|known| *known == segments).map(|digit| digit as u64)
}
