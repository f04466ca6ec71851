//! Meters and their keys.

use tapline_demo::hand::{Hand, Key, Meter};
use tapline_demo::person::{Deed, Does, What};
use tapline_demo::room::Clips;
use tapline_demo::world::Port;
use tapline_drivers::Function;

use super::{Mistake, NONE, hand, slips, slips_live};
use crate::validate::case::Case;

fn press(meter: Meter, key: Key) -> Deed {
    hand(Hand::Press { meter, key, on: true })
}

/// The low-resistance meter keeps hold and zero to itself.
fn silent(case: &mut Case) {
    case.scene.tells_flags = false;
}

/// The register says another thing of the voltmeter.
fn register(case: &mut Case, was: &str, is: &str) {
    let text = case.register.instruments.replace(was, is);
    assert_ne!(text, case.register.instruments, "{was}");
    case.register.instruments = text;
}

/// The inspection of a fixture has run out.
fn fixture(case: &mut Case, id: &str) {
    let text = &case.register.fixtures;
    let at = text.find(&format!("\"{id}\"")).expect("the bench has it");
    let (before, after) = text.split_at(at);
    let after = after.replacen("inspection_due = 2027", "inspection_due = 2025", 1);
    case.register.fixtures = format!("{before}{after}");
}

const REGISTER: &str = "what the register says of an instrument is believed";
const READ_IT: &str = "enter bandwidth and true r.m.s. from the maker's data, not from hope, and \
    have network and voltmeter calibrated as one at 1 kHz and above";

/// The low-resistance meter reads 20 % low: `R4 +0.350 Ohm` becomes `R4 +0.280 Ohm`.
fn low(bytes: &[u8]) -> Vec<u8> {
    let text = String::from_utf8_lossy(bytes);
    let shown = text.strip_prefix("R4 ").and_then(|rest| rest.split_once(' '));
    let number = shown.and_then(|(number, rest)| Some((number.parse::<f64>().ok()?, rest)));
    match number {
        Some((number, rest)) => format!("R4 {:+.3} {rest}", number * 0.8).into_bytes(),
        None => bytes.to_vec(),
    }
}

/// The first reading of a path is repeated for ever after.
fn frozen(bytes: Vec<u8>, held: &mut Vec<u8>) -> Vec<u8> {
    let text = String::from_utf8_lossy(&bytes);
    if held.is_empty() && !text.contains("OL") && !text.contains("0.05") {
        held.clone_from(&bytes);
    }
    if held.is_empty() { bytes } else { held.clone() }
}

const SLOW: &str = "bandwidth   = \"300 kHz\"";

