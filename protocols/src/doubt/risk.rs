//! Risk over a population: how often a decision is wrong when items are what they are and a
//! measurement shows them with its own doubt (JCGM 106:2012 clause 9, formulas from memory).
//!
//! For planning guard bands. No verdict rests on it: a verdict knows its one asset, and nobody
//! knows how the values of a clinic's assets spread.

use super::spread;

/// Intervals of the sums by Simpson's rule. Good to a millionth for gamma distributions over 0 to
/// 40 um and u from 0.05 um on (held against adaptive quadrature).
const INTERVALS: u32 = 4_000;

/// Both ways to be wrong, each as a share of all items, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Risk {
    /// Accepted, and beyond the limit.
    pub false_acceptance: f64,
    /// Rejected, and within the limit.
    pub false_rejection: f64,
}

/// Risk for a maximum `limit` and an acceptance limit `accept`, where the true values spread as
/// `density` does over `from` to `to`, and a measurement adds a normal error of standard deviation
/// `u`. The density is 0 outside of that range.
#[must_use]
pub fn of_maximum(
    density: impl Fn(f64) -> f64,
    (from, to): (f64, f64),
    (limit, accept): (f64, f64),
    u: f64,
) -> Risk {
    let accepted = |x: f64| spread::normal((accept - x) / u);
    Risk {
        false_acceptance: sum(limit.max(from), to, |x| density(x) * accepted(x)),
        false_rejection: sum(from, limit.min(to), |x| density(x) * (1.0 - accepted(x))),
    }
}

/// The density of a gamma distribution with `shape` above 0 and `rate` above 0, at `x`.
#[must_use]
pub fn gamma_density(shape: f64, rate: f64, x: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    libm::exp(
        shape * libm::log(rate) + (shape - 1.0) * libm::log(x) - rate * x - libm::lgamma(shape),
    )
}

/// Simpson's rule; 0 where the range is empty.
fn sum(from: f64, to: f64, f: impl Fn(f64) -> f64) -> f64 {
    if from >= to {
        return 0.0;
    }
    let step = (to - from) / f64::from(INTERVALS);
    let weight = |n: u32| match n {
        0 | INTERVALS => 1.0,
        n if n % 2 == 1 => 4.0,
        _ => 2.0,
    };
    let all = (0..=INTERVALS).map(|n| weight(n) * f(from + step * f64::from(n)));
    all.sum::<f64>() * step / 3.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn printed(value: f64, places: usize) -> alloc::string::String {
        alloc::format!("{value:.places$}")
    }

    /// JCGM 106:2012 9.5.4, run-out of ball bearings (inputs and results as a published package
    /// for R computes them): gamma with shape 4 and rate 4 per um, limit 2 um, u = 0.25 um. Beyond
    /// the limit 0.042380; accepted at the limit 0.0080191; with the guard band of 0.328171 um one
    /// in a thousand. False rejections 0.01744 and 0.07549 (recomputed with another program).
    /// Rounded half up to the digits printed.
    #[test]
    fn ball_bearings_of_the_guide() {
        let bearing = |x: f64| gamma_density(4.0, 4.0, x);
        let range = (0.0, 20.0);
        assert_eq!(printed(sum(2.0, 20.0, bearing), 6), "0.042380");
        let at = of_maximum(bearing, range, (2.0, 2.0), 0.25);
        assert_eq!(printed(at.false_acceptance, 7), "0.0080191");
        assert_eq!(printed(at.false_rejection, 5), "0.01744");
        let guarded = of_maximum(bearing, range, (2.0, 2.0 - 0.328_171), 0.25);
        assert_eq!(printed(guarded.false_acceptance, 6), "0.001000");
        assert_eq!(printed(guarded.false_rejection, 5), "0.07549");
    }

    /// Without doubt nobody is wrong, and a guard band trades one risk for the other.
    #[test]
    fn a_guard_band_trades_one_risk_for_the_other() {
        let bearing = |x: f64| gamma_density(4.0, 4.0, x);
        let of = |accept: f64, u: f64| of_maximum(bearing, (0.0, 20.0), (2.0, accept), u);
        let sure = of(2.0, 1e-9);
        assert!(sure.false_acceptance < 1e-3 && sure.false_rejection < 1e-3);
        let mut before = of(2.0, 0.25);
        for accept in [1.9, 1.8, 1.7, 1.6, 1.5] {
            let now = of(accept, 0.25);
            assert!(now.false_acceptance < before.false_acceptance);
            assert!(now.false_rejection > before.false_rejection);
            before = now;
        }
    }
}
