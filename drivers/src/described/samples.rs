//! Descriptions of each kind, for tests.

use alloc::sync::Arc;
use alloc::vec;
use alloc::vec::Vec;

use super::fixed::{Bit, Check, Content, Fixed, Kind, Part};
use super::meaning::{Bound, Codes, Field, Known, Meaning, Measured, Places, Range, Word};
use super::pattern::Pattern;
use super::{Description, End, Layout};
use crate::catalogue::Source;
use crate::frame::marks::Mark;
use crate::reading::{Flag, Function};
use crate::unit::Unit;

pub(crate) fn codes<T: Copy>(list: &[(&str, T)]) -> Codes<T> {
    list.iter().map(|(code, meaning)| (code.as_bytes().to_vec(), *meaning)).collect()
}

pub(crate) fn is(function: Function) -> Measured {
    Measured { function: Some(function), unit: None }
}

fn ohms(list: &[(&str, &str)]) -> Codes<Unit> {
    codes(
        &list
            .iter()
            .map(|(code, unit)| (*code, Unit::from_ucum(unit).unwrap()))
            .collect::<Vec<_>>(),
    )
}

pub(crate) fn meaning() -> Meaning {
    Meaning {
        function: Known::Sent(codes(&[
            ("R4", is(Function::Resistance4w)),
            ("R2", is(Function::Resistance2w)),
            ("DI", Measured { function: None, unit: None }),
        ])),
        unit: Some(Known::Sent(ohms(&[("Ohm", "Ohm"), ("mOhm", "mOhm")]))),
        words: codes(&[("OL", Word::Overload), ("----", Word::Nothing)]),
        prefixes: codes(&[(">", Bound::Above), ("<", Bound::Below)]),
        flags: codes(&[("H", Mark::Flag(Flag::Hold)), ("N", Mark::Nothing)]),
        signs: Vec::new(),
        places: Places::Sent,
        point: b'.',
    }
}

fn description(name: &str, pair: bool, layout: Layout, meaning: Meaning) -> Description {
    Description {
        name: name.into(),
        what: "invented".into(),
        source: Source::Unconfirmed,
        period_ms: 400,
        silence_us: 100_000,
        pair,
        layout,
        meaning,
    }
}

/// Lines of function, value and unit.
pub(crate) fn lines(end: End) -> Description {
    let pattern = Pattern::parse("{function} {value} {unit}").unwrap();
    description("lines", false, Layout::Line { end, longest: 40, pattern }, meaning())
}

/// Text between STX and ETX: `R4,0.182Ohm,H`.
pub(crate) fn between() -> Description {
    let pattern = Pattern::parse("{function},{value}{unit},{flag}").unwrap();
    let (start, end) = (b"\x02".to_vec(), b"\x03".to_vec());
    description("between", true, Layout::Between { start, end, longest: 40, pattern }, meaning())
}

/// `A5`, function, range, sign, five digits, a byte of bits, what does not matter, sum.
pub(crate) fn fixed(check: bool) -> Description {
    let part = |from, to, content| Part { from, to, content };
    let field = |from, to, field| part(from, to, Content::Field(field));
    let says = |mark| Bit::Says(mark);
    let mut parts = vec![
        part(0, 1, Content::Always(b"\xa5".to_vec())),
        field(1, 2, Field::Function),
        field(2, 3, Field::Range),
        field(3, 4, Field::Sign),
        field(4, 9, Field::Value),
        part(
            9,
            10,
            Content::Bits(vec![
                (0x80, Bit::Always),
                (1, says(Mark::Over)),
                (2, says(Mark::Flag(Flag::Hold))),
                (4, says(Mark::Nothing)),
            ]),
        ),
        field(10, 11, Field::Skip),
    ];
    let sum = Check { kind: Kind::Sum8, from: 1, to: 11, at: 11 };
    if check {
        parts.push(part(11, 12, Content::Check));
    }
    let range = |function, code: &[u8], places, unit| Range {
        function: Some(function),
        code: code.to_vec(),
        places,
        unit: Unit::from_ucum(unit).unwrap(),
    };
    let meaning = Meaning {
        function: Known::Sent(codes(&[
            ("r", is(Function::Resistance4w)),
            ("v", is(Function::VoltageAc)),
        ])),
        unit: None,
        words: Vec::new(),
        prefixes: Vec::new(),
        flags: Vec::new(),
        signs: codes(&[("+", false), ("-", true)]),
        places: Places::Range(vec![
            range(Function::Resistance4w, b"\x01", 4, "Ohm"),
            range(Function::Resistance4w, b"\x02", 2, "kOhm"),
            range(Function::VoltageAc, b"\x01", 3, "V"),
        ]),
        point: b'.',
    };
    let check = check.then_some(sum);
    let fixed = Fixed::new(11 + usize::from(check.is_some()), parts, check, &meaning);
    let name = if check.is_some() { "fixed-sum" } else { "fixed" };
    description(name, check.is_none(), Layout::Fixed(fixed), meaning)
}

/// One of each kind, with a good frame of it.
pub(crate) fn all() -> Vec<(Arc<Description>, Vec<u8>)> {
    let plain = b"\xa5r\x01+01820\x80x".to_vec();
    let summed = [&plain[..], &Kind::Sum8.of(&plain[1..])].concat();
    vec![
        (Arc::new(lines(End::CrLf)), b"R4 0.182 Ohm\r\n".to_vec()),
        (Arc::new(lines(End::Byte(b';'))), b"R2 >0.2 Ohm;".to_vec()),
        (Arc::new(lines(End::Byte(b'\r'))), b"R4 ---- mOhm\r".to_vec()),
        (Arc::new(between()), b"\x02R4,0.182Ohm,H\x03".to_vec()),
        (Arc::new(fixed(false)), plain),
        (Arc::new(fixed(true)), summed),
    ]
}
