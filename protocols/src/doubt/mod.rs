//! Doubt: uncertainty of a value and probability that it conforms.
//!
//! The one place with floats. Numbers leave it as texts of at most four significant digits, and
//! whatever a verdict rests on is taken from that text, exactly.
#![allow(clippy::float_arithmetic, reason = "doubt is an estimate: square roots and erfc")]

pub mod budget;
pub mod network;
pub mod spread;

use alloc::format;
use alloc::string::{String, ToString};

use tapline_drivers::Number;

use crate::exact::Ratio;
use crate::limits::Direction;

/// Stated accuracy of the reading: a half-width, taken as rectangular where no coverage is
/// stated (GUM 4.3.7, from memory).
#[derive(Debug, Clone, Copy)]
pub struct Stated {
    /// Percent of the reading.
    pub reading_percent: Ratio,
    /// Counts of the last digit.
    pub digits: u32,
}

/// Uncertainty of one value.
#[derive(Debug, Clone)]
pub struct Uncertainty {
    standard: f64,
    /// Standard uncertainty `u`, in the unit of the value.
    pub u: String,
    /// Expanded uncertainty `U` = 2 u, about 95 %.
    pub expanded: String,
}

impl Uncertainty {
    /// The expanded uncertainty as recorded, exact from there.
    #[must_use]
    pub fn ratio(&self) -> Option<Ratio> {
        Ratio::of(Number::parse(&self.expanded)?).ok()
    }
}

/// Coverage factor, about 95 % for a normal distribution (GUM 6.2, from memory).
pub const COVERAGE: &str = "2";

/// Uncertainty of a value whose reading is `reading`, one count of its last digit `digit`, both
/// in the unit of the value, after `null` was subtracted.
///
/// The null is a second reading of the same meter; both are taken as independent (GUM 5.1.2,
/// from memory): u^2 = u_reading^2 + u_null^2. `None` where a number is not finite.
#[must_use]
pub fn uncertainty(
    stated: Stated,
    reading: Ratio,
    digit: Ratio,
    null: Option<Ratio>,
) -> Option<Uncertainty> {
    let counts = f64::from(stated.digits) * float(digit);
    let width = |r: Ratio| float(stated.reading_percent) / 100.0 * float(r.abs()) + counts;
    let mut square = width(reading) * width(reading) / 3.0;
    if let Some(null) = null {
        square += width(null) * width(null) / 3.0;
    }
    let standard = libm::sqrt(square);
    standard.is_finite().then(|| Uncertainty {
        standard,
        u: digits(standard),
        expanded: digits(2.0 * standard),
    })
}

/// Probability that the true value conforms, given the value and its standard uncertainty, for a
/// normal distribution (JCGM 106:2012 clause 7, from memory). `None` without uncertainty.
#[must_use]
pub fn probability(
    direction: Direction,
    limit: Ratio,
    value: Ratio,
    uncertainty: &Uncertainty,
) -> Option<String> {
    let room = match direction {
        Direction::Max => float(limit) - float(value),
        Direction::Min => float(value) - float(limit),
    };
    let p = spread::normal(room / uncertainty.standard);
    p.is_finite().then(|| digits(p))
}

#[allow(clippy::cast_precision_loss, reason = "doubt needs four digits")]
fn float(ratio: Ratio) -> f64 {
    let (num, den) = ratio.parts();
    num as f64 / den as f64
}

/// Plain notation with four significant digits; below 10^-12 it is `0`.
fn digits(x: f64) -> String {
    if x < 1e-12 {
        return "0".to_string();
    }
    let text = format!("{x:.3e}");
    Number::parse(&text).map_or(text, |number| number.text())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ratio(text: &str) -> Ratio {
        Ratio::of(Number::parse(text).unwrap()).unwrap()
    }

    /// Conformance probability for one-sided limits: JCGM 106:2012 clause 7 (formula from
    /// memory), numbers computed: 0.97725, 0.84134, 0.89435, 0.97725, 0.93319.
    #[test]
    fn conformance_probability_of_one_sided_limits() {
        let cases = [
            (Direction::Max, "100", "98.0", 1.0, "0.9772"),
            (Direction::Max, "500", "495", 5.0, "0.8413"),
            (Direction::Max, "0.200", "0.195", 0.004, "0.8944"),
            (Direction::Min, "2.0", "2.30", 0.15, "0.9772"),
            (Direction::Max, "50", "47.0", 2.0, "0.9332"),
        ];
        for (direction, limit, value, standard, want) in cases {
            let doubt = Uncertainty { standard, u: String::new(), expanded: String::new() };
            let got = probability(direction, ratio(limit), ratio(value), &doubt).unwrap();
            assert_eq!(got, want, "{limit} {value}");
        }
    }

    /// Half-width from percent and digits, rectangular, k = 2: GUM 4.3.7 and 6.2 (from memory),
    /// numbers computed with another program to six digits, here in four.
    #[test]
    fn uncertainty_from_a_stated_accuracy() {
        let cases = [
            ("0.285", "1", 5, "0.001", "0.004532", "0.009064"),
            ("0.292", "1", 5, "0.001", "0.004573", "0.009145"),
            ("0.3015", "1", 5, "0.001", "0.004627", "0.009255"),
            ("92.0", "1", 3, "0.1", "0.7044", "1.409"),
            ("486", "1.5", 5, "1", "7.096", "14.19"),
            ("2.20", "3", 3, "0.01", "0.05543", "0.1109"),
        ];
        for (reading, percent, counts, digit, u, expanded) in cases {
            let stated = Stated { reading_percent: ratio(percent), digits: counts };
            let got = uncertainty(stated, ratio(reading), ratio(digit), None).unwrap();
            assert_eq!((got.u.as_str(), got.expanded.as_str()), (u, expanded), "{reading}");
        }
    }

    /// Root sum of squares of reading and null: 0.0045 and 0.0030 give 0.00541 (arithmetic).
    #[test]
    fn a_null_adds_its_own_uncertainty() {
        let stated = Stated { reading_percent: ratio("0"), digits: 1 };
        let reading = uncertainty(stated, ratio("0"), ratio("1"), None).unwrap();
        let both = uncertainty(stated, ratio("0"), ratio("1"), Some(ratio("0"))).unwrap();
        assert_eq!(reading.u, "0.5774");
        assert_eq!(both.u, "0.8165");
    }

    #[test]
    fn texts_have_four_digits_and_no_exponent() {
        for (x, want) in [(0.999_96, "1.000"), (14.1913, "14.19"), (2.5e-5, "0.00002500")] {
            assert_eq!(digits(x), want);
        }
        assert_eq!(digits(0.0), "0");
        assert_eq!(digits(1.234e7), "12340000");
    }
}
