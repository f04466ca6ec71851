//! What came, as hexadecimal and as text, and what was guessed of it, in words.

use std::fmt::Write;

use tapline_drivers::described::fixed::Kind;

use super::frames::{Guess, Shape};
use crate::capture::escape;
use crate::words::english;

/// Bytes in a row of the view.
const ROW: usize = 16;
/// Most rows that are shown.
const ROWS_MAX: usize = 40;
/// Most frames that are shown.
const FRAMES_MAX: usize = 12;

fn tell(code: &str, values: &[(&str, &str)]) -> String {
    english().tell("learn", code, values)
}

/// What came, by guessed frames where there are some, else by reads; then the guesses.
#[must_use]
pub fn view(reads: &[(u64, Vec<u8>)], guess: &Guess) -> Vec<String> {
    let mut out = Vec::new();
    if guess.frames.is_empty() {
        for (at, bytes) in reads.iter().take(FRAMES_MAX) {
            out.push(format!("{:>8} ms", at / 1_000));
            out.extend(rows(bytes));
        }
    }
    for frame in guess.frames.iter().take(FRAMES_MAX) {
        out.extend(rows(frame));
    }
    out.truncate(ROWS_MAX);
    out.push(String::new());
    out.extend(words(guess));
    out
}

/// Hexadecimal on the left, text on the right.
fn rows(bytes: &[u8]) -> Vec<String> {
    let row = |part: &[u8]| {
        let hex = part.iter().fold(String::new(), |mut text, byte| {
            write!(text, "{byte:02x} ").expect("a string takes any text");
            text
        });
        let shown = |byte: &u8| if (b' '..=b'~').contains(byte) { char::from(*byte) } else { '.' };
        format!("  {hex:<48} {}", part.iter().map(shown).collect::<String>())
    };
    bytes.chunks(ROW).map(row).collect()
}

/// Each guess as a sentence.
fn words(guess: &Guess) -> Vec<String> {
    let mut out = Vec::new();
    let (bytes, frames) = (guess.bytes.to_string(), guess.frames.len().to_string());
    out.push(tell("heard", &[("bytes", &bytes), ("frames", &frames)]));
    if let Some(parity) = guess.parity {
        let bits = bits(parity);
        out.push(tell("parity", &[("parity", parity), ("bits", bits)]));
    }
    let (code, mark, length) = match &guess.shape {
        Shape::Lines(end) => ("lines", escape(end), 0),
        Shape::Between(start, end) => {
            ("between", format!("{} … {}", escape(start), escape(end)), 0)
        }
        Shape::Fixed(length) => ("fixed", String::new(), *length),
        Shape::Indexed(length) => ("indexed", String::new(), *length),
        Shape::Unknown => ("unknown", String::new(), 0),
    };
    out.push(tell(code, &[("mark", &mark), ("length", &length.to_string())]));
    if let Some(ms) = guess.silence_ms {
        out.push(tell("silence", &[("ms", &ms.to_string())]));
    }
    if let Some(ms) = guess.period_ms {
        out.push(tell("period", &[("ms", &ms.to_string())]));
    }
    if guess.twice {
        out.push(tell("twice", &[]));
    }
    if !guess.always.is_empty() {
        let places: Vec<String> =
            guess.always.iter().map(|(at, byte)| format!("{}: {byte:02x}", at + 1)).collect();
        out.push(tell("always", &[("places", &places.join(", "))]));
    }
    for check in &guess.checks {
        let [from, to, at] = [check.from, check.to, check.at].map(|place| place.to_string());
        let kind = kind(check.kind);
        out.push(tell("check", &[("kind", kind), ("from", &from), ("to", &to), ("at", &at)]));
    }
    out
}

/// The kind of a checksum as a file names it.
pub(super) fn kind(kind: Kind) -> &'static str {
    match kind {
        Kind::Sum8 => "sum8",
        Kind::Sum16 | Kind::Sum16LowFirst => "sum16",
        Kind::Xor8 => "xor8",
    }
}

/// Settings of a port that takes a parity bit for what it is.
pub(super) fn bits(parity: &str) -> &'static str {
    if parity == "odd" { "7O1" } else { "7E1" }
}
