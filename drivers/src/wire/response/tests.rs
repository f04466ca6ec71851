//! Named answers with their source, and what is emitted is read back.

use alloc::string::String;
use alloc::{format, vec};

use super::*;
use crate::number::Number;
use proptest::prelude::*;

fn said(bytes: &[u8]) -> String {
    let Some(units) = answer(bytes, 64) else { return "malformed".into() };
    let one = |datum: &Datum| match datum {
        Datum::Number(Numeric::Value(number)) => number.text(),
        Datum::Number(other) => format!("{other:?}"),
        Datum::Measured(Numeric::Value(number), unit) => {
            format!("{} {}", number.text(), unit.escape_ascii())
        }
        Datum::Measured(other, unit) => format!("{other:?} {}", unit.escape_ascii()),
        Datum::Based(value) => format!("={value}"),
        Datum::Word(word) => format!("{}", word.escape_ascii()),
        Datum::Text(text) => format!("'{}'", text.escape_ascii()),
        Datum::Block(bytes) => format!("[{}]", bytes.escape_ascii()),
        Datum::Empty => "-".into(),
    };
    let unit = |unit: &Unit| {
        let data: Vec<_> = unit.data.iter().map(one).collect();
        let header = unit.header.as_deref().map(|header| format!("{}: ", header.escape_ascii()));
        format!("{}{}", header.unwrap_or_default(), data.join(" , "))
    };
    units.iter().map(unit).collect::<Vec<_>>().join(" ; ")
}

