//! A calibration certificate: what a meter read wrong at a few points.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;
use core::cmp::Ordering;

use serde::{Deserialize, Serialize};
use tapline_drivers::Unit;

use crate::amount::Amount;
use crate::correct::amount_in;
use crate::exact::{Arithmetic, Ratio};

/// Most points of one certificate.
pub const POINTS_MAX: usize = 64;

/// One point: the meter showed `at`, and that was too much by `error`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CalibrationPoint {
    /// What the meter showed, not below zero.
    pub at: Amount,
    /// Shown less true.
    pub error: Amount,
    /// Expanded uncertainty of the error, k = 2, not below zero.
    pub expanded: Amount,
}

/// Points that rise, each with the error of the meter there.
///
/// Between two points the error is interpolated, outside of them the nearest one holds; for
/// readings below zero it has the other sign. The widest uncertainty of all points stands for
/// each: a value never seems surer for lying at a lucky point. The maker's stated accuracy stays
/// beside it, for what has changed since.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Certificate {
    points: Vec<CalibrationPoint>,
}

impl Certificate {
    /// Of 1 to [`POINTS_MAX`] points in rising order, all of one quantity.
    ///
    /// # Errors
    /// What is wrong, as the rest of a sentence. An error that changes by more than half of the
    /// way between two points is refused: a better reading could become a worse value.
    pub fn new(points: &[CalibrationPoint]) -> Result<Certificate, String> {
        if points.is_empty() || points.len() > POINTS_MAX {
            return Err(format!("needs 1 to {POINTS_MAX} points"));
        }
        let unit = points[0].at.unit;
        for (at, point) in points.iter().enumerate() {
            let fault = |why: &str| Err(format!("point {}: {why}", at + 1));
            let Ok([x, _, expanded]) = parts(point, unit) else {
                return fault("its amounts are of different quantities, or too large");
            };
            if x.is_negative() || expanded.is_negative() {
                return fault("neither `at` nor `expanded` is below zero");
            }
            match points.get(at + 1).map(|next| steep(point, next, unit)) {
                Some(Err(Arithmetic)) => return fault("too far from the next one to be reckoned"),
                Some(Ok(Some(why))) => return fault(why),
                _ => {}
            }
        }
        Ok(Certificate { points: points.to_vec() })
    }

    /// The error of a reading, in the unit of the reading.
    ///
    /// # Errors
    /// When it has no room or is of another quantity.
    pub fn error(&self, reading: Ratio, unit: Unit) -> Result<Ratio, Arithmetic> {
        let error = self.of_magnitude(reading.abs(), unit)?;
        match reading.is_negative() {
            true => Ratio::new(0, 1)?.minus(error),
            false => Ok(error),
        }
    }

    fn of_magnitude(&self, x: Ratio, unit: Unit) -> Result<Ratio, Arithmetic> {
        let mut before: Option<[Ratio; 2]> = None;
        for point in &self.points {
            let [at, error, _] = parts(point, unit)?;
            if x.compare(at)? != Ordering::Greater {
                return match before {
                    None => Ok(error),
                    Some([low, from]) => {
                        let share = x.minus(low)?.over(at.minus(low)?)?;
                        from.plus(error.minus(from)?.times(share)?)
                    }
                };
            }
            before = Some([at, error]);
        }
        before.map(|[_, error]| error).ok_or(Arithmetic)
    }

    /// Standard uncertainty of the errors, in `unit`: half of the widest expanded one.
    ///
    /// # Errors
    /// When it has no room or is of another quantity.
    pub fn standard(&self, unit: Unit) -> Result<Ratio, Arithmetic> {
        let mut widest = Ratio::new(0, 1)?;
        for point in &self.points {
            let [_, _, expanded] = parts(point, unit)?;
            if expanded.compare(widest)? == Ordering::Greater {
                widest = expanded;
            }
        }
        widest.times(Ratio::new(1, 2)?)
    }
}

fn parts(point: &CalibrationPoint, unit: Unit) -> Result<[Ratio; 3], Arithmetic> {
    Ok([
        amount_in(point.at, unit)?,
        amount_in(point.error, unit)?,
        amount_in(point.expanded, unit)?,
    ])
}

