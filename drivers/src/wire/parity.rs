//! A parity bit left in bit 7: a link of seven data bits that is read as eight.
//!
//! Seen so, every byte of the text has an even number of ones, or every byte an odd one: CR (0D)
//! stays what it is under odd parity and LF (0A) becomes 8A, so that a reader of lines finds no
//! end. Arithmetic, no source.

use alloc::string::String;

use crate::reading::Note;

/// Fewest bytes that tell it from noise: eight bytes of noise fall out so once in a hundred.
pub const BYTES_MIN: usize = 8;

/// The parity that all of `bytes` carry in bit 7, `"even"` or `"odd"`; `None` when there are too
/// few, when bit 7 is never set, or when what would be left is no text.
#[must_use]
pub fn left_in(bytes: &[u8]) -> Option<&'static str> {
    let set = bytes.iter().any(|byte| *byte >= 0x80);
    let text = |byte: &u8| matches!(byte & 0x7f, b' '..=b'~' | b'\r' | b'\n' | b'\t' | 2);
    if bytes.len() < BYTES_MIN || !set || !bytes.iter().all(text) {
        return None;
    }
    let odd = bytes.iter().filter(|byte| byte.count_ones() % 2 == 1).count();
    match odd {
        0 => Some("even"),
        all if all == bytes.len() => Some("odd"),
        _ => None,
    }
}

/// The note on bytes that nobody could read, under the name of this mistake if it is one.
#[must_use]
pub fn named(note: Note, bytes: &[u8]) -> Note {
    match left_in(bytes) {
        Some(parity) => Note { word: "parity_bit", text: Some(String::from(parity)), ..note },
        None => note,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec::Vec;

    fn sent(text: &[u8], odd: bool) -> Vec<u8> {
        let bit = |byte: &u8| u8::from((byte.count_ones() % 2 == 1) != odd) << 7;
        text.iter().map(|byte| byte | bit(byte)).collect()
    }

    // The first vector: computed from the frame `101983` `00:` CR LF, as seen at 8N1.
    #[test]
    fn the_parity_is_named() {
        let seen = b"\x31\xb0\x31\xb9\x38\xb3\xb0\xb0\xba\x0d\x8a";
        assert_eq!(sent(b"10198300:\r\n", true), seen);
        assert_eq!(left_in(seen), Some("odd"));
        assert_eq!(left_in(&sent(b"R4 +0.182 Ohm\r\n", false)), Some("even"));
        assert_eq!(left_in(&sent(b"R4 +0.182 Ohm\r\n", true)), Some("odd"));
    }

    #[test]
    fn text_flipped_bits_and_noise_are_not_that() {
        assert_eq!(left_in(b"R4 +0.182 Ohm\r\n"), None);
        assert_eq!(left_in(b"R4 +0.1\xb12 Ohm\r\n"), None);
        assert_eq!(left_in(&sent(b"0.182", true)), None, "too short");
        assert_eq!(left_in(b"\x81\x84\x82\x90\x81\x84\x82\x90"), None, "no text");
        for at in 0..11 {
            let mut seen = sent(b"10198300:\r\n", true);
            seen[at] ^= 1;
            assert_eq!(left_in(&seen), None);
        }
    }
}
