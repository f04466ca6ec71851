//! Lines of function, value and unit: `R4 +0.182 Ohm`, `DCV -1.2345 mV`, `R4 OL Ohm`.
//!
//! The layout "function, blank, sign, value, blank, unit, blank, CR LF" and the event lines that
//! begin with a digit (`3 REL ON`) are printed in a public multimeter manual; the codes for
//! resistance and peaks, the bounds (`R4 >0.200 kOhm`) and the flags behind the unit are ours.
//! What is not wholly understood is a note: a flag nobody knows may be one that matters.

use alloc::collections::BTreeSet;

use nom::branch::alt;
use nom::bytes::complete::{take_while, take_while1};
use nom::combinator::{all_consuming, fail, map_opt, verify};
use nom::multi::many0;
use nom::sequence::preceded;
use nom::{IResult, Parser};

use crate::driver::{Never, Output};
use crate::reading::{Flag, Function, Indication, Reading};
use crate::talker::Talker;
use crate::unit::Unit;
use crate::wire::blank;
use crate::wire::lines::Line;
use crate::wire::number::leading;
use crate::wire::words::{bound, indication, word};

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 3;

/// One conversion, milliseconds, where nothing better is known.
pub const PERIOD_MS: u32 = 400;

/// Longest line, bytes.
const LONGEST: usize = 128;

const FUNCTIONS: &[(&[u8], Function)] = &[
    (b"DCV", Function::VoltageDc),
    (b"ACV", Function::VoltageAc),
    (b"PKV", Function::VoltagePeak),
    (b"DCA", Function::CurrentDc),
    (b"ACA", Function::CurrentAc),
    (b"R2", Function::Resistance2w),
    (b"R4", Function::Resistance4w),
    (b"INS", Function::InsulationResistance),
    (b"HZ", Function::Frequency),
];

const FLAGS: &[(&[u8], Flag)] = &[
    (b"HOLD", Flag::Hold),
    (b"REL", Flag::Relative),
    (b"BATT", Flag::LowBattery),
    (b"AUTO", Flag::AutoRange),
    (b"MAN", Flag::ManualRange),
    (b"MIN", Flag::Min),
    (b"MAX", Flag::Max),
    (b"PEAK", Flag::Peak),
];

/// A driver for such an instrument.
#[must_use]
pub fn driver() -> Talker {
    Talker::new(LONGEST, read)
}

struct Shown {
    function: Function,
    indication: Indication,
    unit: Unit,
    flags: BTreeSet<Flag>,
}

fn read(line: &Line) -> Output<Never> {
    match all_consuming(shown).parse(&line.bytes) {
        Ok((_, shown)) => Output::Reading(Reading {
            flags: shown.flags.into_iter().collect(),
            ..line.reading(shown.indication, shown.function, shown.unit)
        }),
        Err(_) if event(&line.bytes) => Output::Note(line.note("event", None)),
        Err(_) => Output::Note(line.note("malformed", None)),
    }
}

/// A digit, a blank and a word: what was done to the instrument, or its compare function.
fn event(bytes: &[u8]) -> bool {
    let letters = |rest: &[u8]| rest.first().is_some_and(u8::is_ascii_uppercase);
    matches!(bytes, [digit, b' ', rest @ ..] if digit.is_ascii_digit() && letters(rest))
}

fn token(bytes: &[u8]) -> IResult<&[u8], &[u8]> {
    take_while1(|byte| byte > b' ').parse(bytes)
}

fn blanks(bytes: &[u8]) -> IResult<&[u8], &[u8]> {
    take_while1(blank).parse(bytes)
}

fn among<T: Copy>(table: &[(&[u8], T)], code: &[u8]) -> Option<T> {
    table.iter().find(|(name, _)| *name == code).map(|(_, meaning)| *meaning)
}

fn unit(code: &[u8]) -> Option<Unit> {
    Unit::from_ucum(core::str::from_utf8(code).ok()?)
}

fn value(bytes: &[u8]) -> IResult<&[u8], Indication> {
    let word = map_opt(token, word).map(indication);
    alt((word, bound, leading.map(indication))).parse(bytes)
}

