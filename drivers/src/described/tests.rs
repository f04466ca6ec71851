//! What descriptions say of frames. All of it is invented.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::sync::Arc;
use alloc::vec;
use alloc::vec::Vec;

use super::fixed::Kind;
use super::meaning::{Known, Meaning, Places, Word};
use super::pattern::Pattern;
use super::samples::{between, codes, fixed, is, lines, meaning};
use super::{DescribedDriver, Description, End, Layout};
use crate::driver::{Driver, Input, Never, Output};
use crate::frame::Said;
use crate::reading::{Function, Now};
use crate::unit::Unit;

fn told(output: &Output<Never>) -> String {
    match output {
        Output::Reading(reading) => {
            let said = format!("{:?} {:?}", reading.function, reading.indication);
            let said = match reading.indication.number() {
                Some(number) => format!(
                    "{:?} {}{}",
                    reading.function,
                    said.split([' ', '(']).nth(1).unwrap().replace("Value", ""),
                    number.text()
                ),
                None => said,
            };
            let flags: String = reading.flags.iter().map(|flag| format!(" {flag:?}")).collect();
            let why = reading.why.map(|why| format!(" ({why})")).unwrap_or_default();
            format!("{said} {}{flags}{why}", reading.unit.ucum())
        }
        Output::Note(note) => note.word.to_string(),
        other => format!("{other:?}"),
    }
}

/// Frames 400 ms apart, then silence.
fn says(about: Description, frames: &[&[u8]]) -> Vec<String> {
    let mut driver = DescribedDriver::new(Arc::new(about));
    let mut out = Vec::new();
    for (n, frame) in (0..).zip(frames) {
        driver.handle(Now(n * 400_000), Input::Bytes(frame));
        out.extend(core::iter::from_fn(|| driver.poll()));
    }
    if let Some(deadline) = driver.deadline() {
        driver.handle(deadline, Input::Tick);
        out.extend(core::iter::from_fn(|| driver.poll()));
    }
    out.iter().map(told).collect()
}

fn line(text: &str) -> String {
    says(lines(End::CrLf), &[format!("{text}\r\n").as_bytes()]).join(", ")
}

#[test]
fn a_line_is_read_by_its_pattern() {
    for (text, want) in [
        ("R4 +0.182 Ohm", "Resistance4w 0.182 Ohm"),
        (" R2   -0.180   mOhm ", "Resistance2w -0.180 mOhm"),
        ("R4 OL Ohm", "Resistance4w Overload Ohm"),
        ("R4 ---- Ohm", "Resistance4w NoValue Ohm"),
        ("R4 >200 Ohm", "Resistance4w Above200 Ohm"),
        ("R4 <0.01 Ohm", "Resistance4w Below0.01 Ohm"),
        ("R4 9.9E37 Ohm", "Resistance4w Overload Ohm"),
        ("R4 -9.9E37 Ohm", "Resistance4w NoValue Ohm"),
        ("R4 9.91E37 Ohm", "Resistance4w NoValue Ohm"),
        ("DI 0.5 Ohm", "other_function"),
    ] {
        assert_eq!(line(text), want, "{text}");
    }
    for text in [
        "R4 0.182",
        "R4 0.182 Ohm x",
        "R40.182 Ohm",
        "r4 0.182 Ohm",
        "R4 0.182 ohm",
        "R4 0,182 Ohm",
        "R4 ol Ohm",
        "R4 INF Ohm",
        "R4 >-2 Ohm",
        "R4 >OL Ohm",
        "R4 +-1 Ohm",
        "R4 1234567890123456 Ohm",
        "R4 0.00000000000000000000001 mOhm",
        "R4 0.1\u{1}2 Ohm",
        "",
    ] {
        assert!(["malformed", ""].contains(&line(text).as_str()), "{text}: {}", line(text));
    }
}

#[test]
fn fields_beside_each_other_are_told_apart_in_one_way_or_not_at_all() {
    let said = |text: &str| says(between(), &[format!("\u{2}{text}\u{3}").as_bytes()]).join(", ");
    assert_eq!(said("R4,0.182Ohm,H"), "Resistance4w 0.182 Ohm Hold (unpaired)");
    assert_eq!(said("R4,0.182mOhm,N"), "Resistance4w 0.182 mOhm (unpaired)");
    assert_eq!(said("R4,OLOhm,N"), "Resistance4w Overload Ohm (unpaired)");
    for text in ["R4,0.182,N", "R4,Ohm,N", "R4,0.182Ohm,", "R4,0.182Ohm,X", "R4,0.1 Ohm,N"] {
        assert_eq!(said(text), "malformed", "{text}");
    }
}

