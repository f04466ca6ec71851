//! Scatter of repeated readings.

use tapline_drivers::{Number, Unit};

use super::float;
use crate::amount::Amount;
use crate::exact::{Arithmetic, Ratio};

/// How far readings of one thing scatter (type A evaluation, GUM 4.2, from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Scatter {
    /// Standard deviation of one reading, six significant digits, exact from there.
    pub deviation: Amount,
    /// Degrees of freedom: readings less one.
    pub freedom: u32,
}

impl Scatter {
    /// Of at least two readings in `unit`. The mean is exact, so that large readings with small
    /// differences lose nothing. `None` for fewer, or where it has no room.
    #[must_use]
    pub fn of(readings: &[Number], unit: Unit) -> Option<Scatter> {
        let freedom = u32::try_from(readings.len()).ok()?.checked_sub(1).filter(|n| *n > 0)?;
        let text = alloc::format!("{:.5e}", deviation(readings).ok()?);
        Some(Scatter { deviation: Amount { number: Number::parse(&text)?, unit }, freedom })
    }
}

/// Experimental standard deviation of at least two readings.
///
/// # Errors
/// When their sum has no room, or there are fewer.
pub fn deviation(readings: &[Number]) -> Result<f64, Arithmetic> {
    let ratios =
        readings.iter().map(|n| Ratio::of(*n)).collect::<Result<alloc::vec::Vec<_>, _>>()?;
    let zero = Ratio::new(0, 1)?;
    let sum = ratios.iter().try_fold(zero, |sum, one| sum.plus(*one))?;
    let count = i128::try_from(ratios.len()).map_err(|_| Arithmetic)?;
    let mean = sum.over(Ratio::new(count, 1)?)?;
    let less_one = Ratio::new(count - 1, 1)?;
    if count < 2 {
        return Err(Arithmetic);
    }
    let off = |one: &Ratio| one.minus(mean).map(float);
    let squares = ratios.iter().try_fold(0.0, |sum, one| off(one).map(|off| sum + off * off))?;
    Ok(libm::sqrt(squares / float(less_one)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;
    use alloc::vec::Vec;

    fn numbers(texts: &[&str]) -> Vec<Number> {
        texts.iter().map(|text| Number::parse(text).unwrap()).collect()
    }

    /// Certified standard deviations of NIST's univariate data sets `NumAcc1` to `NumAcc4` (from
    /// memory, checked by arithmetic): 1, 0.1, 0.1 and 0.1.
    #[test]
    fn certified_standard_deviations() {
        let one = numbers(&["10000001", "10000003", "10000002"]);
        assert_eq!(
            Scatter::of(&one, Unit::from_ucum("V").unwrap()).unwrap().deviation.to_string(),
            "1.00000 V"
        );
        for (middle, low, high) in [
            ("1.2", "1.1", "1.3"),
            ("1000000.2", "1000000.1", "1000000.3"),
            ("10000000.2", "10000000.1", "10000000.3"),
        ] {
            let mut texts = Vec::from([middle]);
            (0..500).for_each(|_| texts.extend([low, high]));
            let found = deviation(&numbers(&texts)).unwrap();
            assert!((found - 0.1).abs() < 1e-15, "{middle}: {found}");
        }
    }

    /// GUM H.2, table H.2: five readings of a voltage and of a phase (from memory; their mean and
    /// its uncertainty are printed as 4.999, 0.0032 and 1.04446, 0.00075).
    #[test]
    fn readings_of_the_guide() {
        let mean = |texts: &[&str]| deviation(&numbers(texts)).unwrap() / libm::sqrt(5.0);
        let volts = mean(&["5.007", "4.994", "5.005", "4.990", "4.999"]);
        let phase = mean(&["1.0456", "1.0438", "1.0468", "1.0428", "1.0433"]);
        assert_eq!(alloc::format!("{volts:.4} {phase:.5}"), "0.0032 0.00075");
    }

    #[test]
    fn one_reading_does_not_scatter() {
        let unit = Unit::from_ucum("V").unwrap();
        assert_eq!(Scatter::of(&numbers(&["1"]), unit), None);
        assert_eq!(Scatter::of(&[], unit), None);
        let none = Scatter::of(&numbers(&["1", "1.0"]), unit).unwrap();
        assert_eq!((none.deviation.number.digits, none.freedom), (0, 1));
    }
}
