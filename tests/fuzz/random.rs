//! A small generator (xorshift, Marsaglia 2003): the same run on every machine.

/// Its state; never zero.
#[derive(Debug, Clone)]
pub(crate) struct Random(u64);

impl Random {
    /// One for each text: targets don't walk in step.
    pub(crate) fn of(text: &str) -> Random {
        Random(text.bytes().fold(0xcbf2_9ce4_8422_2325, mix) | 1)
    }

    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 >> 11
    }

    /// 0 to `n` - 1; 0 where `n` is 0.
    pub(crate) fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.next()).unwrap() % n.max(1)
    }

    pub(crate) fn byte(&mut self) -> u8 {
        u8::try_from(self.below(256)).unwrap()
    }

    /// One of a list that is not empty.
    pub(crate) fn pick<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.below(list.len())]
    }
}

/// One step of FNV-1a (RFC 9923), 64 bits.
pub(crate) fn mix(sum: u64, byte: u8) -> u64 {
    (sum ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
}

/// A number for a text.
pub(crate) fn feature(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, mix)
}
