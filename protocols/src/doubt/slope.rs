//! A robust slope: the median of the slopes between all pairs (Theil, Sen), with the interval of
//! Sen (1968), as scipy's `theilslopes` has it; `tests/doubt.rs` holds both against each other.

use alloc::vec::Vec;

use super::spread;

/// Most points that are looked at: the newest.
pub const POINTS_MAX: usize = 512;

/// A line through points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Median of the slopes between all pairs, units of y in one of x.
    pub slope: f64,
    /// y at x = 0 of the line through the medians of x and y.
    pub intercept: f64,
    /// Lower end of the slope's interval.
    pub low: f64,
    /// Upper end of the slope's interval.
    pub high: f64,
}

/// The line through points (x, y), of which the last [`POINTS_MAX`] count, with the interval of
/// its slope that holds the share `covers`, 0 to 1. `None` where no two x differ.
#[must_use]
pub fn theil_sen(points: &[(f64, f64)], covers: f64) -> Option<Line> {
    let points = &points[points.len().saturating_sub(POINTS_MAX)..];
    let mut slopes = Vec::new();
    for (at, (x, y)) in points.iter().enumerate() {
        let later = points[at + 1..].iter().filter(|(other, _)| other != x);
        slopes.extend(later.map(|(other, value)| (value - y) / (other - x)));
    }
    let slope = median(&mut slopes)?;
    let mut xs: Vec<f64> = points.iter().map(|(x, _)| *x).collect();
    let mut ys: Vec<f64> = points.iter().map(|(_, y)| *y).collect();
    let intercept = median(&mut ys)? - slope * median(&mut xs)?;
    // Sen's equation 2.6; both lists are sorted by now, equal values stand together.
    let spread = kendall(points.len()) - ties(&xs) - ties(&ys);
    let away = spread::normal_at(f64::midpoint(1.0, covers)) * libm::sqrt(spread.max(0.0) / 18.0);
    let pairs = count(slopes.len());
    let at = |place: f64| nth(&slopes, libm::rint(place));
    let low = at(((pairs - away) / 2.0).max(1.0) - 1.0)?;
    let high = at(((pairs + away) / 2.0).min(pairs - 1.0))?;
    Some(Line { slope, intercept, low, high })
}

/// n (n - 1) (2 n + 5).
fn kendall(n: usize) -> f64 {
    let n = count(n);
    n * (n - 1.0) * (2.0 * n + 5.0)
}

fn ties(sorted: &[f64]) -> f64 {
    sorted.chunk_by(|a, b| a == b).map(|same| kendall(same.len())).sum()
}

/// Sorts; the middle, or the mean of both middles.
fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    match values.len() % 2 {
        1 => Some(values[half]),
        _ => Some(f64::midpoint(*values.get(half.checked_sub(1)?)?, values[half])),
    }
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place in the list")]
fn nth(sorted: &[f64], place: f64) -> Option<f64> {
    sorted.get(place.max(0.0) as usize).copied()
}

#[allow(clippy::cast_precision_loss, reason = "far fewer than 2^52")]
fn count(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_wild_point_does_not_turn_the_line() {
        let mut points: Vec<_> = (0..9).map(|n| (f64::from(n), f64::from(n) * 2.0 + 1.0)).collect();
        points[8].1 = 900.0;
        let line = theil_sen(&points, 0.9).unwrap();
        assert!((line.slope - 2.0).abs() < 1e-12 && (line.intercept - 1.0).abs() < 1e-12);
        assert!(line.low <= 2.0 && 2.0 <= line.high);
    }

    #[test]
    fn points_of_one_day_have_no_slope() {
        assert_eq!(theil_sen(&[(1.0, 2.0), (1.0, 3.0)], 0.9), None);
        assert_eq!(theil_sen(&[(1.0, 2.0)], 0.9), None);
        assert_eq!(theil_sen(&[], 0.9), None);
    }
}
