//! `stx16`: 16 characters from STX to CR, all text. 9600 8N1.
//!
//! `STX version display unit unit polarity point digits*8 CR`, as one table in four public manuals.
//! Beyond the range the digits are arrows whose codes are not printed: whatever is no digit is no
//! value. Nothing but 9 600 baud and a pull resistor in the lead: silence may be the lead.

use super::pair::Pair;
use super::{MALFORMED, OTHER, Said, Shown, Style, number};
use crate::reading::{Function, Indication};
use crate::unit::Unit;
use crate::wire::frames::{Look, Shape, fixed};

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 1;

/// One conversion, milliseconds.
pub const PERIOD_MS: u32 = 1_000;

/// The style.
pub static STYLE: Style = Style {
    shape: Shape { look, silence_us: 50_000 },
    read,
    pair: Pair::Equal { within_us: 2_500_000 },
};

/// Unit codes; those that are missing measure what a reading has no place for.
const UNITS: &[(&[u8], Function, &str)] = &[
    (b"18", Function::VoltageDc, "mV"),
    (b"34", Function::VoltageDc, "V"),
    (b"49", Function::VoltageAc, "mV"),
    (b"50", Function::VoltageAc, "V"),
    (b"35", Function::CurrentDc, "uA"),
    (b"37", Function::CurrentDc, "mA"),
    (b"36", Function::CurrentDc, "A"),
    (b"51", Function::CurrentAc, "uA"),
    (b"53", Function::CurrentAc, "mA"),
    (b"52", Function::CurrentAc, "A"),
    (b"38", Function::Resistance2w, "Ohm"),
    (b"39", Function::Resistance2w, "kOhm"),
    (b"40", Function::Resistance2w, "MOhm"),
    (b"31", Function::Frequency, "Hz"),
    (b"33", Function::Frequency, "kHz"),
    (b"67", Function::Frequency, "MHz"),
];

fn look(bytes: &[u8]) -> Look {
    fixed(bytes, 16, |at, byte| match at {
        0 => byte == 2,
        1 => (b'0'..=b'4').contains(&byte),
        2..=4 | 6 => byte.is_ascii_digit(),
        5 => matches!(byte, b'0' | b'1'),
        15 => byte == b'\r',
        _ => !matches!(byte, 0 | 2 | b'\r' | b'\n'),
    })
}

fn read(frame: &[u8]) -> Said {
    // Display 0 is the time, the others are second displays of the same instrument.
    let row = UNITS.iter().find(|(code, ..)| *code == &frame[3..5]);
    let Some((_, function, unit)) = row.filter(|_| frame[2] == b'1') else { return OTHER };
    let (digits, places) = (&frame[7..15], frame[6] - b'0');
    let indication = match number(frame[5] == b'1', digits, places) {
        Some(_) if places > 7 => return MALFORMED,
        Some(number) => Indication::Value(number),
        None => Indication::NoValue,
    };
    match Unit::from_ucum(unit) {
        Some(unit) => {
            let (function, flags) = (*function, alloc::vec::Vec::new());
            Said::Shown(Shown { function, indication, unit, flags })
        }
        None => MALFORMED,
    }
}
