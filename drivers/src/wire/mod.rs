//! Wire grammars: bytes to lines, lines to what they say.
//!
//! Reading order: [`stream`] holds what was read, [`lines`] and [`frames`] cut it, [`number`]
//! reads a numeric response, [`words`] the words that stand where a number is expected, [`list`]
//! items and strings, [`response`] whole answers of IEEE 488.2, [`parity`] names a wrong setting
//! of the line.

pub mod frames;
pub mod lines;
pub mod list;
pub mod number;
pub mod parity;
pub mod response;
pub mod stream;
pub mod words;

use alloc::string::String;

/// Bytes as text, byte n = code point n: nothing is lost and nothing is guessed.
#[must_use]
pub fn latin(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| char::from(*byte)).collect()
}

/// A byte that stands for nothing: a blank, TAB or NUL.
///
/// IEEE 488.2 counts all of 00 to 20 but LF as white space (7.4.1.2, from memory). The others are
/// one flipped bit away from a digit (`1` is 31, DC1 is 11): a line with one of them is refused.
#[must_use]
pub fn blank(byte: u8) -> bool {
    matches!(byte, 0 | b'\t' | b' ')
}

/// `bytes` without blanks (NUL among them) at either end.
#[must_use]
pub fn trim(bytes: &[u8]) -> &[u8] {
    let from = bytes.iter().position(|b| !blank(*b)).unwrap_or(bytes.len());
    let to = bytes.iter().rposition(|b| !blank(*b)).map_or(from, |last| last + 1);
    &bytes[from..to]
}