#[test]
fn a_frame_between_two_marks_is_found_behind_a_torn_one() {
    let torn = b"\x02R4,0.1\x02R4,0.2Ohm,N\x03";
    assert_eq!(says(between(), &[torn]), ["malformed", "Resistance4w 0.2 Ohm (unpaired)"]);
    let long = [&b"\x02"[..], &[b'x'; 60], b"\x03"].concat();
    assert_eq!(says(between(), &[&long]), ["malformed"]);
}

fn summed(bytes: &[u8]) -> Vec<u8> {
    [bytes, &Kind::Sum8.of(&bytes[1..])].concat()
}

#[test]
fn a_fixed_frame_is_read_by_its_places() {
    let said = |bytes: &[u8]| says(fixed(true), &[&summed(bytes)]).join(", ");
    assert_eq!(said(b"\xa5r\x01+01820\x80x"), "Resistance4w 0.1820 Ohm");
    assert_eq!(said(b"\xa5r\x02- 1820\x82x"), "Resistance4w -18.20 kOhm Hold");
    assert_eq!(said(b"\xa5v\x01+01820\x84\x00"), "VoltageAc 1.820 V");
    assert_eq!(said(b"\xa5r\x01+01820\x81x"), "Resistance4w Overload Ohm");
    assert_eq!(said(b"\xa5r\x01-01820\x81x"), "Resistance4w NoValue Ohm");
    for wrong in [
        &b"\xa4r\x01+01820\x80x"[..],
        b"\xa5q\x01+01820\x80x",
        b"\xa5r\x03+01820\x80x",
        b"\xa5v\x02+01820\x80x",
        b"\xa5r\x01*01820\x80x",
        b"\xa5r\x01+01 20\x80x",
        b"\xa5r\x01+01820\x00x",
        b"\xa5r\x01+01820\x88x",
    ] {
        assert_eq!(said(wrong), "malformed", "{}", wrong.escape_ascii());
    }
}

#[test]
fn without_its_sum_a_frame_is_none_and_the_one_behind_it_is_found() {
    let good = summed(b"\xa5r\x01+01820\x80x");
    for (at, bit) in (0..good.len()).flat_map(|at| (0..8).map(move |bit| (at, bit))) {
        let mut bad = good.clone();
        bad[at] ^= 1 << bit;
        let both = says(fixed(true), &[&bad, &good]);
        assert_eq!(both, ["malformed", "Resistance4w 0.1820 Ohm"], "byte {at} bit {bit}");
    }
}

#[test]
fn a_frame_without_a_checksum_waits_for_its_equal() {
    let (a, b) = (&b"\xa5r\x01+01820\x80x"[..], &b"\xa5r\x01+01830\x80x"[..]);
    let said = says(fixed(false), &[a, b, b, b"zz", b]);
    assert_eq!(
        said,
        [
            "Resistance4w 0.1820 Ohm (unpaired)",
            "Resistance4w 0.1830 Ohm (unpaired)",
            "Resistance4w 0.1830 Ohm",
            "malformed",
            "Resistance4w 0.1830 Ohm (unpaired)",
        ]
    );
}

#[test]
fn the_first_after_opening_is_suspect() {
    let mut driver = DescribedDriver::new(Arc::new(lines(End::CrLf)));
    driver.handle(Now(0), Input::Open);
    driver.handle(Now(1), Input::Bytes(b"R4 0.1 Ohm\r\nR4 0.2 Ohm\r\n"));
    let said: Vec<_> = core::iter::from_fn(|| driver.poll()).map(|out| told(&out)).collect();
    assert_eq!(said, ["Resistance4w 0.1 Ohm (first_after_open)", "Resistance4w 0.2 Ohm"]);
}

#[test]
fn a_parity_bit_left_in_is_named() {
    let odd = |byte: &u8| byte | u8::from(byte.count_ones().is_multiple_of(2)) << 7;
    let sent: Vec<u8> = b"R4 0.182 Ohm\r\n".iter().map(odd).collect();
    // The LF has become 8A and is what is left.
    assert_eq!(says(lines(End::CrLf), &[&sent]), ["parity_bit", "malformed"]);
}

