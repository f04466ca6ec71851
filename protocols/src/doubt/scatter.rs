//! Scatter of repeated readings.

use tapline_drivers::{Number, Unit};

use super::float;
use crate::amount::Amount;
use crate::exact::{Arithmetic, Ratio};

/// Fewest differences of successive readings that a scatter is told from: of fewer, the factor that
/// covers 95 % says more of their number than of the meter.
pub const DIFFERENCES_MIN: usize = 3;

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

/// Scatter from one reading to the next, of readings of which the measured thing may move slowly:
/// half the mean square of successive differences (the two-sample variance, which GUM 4.2.7 points
/// to; clause from memory).
///
/// `readings` are whole multiples of ten to the power `exponent` of the unit. Differences above
/// `most` are steps of the measured thing and not counted. Degrees of freedom of n differences that
/// overlap, for white noise: 2 n² / (3 n - 1) (J. von Neumann, 1941, from memory), rounded down.
/// `None` for fewer than [`DIFFERENCES_MIN`] that count, and where there is no scatter at all.
#[must_use]
pub fn between(
    readings: &[i128],
    exponent: i32,
    most: Option<i128>,
    unit: Unit,
) -> Option<Scatter> {
    let apart = |pair: &[i128]| pair[1].checked_sub(pair[0]).map(i128::abs);
    let counts = |off: &i128| most.is_none_or(|most| *off <= most);
    let off: alloc::vec::Vec<_> = readings.windows(2).filter_map(apart).filter(counts).collect();
    if off.len() < DIFFERENCES_MIN || off.iter().all(|off| *off == 0) {
        return None;
    }
    let n = u32::try_from(off.len()).ok()?;
    let squares: f64 = off.iter().map(|off| whole(*off) * whole(*off)).sum();
    let text = alloc::format!("{:.5e}", libm::sqrt(squares / (2.0 * f64::from(n))));
    let (mantissa, power) = text.split_once('e')?;
    let mantissa = Number::parse(mantissa)?;
    let power = power.parse::<i32>().ok()? + exponent + i32::from(mantissa.exponent);
    let number = Number { exponent: i8::try_from(power).ok()?, ..mantissa };
    let number = Number::parse(&number.text())?;
    let freedom = u64::from(n) * u64::from(n) * 2 / (u64::from(n) * 3 - 1);
    let freedom = u32::try_from(freedom).ok()?;
    Some(Scatter { deviation: Amount { number, unit }, freedom })
}

#[allow(clippy::cast_precision_loss, reason = "a standard deviation of six digits")]
fn whole(size: i128) -> f64 {
    size as f64
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

    fn between_of(readings: &[i128], most: Option<i128>) -> Option<(alloc::string::String, u32)> {
        let scatter = between(readings, -3, most, Unit::from_ucum("Ohm").unwrap())?;
        Some((scatter.deviation.number.text(), scatter.freedom))
    }

    /// 0.182 and 0.184 in turns: each difference is 2, so sqrt(4 / 2) counts (arithmetic). A white
    /// noise of standard deviation 1 gives 1.
    #[test]
    fn scatter_goes_from_one_reading_to_the_next() {
        let turns = [182, 184, 182, 184, 182];
        assert_eq!(between_of(&turns, None), Some(("0.00141421".into(), 2)));
        let ramp: Vec<i128> = (0..50).map(|n| 100 + n).collect();
        assert_eq!(between_of(&ramp, None), Some(("0.000707107".into(), 32)));
        assert_eq!(between_of(&[5, 5, 5, 5, 5], None), None);
        assert_eq!(between_of(&[1, 2, 1], None), None);
    }

    /// A heater that switches on and off is no scatter of the meter.
    #[test]
    fn a_step_of_what_is_measured_is_no_scatter() {
        let heater = [100, 101, 100, 400, 401, 400, 100, 101, 100];
        assert_eq!(between_of(&heater, Some(60)), Some(("0.000707107".into(), 4)));
        assert!(between_of(&heater, None).unwrap().0 > "0.1".into());
        assert_eq!(between_of(&[i128::MIN, i128::MAX, 0, 1], Some(3)), None);
    }

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