/// Why two points in a row can't be used, where they can't.
fn steep(
    one: &CalibrationPoint,
    next: &CalibrationPoint,
    unit: Unit,
) -> Result<Option<&'static str>, Arithmetic> {
    let ([x, from, _], [later, to, _]) = (parts(one, unit)?, parts(next, unit)?);
    let way = later.minus(x)?;
    if way.compare(Ratio::new(0, 1)?)? != Ordering::Greater {
        return Ok(Some("the next one does not lie above it"));
    }
    let change = to.minus(from)?.abs().times(Ratio::new(2, 1)?)?;
    let steep = change.compare(way)? == Ordering::Greater;
    Ok(steep.then_some("up to the next one the error changes by more than half of the way"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use tapline_drivers::Number;

    fn point(at: &str, error: &str, expanded: &str) -> CalibrationPoint {
        let amount = |text: &str| Amount::parse(text).unwrap();
        CalibrationPoint { at: amount(at), error: amount(error), expanded: amount(expanded) }
    }

    fn ratio(text: &str) -> Ratio {
        Ratio::of(Number::parse(text).unwrap()).unwrap()
    }

    fn certificate() -> Certificate {
        Certificate::new(&[
            point("0.1 Ohm", "1 mOhm", "0.002 Ohm"),
            point("300 mOhm", "-0.003 Ohm", "0.004 Ohm"),
            point("1.0 Ohm", "0.004 Ohm", "3 mOhm"),
        ])
        .unwrap()
    }

    /// Straight lines between the points (arithmetic).
    #[test]
    fn errors_between_at_and_outside_of_the_points() {
        let ohm = Unit::from_ucum("Ohm").unwrap();
        for (reading, error) in [
            ("0", "0.001"),
            ("0.1", "0.001"),
            ("0.2", "-0.001"),
            ("0.25", "-0.002"),
            ("0.3", "-0.003"),
            ("0.65", "0.0005"),
            ("1.0", "0.004"),
            ("5", "0.004"),
            ("-0.2", "0.001"),
        ] {
            let found = certificate().error(ratio(reading), ohm).unwrap();
            assert_eq!(found.compare(ratio(error)), Ok(Ordering::Equal), "{reading}");
        }
        let milli = Unit::from_ucum("mOhm").unwrap();
        let found = certificate().error(ratio("200"), milli).unwrap();
        assert_eq!(found.compare(ratio("-1")), Ok(Ordering::Equal));
        let u = certificate().standard(milli).unwrap();
        assert_eq!(u.compare(ratio("2")), Ok(Ordering::Equal));
        assert!(certificate().error(ratio("1"), Unit::from_ucum("V").unwrap()).is_err());
    }

    #[test]
    fn points_that_prove_nothing_are_refused() {
        let why = |points: &[CalibrationPoint]| Certificate::new(points).unwrap_err();
        let good = point("0.1 Ohm", "0 Ohm", "0 Ohm");
        assert!(why(&[]).contains("1 to 64"));
        assert!(why(&[good; 65]).contains("1 to 64"));
        assert!(why(&[good, good]).contains("point 1: the next one does not lie above"));
        let steep = point("0.2 Ohm", "0.051 Ohm", "0 Ohm");
        assert!(why(&[good, steep]).contains("more than half"));
        assert!(why(&[point("0.1 Ohm", "1 V", "0 Ohm")]).contains("different quantities"));
        assert!(why(&[good, point("1 V", "1 V", "1 V")]).contains("point 1"));
        assert!(why(&[point("-1 Ohm", "0 Ohm", "0 Ohm")]).contains("below zero"));
        assert!(why(&[point("1 Ohm", "0 Ohm", "-1 Ohm")]).contains("below zero"));
    }

    proptest! {
        #[test]
        fn a_larger_reading_stays_the_larger_value(
            errors in proptest::collection::vec(-25..25_i32, 1..8),
            a in 0..1_000_u32,
            b in 0..1_000_u32,
        ) {
            let text = |n: i32| alloc::format!("{n} mOhm");
            let at = |n: usize| text(i32::try_from(n).unwrap() * 100);
            let points: Vec<_> =
                errors.iter().enumerate().map(|(n, e)| point(&at(n), &text(*e), "1 mOhm")).collect();
            let found = Certificate::new(&points).unwrap();
            let unit = Unit::from_ucum("mOhm").unwrap();
            let value = |reading: u32| {
                let reading = Ratio::new(i128::from(reading), 1).unwrap();
                reading.minus(found.error(reading, unit).unwrap()).unwrap()
            };
            let order = value(a.min(b)).compare(value(a.max(b))).unwrap();
            prop_assert!(order.is_le());
        }
    }
}
