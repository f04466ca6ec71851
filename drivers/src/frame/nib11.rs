//! `nib11`: five digits, a range, a function, two state bytes, CR LF. 2400 7O1.
//!
//! The order of digits, function and states and the function codes are printed in an adapter's
//! information sheet; the range, its tables and the bits of the states are from memory. A digit
//! that is none is no value: what the display showed instead is not known.

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

/// The style.
pub static STYLE: Style = Style {
    shape: Shape { look, silence_us: 100_000 },
    read,
    pair: Pair::Equal { within_us: 1_000_000 },
};

/// Digits behind the point and prefix of the ranges from `0` on; `None`: there is no such range.
type Ranges = &'static [Option<(u8, Prefix)>];

const VOLTS: Ranges = &[
    None,
    Some((4, Prefix::One)),
    Some((3, Prefix::One)),
    Some((2, Prefix::One)),
    Some((1, Prefix::One)),
];
const MILLIVOLTS: Ranges = &[Some((2, Prefix::Milli))];
const OHMS: Ranges = &[
    None,
    Some((2, Prefix::One)),
    Some((4, Prefix::Kilo)),
    Some((3, Prefix::Kilo)),
    Some((2, Prefix::Kilo)),
    Some((4, Prefix::Mega)),
    Some((3, Prefix::Mega)),
];
const MICROAMPERES: Ranges = &[Some((2, Prefix::Micro)), Some((1, Prefix::Micro))];
const MILLIAMPERES: Ranges = &[Some((3, Prefix::Milli)), Some((2, Prefix::Milli))];
const AMPERES: Ranges = &[None, Some((3, Prefix::One))];

/// How a function is coupled.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Coupling {
    Dc,
    Ac,
    /// The first state says it.
    Stated,
    /// There is none.
    Free,
}

/// Function nibbles; those that are missing measure what a reading has no place for.
const FUNCTIONS: &[(u8, Quantity, Coupling, Ranges)] = &[
    (b'0', Quantity::Volt, Coupling::Ac, MILLIVOLTS),
    (b'1', Quantity::Volt, Coupling::Dc, VOLTS),
    (b'2', Quantity::Volt, Coupling::Ac, VOLTS),
    (b'3', Quantity::Volt, Coupling::Dc, MILLIVOLTS),
    (b'4', Quantity::Ohm, Coupling::Free, OHMS),
    (b'7', Quantity::Ampere, Coupling::Stated, MICROAMPERES),
    (b'8', Quantity::Ampere, Coupling::Stated, MILLIAMPERES),
    (b'9', Quantity::Ampere, Coupling::Stated, AMPERES),
];

const STATES: Table = Table {
    bytes: &[(7, 0x0f), (8, 0x0f)],
    marks: &[
        (7, 2, Mark::Dc),
        (7, 1, Mark::Ac),
        (8, 4, Mark::Minus),
        (8, 2, Mark::Flag(Flag::ManualRange)),
        (8, 1, Mark::Flag(Flag::AutoRange)),
    ],
};

fn look(bytes: &[u8]) -> Look {
    fixed(bytes, 11, |at, byte| match at {
        9 => byte == b'\r',
        10 => byte == b'\n',
        _ => (b'0'..=b'?').contains(&byte),
    })
}

fn read(frame: &[u8]) -> Said {
    let Some(marks) = STATES.read(frame) else { return MALFORMED };
    let Some((_, quantity, coupling, ranges)) = FUNCTIONS.iter().find(|row| row.0 == frame[6])
    else {
        return OTHER;
    };
    let range = ranges.get(usize::from(frame[5] - b'0')).copied().flatten();
    let Some((places, prefix)) = range else { return MALFORMED };
    let indication =
        number(marks.minus, &frame[..5], places).map_or(Indication::NoValue, Indication::Value);
    let (dc, ac) = match coupling {
        Coupling::Dc if !marks.ac => (true, false),
        Coupling::Ac if !marks.dc => (false, true),
        Coupling::Stated => (marks.dc, marks.ac),
        Coupling::Free if !marks.ac => (false, false),
        // Direct and alternating at once.
        Coupling::Dc | Coupling::Ac | Coupling::Free => return OTHER,
    };
    Marks { quantity: Some(*quantity), prefix: Some(prefix), dc, ac, ..marks }.said(indication)
}
