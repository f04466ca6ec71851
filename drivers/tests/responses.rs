//! Numeric responses against another program's arithmetic.
//!
//! Responses are made at random with every trap the grammar knows, read by it, and checked by
//! `outside/responses.py` with Python's own `decimal`. There are a hundred
//! thousand, with `SOAK=1` a million, with `RESPONSES=5000` so many. Without `python3` this fails.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::fmt::Write as _;
use std::io::{BufWriter, Read, Write};
use std::process::{Command, Stdio};

use tapline_drivers::wire::number::{Numeric, numeric};
use tapline_drivers::wire::response::{Datum, answer};

/// A small generator (xorshift, Marsaglia 2003): the same responses on every machine.
struct Random(u64);

impl Random {
    fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 >> 11).unwrap() % n
    }

    fn of(&mut self, list: &[&str]) -> String {
        list[self.below(list.len())].into()
    }

    fn digits(&mut self, most: usize) -> String {
        let zeros = self.below(3) * self.below(4);
        let count = self.below(most + 1);
        "0".repeat(zeros) + &(0..count).map(|_| self.of(&DIGITS)).collect::<String>()
    }
}

const DIGITS: [&str; 10] = ["0", "1", "2", "3", "4", "5", "6", "7", "8", "9"];

/// A number as instruments send them, good or bad.
fn number(random: &mut Random) -> String {
    let sign = random.of(&["", "+", "-"]);
    let blanks = random.of(&["", "", "", "", " ", "   ", "\t", "\0"]);
    let (whole, part) = match random.below(8) {
        // Near the sentinels.
        0 => ("9".into(), random.of(&["9", "91", "89", "88999", "90499999", "905", "8"])),
        1 => (random.digits(19), random.digits(19)),
        _ => (random.digits(6), random.digits(9)),
    };
    let point = if part.is_empty() { random.of(&["", "."]) } else { ".".into() };
    let power = match random.below(8) {
        0 | 1 => String::new(),
        2 => random.of(&["E37", "e+37", "E36", "E38", "E+037"]),
        n => {
            let size = random.below(if n == 3 { 1_200 } else { 26 });
            let zeros = random.of(&["", "", "0"]);
            random.of(&["E", "e"]) + &random.of(&["", "+", "-", "-"]) + &zeros + &size.to_string()
        }
    };
    let ends = [random.of(&["", "", " ", "  "]), random.of(&["", "", " ", "\0", " \0"])];
    format!("{}{sign}{blanks}{whole}{point}{part}{power}{}", ends[0], ends[1])
}

/// The same, in one case of 16 with one byte of it changed.
fn response(random: &mut Random) -> Vec<u8> {
    let mut bytes = number(random).into_bytes();
    if !bytes.is_empty() && random.below(16) == 0 {
        let at = random.below(bytes.len());
        bytes[at] ^= 1 << random.below(8);
    }
    bytes
}

fn said(bytes: &[u8]) -> String {
    let read = numeric(bytes);
    if let Some(number) = read {
        let whole = answer(&[bytes, b"\r\n"].concat(), 0).unwrap();
        assert_eq!(whole[0].data, [Datum::Number(number)], "{}", bytes.escape_ascii());
    }
    match read {
        Some(Numeric::Value(number)) => number.text(),
        Some(Numeric::Infinity { negative: false }) => "infinity".into(),
        Some(Numeric::Infinity { negative: true }) => "-infinity".into(),
        Some(Numeric::NotANumber) => "nan".into(),
        None => "malformed".into(),
    }
}

#[test]
fn decimals_of_another_program_agree() {
    let soak = std::env::var_os("SOAK").is_some();
    let given = std::env::var("RESPONSES").map(|n| n.parse().unwrap());
    let count: usize = given.unwrap_or(if soak { 1_000_000 } else { 100_000 });
    let mut python = Command::new("python3")
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/outside/responses.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("this test needs `python3`");
    let mut pipe = BufWriter::new(python.stdin.take().unwrap());
    let mut random = Random(20_261_126);
    for _ in 0..count {
        let bytes = response(&mut random);
        let mut line = String::new();
        bytes.iter().for_each(|byte| write!(line, "{byte:02x}").unwrap());
        if !line.is_empty() {
            writeln!(pipe, "{line} {}", said(&bytes)).unwrap();
        }
    }
    drop(pipe);
    let mut told = String::new();
    python.stdout.take().unwrap().read_to_string(&mut told).unwrap();
    assert!(python.wait().unwrap().success(), "the other program failed");
    assert!(!told.contains("differs"), "{told}");
    for kind in ["-infinity", "infinity", "malformed", "nan", "value"] {
        assert!(told.contains(&format!(" {kind}=")), "no response was {kind}: {told}");
    }
}
