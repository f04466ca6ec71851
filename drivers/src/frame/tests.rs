//! Every style by named cases, then the rule of pairs.
//!
//! Frames marked "example" are printed in the source that the style names; all others are built
//! from its table, and are worth what the table is worth.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use super::*;
use crate::driver::{Driver, Input};
use crate::reading::Now;

fn hex(text: &str) -> Vec<u8> {
    text.split_whitespace().map(|byte| u8::from_str_radix(byte, 16).unwrap()).collect()
}

fn said(style: &'static Style, frame: &[u8]) -> String {
    let mut driver = Framed::new(style);
    driver.handle(Now(0), Input::Bytes(frame));
    driver.handle(Now(500_000), Input::Tick);
    let out: Vec<_> = core::iter::from_fn(|| driver.poll()).map(|o| one(&o)).collect();
    out.join(", ")
}

fn one(output: &Output<Never>) -> String {
    match output {
        Output::Reading(r) => {
            let value = match r.indication {
                Indication::Value(number) => number.text(),
                other => format!("{other:?}"),
            };
            let flags: Vec<_> = r.flags.iter().map(|flag| format!(" {flag:?}")).collect();
            format!("{:?} {value} {}{}", r.function, r.unit.ucum(), flags.concat())
        }
        Output::Note(note) => {
            note.text.as_ref().map_or(note.word.into(), |t| format!("{} {t}", note.word))
        }
        other => format!("{other:?}"),
    }
}