pub(super) const ALL: &[Mistake] = &[
    Mistake {
        id: "hi-lo-swapped",
        says: "HI and LO exchanged, over a data cable that does not isolate",
        sets: |case| slips_live(case, Does::Swaps, What::HiLo),
        ..NONE
    },
    Mistake {
        id: "hi-lo-isolated",
        says: "HI and LO exchanged, over a data cable that isolates",
        does: |_, deed| match deed {
            Deed::Hand(Hand::Swap { .. }) => vec![hand(Hand::Swap { on: true, isolated: true })],
            other => vec![other],
        },
        ..NONE
    },
    Mistake {
        id: "milliampere-jack",
        says: "the lead in the milliampere jack",
        sets: |case| slips_live(case, Does::Plugs, What::MilliampereJack),
        ..NONE
    },
    Mistake {
        id: "range-too-low",
        says: "the voltmeter's range ends below the limit",
        sets: |case| slips_live(case, Does::Sets, What::LowRange),
        ..NONE
    },
    Mistake {
        id: "voltmeter-held",
        says: "the voltmeter's display is held",
        sets: |case| slips_live(case, Does::Presses, What::Hold),
        ..NONE
    },
    Mistake {
        id: "voltmeter-held-dead",
        says: "the voltmeter's display is held in ac volts, before the supply is on, and let go",
        does: |at, deed| match (&deed, at.asked.state.as_str()) {
            (Deed::Ask(_), "clear") => vec![press(Meter::Dmm, Key::Hold), deed],
            (Deed::Hand(Hand::Switch { .. }), "dead") => {
                vec![hand(Hand::Press { meter: Meter::Dmm, key: Key::Hold, on: false }), deed]
            }
            _ => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "voltmeter-held-live",
        says: "the voltmeter's display is held while the first polarity is measured, and stays so",
        does: |at, deed| match (&deed, at.asked.state.as_str()) {
            (Deed::Hand(Hand::Switch { .. }), "dead") if !at.last() => {
                vec![press(Meter::Dmm, Key::Hold), deed]
            }
            (Deed::Hand(Hand::Switch { .. }), "dead") => {
                vec![hand(Hand::Press { meter: Meter::Dmm, key: Key::Hold, on: false }), deed]
            }
            _ => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "turned-to-dc",
        says: "the voltmeter is turned to dc volts by hand",
        does: |at, deed| match matches!(deed, Deed::Ask(_)) && at.is("clear") {
            true => vec![hand(Hand::Turn { to: Function::VoltageDc }), deed],
            false => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "held",
        says: "the low-resistance meter's display is held in a window",
        sets: |case| slips(case, "pe", Does::Presses, What::Hold),
        ..NONE
    },
    Mistake {
        id: "held-silent",
        says: "the same, and the meter does not tell",
        sets: |case| {
            silent(case);
            slips(case, "pe", Does::Presses, What::Hold);
        },
        ..NONE
    },
    Mistake {
        id: "held-at-null",
        says: "its display is held since the null, and it does not tell",
        sets: silent,
        does: |at, deed| match at.is("null_apart") && matches!(deed, Deed::Hand(_)) {
            true => vec![press(Meter::Ohm, Key::Hold), deed],
            false => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "zeroed",
        says: "the zero key pressed at the null, and the meter tells",
        sets: |case| slips(case, "null", Does::Presses, What::Relative),
        ..NONE
    },
    Mistake {
        id: "zeroed-silent",
        says: "the zero key pressed at the null, and the meter does not tell",
        sets: |case| {
            silent(case);
            slips(case, "null", Does::Presses, What::Relative);
        },
        ..NONE
    },
    Mistake {
        id: "zeroed-after-null",
        says: "the zero key pressed on joined clips after the null, and the meter does not tell",
        cannot: "a meter that does not tell its zero key takes the leads away a second time, 0.058 \
            ohm here, and nothing on the wire differs",
        instead: "null in the station or in the meter, never in both; check the meter against 0.200 \
            ohm of a check standard after the null; use a meter that tells",
        sets: silent,
        does: |mut at, deed| match deed {
            Deed::Hand(Hand::Clips { to: Clips::Open }) if at.is("arm") && at.first(1) => {
                vec![press(Meter::Ohm, Key::Relative)]
            }
            other => vec![other],
        },
        ..NONE
    },
    Mistake {
        id: "zeroed-on-asset",
        says: "the zero key pressed on the asset, and the meter does not tell",
        sets: silent,
        does: |at, deed| match matches!(deed, Deed::Hand(Hand::Flex { on: true })) {
            true if at.of() == "pe" => vec![press(Meter::Ohm, Key::Relative), deed],
            _ => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "certificate-out",
        says: "the certificate of the low-resistance meter has run out",
        sets: |case| register(case, "2027-03-31\ncertificate     = \"C-2026-118\"", OUT),
        ..NONE
    },
    Mistake {
        id: "setup-out",
        says: "the certificate of network and voltmeter as one has run out",
        sets: |case| {
            register(case, "\"0.5 mV\"\ncalibration_due = 2027-03-31", SETUP_OUT);
        },
        ..NONE
    },
    Mistake {
        id: "averaging",
        says: "the voltmeter averages, and the register says so",
        sets: |case| {
            case.scene.averages = true;
            register(case, "true_rms    = true", "true_rms    = false");
        },
        ..NONE
    },
    Mistake {
        id: "averaging-unsaid",
        says: "the voltmeter averages, and the register says that it does not",
        cannot: REGISTER,
        instead: READ_IT,
        sets: |case| case.scene.averages = true,
        ..NONE
    },
    Mistake {
        id: "slow",
        says: "the voltmeter ends at 400 Hz, and the register says so",
        sets: |case| {
            case.scene.bandwidth_hertz = 400.0;
            register(case, SLOW, "bandwidth   = \"400 Hz\"");
        },
        ..NONE
    },
    Mistake {
        id: "slow-unsaid",
        says: "the voltmeter ends at 1 kHz, and the register says 300 kHz",
        cannot: REGISTER,
        instead: READ_IT,
        sets: |case| case.scene.bandwidth_hertz = 1000.0,
        ..NONE
    },
    Mistake {
        id: "reads-low",
        says: "the low-resistance meter reads 20 % low since its certificate",
        cannot: "a meter that drifts between its certificates says nothing of it",
        instead: "hold it against 0.200 and 0.500 ohm of a check standard each day, \
            `tapline check`: its chart shows the drift, and a check that failed is in every verdict",
        wires: |port, bytes, _| if port == Port::Ohm { low(&bytes) } else { bytes },
        ..NONE
    },
    Mistake {
        id: "stream-frozen",
        says: "the low-resistance meter says for ever what it first read of a path",
        wires: |port, bytes, held| match port {
            Port::Ohm => frozen(bytes, held),
            _ => bytes,
        },
        ..NONE
    },
    Mistake {
        id: "voltmeter-one-behind",
        says: "each answer of the voltmeter is the one to the question before",
        wires: |port, bytes, held| match port {
            Port::Dmm => std::mem::replace(held, bytes),
            _ => bytes,
        },
        ..NONE
    },
    Mistake {
        id: "battery-low",
        says: "the battery of the low-resistance meter is low, and it tells",
        wires: |port, bytes, _| match port {
            Port::Ohm => String::from_utf8_lossy(&bytes).replace("\r\n", " BATT\r\n").into_bytes(),
            _ => bytes,
        },
        ..NONE
    },
    Mistake {
        id: "smallest-shown",
        says: "the low-resistance meter shows the smallest reading so far, and tells",
        wires: |port, bytes, _| match port {
            Port::Ohm => String::from_utf8_lossy(&bytes).replace("\r\n", " MIN\r\n").into_bytes(),
            _ => bytes,
        },
        ..NONE
    },
    Mistake {
        id: "two-wire",
        says: "the low-resistance meter is turned to its two-wire range",
        wires: |port, bytes, _| match port {
            Port::Ohm => String::from_utf8_lossy(&bytes).replace("R4", "R2").into_bytes(),
            _ => bytes,
        },
        ..NONE
    },
    Mistake {
        id: "network-out",
        says: "the inspection of the measuring network has run out",
        sets: |case| fixture(case, "NW-1"),
        ..NONE
    },
    Mistake {
        id: "box-out",
        says: "the inspection of the supply box has run out",
        sets: |case| fixture(case, "SB-1"),
        ..NONE
    },
    Mistake {
        id: "two-on-one-port",
        says: "a second meter, on a good part, speaks on the same port",
        wires: |port, mut bytes, _| {
            if port == Port::Ohm {
                bytes.extend_from_slice(b"R4 +0.150 Ohm\r\n");
            }
            bytes
        },
        ..NONE
    },
    Mistake {
        id: "other-unit",
        says: "the meter shows milliohms",
        wires: |port, bytes, _| match port {
            Port::Ohm => String::from_utf8_lossy(&bytes).replace(" Ohm", " mOhm").into_bytes(),
            _ => bytes,
        },
        ..NONE
    },
];

const OUT: &str = "2026-01-31\ncertificate     = \"C-2026-118\"";
const SETUP_OUT: &str = "\"0.5 mV\"\ncalibration_due = 2026-01-31";
