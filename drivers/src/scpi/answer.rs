//! What an answer is, by its shape alone: an answer to another question must never be taken for
//! the one that was asked.

use alloc::string::String;
use alloc::vec::Vec;

use crate::reading::{Function, Indication};
use crate::wire::list::{QueuedError, queued_error};
use crate::wire::number::numeric;
use crate::wire::response::{self, Datum};
use crate::wire::words::{indication, word};
use crate::wire::{latin, trim};

/// Longest block that is looked into, bytes.
const BLOCK_MAX: usize = 256;

/// An answer by its shape.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Answer {
    /// One number, or a word in its place.
    Number(Given),
    /// Several of them.
    List(Vec<Given>),
    /// An entry of the error queue.
    Error(QueuedError),
    /// A function; `None` for one that we have no name for.
    Function(Option<Function>),
    /// A block of so many bytes: never a reading.
    Block(usize),
    /// Printable text.
    Text,
    /// Nothing that an instrument would say.
    Noise,
}

/// What stands where a reading is expected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Given {
    pub(super) indication: Indication,
    /// The functions that the unit or letters beside it may belong to; `None`: there are none.
    pub(super) of: Option<&'static [Function]>,
}

/// Letters behind a number, as in test suites of general-purpose libraries (`VDC`) and from memory.
/// Always base units: SCPI answers have no prefix, and `M` alone could be two of them.
const SUFFIXES: &[(&str, &[Function])] = &[
    ("V", &[Function::VoltageDc, Function::VoltageAc]),
    ("VDC", &[Function::VoltageDc]),
    ("VAC", &[Function::VoltageAc]),
    ("A", &[Function::CurrentDc, Function::CurrentAc]),
    ("ADC", &[Function::CurrentDc]),
    ("AAC", &[Function::CurrentAc]),
    ("OHM", &[Function::Resistance2w, Function::Resistance4w]),
    ("OHMS", &[Function::Resistance2w, Function::Resistance4w]),
    ("HZ", &[Function::Frequency]),
];

/// Letters in front of one, behind N (normal) or O (overflow): `NDCA` as in such a test suite, the
/// others from memory.
const PREFIXES: &[(&str, &[Function])] = &[
    ("DCV", &[Function::VoltageDc]),
    ("ACV", &[Function::VoltageAc]),
    ("DCA", &[Function::CurrentDc]),
    ("ACA", &[Function::CurrentAc]),
    ("OHM", &[Function::Resistance2w, Function::Resistance4w]),
];

