//! Insulation at a reference temperature: a resistance halves with each 10 K that it gets warmer.
//!
//! `R(reference) = R(T) x 0.5^((reference - T) / 10)`, as IEEE 43-2013 reckons thermoplastic
//! insulation (two public walk-throughs of the standard, excerpts seen). The factor is irrational:
//! it is rounded once, to six significant digits, stands so in the record and is exact from there.
//! Integers alone: what is judged meets no float.

use tapline_drivers::Number;

use crate::exact::{Arithmetic, Ratio};

/// Hundredths of a kelvin in which a temperature is counted.
const PLACES: i32 = 2;
/// Lowest and highest temperature that is believed, hundredths of a degree Celsius: rated operation
/// of measuring equipment and a warm asset (common practice, no source).
const BELIEVED: [i128; 2] = [-1_000, 8_000];
/// A doubling, hundredths of a kelvin.
const DOUBLES: i128 = 1_000;
/// One, in the fixed point of the series.
const ONE: i128 = 1_000_000_000_000_000_000;
/// ln 2 in the same.
const LN_2: i128 = 693_147_180_559_945_309;
/// The factor has this many digits.
const DIGITS: u32 = 6;

/// A temperature that an insulation had, and the one that it is judged at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Temperature {
    /// Of the asset, degrees Celsius.
    pub measured: Number,
    /// What the plan judges at, degrees Celsius.
    pub reference: Number,
    /// Line of the record.
    pub seq: Option<u64>,
}

impl Temperature {
    /// What a resistance is multiplied by.
    ///
    /// # Errors
    /// A temperature has more than two decimal places, or is not believed: below -10 or above 80
    /// degrees Celsius.
    pub fn factor(&self) -> Result<Ratio, Arithmetic> {
        Ratio::of(rounded(hundredths(self.reference)? - hundredths(self.measured)?))
    }
}

/// A temperature that is believed.
#[must_use]
pub fn is_believed(celsius: Number) -> bool {
    hundredths(celsius).is_ok()
}

fn hundredths(celsius: Number) -> Result<i128, Arithmetic> {
    let power = u32::try_from(i32::from(celsius.exponent) + PLACES);
    let power = power.ok().filter(|power| *power <= 6).ok_or(Arithmetic)?;
    let size = i128::from(celsius.digits).checked_mul(10i128.pow(power)).ok_or(Arithmetic)?;
    let size = if celsius.negative { -size } else { size };
    let [low, high] = BELIEVED;
    if (low..=high).contains(&size) { Ok(size) } else { Err(Arithmetic) }
}

/// 0.5 to the power of so many hundredths of a kelvin over 10 K, six digits, half to even. None of
/// these factors lies nearer to the middle of two than 0.00001 of the last digit (all were looked
/// at with fifty digits), so that eighteen are enough.
fn rounded(colder: i128) -> Number {
    let (halvings, rest) = (colder.div_euclid(DOUBLES), colder.rem_euclid(DOUBLES));
    let mut size = exp_minus(rest * LN_2 / DOUBLES);
    let mut places = 18;
    for _ in 0..halvings.unsigned_abs() {
        match halvings < 0 {
            true => size *= 2,
            // Times five, and one place more: exactly half.
            false => (size, places) = (size * 5, places + 1),
        }
    }
    let mut unit = 1;
    while 10i128.pow(DIGITS) * unit <= size {
        (unit, places) = (unit * 10, places - 1);
    }
    let (whole, left) = (size / unit, size % unit);
    let up = 2 * left > unit || (2 * left == unit && whole % 2 == 1);
    let mut digits = u64::try_from(whole + i128::from(up)).unwrap_or_default();
    while digits % 10 == 0 && places > 0 {
        (digits, places) = (digits / 10, places - 1);
    }
    Number { negative: false, digits, exponent: -places }
}

/// e to the power of minus `y`, 0 to 1, by its series.
fn exp_minus(y: i128) -> i128 {
    let (mut sum, mut term, mut n) = (ONE, ONE, 0);
    while term != 0 {
        n += 1;
        term = -term * y / ONE / n;
        sum += term;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    fn factor(measured: &str, reference: &str) -> Option<alloc::string::String> {
        let number = |text| Number::parse(text).unwrap();
        let (measured, reference) = (number(measured), number(reference));
        Temperature { measured, reference, seq: None }.factor().ok().map(Ratio::text)
    }

    // IEEE 43-2013 as a public walk-through reckons it: 25 C to 40 C is 0.354, 500 Mohm are 177.
    // The other rows: the same formula, 45 C and 70 C among its printed examples (56.6 of 40, 24
    // of 3), and its digits by Python's `decimal` with fifty places.
    #[test]
    fn an_insulation_halves_with_each_ten_kelvin() {
        for (measured, reference, wanted) in [
            ("25", "40", "0.353553"),
            ("20", "40", "0.25"),
            ("45", "40", "1.41421"),
            ("70", "40", "8"),
            ("40", "40", "1"),
            ("40.00", "40", "1"),
            ("30", "20", "2"),
            ("21.3", "20", "1.09429"),
            ("-10", "80", "0.00195312"),
            ("80", "-10", "512"),
            ("39.99", "40", "0.999307"),
        ] {
            assert_eq!(factor(measured, reference).as_deref(), Some(wanted), "{measured}");
        }
    }

    #[test]
    fn what_is_no_temperature_of_an_asset_gives_no_factor() {
        for measured in ["-10.01", "80.01", "250", "1E9", "25.001", "900000000000000"] {
            assert_eq!(factor(measured, "40"), None, "{measured}");
            assert!(!is_believed(Number::parse(measured).unwrap()));
        }
    }
}
