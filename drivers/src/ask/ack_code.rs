//! `ack-code`: a digit says whether the question was understood, then comes the answer.
//!
//! `QM\r` → `0\r`, then `1.987E-1,OHM,NORMAL,NONE\r`: value, unit, state, attribute. The digit is 1
//! for bad syntax, 2 for not now, 5 for no data. 115200 8N1. From memory.

use alloc::boxed::Box;
use alloc::vec::Vec;

use super::{Ask, Heard, Talk, What};
use crate::frame::Shown;
use crate::frame::pair::Pair;
use crate::reading::{Function, Indication};
use crate::unit::Unit;
use crate::wire::lines::{Framing, Lines};
use crate::wire::trim;
use crate::wire::words::shown;

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 2;

/// All that is sent.
pub const IDENTITY: &[u8] = b"ID\r";
/// All that is sent.
pub const READING: &[u8] = b"QM\r";

/// The style. An exponent is one flipped bit away from another, so two answers have to agree.
pub static TALK: Talk = Talk {
    identity: Some(IDENTITY),
    reading: READING,
    limit_us: 2_000_000,
    cut: || Box::new(Lines::new(Framing::text(128))),
    hear,
    pair: Pair::Equal { within_us: 3_000_000 },
};

/// Units as sent; the others measure what a reading has no place for. Always base units.
const UNITS: &[(&[u8], Function, &str)] = &[
    (b"VDC", Function::VoltageDc, "V"),
    (b"VAC", Function::VoltageAc, "V"),
    (b"ADC", Function::CurrentDc, "A"),
    (b"AAC", Function::CurrentAc, "A"),
    (b"OHM", Function::Resistance2w, "Ohm"),
    (b"HZ", Function::Frequency, "Hz"),
];

fn hear(line: &[u8], ask: Ask, pieces: u8) -> Heard {
    match (ask, pieces, trim(line)) {
        (_, 0, b"0") => Heard::part(What::Note("answer")),
        (_, 0, b"1" | b"2" | b"5") => Heard::all(What::Note("error_queue")),
        (_, 0, _) => Heard::part(What::Stray),
        (Ask::Reading, _, line) if line.iter().filter(|byte| **byte == b',').count() == 3 => {
            Heard::all(reading(line))
        }
        (Ask::Identity, 1, line) if identity(line) => Heard::all(What::Identity),
        _ => Heard::part(What::Stray),
    }
}

/// Maker and model, version, serial number: three fields, so never a reading.
fn identity(line: &[u8]) -> bool {
    line.iter().filter(|byte| **byte == b',').count() == 2
        && line.iter().all(|byte| matches!(byte, b' '..=b'~'))
}

fn reading(line: &[u8]) -> What {
    let mut parts = line.split(|byte| *byte == b',').map(trim);
    let parts = [(); 4].map(|()| parts.next().unwrap_or_default());
    let [value, unit, state, attribute] = parts;
    let indication = match (shown(value), state) {
        (Some(indication @ Indication::Value(_)), b"NORMAL") => indication,
        (Some(_), b"OL") => Indication::Overload,
        (Some(_), b"NORMAL" | b"OL_MINUS" | b"INVALID" | b"BLANK") => Indication::NoValue,
        _ => return What::Note("malformed"),
    };
    let known = UNITS.iter().find(|(code, ..)| *code == unit);
    let known = known.and_then(|(_, f, unit)| Some((*f, Unit::from_ucum(unit)?)));
    match known {
        // Attributes say of a reading what we have no flag for.
        Some(_) if attribute != b"NONE" => What::Note("malformed"),
        Some((function, unit)) => {
            What::Shown(Shown { function, indication, unit, flags: Vec::new() })
        }
        None => What::Note("other_function"),
    }
}
