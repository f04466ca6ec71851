//! Complex numbers, as far as phasors need them.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// A phasor or an admittance: real and imaginary part.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Complex {
    /// Real part.
    pub re: f64,
    /// Imaginary part.
    pub im: f64,
}

impl Complex {
    /// Zero.
    pub const ZERO: Complex = Complex { re: 0.0, im: 0.0 };
    /// One.
    pub const ONE: Complex = Complex { re: 1.0, im: 0.0 };

    /// A real number.
    #[must_use]
    pub fn real(re: f64) -> Complex {
        Complex { re, im: 0.0 }
    }

    /// Length of the phasor: r.m.s. where the source was given in r.m.s.
    #[must_use]
    pub fn magnitude(self) -> f64 {
        self.re.hypot(self.im)
    }
}

impl Add for Complex {
    type Output = Complex;

    fn add(self, other: Complex) -> Complex {
        Complex { re: self.re + other.re, im: self.im + other.im }
    }
}

impl Sub for Complex {
    type Output = Complex;

    fn sub(self, other: Complex) -> Complex {
        Complex { re: self.re - other.re, im: self.im - other.im }
    }
}

impl Neg for Complex {
    type Output = Complex;

    fn neg(self) -> Complex {
        Complex { re: -self.re, im: -self.im }
    }
}

impl Mul for Complex {
    type Output = Complex;

    fn mul(self, other: Complex) -> Complex {
        Complex {
            re: self.re * other.re - self.im * other.im,
            im: self.re * other.im + self.im * other.re,
        }
    }
}

impl Div for Complex {
    type Output = Complex;

    fn div(self, other: Complex) -> Complex {
        let square = other.re * other.re + other.im * other.im;
        Complex {
            re: (self.re * other.re + self.im * other.im) / square,
            im: (self.im * other.re - self.re * other.im) / square,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn division_undoes_multiplication() {
        let (a, b) = (Complex { re: 3.0, im: -4.0 }, Complex { re: 0.5, im: 2.0 });
        let back = a * b / b;
        assert!((back - a).magnitude() < 1e-12, "{back:?}");
        assert!((a.magnitude() - 5.0).abs() < 1e-12);
    }
}
