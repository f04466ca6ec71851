//! One seed, one story: a small generator whose numbers are the same everywhere.

/// SplitMix64 (Steele, Lea, Flood 2014; constants from memory).
#[derive(Debug, Clone)]
pub(crate) struct Rng(u64);

impl Rng {
    pub(crate) fn new(seed: u64) -> Rng {
        Rng(seed)
    }

    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number below `end`.
    pub(crate) fn below(&mut self, end: u64) -> u64 {
        self.next() % end
    }

    /// True once in `n` times.
    pub(crate) fn once_in(&mut self, n: u64) -> bool {
        self.below(n) == 0
    }

    /// Any byte.
    pub(crate) fn byte(&mut self) -> u8 {
        u8::try_from(self.below(256)).unwrap()
    }

    /// One of a list.
    pub(crate) fn one<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        let place = usize::try_from(self.below(list.len() as u64)).unwrap();
        &list[place]
    }
}