macro_rules! cases {
    ($($name:ident: $sent:expr => $want:literal;)*) => {
        $(#[test] fn $name() { assert_eq!(said(&$sent[..]), $want); })*
    };
}

// Integers: 8.7.2 as quoted in a public programming guide.
cases! {
    nr1: b"+10\n" => "10";
    nr1_minus_zero: b"-00\n" => "-0";
}

// Printed in public manuals of multimeters, low-ohm meters and power sensors.
cases! {
    point_first: b"-.00002\r\n" => "-0.00002";
    blanks_inside: b"-   7.51E+0\r\n" => "-7.51";
    blanks_in_front: b"    1.36E-3\r\n" => "0.00136";
    bases: b"#HA2F,#Q62,#B01011\n" => "=2607 , =50 , =11";
    definite_block: b"#15ABCDE\n" => "[ABCDE]";
    header_and_list: b"FRES +1.000000E+01,+3.000000E-06\n" => "FRES: 10.00000 , 0.000003000000";
    overload: b"+9.9E+37\r\n" => "Infinity { negative: false }";
    no_value: b"9.91E37\n" => "NotANumber";
    error_queue_info: b"0,\"No error;0;0 0\"\r\n" => "0 , 'No error;0;0 0'";
}

// As an open parser library echoes or sends them; measured.
cases! {
    several_answers: b"0;MANUFACTURE,INSTR2013\r\n" => "0 ; MANUFACTURE , INSTR2013";
    undefined_header: b"-113,\"Undefined header;BOGUS?\"\n"
        => "-113 , 'Undefined header;BOGUS?'";
}

// Seen in test suites of general-purpose libraries.
cases! {
    unit_behind: b"+1.73730000E-03 VDC\n" => "0.00173730000 VDC";
    unit_glued: b"+123.45T\n" => "123.45 T";
    header_glued: b"NDCA+1.2345E-9\r\n" => "NDCA: 0.0000000012345";
    nul_in_front_of_the_end: b"1.5\x00\n" => "1.5";
}

// From memory.
cases! {
    point_last: b"46.\n" => "46";
    lower_case_power: b"5.0e-1\n" => "0.50";
    no_point: b"1E-3\n" => "0.001";
    three_digits_of_power: b"1.5E+003\n" => "1500";
    header_glued_and_zeros: b"TI+00000000046.E-09\n" => "TI: 0.000000046";
    list_with_blanks: b"1.234, 1 ,5.678\n" => "1.234 , 1 , 5.678";
    character_data: b"BUS\n" => "BUS";
    words_among_numbers: b"1.0,INF,NAN\n" => "1.0 , INF , NAN";
    marks_for_a_number: b"----,****\n" => "---- , ****";
    doubled_quotes: b"\"a \"\"b\"\"\"\n" => "'a \\\"b\\\"'";
    everything_in_quotes: b"\";,\n#15\"\n" => "';,\\n#15'";
    everything_in_a_block: b"#18;,\"\n\xff\x00#1,2;3\n" => "[;,\\\"\\n\\xff\\x00#1] , 2 ; 3";
    block_with_leading_zeros: b"#3005ABCDE;1\n" => "[ABCDE] ; 1";
    indefinite_block: b"#0abc\n" => "[abc]";
    indefinite_without_an_end: b"1,#0a,b;c" => "1 , [a,b;c]";
    empty_block: b"#10,1\n" => "[] , 1";
    ends: b"1.5 \n" => "1.5";
    end_cr: b"1.5\r" => "1.5";
    end_none: b"1.5" => "1.5";
    two_headers: b"VOLT 1.0;CURR 2.0\n" => "VOLT: 1.0 ; CURR: 2.0";
    header_with_a_path: b":SENS:VOLT:DC 1\n" => ":SENS:VOLT:DC: 1";
    common_header: b"*ESR 128\n" => "*ESR: 128";
    empty_items: b"1,,2\n" => "1 , - , 2";
    nothing: b"\r\n" => "-";
    thousand_million: b"1E9\n" => "1000000000";
    much_more_than_all: b"1E38 OHM\n" => "NotANumber OHM";
}

// What has to be refused.
cases! {
    block_too_long: b"#265xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx\n"
        => "malformed";
    block_cut_off: b"#15ABC\n" => "malformed";
    block_without_its_length: b"#1xABC\n" => "malformed";
    indefinite_too_long: b"#0xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx\n"
        => "malformed";
    base_without_digits: b"#H\n" => "malformed";
    base_with_a_wrong_digit: b"#Q8\n" => "malformed";
    base_too_large: b"#HFFFFFFFFFFFFFFFFF\n" => "malformed";
    open_quote: b"\"abc\n" => "malformed";
    beside_a_quote: b"\"a\"b\n" => "malformed";
    power_without_digits: b"1E\n" => "malformed";
    two_numbers: b"1 2\n" => "malformed";
    parity_left_in: b"1\xb2\n" => "malformed";
    too_many_digits: b"1234567890123456\n" => "malformed";
}

#[test]
fn yes_and_no() {
    let of = |bytes: &[u8]| boolean(&answer(bytes, 64).unwrap()[0].data[0]);
    assert_eq!(
        (of(b"1"), of(b"0"), of(b"ON"), of(b"off")),
        (Some(true), Some(false), Some(true), Some(false))
    );
    for bytes in [&b"2"[..], b"-1", b"1.0", b"10", b"YES", b"\"1\""] {
        assert_eq!(of(bytes), None);
    }
}

#[test]
fn an_end_in_quotes_and_blocks_ends_no_answer() {
    let look = |bytes: &[u8]| end(bytes, 40, |byte| byte == b'\n');
    assert_eq!(look(b"1;2\n3\n"), Some(3));
    assert_eq!(look(b"\"a\nb\"\n"), Some(5));
    assert_eq!(look(b"\"a\"\"\nb\"\n"), Some(7));
    assert_eq!(look(b"#14\n\n\n\n\n"), Some(7));
    assert_eq!(look(b"1,  #14\n\n\n\n;#11\n\n"), Some(16));
    assert_eq!(look(b"#HA\n"), Some(3));
    // A block begins where an item does, and a header for more than there may be is none.
    assert_eq!(look(b"1#14\n\n"), Some(4));
    assert_eq!(look(b"#240\n"), Some(4));
    // What can be no length any more is waited for no longer.
    assert_eq!(look(b"#9.\n"), Some(3));
    assert_eq!(look(b"#91234\n"), Some(6));
    assert_eq!(look(b"1,#3\n"), Some(4));
    for more in [&b""[..], b"1;2", b"\"a\n", b"#", b"#1", b"#14\n\n\n", b"#14\n\n\n\n"] {
        assert_eq!(look(more), None, "{}", more.escape_ascii());
    }
}

fn emit(units: &[Unit]) -> Vec<u8> {
    let numeric = |numeric: &Numeric| match numeric {
        Numeric::Value(n) => {
            format!("{}{}E{:+03}", if n.negative { '-' } else { '+' }, n.digits, n.exponent)
        }
        Numeric::Infinity { negative } => (if *negative { "-9.9E37" } else { "+9.9E+37" }).into(),
        Numeric::NotANumber => "+9.91E37".into(),
    };
    let one = |datum: &Datum| match datum {
        Datum::Number(number) => numeric(number).into_bytes(),
        Datum::Measured(number, unit) => {
            [numeric(number).into_bytes(), b" ".to_vec(), unit.clone()].concat()
        }
        Datum::Based(value) => format!("#H{value:X}").into_bytes(),
        Datum::Word(word) => word.clone(),
        Datum::Text(text) => {
            let text = text.iter().flat_map(|b| vec![*b; 1 + usize::from(*b == b'"')]);
            [b"\"".to_vec(), text.collect(), b"\"".to_vec()].concat()
        }
        Datum::Block(bytes) => [format!("#2{:02}", bytes.len()).as_bytes(), bytes].concat(),
        Datum::Empty => Vec::new(),
    };
    let unit = |unit: &Unit| {
        let data = unit.data.iter().map(one).collect::<Vec<_>>().join(&b',');
        let header = unit.header.clone().map(|header| [header, b" ".to_vec()].concat());
        [header.unwrap_or_default(), data].concat()
    };
    let mut out = units.iter().map(unit).collect::<Vec<_>>().join(&b';');
    out.push(b'\n');
    out
}

fn any_datum() -> impl Strategy<Value = Datum> {
    let number = (any::<bool>(), 0..1_000_000_000_000_000_u64, -24..=15_i8);
    let number = number
        .prop_map(|(negative, digits, exponent)| Number { negative, digits, exponent })
        .prop_map(Numeric::Value);
    let number = prop_oneof![
        8 => number,
        1 => any::<bool>().prop_map(|negative| Numeric::Infinity { negative }),
        1 => Just(Numeric::NotANumber),
    ];
    let bytes = || prop::collection::vec(any::<u8>(), 0..40);
    let word = "[A-Z][A-Z0-9_]{1,9}".prop_map(String::into_bytes);
    let unit = "[A-DF-Z][A-Za-z]{0,4}".prop_map(String::into_bytes);
    prop_oneof![
        number.clone().prop_map(Datum::Number),
        (number, unit).prop_map(|(number, unit)| Datum::Measured(number, unit)),
        any::<u64>().prop_map(Datum::Based),
        word.prop_map(Datum::Word),
        bytes().prop_map(Datum::Text),
        bytes().prop_map(Datum::Block),
    ]
}

fn any_unit() -> impl Strategy<Value = Unit> {
    let header = prop::option::of("[A-Z]{3,4}(:[A-Z]{2})?".prop_map(String::into_bytes));
    (header, prop::collection::vec(any_datum(), 1..5))
        .prop_map(|(header, data)| Unit { header, data })
}

proptest! {
    #[test]
    fn what_is_emitted_is_read_back(units in prop::collection::vec(any_unit(), 1..4)) {
        let sent = emit(&units);
        prop_assert_eq!(answer(&sent, 64), Some(units));
        prop_assert_eq!(end(&sent, 4096, |byte| byte == b'\n'), Some(sent.len() - 1));
    }

    #[test]
    fn no_bytes_make_it_panic_and_no_sentinel_is_a_value(
        bytes in prop::collection::vec(prop::sample::select(b"+-019.E#\"H,; \n".to_vec()), 0..40),
    ) {
        let _ = end(&bytes, 30, |byte| byte == b'\n');
        for datum in answer(&bytes, 8).into_iter().flatten().flat_map(|unit| unit.data) {
            let (Datum::Number(read) | Datum::Measured(read, _)) = datum else { continue };
            if let Numeric::Value(n) = read {
                prop_assert!(n.digits < 1_000_000_000_000_000 && (-24..=15).contains(&n.exponent));
            }
        }
    }
}