fn shown(bytes: &[u8]) -> IResult<&[u8], Shown> {
    let (rest, _) = take_while(blank).parse(bytes)?;
    let (rest, function) = map_opt(token, |code| among(FUNCTIONS, code)).parse(rest)?;
    let (rest, indication) = preceded(blanks, value).parse(rest)?;
    let mut unit =
        verify(map_opt(token, unit), |unit: &Unit| function.quantity() == Some(unit.quantity));
    let (rest, _) = blanks(rest)?;
    let (rest, unit) = unit.parse(rest)?;
    if indication.number().is_some_and(|number| !unit.holds(number)) {
        return fail().parse(rest);
    }
    let flag = map_opt(token, |code| among(FLAGS, code));
    let (rest, flags) = many0(preceded(blanks, flag)).parse(rest)?;
    let (rest, _) = take_while(blank).parse(rest)?;
    Ok((rest, Shown { function, indication, unit, flags: flags.into_iter().collect() }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::driver::{Driver, Input};
    use crate::number::Number;
    use crate::reading::Now;
    use alloc::format;
    use alloc::string::String;
    use alloc::vec::Vec;
    use proptest::prelude::*;

    fn outputs(bytes: &[u8], open: bool) -> Vec<Output<Never>> {
        let mut driver = driver();
        if open {
            driver.handle(Now(0), Input::Open);
        }
        driver.handle(Now(1), Input::Bytes(bytes));
        driver.handle(Now(1_000_000), Input::Tick);
        core::iter::from_fn(|| driver.poll()).collect()
    }

    fn said(line: &str) -> String {
        match &outputs(format!("{line}\r\n").as_bytes(), false)[..] {
            [Output::Reading(r)] => {
                let value = match r.indication {
                    Indication::Value(number) => number.text(),
                    Indication::Above(number) => format!("above {}", number.text()),
                    Indication::Below(number) => format!("below {}", number.text()),
                    Indication::Overload => "overload".into(),
                    Indication::NoValue => "none".into(),
                };
                format!("{:?} {value} {} {:?}", r.function, r.unit.ucum(), r.flags)
            }
            [Output::Note(note)] => note.word.into(),
            other => format!("{other:?}"),
        }
    }

    macro_rules! cases {
        ($($name:ident: $sent:literal => $want:literal;)*) => {
            $(#[test] fn $name() { assert_eq!(said($sent), $want); })*
        };
    }

    // The first two lines are of the layout in the manual named above, the rest invented.
    cases! {
        dc_millivolts:      "DCV -1.2345 mV" => "VoltageDc -1.2345 mV []";
        blank_at_the_end:   "DCV -1.2345 mV " => "VoltageDc -1.2345 mV []";
        four_wire:          "R4 +0.182 Ohm" => "Resistance4w 0.182 Ohm []";
        two_wire:           "R2 0.5 kOhm" => "Resistance2w 0.5 kOhm []";
        ac_current:         "ACA +12.3 uA" => "CurrentAc 12.3 uA []";
        insulation:         "INS >200 MOhm" => "InsulationResistance above 200 MOhm []";
        frequency:          "HZ 50.02 Hz" => "Frequency 50.02 Hz []";
        above:              "R4 >0.200 kOhm" => "Resistance4w above 0.200 kOhm []";
        below_with_blank:   "R4 < 0.01 Ohm" => "Resistance4w below 0.01 Ohm []";
        overload:           "R4 OL Ohm" => "Resistance4w overload Ohm []";
        overload_display:   "R4 0.L MOhm" => "Resistance4w overload MOhm []";
        overload_number:    "R4 +9.9E37 Ohm" => "Resistance4w overload Ohm []";
        negative_overload:  "DCV -OL mV" => "VoltageDc none mV []";
        dashes:             "R4 ---- Ohm" => "Resistance4w none Ohm []";
        blanks_behind_sign: "R4 -   7.51 Ohm" => "Resistance4w -7.51 Ohm []";
        many_blanks:        "R4   +0.182   Ohm  AUTO" => "Resistance4w 0.182 Ohm [AutoRange]";
        flags_sorted:       "R4 0.1 Ohm REL HOLD REL" => "Resistance4w 0.1 Ohm [Hold, Relative]";
        a_peak:             "PKV 0.3412 V" => "VoltagePeak 0.3412 V []";
        all_flags:          "R4 0.1 Ohm BATT MAN MIN MAX PEAK" =>
            "Resistance4w 0.1 Ohm [LowBattery, ManualRange, Min, Max, Peak]";
        event_line:         "3 REL ON" => "event";
        compare_line:       "1 DCV 12.345 mV HIGH 10.000 11.000" => "event";
        unknown_function:   "CAP 1.0 Ohm" => "malformed";
        unknown_unit:       "R4 0.182 ohm" => "malformed";
        unknown_flag:       "R4 0.182 Ohm HIGH" => "malformed";
        unit_of_another:    "R4 0.182 V" => "malformed";
        no_unit:            "R4 0.182" => "malformed";
        no_blank:           "R4 0.182Ohm" => "malformed";
        bit_flip:           "R4 +0.1\u{b1}8 Ohm" => "malformed";
        negative_bound:     "R4 >-0.2 Ohm" => "malformed";
        too_many_digits:    "R4 0.1234567890123456 Ohm" => "malformed";
        too_small_a_digit:  "DCV 1.2E-24 mV" => "malformed";
        tail_of_a_line:     "182 Ohm" => "malformed";
    }

    #[test]
    fn the_first_line_after_opening_is_marked_and_only_that() {
        let whys = |bytes: &[u8]| -> Vec<_> {
            let why = |output: &Output<Never>| match output {
                Output::Reading(reading) => reading.why,
                _ => Some("note"),
            };
            outputs(bytes, true).iter().map(why).collect()
        };
        let first = Some("first_after_open");
        assert_eq!(whys(b"R4 0.1 Ohm\r\nR4 0.2 Ohm\r\n"), [first, None]);
        assert_eq!(whys(b"4 0.1 Ohm\r\nR4 0.2 Ohm\r\n"), [Some("note"), None]);
    }

    proptest! {
        #[test]
        fn what_is_emitted_is_read_back(
            negative: bool, digits in 0..1_000_000_000_000_000_u64, exponent in -15..=0_i8,
            mark in 0..3_usize, function in 0..FUNCTIONS.len(),
        ) {
            let number = Number { negative: negative && mark == 0, digits, exponent };
            let (code, function) = FUNCTIONS[function];
            let unit = ["Ohm", "V", "A", "Hz"].into_iter().filter_map(Unit::from_ucum);
            let unit = unit.into_iter().find(|u| Some(u.quantity) == function.quantity()).unwrap();
            let (code, mark) = (core::str::from_utf8(code).unwrap(), ["", ">", "<"][mark]);
            let line = format!("{code} {mark}{} {}\r\n", number.text(), unit.ucum());
            let make = match mark {
                ">" => Indication::Above,
                "<" => Indication::Below,
                _ => Indication::Value,
            };
            let out = outputs(line.as_bytes(), false);
            let [Output::Reading(reading)] = &out[..] else { panic!("{out:?}") };
            prop_assert_eq!(reading.indication, make(number));
            prop_assert_eq!((reading.function, reading.unit), (function, unit));
        }
    }
}
