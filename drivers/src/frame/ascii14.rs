//! `ascii14`: sign, four digits, a point code, four bytes of flags, a bar. 2400 8N1.
//!
//! `sign d d d d blank point SB1 SB2 SB3 SB4 bar CR LF`, from memory of the chip's datasheet. Flags
//! may be CR or LF themselves, so the frame is found by its length and the place of its end.

use super::marks::{Mark, Marks, Table};
use super::pair::Pair;
use super::{MALFORMED, Said, Style, number};
use crate::reading::{Flag, Indication};
use crate::unit::{Prefix, Quantity};
use crate::wire::frames::{Look, Shape, fixed};

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 1;

/// One conversion, milliseconds.
pub const PERIOD_MS: u32 = 400;

/// The style.
pub static STYLE: Style = Style {
    shape: Shape { look, silence_us: 100_000 },
    read,
    pair: Pair::Equal { within_us: 1_000_000 },
};

/// Point codes and the digits behind the point.
const POINTS: &[(u8, u8)] = &[(b'0', 0), (b'1', 3), (b'2', 2), (b'4', 1)];

/// What stands in place of the digits beyond the range.
const OVER: &[u8] = b"?0:?";

const FLAGS: Table = Table {
    bytes: &[(7, 0xff), (8, 0xff), (9, 0xff), (10, 0xff)],
    marks: &[
        (7, 0x20, Mark::Flag(Flag::AutoRange)),
        (7, 0x10, Mark::Dc),
        (7, 0x08, Mark::Ac),
        (7, 0x04, Mark::Flag(Flag::Relative)),
        (7, 0x02, Mark::Flag(Flag::Hold)),
        (8, 0x20, Mark::Flag(Flag::Max)),
        (8, 0x10, Mark::Flag(Flag::Min)),
        (8, 0x08, Mark::Nothing),
        (8, 0x04, Mark::Flag(Flag::LowBattery)),
        (8, 0x02, Mark::Prefix(Prefix::Nano)),
        (9, 0x80, Mark::Prefix(Prefix::Micro)),
        (9, 0x40, Mark::Prefix(Prefix::Milli)),
        (9, 0x20, Mark::Prefix(Prefix::Kilo)),
        (9, 0x10, Mark::Prefix(Prefix::Mega)),
        (9, 0x08, Mark::Other),
        (9, 0x04, Mark::Other),
        (9, 0x02, Mark::Other),
        (10, 0x80, Mark::Quantity(Quantity::Volt)),
        (10, 0x40, Mark::Quantity(Quantity::Ampere)),
        (10, 0x20, Mark::Quantity(Quantity::Ohm)),
        (10, 0x10, Mark::Other),
        (10, 0x08, Mark::Quantity(Quantity::Hertz)),
        (10, 0x04, Mark::Other),
        (10, 0x02, Mark::Other),
        (10, 0x01, Mark::Other),
    ],
};

fn look(bytes: &[u8]) -> Look {
    fixed(bytes, 14, |at, byte| match at {
        0 => matches!(byte, b'+' | b'-'),
        1..=4 => (b'0'..=b'?').contains(&byte),
        5 => byte == b' ',
        6 => POINTS.iter().any(|(code, _)| *code == byte),
        12 => byte == b'\r',
        13 => byte == b'\n',
        _ => true,
    })
}

fn read(frame: &[u8]) -> Said {
    let Some(marks) = FLAGS.read(frame) else { return MALFORMED };
    let marks = Marks { minus: frame[0] == b'-', ..marks };
    let digits = &frame[1..5];
    let places = POINTS.iter().find(|(code, _)| *code == frame[6]).map_or(0, |(_, places)| *places);
    let indication = match number(marks.minus, digits, places) {
        _ if digits == OVER => marks.overload(),
        Some(number) => Indication::Value(number),
        None => return MALFORMED,
    };
    marks.said(indication)
}
