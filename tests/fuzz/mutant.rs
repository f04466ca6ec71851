//! What can be changed at random: bytes.

use tapline::capture::{escape, unescape};

use super::random::Random;

/// Something a target is tried with.
pub(crate) trait Mutant: Clone {
    /// Changed in one place; `other` is another of its kind to take a piece from, `words` are
    /// bytes that mean something to the target.
    fn mutate(&mut self, random: &mut Random, other: &Self, words: &[Vec<u8>]);

    /// How many smallest parts it has.
    fn parts(&self) -> usize;

    /// Without the parts `from` to `to` (exclusive).
    fn without(&self, from: usize, to: usize) -> Self;

    /// As text of the corpus: lines, none of them empty.
    fn text(&self) -> String;

    /// What was written so.
    fn of_text(text: &str) -> Result<Self, String>;
}

/// Longest input, bytes: four times what a driver may hold.
pub(crate) const LONGEST: usize = 16 << 10;

impl Mutant for Vec<u8> {
    fn mutate(&mut self, random: &mut Random, other: &Self, words: &[Vec<u8>]) {
        mutate(self, random, other, words);
        self.truncate(LONGEST);
    }

    fn parts(&self) -> usize {
        self.len()
    }

    fn without(&self, from: usize, to: usize) -> Self {
        [&self[..from], &self[to..]].concat()
    }

    fn text(&self) -> String {
        format!("`{}`\n", escape(self))
    }

    fn of_text(text: &str) -> Result<Self, String> {
        let inner = text.trim_end().strip_prefix('`').and_then(|rest| rest.strip_suffix('`'));
        unescape(inner.ok_or("bytes stand in backquotes, as in a capture")?)
    }
}

/// A piece: mostly short.
fn piece(random: &mut Random, length: usize) -> std::ops::Range<usize> {
    let from = random.below(length + 1);
    let most = if random.below(4) == 0 { length } else { 16 };
    from..from + random.below((length - from).min(most) + 1)
}

fn mutate(bytes: &mut Vec<u8>, random: &mut Random, other: &[u8], words: &[Vec<u8>]) {
    let at = random.below(bytes.len());
    let word = |random: &mut Random| match words {
        [] => Vec::new(),
        words => random.pick(words).clone(),
    };
    match random.below(9) {
        0 if !bytes.is_empty() => bytes[at] ^= 1 << random.below(8),
        1 if !bytes.is_empty() => bytes[at] = random.byte(),
        2 if !bytes.is_empty() => bytes[at] = b'0' + u8::try_from(random.below(10)).unwrap(),
        3 => drop(bytes.drain(piece(random, bytes.len()))),
        4 => {
            let again = bytes[piece(random, bytes.len())].repeat(1 + random.below(4));
            insert(bytes, at, &again);
        }
        5 => {
            let taken = &other[piece(random, other.len())];
            insert(bytes, at, taken);
        }
        6 => {
            let over = piece(random, bytes.len());
            bytes.splice(over, word(random));
        }
        // Longer than anything may be.
        7 if random.below(8) == 0 => {
            let byte = if random.below(2) == 0 { b'7' } else { random.byte() };
            insert(bytes, at, &vec![byte; 1 + random.below(5_000)]);
        }
        _ => insert(bytes, at, &word(random)),
    }
}

fn insert(bytes: &mut Vec<u8>, at: usize, more: &[u8]) {
    bytes.splice(at..at, more.iter().copied());
}
