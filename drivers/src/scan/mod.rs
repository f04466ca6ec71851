//! Barcode scanners on a line of their own.
//!
//! A code ends by CR, LF, CR LF or TAB, or by 50 ms of silence, and is at most 4 096 bytes long
//! with its end. Nothing is trimmed: a blank at the end may be data. A code that is refused
//! leaves no bytes behind. The same code again within a second is the same scan.

pub mod control;
mod patient;

use alloc::string::String;
use alloc::vec::Vec;

use crate::driver::{Never, Output};
use crate::listen::{Listener, Reader};
use crate::reading::{Now, Scan, ScanKind};
use crate::wire::lines::{Framing, Line, Lines};

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 1;

/// Silence that ends a code, microseconds.
pub const SILENCE_US: u64 = 50_000;

/// The same code within this time of its last sight is one scan, microseconds.
pub const SAME_US: u64 = 1_000_000;

/// Longest code with its end, bytes.
const LONGEST: usize = 4096;

const FRAMING: Framing =
    Framing { longest: LONGEST, ends: b"\r\n\t", silence_us: Some(SILENCE_US), answers: false };

/// A barcode scanner. Sends nothing, by type.
pub type Scanner = Listener<Lines, Scans>;

impl Default for Scanner {
    fn default() -> Scanner {
        Scanner::new()
    }
}

impl Scanner {
    /// A driver for one scanner.
    #[must_use]
    pub fn new() -> Scanner {
        Listener::of(Lines::new(FRAMING), Scans::default())
    }
}

/// Reads codes and knows the last one.
#[derive(Debug, Default)]
pub struct Scans {
    last: Option<(Vec<u8>, Now)>,
}

impl Scans {
    /// A reader held on a code sends it again and again: every sight counts from the one before.
    fn seen_again(&mut self, line: &Line) -> bool {
        let Some((raw, seen)) = &mut self.last else { return false };
        let again = *raw == line.bytes && line.first.0 <= seen.0 + SAME_US;
        if again {
            *seen = line.last;
        }
        again
    }
}

impl Reader for Scans {
    fn open(&mut self) {
        self.last = None;
    }

    fn read(&mut self, line: &Line) -> Output<Never> {
        if line.continued {
            return Output::Note(line.note("too_long", None));
        }
        if self.seen_again(line) {
            return Output::Note(line.note("duplicate", None));
        }
        let scan = scan(line);
        let kept = scan.refused.is_none();
        self.last = kept.then(|| (scan.raw.clone(), line.last));
        Output::Scan(scan)
    }
}

/// Understands one code.
fn scan(line: &Line) -> Scan {
    let (aim, payload) = identifier(&line.bytes);
    let (kind, refused) = match refuse(aim, payload, line.too_long) {
        Some(why) => (ScanKind::Refused, Some(why)),
        None if control::claims(payload) => (ScanKind::Control, None),
        None => (ScanKind::Text, None),
    };
    let kept = refused.is_none();
    Scan {
        kind,
        raw: if kept { line.bytes.clone() } else { Vec::new() },
        aim: aim.filter(|_| kept).map(String::from),
        refused,
        length: payload.len(),
        span: line.span,
        at: line.first,
    }
}

/// Why a code is not taken. The patient comes first: nothing else is said of that code.
fn refuse(aim: Option<&str>, payload: &[u8], too_long: bool) -> Option<&'static str> {
    if patient::identifies(aim, payload) {
        Some("patient_identifier")
    } else if too_long {
        Some("too_long")
    } else if payload.iter().any(|byte| byte.is_ascii_control() && *byte != 0x1d) {
        Some("control_bytes")
    } else if payload.is_empty() || (control::claims(payload) && control::read(payload).is_err()) {
        Some("damaged_code")
    } else {
        None
    }
}

/// Splits off the symbology identifier, `]` with a letter and a letter or digit
/// (ISO/IEC 15424, from memory).
fn identifier(bytes: &[u8]) -> (Option<&str>, &[u8]) {
    match bytes.split_at_checked(3) {
        Some((aim @ [b']', letter, modifier], payload))
            if letter.is_ascii_alphabetic() && modifier.is_ascii_alphanumeric() =>
        {
            (core::str::from_utf8(aim).ok(), payload)
        }
        _ => (None, bytes),
    }
}

#[cfg(test)]
mod tests {
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

    // Vectors from published figures: see the module `patient`; the rest made for this test.
    #[test]
    fn identifiers_controls_and_refusals() {
        let sign = control::code("SIGN");
        assert_eq!(scanned(b"]C0AS-0001234\r\n"), ["Text ]C0 AS-0001234"]);
        assert_eq!(scanned(b"]C18004061414132a/b\r\n"), ["Text ]C1 8004061414132a/b"]);
        assert_eq!(scanned(b"]?X\r\n"), ["Text - ]?X"]);
        assert_eq!(scanned(format!("{sign}\r\n").as_bytes()), [format!("Control - {sign}")]);
        assert_eq!(scanned(format!("]C0{sign}\r\n").as_bytes()), [format!("Control ]C0 {sign}")]);
        assert_eq!(scanned(b".TL-SIGN\r\n"), ["refused damaged_code 8"]);
        assert_eq!(scanned(b".tl-sign\r\n"), ["refused damaged_code 8"]);
        assert_eq!(scanned(b"]C0\r\n"), ["refused damaged_code 0"]);
        assert_eq!(scanned(b"]C18018950110153123456781\r\n"), ["refused patient_identifier 22"]);
        assert_eq!(scanned(b"P\x02107\r\n"), ["refused control_bytes 5"]);
        assert_eq!(scanned(b"]d210AB\x1d21X\r\n"), ["Text ]d2 10AB\u{1d}21X"]);
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
}
