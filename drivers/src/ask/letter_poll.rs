//! `letter-poll`: one letter asks. `K` for the model's number, `D` for what is shown.
//!
//! `K` → `NNN\r`; `D` → 22 characters of range, value and unit, `T1      -199.9  C    \r`. 9600
//! 8N1. Both as two public thermometer manuals print them; what the ranges of other quantities are
//! called is from memory. A temperature is in order and no reading.

use alloc::boxed::Box;
use alloc::vec::Vec;

use super::{Ask, Heard, Talk, What};
use crate::frame::Shown;
use crate::frame::pair::Pair;
use crate::reading::Function;
use crate::unit::Unit;
use crate::wire::lines::{Framing, Lines};
use crate::wire::words::shown;
use crate::wire::{blank, trim};

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 2;

/// All that is sent.
pub const IDENTITY: &[u8] = b"K";
/// All that is sent.
pub const READING: &[u8] = b"D";

/// Characters of an answer to `D`, CR not counted.
const LENGTH: usize = 21;

/// The style.
pub static TALK: Talk = Talk {
    identity: Some(IDENTITY),
    reading: READING,
    limit_us: 2_000_000,
    cut: || Box::new(Lines::new(Framing::text(64))),
    hear,
    pair: Pair::Equal { within_us: 3_000_000 },
};

/// Units as sent; the others measure what a reading has no place for.
const UNITS: &[(&[u8], Function, &str)] =
    &[(b"OHM", Function::Resistance2w, "Ohm"), (b"KOHM", Function::Resistance2w, "kOhm")];

fn hear(line: &[u8], ask: Ask, _: u8) -> Heard {
    let number = trim(line);
    let model = (1..=8).contains(&number.len()) && number.iter().all(u8::is_ascii_digit);
    Heard::all(match ask {
        Ask::Identity if model => What::Identity,
        Ask::Reading if line.len() == LENGTH => reading(line),
        _ => What::Stray,
    })
}

fn reading(line: &[u8]) -> What {
    let mut parts = line.split(|byte| blank(*byte)).filter(|part| !part.is_empty());
    let [Some(_), Some(value), Some(unit), None] = [(); 4].map(|()| parts.next()) else {
        return What::Note("malformed");
    };
    let Some(indication) = shown(value) else { return What::Note("malformed") };
    let known = UNITS.iter().find(|(code, ..)| *code == unit);
    let known = known.and_then(|(_, f, unit)| Some((*f, Unit::from_ucum(unit)?)));
    match known {
        Some((function, unit)) => {
            What::Shown(Shown { function, indication, unit, flags: Vec::new() })
        }
        None => What::Note("other_function"),
    }
}
