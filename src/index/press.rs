//! How a value lies in the store: layout, check sum, and what it holds, pressed by zstd.
//!
//! A value is `layout (1) | CRC-32 over its key and all that follows (4, big-endian) | length of
//! what it holds | zstd frame`. A value under a wrong key so fails like a changed one.

use std::io;

use zstd::bulk::{Compressor, Decompressor};

use super::bytes::{put, take};

/// First byte of each value.
const LAYOUT: u8 = 3;
/// Level: 5 leaves 3 % less than 4 in about the same time (10 million readings built again: 30.6 s
/// and 31.5 s); 6 saves little more and takes three times as long.
const LEVEL: i32 = 5;
/// What lines of books are like, so that small blocks are pressed as well as large ones. It
/// belongs to the layout.
const DICTIONARY: &[u8] = include_bytes!("dictionary.txt");
/// No value holds more, bytes.
const PLAIN_MAX: usize = 1 << 20;

/// Presses values; one a thread.
pub(super) struct Press(Compressor<'static>);

impl std::fmt::Debug for Press {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Press")
    }
}

impl Press {
    pub(super) fn new() -> io::Result<Press> {
        Ok(Press(Compressor::with_dictionary(LEVEL, DICTIONARY)?))
    }

    /// The value of a key.
    pub(super) fn value(&mut self, key: &[u8], plain: &[u8]) -> io::Result<Vec<u8>> {
        let mut body = Vec::new();
        put(&mut body, plain.len() as u64);
        body.extend_from_slice(&self.0.compress(plain)?);
        let sum = sum(key, &body).to_be_bytes();
        Ok([&[LAYOUT], &sum[..], &body].concat())
    }
}

/// Takes values apart; one a question.
pub(super) struct Unpress(Decompressor<'static>);

impl Unpress {
    pub(super) fn new() -> io::Result<Unpress> {
        Ok(Unpress(Decompressor::with_dictionary(DICTIONARY)?))
    }

    /// What the value of a key holds; `None` if anything about it is not right.
    pub(super) fn plain(&mut self, key: &[u8], value: &[u8]) -> Option<Vec<u8>> {
        let (&LAYOUT, rest) = value.split_first()? else { return None };
        let (want, mut body) = rest.split_first_chunk::<4>()?;
        if sum(key, body).to_be_bytes() != *want {
            return None;
        }
        let length = usize::try_from(take(&mut body)?).ok().filter(|n| *n <= PLAIN_MAX)?;
        let plain = self.0.decompress(body, length).ok()?;
        (plain.len() == length).then_some(plain)
    }
}

fn sum(key: &[u8], body: &[u8]) -> u32 {
    let mut sum = crc32fast::Hasher::new();
    sum.update(key);
    sum.update(body);
    sum.finalize()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_comes_back_under_its_own_key_alone() {
        let value = Press::new().unwrap().value(b"key", b"what it holds").unwrap();
        let mut unpress = Unpress::new().unwrap();
        assert_eq!(unpress.plain(b"key", &value).unwrap(), b"what it holds");
        assert_eq!(unpress.plain(b"kez", &value), None);
    }

    /// A value can be read with the dictionary alone that it was pressed with.
    #[test]
    fn the_dictionary_belongs_to_the_layout() {
        use sha2::{Digest, Sha256};
        let sum = data_encoding::HEXLOWER.encode(&Sha256::digest(DICTIONARY));
        assert_eq!(
            (LAYOUT, &sum[..16]),
            (3, "1e4cdacc0bbd43a9"),
            "another dictionary is another layout"
        );
    }

    #[test]
    fn every_flipped_bit_and_every_cut_is_noticed() {
        let value = Press::new().unwrap().value(b"key", &[b'x'; 300]).unwrap();
        let mut unpress = Unpress::new().unwrap();
        for bit in 0..value.len() * 8 {
            let mut bad = value.clone();
            bad[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(unpress.plain(b"key", &bad), None, "bit {bit}");
        }
        for cut in 0..value.len() {
            assert_eq!(unpress.plain(b"key", &value[..cut]), None, "cut at {cut}");
        }
    }
}
