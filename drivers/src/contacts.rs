//! Volt-free contacts that witness a supply box: `C 1010\r\n`, inputs 1 to 4, 1 = closed.
//!
//! The sender debounces: a line is sent when the inputs were stable for 50 ms.

use crate::driver::{Never, Output};
use crate::reading::Contacts;
use crate::talker::Talker;
use crate::wire::lines::Line;

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 1;

/// Longest line, bytes.
const LONGEST: usize = 16;

/// A driver for such a box.
#[must_use]
pub fn driver() -> Talker {
    Talker::new(LONGEST, read)
}

fn read(line: &Line) -> Output<Never> {
    match closed(&line.bytes) {
        Some(closed) => Output::Contacts(Contacts { closed, span: line.span, at: line.first }),
        None => Output::Note(line.note("malformed", None)),
    }
}

fn closed(bytes: &[u8]) -> Option<[bool; 4]> {
    let inputs: [u8; 4] = bytes.strip_prefix(b"C ")?.try_into().ok()?;
    let known = inputs.iter().all(|input| matches!(input, b'0' | b'1'));
    known.then(|| inputs.map(|input| input == b'1'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_inputs_and_nothing_else() {
        assert_eq!(closed(b"C 1010"), Some([true, false, true, false]));
        for bytes in [&b"C 101"[..], b"C 10100", b"C 1012", b" 1010", b"c 1010", b"C  1010", b""] {
            assert_eq!(closed(bytes), None);
        }
    }
}
