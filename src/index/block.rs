//! Blocks: what the `record` tree holds. Raw bytes with their stamps, packed, and verdicts.
//!
//! `record` keys are `id 00 step 00 number`, the number big-endian, so that blocks sort in the
//! order of writing and the verdict (the highest number) comes last.

use tapline_protocols::fact::In;

use crate::books::line::{raw_bytes, raw_text, time_text};
use crate::clock::Stamp;

/// First byte of each value: its layout.
pub(super) const LAYOUT: u8 = 1;
/// At most so many readings in a block.
pub(super) const READINGS_MAX: usize = 256;
/// No value is longer, bytes: larger ones would lie in files of their own.
pub(super) const VALUE_MAX: usize = 60 << 10;
/// Number of the block that is a verdict.
pub(super) const VERDICT: u32 = u32::MAX;

/// Bytes that arrived, as the index keeps them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Kept {
    pub(super) seq: u64,
    pub(super) at: Stamp,
    pub(super) link: String,
    pub(super) cuts: Vec<(u32, u64)>,
    pub(super) raw: Vec<u8>,
}

impl Kept {
    pub(super) fn new(seq: u64, at: Stamp, fact: &In) -> Option<Kept> {
        let raw = raw_bytes(&fact.raw)?;
        Some(Kept { seq, at, link: fact.link.clone(), cuts: fact.cuts.clone(), raw })
    }

    /// Appends it; `None` if a length is beyond what its field holds.
    pub(super) fn write(&self, out: &mut Vec<u8>) -> Option<()> {
        out.extend_from_slice(&self.seq.to_be_bytes());
        out.extend_from_slice(&self.at.wall_us.to_be_bytes());
        out.extend_from_slice(&self.at.boot_us.to_be_bytes());
        sized(out, self.link.as_bytes())?;
        out.extend_from_slice(&u16::try_from(self.cuts.len()).ok()?.to_be_bytes());
        for (offset, us) in &self.cuts {
            out.extend_from_slice(&offset.to_be_bytes());
            out.extend_from_slice(&us.to_be_bytes());
        }
        sized(out, &self.raw)
    }

    fn read(from: &mut &[u8]) -> Option<Kept> {
        let seq = u64::from_be_bytes(take(from)?);
        let wall_us = i64::from_be_bytes(take(from)?);
        let at = Stamp { wall_us, boot_us: u64::from_be_bytes(take(from)?) };
        let link = String::from_utf8(sized_read(from)?).ok()?;
        let count = u16::from_be_bytes(take(from)?);
        let cut = |_| Some((u32::from_be_bytes(take(from)?), u64::from_be_bytes(take(from)?)));
        let cuts = (0..count).map(cut).collect::<Option<_>>()?;
        Some(Kept { seq, at, link, cuts, raw: sized_read(from)? })
    }

    /// The reading as faces show it.
    pub(super) fn shown(&self) -> super::RawReading {
        super::RawReading {
            seq: self.seq,
            t: time_text(self.at.wall_us).unwrap_or_default(),
            m: self.at.boot_us,
            link: self.link.clone(),
            cuts: self.cuts.clone(),
            raw: raw_text(&self.raw),
        }
    }
}

/// All readings of a block; `None` if it is none of this layout.
pub(super) fn read_block(value: &[u8]) -> Option<Vec<Kept>> {
    let (&LAYOUT, mut rest) = value.split_first()? else { return None };
    let mut kept = Vec::new();
    while !rest.is_empty() {
        kept.push(Kept::read(&mut rest)?);
    }
    Some(kept)
}

pub(super) fn key(id: &str, step: &str, number: u32) -> Vec<u8> {
    [id.as_bytes(), &[0], step.as_bytes(), &[0], &number.to_be_bytes()].concat()
}

/// Prefix of all keys of an inspection.
pub(super) fn keys_of(id: &str) -> Vec<u8> {
    [id.as_bytes(), &[0]].concat()
}

/// Step and number of a key.
pub(super) fn split_key<'a>(key: &'a [u8], id: &str) -> Option<(&'a str, u32)> {
    let rest = key.strip_prefix(keys_of(id).as_slice())?;
    let (step, number) = rest.split_at_checked(rest.len().checked_sub(5)?)?;
    let number = u32::from_be_bytes(number.strip_prefix(&[0])?.try_into().ok()?);
    Some((std::str::from_utf8(step).ok()?, number))
}

fn sized(out: &mut Vec<u8>, bytes: &[u8]) -> Option<()> {
    out.extend_from_slice(&u16::try_from(bytes.len()).ok()?.to_be_bytes());
    out.extend_from_slice(bytes);
    Some(())
}

fn sized_read(from: &mut &[u8]) -> Option<Vec<u8>> {
    let length = usize::from(u16::from_be_bytes(take(from)?));
    let (bytes, rest) = from.split_at_checked(length)?;
    *from = rest;
    Some(bytes.to_vec())
}

fn take<const N: usize>(from: &mut &[u8]) -> Option<[u8; N]> {
    let (bytes, rest) = from.split_first_chunk::<N>()?;
    *from = rest;
    Some(*bytes)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn the_fullest_line_of_a_link_fits_into_a_value() {
        let at = Stamp { wall_us: -1, boot_us: u64::MAX };
        let cuts = (0..4096).map(|n| (n, 7)).collect();
        let kept = Kept { seq: 1, at, link: "x".repeat(64), cuts, raw: vec![0xff; 4096] };
        let mut value = vec![LAYOUT];
        kept.write(&mut value).unwrap();
        assert!(value.len() <= VALUE_MAX, "{}", value.len());
        assert_eq!(read_block(&value), Some(vec![kept]));
    }

    #[test]
    fn keys_sort_by_step_and_number_with_the_verdict_last() {
        let keys = [key("A", "pe", 0), key("A", "pe", 1), key("A", "pe", VERDICT), key("B", "", 0)];
        assert!(keys.is_sorted());
        assert_eq!(split_key(&keys[1], "A"), Some(("pe", 1)));
        assert_eq!(split_key(&keys[3], "B"), Some(("", 0)));
        assert_eq!(split_key(&keys[3], "A"), None);
    }

    proptest! {
        #[test]
        fn any_bytes_as_a_block_are_read_or_refused(
            value in prop::collection::vec(any::<u8>(), 0..200),
        ) {
            let mut value = value;
            value.insert(0, LAYOUT);
            if let Some(kept) = read_block(&value) {
                let mut again = vec![LAYOUT];
                kept.iter().for_each(|k| k.write(&mut again).unwrap());
                prop_assert_eq!(again, value);
            }
        }
    }
}
