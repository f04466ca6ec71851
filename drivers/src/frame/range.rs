//! `range11` and `range14`: seven-bit characters, a range, digits, a function and option bits.
//!
//! `range digits function status options CR LF`. `range11` has four digits and two options, 2400
//! (also 19200) 7O1, and sends each conversion twice: a public multimeter manual ("data acquisition
//! function"), a second one ("twice every conversion") and one page of a chip's datasheet. `range14`
//! has five digits and four options, 19200 7O1: from memory. The maps differ between chips of one
//! shape, so they are data. A row that is not there is a measurement that we have no table for.
//! Another chip of `range11` has voltage, diode and frequency under other characters; its table was
//! not read, so such a meter is to be described in a file.
//!
//! On overload the digits are 4000 on the line: only the overload bit is believed.

use super::marks::{Mark, Marks, Table};
use super::pair::Pair;
use super::{MALFORMED, OTHER, Said, Style, number};
use crate::reading::{Flag, Indication};
use crate::unit::{Prefix, Quantity};
use crate::wire::frames::{Look, Shape, fixed};

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 1;

/// One conversion, milliseconds.
pub const PERIOD_MS: u32 = 400;

/// Digits behind the point and prefix of a range.
type Range = (u8, Prefix);

/// A chip's map.
struct Map {
    digits: usize,
    /// Function character, unit, and its ranges in the order of the range character from `0`.
    functions: &'static [(u8, Quantity, &'static [Range])],
    flags: Table,
}

/// Four digits, two options.
pub static RANGE11: Style = Style {
    shape: Shape { look: |bytes| look(bytes, 11), silence_us: 50_000 },
    read: |frame| read(frame, &MAP11),
    // A block takes 46 ms at 2400 baud, an adapter may hold it for 16 ms, a conversion 250 ms.
    pair: Pair::Twice { within_us: 150_000 },
};

/// Five digits, four options.
pub static RANGE14: Style = Style {
    shape: Shape { look: |bytes| look(bytes, 14), silence_us: 50_000 },
    read: |frame| read(frame, &MAP14),
    pair: Pair::Equal { within_us: 1_000_000 },
};

const MAP11: Map = Map {
    digits: 4,
    functions: &[
        (
            b';',
            Quantity::Volt,
            &[
                (1, Prefix::Milli),
                (3, Prefix::One),
                (2, Prefix::One),
                (1, Prefix::One),
                (0, Prefix::One),
            ],
        ),
        (b'9', Quantity::Ampere, &[(2, Prefix::Milli), (1, Prefix::Milli)]),
        (
            b'3',
            Quantity::Ohm,
            &[
                (1, Prefix::One),
                (3, Prefix::Kilo),
                (2, Prefix::Kilo),
                (1, Prefix::Kilo),
                (3, Prefix::Mega),
                (2, Prefix::Mega),
            ],
        ),
    ],
    flags: Table {
        bytes: &[(6, 0x0f), (7, 0x0f), (8, 0x0f)],
        marks: &[
            // What the judge bit means depends on a function that is not in the table.
            (6, 8, Mark::Other),
            (6, 4, Mark::Minus),
            (6, 2, Mark::Flag(Flag::LowBattery)),
            (6, 1, Mark::Over),
            (8, 8, Mark::Dc),
            (8, 4, Mark::Ac),
            (8, 2, Mark::Flag(Flag::AutoRange)),
            (8, 1, Mark::Nothing),
        ],
    },
};

const MAP14: Map = Map {
    digits: 5,
    functions: &[
        (
            b';',
            Quantity::Volt,
            &[
                (4, Prefix::One),
                (3, Prefix::One),
                (2, Prefix::One),
                (1, Prefix::One),
                (2, Prefix::Milli),
            ],
        ),
        (
            b'3',
            Quantity::Ohm,
            &[
                (2, Prefix::One),
                (4, Prefix::Kilo),
                (3, Prefix::Kilo),
                (2, Prefix::Kilo),
                (4, Prefix::Mega),
                (3, Prefix::Mega),
                (2, Prefix::Mega),
            ],
        ),
    ],
    flags: Table {
        bytes: &[(7, 0x0f), (8, 0x0f), (9, 0x0f), (10, 0x0f), (11, 0x0f)],
        marks: &[
            (7, 8, Mark::Other),
            (7, 4, Mark::Minus),
            (7, 2, Mark::Flag(Flag::LowBattery)),
            (7, 1, Mark::Over),
            (8, 8, Mark::Flag(Flag::Max)),
            (8, 4, Mark::Flag(Flag::Min)),
            (8, 2, Mark::Flag(Flag::Relative)),
            (9, 4, Mark::Flag(Flag::Peak)),
            (9, 2, Mark::Flag(Flag::Peak)),
            (10, 8, Mark::Dc),
            (10, 4, Mark::Ac),
            (10, 2, Mark::Flag(Flag::AutoRange)),
            (11, 2, Mark::Flag(Flag::Hold)),
        ],
    },
};

/// All of `0` to `?`, then CR LF; what follows the range and the digits is checked when read.
fn look(bytes: &[u8], length: usize) -> Look {
    fixed(bytes, length, |at, byte| match length - at {
        1 => byte == b'\n',
        2 => byte == b'\r',
        _ => (b'0'..=b'?').contains(&byte),
    })
}

fn read(frame: &[u8], map: &Map) -> Said {
    let Some(marks) = map.flags.read(frame) else { return MALFORMED };
    let (range, digits, function) =
        (frame[0] - b'0', &frame[1..=map.digits], frame[map.digits + 1]);
    let known = map.functions.iter().find(|(code, ..)| *code == function);
    let Some((_, quantity, ranges)) = known else { return OTHER };
    let Some((places, prefix)) = ranges.get(usize::from(range)) else { return MALFORMED };
    let indication = match number(marks.minus, digits, *places) {
        _ if marks.over => marks.overload(),
        Some(number) => Indication::Value(number),
        None => return MALFORMED,
    };
    Marks { quantity: Some(*quantity), prefix: Some(*prefix), ..marks }.said(indication)
}