#[test]
fn a_comma_may_be_the_point_and_places_may_be_known() {
    let comma = Meaning { point: b',', ..meaning() };
    let with = |meaning: Meaning, text: &str| {
        let layout = lines(End::CrLf).layout;
        let about = Description { meaning, layout, ..lines(End::CrLf) };
        says(about, &[format!("{text}\r\n").as_bytes()]).join(", ")
    };
    assert_eq!(with(comma.clone(), "R4 0,182 Ohm"), "Resistance4w 0.182 Ohm");
    assert_eq!(with(comma, "R4 0.182 Ohm"), "malformed");
    let three = Meaning { places: Places::Always(3), ..meaning() };
    assert_eq!(with(three.clone(), "R4 -182 Ohm"), "Resistance4w -0.182 Ohm");
    assert_eq!(with(three.clone(), "R4 OL Ohm"), "Resistance4w Overload Ohm");
    for text in ["R4 0.182 Ohm", "R4 1E3 Ohm", "R4 - Ohm"] {
        assert_eq!(with(three.clone(), text), "malformed", "{text}");
    }
    let volts = Unit::from_ucum("V").unwrap();
    let volts = Meaning { unit: Some(Known::Sent(codes(&[("Ohm", volts)]))), ..meaning() };
    assert_eq!(with(volts, "R4 0.182 Ohm"), "malformed", "a unit of another quantity");
}

fn faults(pattern: &str, meaning: &Meaning) -> String {
    match Pattern::parse(pattern) {
        Ok(pattern) => pattern.faults(meaning).join("; "),
        Err(fault) => fault,
    }
}

#[test]
fn what_could_be_read_in_two_ways_is_refused() {
    let usual = meaning();
    for good in ["{function} {value} {unit}", "{value}{unit}", "R={value};{unit}", "{skip},{value}"]
    {
        assert_eq!(faults(good, &usual), "", "{good}");
    }
    for (bad, part) in [
        ("{function} {unit}", "needs a `{value}`"),
        ("{value} {value}", "`{value}` stands there twice"),
        ("{function}{unit} {value}", "can't be told apart"),
        ("{function}{value}{unit}", "three fields"),
        ("{skip}{value}", "can't be told apart"),
        ("{function}{value} {unit}", "ambiguous: where the value ends is not clear beside `R4`"),
        ("{value}-{unit}", "`-` behind `{value}` may be a part of it"),
        ("{value}E{unit}", "`E` behind `{value}` may be a part of it"),
        ("{function}4{value}", "stands in its code `R4`"),
        ("{valu}", "no field `{valu}`; there are function, unit, value"),
        ("{value", "a `{` without `}`"),
        ("value}", "a `}` without `{`"),
        (" {value}", "leave them out here"),
        ("{value} Ω", "`Ω` is more than one byte"),
    ] {
        assert!(faults(bad, &usual).contains(part), "{bad}: {}", faults(bad, &usual));
    }
    let comma = Meaning { point: b',', ..meaning() };
    assert!(faults("{value},{unit}", &comma).contains("ambiguous"));
    let digits =
        Meaning { function: Known::Sent(codes(&[("R", is(Function::Resistance2w))])), ..usual };
    assert_eq!(faults("{function}{value}", &digits), "");
    let words = codes(&[("R", Word::Overload), ("RR", Word::Nothing)]);
    let function = codes(&[("R", is(Function::Resistance2w)), ("RR", is(Function::VoltageDc))]);
    let twice = Meaning { words, function: Known::Sent(function), ..digits };
    assert!(faults("{function}{value}", &twice).contains("ambiguous"));
}

#[test]
fn a_pattern_knows_its_shortest_line() {
    let pattern = Pattern::parse("{function} {value} {unit}").unwrap();
    assert_eq!(pattern.shortest(&meaning()), "R4 1 Ohm".len());
}

#[test]
fn sums_are_of_all_bytes() {
    // 0x80 + 0x81 + 0x01 = 0x102; arithmetic, no source.
    let bytes = b"\x80\x81\x01";
    assert_eq!(Kind::Sum8.of(bytes), [0x02]);
    assert_eq!(Kind::Sum16.of(bytes), [0x01, 0x02]);
    assert_eq!(Kind::Sum16LowFirst.of(bytes), [0x02, 0x01]);
    assert_eq!(Kind::Xor8.of(bytes), [0x00]);
}

#[test]
fn a_description_that_nobody_checked_breaks_nothing() {
    let empty = Layout::Between {
        start: vec![],
        end: vec![],
        longest: 0,
        pattern: Pattern::parse("{value}").unwrap(),
    };
    let about = Description { layout: empty, ..between() };
    assert!(says(about, &[b"R4 0.1 Ohm\r\n"]).iter().all(|said| said == "malformed"));
    assert!(matches!(fixed(true).said(b"\xa5"), Said::Note("malformed")));
}
