//! Codes on a scanner's line.

use super::*;
use crate::driver::{Driver, Input};
use crate::wire::latin;
use alloc::format;

fn drain(scanner: &mut Scanner) -> Vec<String> {
    core::iter::from_fn(|| scanner.poll()).map(|output| shown(&output)).collect()
}

fn shown(output: &Output<Never>) -> String {
    match output {
        Output::Scan(Scan { refused: Some(why), raw, aim: None, length, .. }) => {
            assert_eq!(raw, b"", "a refused code keeps no bytes");
            format!("refused {why} {length}")
        }
        Output::Scan(scan) => {
            let aim = scan.aim.as_deref().unwrap_or("-");
            format!("{:?} {aim} {}", scan.kind, latin(scan.payload()))
        }
        Output::Note(note) => note.word.into(),
        other => format!("{other:?}"),
    }
}

fn scanned(bytes: &[u8]) -> Vec<String> {
    let mut scanner = Scanner::new();
    scanner.handle(Now(0), Input::Bytes(bytes));
    drain(&mut scanner)
}

#[test]
fn every_suffix_ends_a_code() {
    let got = scanned(b"P-0107\rP-0108\nP-0109\r\nP-0110\tP-0111");
    assert_eq!(got, ["Text - P-0107", "Text - P-0108", "Text - P-0109", "Text - P-0110"]);
}

#[test]
fn silence_ends_a_code_and_a_blank_at_its_end_is_kept() {
    let mut scanner = Scanner::new();
    scanner.handle(Now(1_000), Input::Bytes(b"+A1"));
    scanner.handle(Now(40_000), Input::Bytes(b"2 "));
    assert_eq!(scanner.deadline(), Some(Now(40_000 + SILENCE_US)));
    scanner.handle(Now(89_999), Input::Tick);
    assert_eq!(drain(&mut scanner), [""; 0]);
    scanner.handle(Now(90_000), Input::Tick);
    assert_eq!(drain(&mut scanner), ["Text - +A12 "]);
    assert_eq!(scanner.deadline(), None);
}

// What grammars say is held in `tests/barcodes.rs`.
#[test]
fn identifiers_controls_and_refusals() {
    let sign = control::code("SIGN");
    assert_eq!(scanned(b"]C0AS-0001234\r\n"), ["Text ]C0 AS-0001234"]);
    assert_eq!(scanned(b"]C18004061414132a/b\r\n"), ["Gs1 ]C1 8004061414132a/b"]);
    assert_eq!(scanned(b"]?X\r\n"), ["Text - ]?X"]);
    assert_eq!(scanned(format!("{sign}\r\n").as_bytes()), [format!("Control - {sign}")]);
    assert_eq!(scanned(format!("]C0{sign}\r\n").as_bytes()), [format!("Control ]C0 {sign}")]);
    assert_eq!(scanned(b".TL-SIGN\r\n"), ["refused damaged_code 8"]);
    assert_eq!(scanned(b".tl-sign\r\n"), ["refused damaged_code 8"]);
    assert_eq!(scanned(b"]C0\r\n"), ["refused damaged_code 0"]);
    assert_eq!(scanned(b"]C18018950110153123456781\r\n"), ["refused patient_identifier 22"]);
    assert_eq!(scanned(b"P\x02107\r\n"), ["refused control_bytes 5"]);
    assert_eq!(scanned(b"]d210AB\x1d21X\r\n"), ["Gs1 ]d2 10AB\u{1d}21X"]);
}

#[test]
fn a_code_without_end_is_refused_once_and_the_next_is_read() {
    let mut bytes = alloc::vec![b'A'; 3 * LONGEST + 5];
    bytes.extend(b"\rP-0107\r\n");
    let got = scanned(&bytes);
    let refused = format!("refused too_long {LONGEST}");
    assert_eq!(got, [&refused, "too_long", "too_long", "too_long", "Text - P-0107"]);
}

#[test]
fn the_same_code_within_a_second_is_one_scan() {
    let mut scanner = Scanner::new();
    let mut scan = |at: u64, bytes: &[u8]| {
        scanner.handle(Now(at * 1_000), Input::Bytes(bytes));
        drain(&mut scanner)
    };
    assert_eq!(scan(0, b"P-0107\r\n"), ["Text - P-0107"]);
    assert_eq!(scan(900, b"P-0107\r\n"), ["duplicate"]);
    assert_eq!(scan(1_800, b"P-0107\r\n"), ["duplicate"]);
    assert_eq!(scan(2_000, b"P-0108\r\n"), ["Text - P-0108"]);
    assert_eq!(scan(2_100, b"P-0107\r\n"), ["Text - P-0107"]);
    assert_eq!(scan(3_101, b"P-0107\r\n"), ["Text - P-0107"]);
}
