//! What an answer is, by its shape alone: an answer to another question must never be taken for
//! the one that was asked.

use alloc::vec::Vec;

use crate::reading::{Function, Indication};
use crate::wire::list::{QueuedError, queued_error};
use crate::wire::number::numeric;
use crate::wire::words::{indication, word};
use crate::wire::{latin, trim};

/// An answer by its shape.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Answer {
    /// One number, or a word in its place.
    Number(Indication),
    /// An entry of the error queue.
    Error(QueuedError),
    /// A function; `None` for one that we have no name for.
    Function(Option<Function>),
    /// Printable text.
    Text,
    /// Nothing that an instrument would say.
    Noise,
}

/// Sorts an answer.
pub(super) fn sort(bytes: &[u8]) -> Answer {
    let bytes = trim(bytes);
    if let Some(numeric) = word(bytes).or_else(|| numeric(bytes)) {
        return Answer::Number(indication(numeric));
    }
    if let Some(error) = queued_error(bytes) {
        return Answer::Error(error);
    }
    if let Some(function) = function(bytes) {
        return Answer::Function(function);
    }
    let printable = bytes.iter().all(|byte| matches!(byte, b' '..=b'~'));
    if printable && !bytes.is_empty() { Answer::Text } else { Answer::Noise }
}

/// The form of a number: its bytes without sign, every digit alike. An answer that lost its first
/// bytes is a number of another form than the ones before.
pub(super) fn form(bytes: &[u8]) -> Vec<u8> {
    let sent = trim(bytes);
    let unsigned = sent.strip_prefix(b"+").or(sent.strip_prefix(b"-")).unwrap_or(sent);
    let same = |byte: &u8| match byte {
        b'0'..=b'9' => b'0',
        b'-' => b'+',
        other => *other,
    };
    unsigned.iter().map(same).collect()
}

/// Measuring functions in short and long form. SCPI-99 volume 2 chapter 3 (from memory).
const NODES: &[(&str, &str)] = &[
    ("VOLT", "VOLTAGE"),
    ("CURR", "CURRENT"),
    ("RES", "RESISTANCE"),
    ("FRES", "FRESISTANCE"),
    ("FREQ", "FREQUENCY"),
    ("PER", "PERIOD"),
    ("CONT", "CONTINUITY"),
    ("DIOD", "DIODE"),
    ("CAP", "CAPACITANCE"),
    ("TEMP", "TEMPERATURE"),
];

/// Reads `"VOLT:AC"`, `FRES +1.0E+01,+3.0E-06` and the like; `None` for what names no function.
fn function(bytes: &[u8]) -> Option<Option<Function>> {
    let inner = bytes.strip_prefix(b"\"").and_then(|rest| rest.strip_suffix(b"\""));
    let header = inner.unwrap_or(bytes).split(|byte| matches!(byte, b' ' | b',')).next()?;
    let header = latin(header).to_ascii_uppercase();
    let mut nodes = header.strip_prefix(':').unwrap_or(&header).split(':');
    let root = nodes.next()?;
    let (short, _) = NODES.iter().find(|(short, long)| root == *short || root == *long)?;
    let rest: Vec<&str> = nodes.collect();
    Some(match (*short, rest.as_slice()) {
        ("VOLT", [] | ["DC"]) => Some(Function::VoltageDc),
        ("VOLT", ["AC"]) => Some(Function::VoltageAc),
        ("CURR", [] | ["DC"]) => Some(Function::CurrentDc),
        ("CURR", ["AC"]) => Some(Function::CurrentAc),
        ("RES", []) => Some(Function::Resistance2w),
        ("FRES", []) => Some(Function::Resistance4w),
        ("FREQ", []) => Some(Function::Frequency),
        _ => None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::number::Number;
    use proptest::prelude::*;

    fn is(function: Function) -> Answer {
        Answer::Function(Some(function))
    }

    #[test]
    fn functions_in_every_form() {
        assert_eq!(sort(b"\"VOLT:AC\""), is(Function::VoltageAc));
        assert_eq!(sort(b"\"VOLT +1.000000E+01,+3.000000E-06\""), is(Function::VoltageDc));
        assert_eq!(sort(b"FRES +1.000000E+01,+3.000000E-06"), is(Function::Resistance4w));
        assert_eq!(sort(b":current:ac"), is(Function::CurrentAc));
        assert_eq!(sort(b"RESistance"), is(Function::Resistance2w));
        assert_eq!(sort(b"\"FREQ 3.0,1.0\""), is(Function::Frequency));
        assert_eq!(sort(b"CAP"), Answer::Function(None));
        assert_eq!(sort(b"\"VOLT:DC:RAT\""), Answer::Function(None));
    }

    #[test]
    fn numbers_errors_texts_and_noise() {
        let number = Number { negative: false, digits: 182, exponent: -3 };
        assert_eq!(sort(b"+1.82E-01 "), Answer::Number(Indication::Value(number)));
        assert_eq!(sort(b"+9.9E+37"), Answer::Number(Indication::Overload));
        assert_eq!(sort(b"9.91E37"), Answer::Number(Indication::NoValue));
        assert_eq!(sort(b"****"), Answer::Number(Indication::NoValue));
        assert!(matches!(sort(b"-113,\"Undefined header\""), Answer::Error(e) if e.code == -113));
        assert_eq!(sort(b"GENERIC,BENCH-DMM,0001,1.0"), Answer::Text);
        assert_eq!(sort(b"1.0,2.0"), Answer::Text);
        assert_eq!(sort(b""), Answer::Noise);
        assert_eq!(sort(b"\xb1\xb2"), Answer::Noise);
    }

    #[test]
    fn forms_differ_when_bytes_are_lost_and_not_when_digits_change() {
        assert_eq!(form(b"+1.82000E-01"), form(b"-9.99123E+00 "));
        assert_eq!(form(b"0.182"), form(b"-0.183"));
        for lost in [&b"1.82000E-01"[1..], b"82000E-01", b"2E-01", b"1"] {
            assert_ne!(form(b"+1.82000E-01"), form(lost));
        }
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..40)) {
            let _ = sort(&bytes);
        }
    }
}