/// Letters that are in no row belong to no function.
fn functions(rows: &[(&str, &'static [Function])], letters: &str) -> &'static [Function] {
    rows.iter().find(|(known, _)| letters == *known).map_or(&[], |(_, of)| of)
}

/// Sorts an answer.
pub(super) fn sort(bytes: &[u8]) -> Answer {
    let bytes = trim(bytes);
    if let Some(numeric) = word(bytes).or_else(|| numeric(bytes)) {
        return Answer::Number(Given { indication: indication(numeric), of: None });
    }
    if let Some(error) = queued_error(bytes) {
        return Answer::Error(error);
    }
    if let Some(function) = function(bytes) {
        return Answer::Function(function);
    }
    let printable = bytes.iter().all(|byte| matches!(byte, b' '..=b'~'));
    let text = if printable && !bytes.is_empty() { Answer::Text } else { Answer::Noise };
    grammar(bytes).unwrap_or(text)
}

/// What only the whole grammar of IEEE 488.2 tells.
fn grammar(bytes: &[u8]) -> Option<Answer> {
    let units = response::answer(bytes, BLOCK_MAX)?;
    let [response::Unit { header, data }] = units.as_slice() else { return None };
    match (header, data.as_slice()) {
        (Some(letters), [Datum::Number(_)]) => lettered(&latin(letters), &data[0]),
        (None, [Datum::Block(block)]) => Some(Answer::Block(block.len())),
        (None, [one]) => given(one).map(Answer::Number),
        (None, all) => all.iter().map(given).collect::<Option<_>>().map(Answer::List),
        _ => None,
    }
}

/// One item that can stand where a reading is expected.
fn given(datum: &Datum) -> Option<Given> {
    match datum {
        Datum::Number(numeric) => Some(Given { indication: indication(*numeric), of: None }),
        Datum::Measured(numeric, letters) => {
            let letters = latin(letters).to_ascii_uppercase();
            let of = Some(functions(SUFFIXES, &letters));
            Some(Given { indication: indication(*numeric), of })
        }
        Datum::Word(letters) => {
            let indication = indication(word(letters)?);
            Some(Given { indication, of: None })
        }
        Datum::Based(_) | Datum::Text(_) | Datum::Block(_) | Datum::Empty => None,
    }
}

/// `NDCA+1.2345E-9`.
fn lettered(letters: &str, datum: &Datum) -> Option<Answer> {
    let over = letters.starts_with('O');
    let of = functions(PREFIXES, letters.strip_prefix(['N', 'O'])?);
    let given = Given { of: Some(of), ..given(datum)? };
    let indication = if over { Indication::Overload } else { given.indication };
    (!of.is_empty()).then_some(Answer::Number(Given { indication, ..given }))
}

/// The names of a list's elements.
pub(super) fn names(bytes: &[u8]) -> Option<Vec<String>> {
    let units = response::answer(trim(bytes), 0)?;
    let [response::Unit { header: None, data }] = units.as_slice() else { return None };
    let name = |datum: &Datum| match datum {
        Datum::Word(word) => Some(latin(word).to_ascii_uppercase()),
        _ => None,
    };
    data.iter().map(name).collect()
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
        assert_eq!(sort(b"+1.82E-01 "), plain(Indication::Value(number)));
        assert_eq!(sort(b"+9.9E+37"), plain(Indication::Overload));
        assert_eq!(sort(b"9.91E37"), plain(Indication::NoValue));
        assert_eq!(sort(b"****"), plain(Indication::NoValue));
        assert!(matches!(sort(b"-113,\"Undefined header\""), Answer::Error(e) if e.code == -113));
        assert_eq!(sort(b"GENERIC,BENCH-DMM,0001,1.0"), Answer::Text);
        assert_eq!(sort(b"1.0;2.0"), Answer::Text);
        assert_eq!(sort(b""), Answer::Noise);
        assert_eq!(sort(b"\xb1\xb2"), Answer::Noise);
    }

    fn plain(indication: Indication) -> Answer {
        Answer::Number(Given { indication, of: None })
    }

    /// Units and glued letters as in test suites of general-purpose libraries.
    #[test]
    fn a_unit_says_whose_reading_it_is() {
        let of = |bytes: &[u8]| match sort(bytes) {
            Answer::Number(Given { indication: Indication::Value(n), of }) => (n.text(), of),
            other => panic!("{other:?}"),
        };
        assert_eq!(
            of(b"+1.73730000E-03 VDC"),
            ("0.00173730000".into(), Some(&[Function::VoltageDc][..]))
        );
        assert_eq!(of(b"0.182ohm").1, Some(&[Function::Resistance2w, Function::Resistance4w][..]));
        // Nothing that we would take for another unit.
        for other in [&b"+123.45T"[..], b"1 MV", b"1 VOLT", b"20.5 CEL"] {
            assert_eq!(of(other).1, Some(&[][..]), "{}", other.escape_ascii());
        }
        assert_eq!(
            of(b"NDCA+1.2345E-9"),
            ("0.0000000012345".into(), Some(&[Function::CurrentDc][..]))
        );
        let over = Given {
            indication: Indication::Overload,
            of: Some(&[Function::Resistance2w, Function::Resistance4w]),
        };
        assert_eq!(sort(b"OOHM+9.9E+9"), Answer::Number(over));
        for text in [&b"XDCA+1.0"[..], b"N+1.0", b"NDCX+1.0", b"DCV+1.0", b"TI+46.E-09"] {
            assert_eq!(sort(text), Answer::Text, "{}", text.escape_ascii());
        }
    }

    #[test]
    fn lists_blocks_and_several_answers_are_told_apart() {
        let Answer::List(list) = sort(b"1.0, OL,9.91E37,2 V") else { panic!() };
        assert_eq!(list[1].indication, Indication::Overload);
        assert_eq!(list[2].indication, Indication::NoValue);
        assert_eq!(list[3].of, Some(&[Function::VoltageDc, Function::VoltageAc][..]));
        assert_eq!(sort(b"#15ABCDE"), Answer::Block(5));
        assert_eq!(sort(b"#18;,\"\n\xff\x00#1"), Answer::Block(8));
        assert_eq!(sort(b"#0abc"), Answer::Block(3));
        for text in [&b"1.0,"[..], b"1.0,VOLT", b"1.0,#15ABCDE", b"1;2", b"\"1.0\"", b"#HFF"] {
            assert_eq!(sort(text), Answer::Text, "{}", text.escape_ascii());
        }
        // A header stands in front of what was asked for a setting.
        assert_eq!(sort(b"FRES 1.0E2"), is(Function::Resistance4w));
        assert_eq!(sort(b":READ 1.0E2"), Answer::Text);
        assert_eq!(names(b"read, UNIT,CHAN ").unwrap(), ["READ", "UNIT", "CHAN"]);
        for text in [&b"1"[..], b"READ,", b"READ;UNIT", b"\"READ\"", b"ELEM READ"] {
            assert_eq!(names(text), None, "{}", text.escape_ascii());
        }
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
            let _ = names(&bytes);
        }
    }
}
