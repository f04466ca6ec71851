//! `seg14`: 14 bytes, a nibble of the display in each. 2400 8N1, free running, no checksum.
//!
//! The high nibble of byte i is i + 1. Byte 0 and the digits as in a public tutorial on such a
//! frame and in a forum thread on the same chip; the flags of bytes 9 to 13 from memory.
//!
//! | byte | bit 3 | bit 2 | bit 1 | bit 0 |
//! |---|---|---|---|---|
//! | 0 | AC | DC | auto | line on |
//! | 1, 3, 5, 7 | sign or point before the digit | e | f | a |
//! | 2, 4, 6, 8 | d | c | g | b |

use super::marks::{Mark, Table};
use super::pair::Pair;
use super::{MALFORMED, Said, Style, number};
use crate::reading::{Flag, Indication};
use crate::unit::{Prefix, Quantity};
use crate::wire::frames::{Shape, fixed};

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 1;

/// One conversion, milliseconds: two to four frames a second.
pub const PERIOD_MS: u32 = 500;

/// The style.
pub static STYLE: Style = Style {
    shape: Shape {
        look: |bytes| fixed(bytes, 14, |at, byte| usize::from(byte >> 4) == at + 1),
        silence_us: 100_000,
    },
    read,
    pair: Pair::Equal { within_us: 1_200_000 },
};

/// Segments and what they show: `e f a` of the first byte, then `d c g b` of the second.
const DIGITS: &[(u8, u8)] = &[
    (0x7d, b'0'),
    (0x05, b'1'),
    (0x5b, b'2'),
    (0x1f, b'3'),
    (0x27, b'4'),
    (0x3e, b'5'),
    (0x7e, b'6'),
    (0x15, b'7'),
    (0x7f, b'8'),
    (0x3f, b'9'),
    (0x00, b' '),
    (0x68, b'L'),
];

/// Bit 3 of byte 1 is the sign, of bytes 3, 5 and 7 the point before the digit.
const FLAGS: Table = Table {
    bytes: &[(0, 0x0f), (1, 0x08), (9, 0x0f), (10, 0x0f), (11, 0x0f), (12, 0x0f), (13, 0x0f)],
    marks: &[
        (0, 8, Mark::Ac),
        (0, 4, Mark::Dc),
        (0, 2, Mark::Flag(Flag::AutoRange)),
        (0, 1, Mark::Nothing),
        (1, 8, Mark::Minus),
        (9, 8, Mark::Prefix(Prefix::Micro)),
        (9, 4, Mark::Prefix(Prefix::Nano)),
        (9, 2, Mark::Prefix(Prefix::Kilo)),
        (9, 1, Mark::Other),
        (10, 8, Mark::Prefix(Prefix::Milli)),
        (10, 4, Mark::Other),
        (10, 2, Mark::Prefix(Prefix::Mega)),
        (10, 1, Mark::Other),
        (11, 8, Mark::Other),
        (11, 4, Mark::Quantity(Quantity::Ohm)),
        (11, 2, Mark::Flag(Flag::Relative)),
        (11, 1, Mark::Flag(Flag::Hold)),
        (12, 8, Mark::Quantity(Quantity::Ampere)),
        (12, 4, Mark::Quantity(Quantity::Volt)),
        (12, 2, Mark::Quantity(Quantity::Hertz)),
        (12, 1, Mark::Flag(Flag::LowBattery)),
        (13, 8, Mark::Other),
        (13, 4, Mark::Other),
        (13, 2, Mark::Other),
        (13, 1, Mark::Other),
    ],
};

fn read(frame: &[u8]) -> Said {
    let (Some(marks), Some(digits)) = (FLAGS.read(frame), digits(frame)) else { return MALFORMED };
    let shown = digits.trim_ascii_start();
    let indication = match (shown, places(frame)) {
        (b"", Some(_)) => Indication::NoValue,
        (b"0L" | b"0L ", Some(_)) => marks.overload(),
        (shown, Some(places)) => match number(marks.minus, shown, places) {
            // A point in front of a digit that is dark: no display of a number.
            Some(number) if shown.len() >= usize::from(places) => Indication::Value(number),
            _ => return MALFORMED,
        },
        _ => return MALFORMED,
    };
    marks.said(indication)
}

fn digits(frame: &[u8]) -> Option<[u8; 4]> {
    let mut digits = [0; 4];
    for (digit, pair) in digits.iter_mut().zip(frame.get(1..9)?.chunks_exact(2)) {
        let segments = (pair[0] & 0x07) << 4 | pair[1] & 0x0f;
        *digit = DIGITS.iter().find(|(seen, _)| *seen == segments)?.1;
    }
    Some(digits)
}

/// Digits behind the point, `None` for two points.
fn places(frame: &[u8]) -> Option<u8> {
    let points = [(3, 3), (5, 2), (7, 1)];
    let mut lit = points.iter().filter(|(at, _)| frame.get(*at).is_some_and(|b| b & 0x08 != 0));
    match (lit.next(), lit.next()) {
        (None, _) => Some(0),
        (Some((_, places)), None) => Some(*places),
        _ => None,
    }
}
