//! `envelope`: `AB CD`, a length, a payload, a sum. 9600 8N1.
//!
//! The envelope is of an open description of a handheld's protocol: the length counts payload and
//! sum, the sum is that of the length and the payload bytes. That the sum is sent high byte first,
//! and the layout of the payload of 14 bytes (mode, range, seven characters of the display, two of
//! the bar, three of flags), are from memory. Other payloads are in order and no reading.

use super::marks::{Mark, Table};
use super::pair::Pair;
use super::{MALFORMED, OTHER, Said, Shown, Style};
use crate::reading::{Flag, Function};
use crate::unit::Unit;
use crate::wire::frames::{Look, Shape};
use crate::wire::words::shown;

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 1;

/// One conversion, milliseconds.
pub const PERIOD_MS: u32 = 500;

/// Longest payload, bytes.
const PAYLOAD_MAX: u8 = 64;

/// The style.
pub static STYLE: Style =
    Style { shape: Shape { look, silence_us: 50_000 }, read, pair: Pair::Checked };

/// Modes with the units of their ranges from `0` on; the others are no reading.
const MODES: &[(u8, Function, &[&str])] = &[
    (0x00, Function::VoltageAc, &["V", "V", "V", "V"]),
    (0x01, Function::VoltageAc, &["mV"]),
    (0x02, Function::VoltageDc, &["V", "V", "V", "V"]),
    (0x03, Function::VoltageDc, &["mV"]),
    (0x04, Function::Frequency, &["Hz", "Hz", "kHz", "kHz", "kHz", "MHz", "MHz", "MHz"]),
    (0x06, Function::Resistance2w, &["Ohm", "kOhm", "kOhm", "kOhm", "MOhm", "MOhm", "MOhm"]),
    (0x0c, Function::CurrentDc, &["uA", "uA"]),
    (0x0d, Function::CurrentAc, &["uA", "uA"]),
    (0x0e, Function::CurrentDc, &["mA", "mA"]),
    (0x0f, Function::CurrentAc, &["mA", "mA"]),
    (0x10, Function::CurrentDc, &["A", "A"]),
    (0x11, Function::CurrentAc, &["A", "A"]),
];

/// Of the payload.
const FLAGS: Table = Table {
    bytes: &[(11, 0x0f), (12, 0x0f), (13, 0x0f)],
    marks: &[
        (11, 8, Mark::Flag(Flag::Max)),
        (11, 4, Mark::Flag(Flag::Min)),
        (11, 2, Mark::Flag(Flag::Hold)),
        (11, 1, Mark::Flag(Flag::Relative)),
        (12, 4, Mark::Flag(Flag::ManualRange)),
        (12, 2, Mark::Flag(Flag::LowBattery)),
        (12, 1, Mark::Nothing),
        (13, 8, Mark::Nothing),
        (13, 4, Mark::Flag(Flag::Peak)),
        (13, 2, Mark::Flag(Flag::Peak)),
        (13, 1, Mark::Nothing),
    ],
};

fn look(bytes: &[u8]) -> Look {
    let Some((header, rest)) = bytes.split_at_checked(3) else {
        return if b"\xab\xcd".starts_with(bytes) { Look::More } else { Look::No };
    };
    let [0xab, 0xcd, length] = *header else { return Look::No };
    if !(3..=PAYLOAD_MAX + 2).contains(&length) {
        return Look::No;
    }
    let Some((payload, sum)) = rest.split_at_checked(usize::from(length) - 2) else {
        return Look::More;
    };
    let [high, low, ..] = *sum else { return Look::More };
    let want = payload.iter().fold(u16::from(length), |sum, byte| sum + u16::from(*byte));
    let sent = u16::from(high) << 8 | u16::from(low);
    if want == sent { Look::Frame(usize::from(length) + 3) } else { Look::No }
}

fn read(frame: &[u8]) -> Said {
    let payload = &frame[3..frame.len() - 2];
    let [mode, range, ..] = *payload else { return OTHER };
    if payload.len() != 14 {
        return OTHER;
    }
    let known = MODES.iter().find(|(code, ..)| *code == mode);
    let Some((_, function, units)) = known else { return OTHER };
    let unit = range.checked_sub(b'0').and_then(|range| units.get(usize::from(range)));
    let unit = unit.and_then(|unit| Unit::from_ucum(unit));
    match (unit, shown(&payload[2..9]), FLAGS.read(payload)) {
        (Some(unit), Some(indication), Some(marks)) => {
            let (function, flags) = (*function, marks.flags.into_iter().collect());
            Said::Shown(Shown { function, indication, unit, flags })
        }
        _ => MALFORMED,
    }
}
