//! `fixed14`: two letters of function, seven characters of value, four of unit, CR.
//!
//! `DC-1.999    V\r`; 1200 or 600 baud 7N2. From memory. Many of its meters send only when asked
//! (`ask::FIXED14`), some by themselves: this is the frame of both.

use alloc::vec::Vec;

use super::pair::Pair;
use super::{MALFORMED, OTHER, Said, Shown, Style};
use crate::reading::Function;
use crate::unit::Unit;
use crate::wire::frames::{Look, Shape, fixed};
use crate::wire::trim;
use crate::wire::words::shown;

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 1;

/// One conversion, milliseconds.
pub const PERIOD_MS: u32 = 500;

/// The style.
pub static STYLE: Style = Style {
    shape: Shape { look, silence_us: 200_000 },
    read,
    pair: Pair::Equal { within_us: 2_500_000 },
};

/// Function letters, the unit as sent, what it is, its UCUM code. A function with another unit is
/// not understood; functions that are missing are no reading.
const UNITS: &[(&[u8], &[u8], Function, &str)] = &[
    (b"DC", b"mV", Function::VoltageDc, "mV"),
    (b"DC", b"V", Function::VoltageDc, "V"),
    (b"AC", b"mV", Function::VoltageAc, "mV"),
    (b"AC", b"V", Function::VoltageAc, "V"),
    (b"DC", b"uA", Function::CurrentDc, "uA"),
    (b"DC", b"mA", Function::CurrentDc, "mA"),
    (b"DC", b"A", Function::CurrentDc, "A"),
    (b"AC", b"uA", Function::CurrentAc, "uA"),
    (b"AC", b"mA", Function::CurrentAc, "mA"),
    (b"AC", b"A", Function::CurrentAc, "A"),
    (b"OH", b"Ohm", Function::Resistance2w, "Ohm"),
    (b"OH", b"kOhm", Function::Resistance2w, "kOhm"),
    (b"OH", b"MOhm", Function::Resistance2w, "MOhm"),
    (b"FR", b"Hz", Function::Frequency, "Hz"),
    (b"FR", b"kHz", Function::Frequency, "kHz"),
    (b"FR", b"MHz", Function::Frequency, "MHz"),
];

fn look(bytes: &[u8]) -> Look {
    fixed(bytes, 14, |at, byte| match at {
        0 | 1 => byte.is_ascii_uppercase(),
        2..=8 => matches!(byte, b'0'..=b'9' | b'+' | b'-' | b'.' | b' ' | b'O' | b'L'),
        13 => byte == b'\r',
        _ => matches!(byte, b'a'..=b'z' | b'A'..=b'Z' | b' ' | b'%'),
    })
}

/// What a frame says; also of a frame that was asked for.
pub(crate) fn read(frame: &[u8]) -> Said {
    let (function, sent) = (&frame[..2], trim(&frame[9..13]));
    if !UNITS.iter().any(|(code, ..)| *code == function) {
        return OTHER;
    }
    let row = UNITS.iter().find(|(code, unit, ..)| (*code, *unit) == (function, sent));
    let unit = row.and_then(|(_, _, function, unit)| Some((*function, Unit::from_ucum(unit)?)));
    match (unit, shown(&frame[2..9])) {
        (Some((function, unit)), Some(indication)) => {
            Said::Shown(Shown { function, indication, unit, flags: Vec::new() })
        }
        _ => MALFORMED,
    }
}
