//! Noise from a seed: one seed tells one story, on every machine.

/// A generator of 64-bit numbers (SplitMix64, public domain algorithm).
#[derive(Debug, Clone)]
pub struct Noise {
    state: u64,
    still: bool,
}

impl Noise {
    /// Starts from a seed.
    #[must_use]
    pub fn new(seed: u64) -> Noise {
        Noise { state: seed, still: false }
    }

    /// None: what is shown is what the circuit says.
    #[must_use]
    pub fn still() -> Noise {
        Noise { state: 0, still: true }
    }

    /// The next number.
    pub fn draw(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Evenly between -1 and 1; 0 where there is none.
    pub fn even(&mut self) -> f64 {
        if self.still {
            return 0.0;
        }
        let top = u32::try_from(self.draw() >> 32).expect("32 bits are left");
        f64::from(top) / f64::from(u32::MAX) * 2.0 - 1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_seed_tells_one_story_within_bounds() {
        let (mut a, mut b, mut c) = (Noise::new(7), Noise::new(7), Noise::new(8));
        let mut sum = 0.0;
        for _ in 0..1000 {
            let x = a.even();
            assert!(x.to_bits() == b.even().to_bits() && (-1.0..=1.0).contains(&x));
            sum += x;
        }
        assert!(sum.abs() < 60.0, "no drift: {sum}");
        assert_ne!(a.draw(), c.draw());
    }
}
