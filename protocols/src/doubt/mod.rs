//! Doubt: uncertainty of a value and probability that it conforms.
//!
//! The one place with floats. Numbers leave it as texts of at most four significant digits, and
//! whatever a verdict rests on is taken from that text, exactly.
#![allow(clippy::float_arithmetic, reason = "doubt is an estimate: square roots and erfc")]

pub mod budget;
pub mod network;
pub mod risk;
pub mod scatter;
pub mod slope;
pub mod spread;
pub mod trend;

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::Number;

use crate::exact::Ratio;
use crate::limits::Direction;
use crate::register::Coverage;
use budget::Budget;

/// Accuracy of the meter as stated, and what else is known of how it reads.
#[derive(Debug, Clone, Copy)]
pub struct Stated {
    /// Percent of the reading.
    pub reading_percent: Ratio,
    /// Counts of the last digit.
    pub digits: u32,
    /// What the half-width of both covers.
    pub coverage: Coverage,
    /// How far the resistor of a measuring network may be off, percent: rectangular.
    pub network_percent: Option<Ratio>,
    /// How far the errors of a value and of its null go together, 0 to 1; `None` is 0.
    pub null_correlation: Option<Ratio>,
}

/// One reading as its doubt needs it, all in the unit of the value.
#[derive(Debug, Clone, Copy)]
pub struct Read {
    /// Before the null was subtracted.
    pub reading: Ratio,
    /// One count of its last digit.
    pub digit: Ratio,
    /// The null that was subtracted.
    pub null: Option<Ratio>,
    /// Standard deviation of repeated readings, and its degrees of freedom.
    pub scatter: Option<(Ratio, u32)>,
    /// Standard uncertainty of what the meter's certificate says.
    pub certificate: Option<Ratio>,
}

/// Uncertainty of one value.
#[derive(Debug, Clone)]
pub struct Uncertainty {
    standard: f64,
    factor: f64,
    effective: Option<f64>,
    /// What it is made of: name and standard uncertainty, in the unit of the value.
    pub parts: Vec<(&'static str, String)>,
    /// Standard uncertainty `u`, in the unit of the value.
    pub u: String,
    /// Coverage factor.
    pub k: String,
    /// Effective degrees of freedom; `None`: unlimited.
    pub freedom: Option<String>,
    /// Expanded uncertainty `U` = k u, about 95 %.
    pub expanded: String,
}

impl Uncertainty {
    fn of(budget: &Budget, parts: Vec<(&'static str, String)>) -> Option<Uncertainty> {
        let (standard, factor) = (budget.combined(), budget.coverage());
        standard.is_finite().then(|| Uncertainty {
            standard,
            factor,
            effective: budget.freedom(),
            parts,
            u: digits(standard),
            k: coverage_text(factor),
            freedom: budget.freedom().map(digits),
            expanded: digits(factor * standard),
        })
    }

    /// The expanded uncertainty as recorded, exact from there.
    #[must_use]
    pub fn ratio(&self) -> Option<Ratio> {
        Ratio::of(Number::parse(&self.expanded)?).ok()
    }

    /// The same, expanded with the coverage factor of another one: that at the limit.
    ///
    /// A factor that went with each value would fall as a reading grows and its stated accuracy
    /// comes to outweigh the scatter; U would fall with it, and a better value could be judged
    /// worse. At the limit is where it decides.
    #[must_use]
    pub fn covered_as(self, other: &Uncertainty) -> Uncertainty {
        Uncertainty {
            factor: other.factor,
            effective: other.effective,
            k: other.k.clone(),
            freedom: other.freedom.clone(),
            expanded: digits(other.factor * self.standard),
            ..self
        }
    }
}

/// Two decimals, rounded up so that it never covers less.
fn coverage_text(factor: f64) -> String {
    if factor <= 2.0 {
        return "2".to_string();
    }
    format!("{:.2}", libm::ceil(factor * 100.0) / 100.0)
}

/// A half-width over this is a standard uncertainty: rectangular where no coverage is stated (GUM
/// 4.3.7), a normal distribution where it is (GUM 4.3.3, 4.3.4; clauses from memory).
fn divisor(coverage: Coverage) -> f64 {
    match coverage {
        Coverage::None => libm::sqrt(3.0),
        Coverage::K2 => 2.0,
        Coverage::K3 => 3.0,
        Coverage::P95 => spread::normal_at(0.975),
    }
}

/// Uncertainty of a value, from the accuracy that is stated and what else is known.
///
/// The null is a second reading of the same meter. How far the errors of both go together is
/// rarely known: without a word they count as independent, which for a difference of two readings
/// of one meter is never too small (GUM 5.1.2 and 5.2.2, from memory). Scatter and
/// certificate count once for the value and once for the null. `None` where a number is not finite.
#[must_use]
pub fn uncertainty(stated: &Stated, read: &Read) -> Option<Uncertainty> {
    let counts = f64::from(stated.digits) * float(read.digit);
    let percent = |percent: Ratio, of: Ratio| float(percent) / 100.0 * float(of.abs());
    let width = |r: Ratio| (percent(stated.reading_percent, r) + counts) / divisor(stated.coverage);
    let (mut budget, mut parts) = (Budget::default(), Vec::new());
    let mut add = |name, share: f64, freedom| {
        parts.push((name, digits(share.abs())));
        budget.add(share, freedom)
    };
    let value = add("accuracy", width(read.reading), None);
    let null = read.null.map(|null| add("null", -width(null), None));
    if let Some(network) = stated.network_percent {
        add("network", percent(network, read.reading) / libm::sqrt(3.0), None);
    }
    let twice = if read.null.is_some() { libm::sqrt(2.0) } else { 1.0 };
    if let Some(certificate) = read.certificate {
        add("certificate", float(certificate.abs()) * twice, None);
    }
    if let Some((scatter, freedom)) = read.scatter {
        add("scatter", float(scatter.abs()) * twice, Some(f64::from(freedom)));
    }
    if let (Some(null), Some(r)) = (null, stated.null_correlation) {
        budget.tie(value, null, float(r).clamp(0.0, 1.0));
    }
    Uncertainty::of(&budget, parts)
}

/// Probability that the true value conforms, given the value and its standard uncertainty, for a
/// normal distribution (JCGM 106:2012 clause 7, from memory), or for Student's where the freedom is
/// limited. `None` without uncertainty.
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
    let away = room / uncertainty.standard;
    let p = match uncertainty.effective {
        None => spread::normal(away),
        Some(freedom) => spread::student(away, freedom),
    };
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