macro_rules! cases {
    ($($name:ident: $style:path, $frame:expr => $want:literal;)*) => {
        $(#[test] fn $name() { assert_eq!(said(&$style, &$frame), $want); })*
    };
}

const SEG: &str = "27 3D 48 55 63 7F 87 9F";

// The first digits and flags of byte 0: example; the rest built from the table.
cases! {
    seg14_example: seg14::STYLE, hex(&format!("17 {SEG} A0 B0 C4 D0 E0"))
        => "Resistance2w 0.198 Ohm AutoRange";
    seg14_overload: seg14::STYLE, hex("17 20 30 47 5D 6E 78 80 90 A0 B2 C4 D0 E0")
        => "Resistance2w Overload MOhm AutoRange";
    seg14_minus_millivolts: seg14::STYLE, hex("17 2F 3D 48 55 63 7F 87 9F A0 B8 C0 D4 E0")
        => "VoltageDc -0.198 mV AutoRange";
    seg14_minus_overload: seg14::STYLE, hex("15 28 30 47 5D 66 78 80 90 A0 B0 C0 D4 E0")
        => "VoltageDc NoValue V";
    seg14_hold_and_relative: seg14::STYLE, hex(&format!("19 {SEG} A8 B0 C3 D9 E0"))
        => "CurrentAc 0.198 uA Hold Relative LowBattery";
    seg14_farad: seg14::STYLE, hex(&format!("17 {SEG} A4 B0 C8 D0 E0")) => "other_function";
    seg14_continuity: seg14::STYLE, hex(&format!("17 {SEG} A0 B1 C4 D0 E0")) => "other_function";
    seg14_both_couplings: seg14::STYLE, hex(&format!("1F {SEG} A0 B0 C0 D4 E0"))
        => "other_function";
    seg14_volts_without_coupling: seg14::STYLE, hex(&format!("13 {SEG} A0 B0 C0 D4 E0"))
        => "malformed";
    seg14_no_unit: seg14::STYLE, hex(&format!("17 {SEG} A0 B0 C0 D0 E0")) => "malformed";
    seg14_two_prefixes: seg14::STYLE, hex(&format!("17 {SEG} A2 B2 C4 D0 E0")) => "malformed";
    seg14_two_points: seg14::STYLE, hex("17 27 3D 48 55 6B 7F 87 9F A0 B0 C4 D0 E0")
        => "malformed";
    seg14_no_digit: seg14::STYLE, hex("17 27 3D 48 54 63 7F 87 9F A0 B0 C4 D0 E0")
        => "malformed";
    seg14_blank_between: seg14::STYLE, hex("17 27 3D 40 50 63 7F 87 9F A0 B0 C4 D0 E0")
        => "malformed";
    seg14_dark: seg14::STYLE, hex("17 20 30 40 50 60 70 80 90 A0 B0 C4 D0 E0")
        => "Resistance2w NoValue Ohm AutoRange";
    seg14_wrong_index: seg14::STYLE, hex(&format!("17 {SEG} A0 B0 C4 D0 F0")) => "malformed";
}

// Built from the tables of the manual and the datasheet page.
cases! {
    range11_kilohms: range::RANGE11, b"10198300:\r\n"[..] => "Resistance2w 0.198 kOhm AutoRange";
    range11_minus: range::RANGE11, b"01998;408\r\n"[..] => "VoltageDc -199.8 mV";
    range11_ac: range::RANGE11, b"32301;006\r\n"[..] => "VoltageAc 230.1 V AutoRange";
    range11_milliamperes: range::RANGE11, b"001239208\r\n"[..]
        => "CurrentDc 1.23 mA LowBattery";
    range11_overload: range::RANGE11, b"54000310:\r\n"[..]
        => "Resistance2w Overload MOhm AutoRange";
    range11_minus_overload: range::RANGE11, b"14000;508\r\n"[..] => "VoltageDc NoValue V";
    range11_four_thousand: range::RANGE11, b"54000300:\r\n"[..]
        => "Resistance2w 40.00 MOhm AutoRange";
    range11_too_short: range::RANGE11, b"10550108\r\n"[..] => "malformed";
    range11_diode: range::RANGE11, b"105501008\r\n"[..] => "other_function";
    range11_continuity: range::RANGE11, b"001235008\r\n"[..] => "other_function";
    range11_judge: range::RANGE11, b"10198380:\r\n"[..] => "other_function";
    range11_no_such_range: range::RANGE11, b"70198300:\r\n"[..] => "malformed";
    range11_unknown_option: range::RANGE11, b"10198301:\r\n"[..] => "malformed";
    range11_no_digit: range::RANGE11, b"101:8300:\r\n"[..] => "malformed";
    range11_parity_left_in: range::RANGE11, hex("31 B0 31 B9 38 B3 B0 B0 BA 0D 8A")
        => "parity_bit odd";
}

// From memory, as the table is.
cases! {
    range14_ohms: range::RANGE14, b"001980300020\r\n"[..] => "Resistance2w 19.80 Ohm AutoRange";
    range14_volts: range::RANGE14, b"112301;400:2\r\n"[..]
        => "VoltageDc -12.301 V Hold AutoRange";
    range14_overload: range::RANGE14, b"622000310020\r\n"[..]
        => "Resistance2w Overload MOhm AutoRange";
    range14_largest: range::RANGE14, b"001980328000\r\n"[..]
        => "Resistance2w 19.80 Ohm LowBattery Max";
    range14_under: range::RANGE14, b"001980300820\r\n"[..] => "malformed";
    range14_frequency: range::RANGE14, b"001980200020\r\n"[..] => "other_function";
    range14_too_short: range::RANGE14, b"00198030020\r\n"[..] => "malformed";
}

// The first two: example; from memory, as the table is.
cases! {
    ascii14_ohms: ascii14::STYLE, hex("2B 30 31 39 38 20 34 20 00 00 20 04 0D 0A")
        => "Resistance2w 19.8 Ohm AutoRange";
    ascii14_overload: ascii14::STYLE, hex("2B 3F 30 3A 3F 20 34 20 00 00 20 04 0D 0A")
        => "Resistance2w Overload Ohm AutoRange";
    ascii14_flags_like_an_end: ascii14::STYLE, hex("2D 31 32 33 34 20 31 12 00 40 80 0A 0D 0A")
        => "VoltageDc -1.234 mV Hold";
    ascii14_minus_overload: ascii14::STYLE, hex("2D 3F 30 3A 3F 20 34 10 00 00 80 04 0D 0A")
        => "VoltageDc NoValue V";
    ascii14_beep: ascii14::STYLE, hex("2B 30 31 39 38 20 34 20 00 08 20 04 0D 0A")
        => "other_function";
    ascii14_unknown_point: ascii14::STYLE, hex("2B 30 31 39 38 20 33 20 00 00 20 04 0D 0A")
        => "malformed";
    ascii14_unknown_flag: ascii14::STYLE, hex("2B 30 31 39 38 20 34 60 00 00 20 04 0D 0A")
        => "malformed";
}

// Function codes of the information sheet; ranges and states from memory.
cases! {
    nib11_ohms: nib11::STYLE, b"019801401\r\n"[..] => "Resistance2w 19.80 Ohm AutoRange";
    nib11_minus: nib11::STYLE, b"123452125\r\n"[..] => "VoltageDc -12.345 V AutoRange";
    nib11_no_such_range: nib11::STYLE, b":0<::0401\r\n"[..] => "malformed";
    nib11_no_value: nib11::STYLE, b":0<::1401\r\n"[..] => "Resistance2w NoValue Ohm AutoRange";
    nib11_capacitance: nib11::STYLE, b"019801501\r\n"[..] => "other_function";
    nib11_both: nib11::STYLE, b"019801835\r\n"[..] => "other_function";
}

// The first: built from the table of the manuals, as all of them.
cases! {
    stx16_ohms: stx16::STYLE, b"\x0241380300000198\r"[..] => "Resistance2w 0.198 Ohm";
    stx16_minus: stx16::STYLE, b"\x0241181100019980\r"[..] => "VoltageDc -1998.0 mV";
    stx16_arrows: stx16::STYLE, b"\x02413803^^^^^^^^\r"[..] => "Resistance2w NoValue Ohm";
    stx16_time: stx16::STYLE, b"\x0240000024112409\r"[..] => "other_function";
    stx16_second_display: stx16::STYLE, b"\x0242380300000198\r"[..] => "other_function";
    stx16_temperature: stx16::STYLE, b"\x0241010100000231\r"[..] => "other_function";
    stx16_point_before_all: stx16::STYLE, b"\x0241380800000198\r"[..] => "malformed";
}

fn enveloped(payload: &[u8]) -> Vec<u8> {
    let length = u8::try_from(payload.len() + 2).unwrap();
    let sum = payload.iter().fold(u16::from(length), |sum, byte| sum + u16::from(*byte));
    [&[0xab, 0xcd, length][..], payload, &sum.to_be_bytes()[..]].concat()
}

// The envelope as described, the payload from memory.
cases! {
    envelope_short_payload: envelope::STYLE, enveloped(b"\x061 0.19810000") => "other_function";
    envelope_kilohms: envelope::STYLE, enveloped(b"\x061 0.198100000")
        => "Resistance2w 0.1981 kOhm";
    envelope_overload: envelope::STYLE, enveloped(b"\x066  OL   00000")
        => "Resistance2w Overload MOhm";
    envelope_hold: envelope::STYLE, enveloped(b"\x020-1.000000240")
        => "VoltageDc -1.0000 V Hold ManualRange";
    envelope_capacitance: envelope::STYLE, enveloped(b"\x090 0.198100000")
        => "other_function";
    envelope_other_payload: envelope::STYLE, enveloped(b"hello") => "other_function";
    envelope_wrong_sum: envelope::STYLE, {
        let mut frame = enveloped(b"\x061 0.198100000");
        frame[7] ^= 1;
        frame
    } => "malformed";
    envelope_inside_a_false_one: envelope::STYLE,
        [&b"\xab\xcd\x40"[..], &enveloped(b"\x061 0.198100000")].concat()
        => "malformed, Resistance2w 0.1981 kOhm";
}

// From memory.
cases! {
    fixed14_volts: fixed14::STYLE, b"DC-1.999    V\r"[..] => "VoltageDc -1.999 V";
    fixed14_ohms: fixed14::STYLE, b"OH 0.198  Ohm\r"[..] => "Resistance2w 0.198 Ohm";
    fixed14_kilohms: fixed14::STYLE, b"OH 1.998 kOhm\r"[..] => "Resistance2w 1.998 kOhm";
    fixed14_overload: fixed14::STYLE, b"OH   .OL MOhm\r"[..] => "Resistance2w Overload MOhm";
    fixed14_minus_overload: fixed14::STYLE, b"DC  -OL   mV \r"[..] => "VoltageDc NoValue mV";
    fixed14_unit_of_another: fixed14::STYLE, b"OH 0.198    V\r"[..] => "malformed";
    fixed14_diode: fixed14::STYLE, b"DI  0550   mV\r"[..] => "other_function";
    fixed14_too_short: fixed14::STYLE, b"OH 0.198 Ohm\r"[..] => "malformed";
}

/// Frames at moments in milliseconds, and why each is not judged; `ok` is.
fn whys(style: &'static Style, open: bool, frames: &[(u64, &[u8])]) -> Vec<&'static str> {
    let mut driver = Framed::new(style);
    if open {
        driver.handle(Now(0), Input::Open);
    }
    let mut out = Vec::new();
    for (at, frame) in frames {
        driver.handle(Now(at * 1_000), Input::Bytes(frame));
        while let Some(output) = driver.poll() {
            out.push(match output {
                Output::Reading(reading) => reading.why.unwrap_or("ok"),
                Output::Note(note) => note.word,
                _ => "?",
            });
        }
    }
    out
}

const A: &[u8] = b"10198300:\r\n";
const B: &[u8] = b"10199300:\r\n";

#[test]
fn a_conversion_that_is_sent_twice_is_one_value() {
    let whys = |frames: &[(u64, &[u8])]| whys(&range::RANGE11, false, frames);
    let two = [(0, A), (46, A), (400, A), (446, A), (800, B), (846, B)];
    assert_eq!(whys(&two), ["unpaired", "ok", "unpaired", "ok", "unpaired", "ok"]);
    // Faster than the pause between conversions: still one value for two frames.
    assert_eq!(whys(&[(0, A), (46, A), (92, A), (138, A)]), ["unpaired", "ok", "unpaired", "ok"]);
    // One copy is lost: the other conversion does not lend it one.
    assert_eq!(whys(&[(0, A), (400, A), (446, A)]), ["unpaired", "unpaired", "ok"]);
    assert_eq!(whys(&[(0, A), (46, B), (92, B)]), ["unpaired", "unpaired", "ok"]);
    assert_eq!(whys(&[(0, A), (20, b"x"), (46, A)]), ["unpaired", "malformed", "unpaired"]);
}

#[test]
fn a_frame_sent_once_needs_an_equal_one_before_it() {
    let volts = hex("2D 31 32 33 34 20 31 10 00 40 80 0A 0D 0A");
    let (one, two) = (hex("2B 30 31 39 38 20 34 20 00 00 20 04 0D 0A"), volts);
    // Only the bar differs.
    let bar = hex("2B 30 31 39 38 20 34 20 00 00 20 05 0D 0A");
    let frames = [(0, &one[..]), (400, &bar), (800, &one), (1_200, &two), (2_300, &two)];
    let want = ["unpaired", "ok", "ok", "unpaired", "unpaired"];
    assert_eq!(whys(&ascii14::STYLE, false, &frames), want);
}

#[test]
fn the_first_frame_after_opening_is_suspect_and_pairs_with_nobody() {
    let twice = [(0, A), (46, A), (92, A)];
    let want = ["first_after_open", "unpaired", "ok"];
    assert_eq!(whys(&range::RANGE11, true, &twice), want);
    // A torn one before it changes nothing.
    let torn = [(0, &A[4..]), (46, A), (92, A), (138, A)];
    let want = ["malformed", "first_after_open", "unpaired", "ok"];
    assert_eq!(whys(&range::RANGE11, true, &torn), want);
    let frame = enveloped(b"\x061 0.198100000");
    let two = [(0, &frame[..]), (1, &frame)];
    assert_eq!(whys(&envelope::STYLE, true, &two), ["first_after_open", "ok"]);
}