    fn stated(percent: &str) -> Stated {
        Stated {
            reading_percent: ratio(percent),
            digits: 0,
            coverage: Coverage::None,
            network_percent: None,
            null_correlation: None,
        }
    }

    fn read(reading: &str, digit: &str) -> Read {
        Read {
            reading: ratio(reading),
            digit: ratio(digit),
            null: None,
            scatter: None,
            certificate: None,
        }
    }

    /// 1 % of 300 is 3: over sqrt 3, 2, 3, 1.96 (GUM 4.3.3, 4.3.4, 4.3.7; arithmetic).
    #[test]
    fn a_stated_coverage_makes_a_half_width_smaller() {
        let of = |coverage| {
            let stated = Stated { coverage, ..stated("1") };
            uncertainty(&stated, &read("300", "1")).unwrap().u
        };
        let all = [Coverage::None, Coverage::K2, Coverage::K3, Coverage::P95].map(of);
        assert_eq!(all, ["1.732", "1.500", "1.000", "1.531"]);
    }

    /// 2 % of 100 and of 50 with k = 2: 1 and 0.5. Apart sqrt(1.25), wholly together the
    /// difference, halfway sqrt(0.75) (arithmetic; GUM 5.2.2, from memory).
    #[test]
    fn errors_that_go_together_leave_less_of_a_difference() {
        let of = |r: Option<&str>| {
            let stated =
                Stated { coverage: Coverage::K2, null_correlation: r.map(ratio), ..stated("2") };
            let read = Read { null: Some(ratio("50")), ..read("100", "1") };
            uncertainty(&stated, &read).unwrap().u
        };
        assert_eq!([of(None), of(Some("0"))], ["1.118", "1.118"]);
        assert_eq!([of(Some("0.5")), of(Some("1"))], ["0.8660", "0.5000"]);
        assert_eq!(of(Some("-1")), "1.118");
    }

    /// Scatter alone, five readings: t of GUM Table G.2 for 95.45 % and 4 degrees of freedom is
    /// 2.87 (from memory); here rounded up.
    #[test]
    fn few_readings_widen_the_cover() {
        let stated = stated("0");
        let with = Read { scatter: Some((ratio("0.5"), 4)), ..read("10", "0.1") };
        let got = uncertainty(&stated, &with).unwrap();
        assert_eq!(
            (got.u.as_str(), got.k.as_str(), got.expanded.as_str()),
            ("0.5000", "2.87", "1.435")
        );
        assert_eq!(got.freedom.as_deref(), Some("4.000"));
        let network = Stated { network_percent: Some(ratio("1")), ..stated };
        let got = uncertainty(&network, &with).unwrap();
        let names: Vec<_> = got.parts.iter().map(|(name, u)| (*name, u.as_str())).collect();
        assert_eq!(names, [("accuracy", "0"), ("network", "0.05774"), ("scatter", "0.5000")]);
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
            let mut budget = Budget::default();
            budget.add(standard, None);
            let doubt = Uncertainty::of(&budget, Vec::new()).unwrap();
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
            let stated = Stated { digits: counts, ..stated(percent) };
            let got = uncertainty(&stated, &read(reading, digit)).unwrap();
            assert_eq!((got.u.as_str(), got.expanded.as_str()), (u, expanded), "{reading}");
        }
    }

    /// Root sum of squares of reading and null: 0.0045 and 0.0030 give 0.00541 (arithmetic).
    #[test]
    fn a_null_adds_its_own_uncertainty() {
        let stated = Stated { digits: 1, ..stated("0") };
        let both = Read { null: Some(ratio("0")), ..read("0", "1") };
        let reading = uncertainty(&stated, &read("0", "1")).unwrap();
        let both = uncertainty(&stated, &both).unwrap();
        assert_eq!(reading.u, "0.5774");
        assert_eq!(both.u, "0.8165");
        let mut budget = Budget::default();
        budget.add(0.0045, None);
        budget.add(-0.0030, None);
        assert_eq!(digits(budget.combined()), "0.005408");
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
