//! Where a measurand of one asset is going, from values that are alike in all that matters.
//!
//! Yearly values are few. With n points all rising, chance alone gives that order, up or down, in
//! 2 of n! cases: 0.33 for three, 0.083 for four, 0.017 for five. So a slope is said from four
//! points on, and a date at which the limit is reached from five on, and only where the slope's
//! 90 % interval leaves out zero.

use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};

use super::slope::{Line, theil_sen};
use super::{digits, float};
use crate::due::Day;
use crate::exact::{Arithmetic, Ratio};
use crate::limits::Direction;

/// Fewest points that a slope is said from.
pub const SLOPE_POINTS: usize = 4;
/// Fewest points that a date is said from.
pub const DATE_POINTS: usize = 5;
/// Share that the slope's interval holds.
pub const COVERS: f64 = 0.9;
/// Farthest that a date is said ahead of the newest point, days: twenty years.
const AHEAD_MAX: f64 = 7_305.0;
const YEAR: f64 = 365.25;

/// What two values must have in common to be compared. Anything else in it makes them strangers.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
pub struct Like {
    /// Measurand.
    pub measurand: String,
    /// Method.
    pub method: String,
    /// Condition: switches and operating state.
    pub condition: String,
    /// `ac` or `dc`.
    pub kind: String,
    /// Earthed point, accessible part, applied part or connection.
    pub point: String,
    /// The cord it was measured with.
    pub cord: String,
    /// How it was touched.
    pub contact: String,
    /// Instrument or set-up.
    pub setup: String,
    /// Number of the reference: a repair that touches the path begins a new one.
    pub reference: u32,
}

/// A value that was judged on a day.
#[derive(Debug, Clone)]
pub struct Point {
    /// What it is like.
    pub like: Like,
    /// The day.
    pub day: Day,
    /// The value; all points in one unit.
    pub value: Ratio,
}

/// Where it is going.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trend {
    /// Points that are alike.
    pub points: usize,
    /// From [`SLOPE_POINTS`] on.
    pub slope: Option<Slope>,
    /// What can be said of the limit.
    pub limit: Reaches,
}

/// A slope, in units of the value a year; texts with a sign where it falls.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Slope {
    /// The slope.
    pub per_year: String,
    /// Lower end of its 90 % interval.
    pub low: String,
    /// Upper end of its 90 % interval.
    pub high: String,
}

/// When the limit is reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reaches {
    /// Not enough like-for-like values.
    TooFew,
    /// The interval of the slope holds zero: no trend.
    NoTrend,
    /// It moves away from the limit.
    Away,
    /// More than twenty years after the newest point.
    Far,
    /// On this day, if it goes on like that. Where the line is beyond the limit already: the day
    /// of the newest point.
    On(Day),
}

/// The trend of the values that are like `like`.
#[must_use]
pub fn trend(points: &[Point], like: &Like, direction: Direction, limit: Ratio) -> Trend {
    let mut alike: Vec<(u32, f64, Day)> = points
        .iter()
        .filter(|point| point.like == *like)
        .map(|point| (point.day.number(), float(point.value), point.day))
        .collect();
    alike.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    // Counted from the newest day, so that the line begins there.
    let newest = alike.last().map(|(_, _, day)| *day);
    let from = newest.map_or(0.0, |day| f64::from(day.number()));
    let series: Vec<_> = alike.iter().map(|(day, y, _)| (f64::from(*day) - from, *y)).collect();
    let line = theil_sen(&series, COVERS).filter(|_| series.len() >= SLOPE_POINTS);
    let limit = match (line, newest) {
        (Some(line), Some(newest)) if series.len() >= DATE_POINTS => {
            reaches(line, newest, direction, float(limit))
        }
        _ => Reaches::TooFew,
    };
    Trend { points: series.len(), slope: line.map(said), limit }
}

/// The newest of like values is worse than the one before it by more than both expanded
/// uncertainties together (common practice, no source). Each with its expanded uncertainty, all in
/// one unit. It stands beside a verdict and changes none.
///
/// # Errors
/// When a number has no room.
pub fn worse_than_before(
    (now, its): (Ratio, Ratio),
    (before, former): (Ratio, Ratio),
    direction: Direction,
) -> Result<bool, Arithmetic> {
    let worse = match direction {
        Direction::Max => now.minus(before)?,
        Direction::Min => before.minus(now)?,
    };
    Ok(worse.compare(its.plus(former)?)?.is_gt())
}

fn said(line: Line) -> Slope {
    let signed = |slope: f64| match slope < 0.0 {
        true => alloc::format!("-{}", digits(-slope * YEAR)),
        false => digits(slope * YEAR),
    };
    Slope { per_year: signed(line.slope), low: signed(line.low), high: signed(line.high) }
}

fn reaches(line: Line, newest: Day, direction: Direction, limit: f64) -> Reaches {
    if line.low <= 0.0 && line.high >= 0.0 {
        return Reaches::NoTrend;
    }
    let room = match direction {
        Direction::Max => limit - line.intercept,
        Direction::Min => line.intercept - limit,
    };
    let pace = match direction {
        Direction::Max => line.slope,
        Direction::Min => -line.slope,
    };
    if room <= 0.0 {
        return Reaches::On(newest);
    }
    if pace <= 0.0 {
        return Reaches::Away;
    }
    whole_days(room / pace)
        .and_then(|days| newest.plus_days(days))
        .map_or(Reaches::Far, Reaches::On)
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 7305, checked")]
fn whole_days(days: f64) -> Option<u32> {
    (0.0..=AHEAD_MAX).contains(&days).then(|| libm::floor(days) as u32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;
    use proptest::prelude::*;
    use tapline_drivers::Number;

    fn ratio(text: &str) -> Ratio {
        Ratio::of(Number::parse(text).unwrap()).unwrap()
    }

    /// 0.214 after 0.182 ohm, each +-0.01: 0.032 is more than 0.02 (arithmetic).
    #[test]
    fn worse_is_worse_by_more_than_both_doubts() {
        let is = |now: (&str, &str), before: (&str, &str), direction| {
            let pair = |(value, doubt)| (ratio(value), ratio(doubt));
            worse_than_before(pair(now), pair(before), direction).unwrap()
        };
        assert!(is(("0.214", "0.01"), ("0.182", "0.01"), Direction::Max));
        assert!(!is(("0.202", "0.01"), ("0.182", "0.01"), Direction::Max));
        assert!(!is(("0.182", "0.01"), ("0.214", "0.01"), Direction::Max));
        assert!(is(("5", "0.2"), ("7.5", "0.3"), Direction::Min));
        assert!(!is(("7.5", "0.3"), ("5", "0.2"), Direction::Min));
    }

    fn like() -> Like {
        Like { measurand: "equipment_leakage".into(), setup: "LK-1".into(), ..Like::default() }
    }

    fn yearly(values: &[&str]) -> Vec<Point> {
        let day = |at: usize| Day::parse(&alloc::format!("{}-03-01", 2020 + at)).unwrap();
        let point =
            |(at, text): (usize, &&str)| Point { like: like(), day: day(at), value: ratio(text) };
        values.iter().enumerate().map(point).collect()
    }

    fn of(values: &[&str], direction: Direction, limit: &str) -> Trend {
        trend(&yearly(values), &like(), direction, ratio(limit))
    }

    /// 2 / n! (arithmetic): three points say nothing, four a slope, five a date.
    #[test]
    fn few_points_say_little() {
        let all = ["300", "320", "340", "360", "380"];
        for (count, slope, date) in
            [(0, false, false), (3, false, false), (4, true, false), (5, true, true)]
        {
            let found = of(&all[..count], Direction::Max, "500");
            assert_eq!(found.points, count);
            assert_eq!(found.slope.is_some(), slope, "{count}");
            assert_eq!(found.limit != Reaches::TooFew, date, "{count}");
        }
    }

    /// 20 a year from 380: 120 are six years, 20 in 50 are four (arithmetic). A year of 365 days
    /// makes 20.01 of 20 in 365.25.
    #[test]
    fn a_steady_rise_has_a_date() {
        let found = of(&["300", "320", "340", "360", "380"], Direction::Max, "500");
        let Reaches::On(day) = found.limit else { panic!("{found:?}") };
        assert!(day.text().starts_with("2030-0"), "{}", day.text());
        let slope = found.slope.unwrap();
        assert_eq!((slope.per_year.as_str(), slope.low.as_str()), ("20.01", "19.99"));
        let found = of(&["90", "85", "80", "75", "70"], Direction::Min, "50");
        let Reaches::On(day) = found.limit else { panic!("{found:?}") };
        assert!(day.text().starts_with("2028-0"), "{}", day.text());
        assert_eq!(found.slope.unwrap().per_year, "-5.003");
    }

    #[test]
    fn no_date_without_a_trend_away_from_it_or_far_ahead() {
        let max = |values: &[&str]| of(values, Direction::Max, "500").limit;
        assert_eq!(max(&["300", "340", "310", "330", "320"]), Reaches::NoTrend);
        assert_eq!(max(&["300", "300", "300", "300", "300"]), Reaches::NoTrend);
        assert_eq!(max(&["380", "360", "340", "320", "300"]), Reaches::Away);
        assert_eq!(max(&["300", "301", "302", "303", "304"]), Reaches::Far);
        let beyond = Reaches::On(Day::parse("2024-03-01").unwrap());
        assert_eq!(max(&["500", "520", "540", "560", "580"]), beyond);
    }

    #[test]
    fn strangers_are_left_out() {
        let mut points = yearly(&["300", "320", "340", "360", "380"]);
        let changes: [fn(&mut Like); 9] = [
            |like| like.measurand = "touch_current".to_string(),
            |like| like.method = "differential".to_string(),
            |like| like.condition = "S5=reversed".to_string(),
            |like| like.kind = "dc".to_string(),
            |like| like.point = "case".to_string(),
            |like| like.cord = "C-2".to_string(),
            |like| like.contact = "foil".to_string(),
            |like| like.setup = "LK-2".to_string(),
            |like| like.reference = 1,
        ];
        for change in changes {
            change(&mut points[2].like);
            let found = trend(&points, &like(), Direction::Max, ratio("500"));
            assert_eq!((found.points, found.limit), (4, Reaches::TooFew));
            points[2].like = like();
        }
        assert_eq!(trend(&points, &like(), Direction::Max, ratio("500")).points, 5);
    }

    proptest! {
        #[test]
        fn order_and_unit_of_the_points_change_no_date(
            values in proptest::collection::vec(1..1_000_u32, 5..12), scale in 1..1_000_i128,
        ) {
            let points = |by: i128| -> Vec<Point> {
                let day = |at: usize| Day::parse(&alloc::format!("{}-03-01", 2010 + at)).unwrap();
                let point = |(at, v): (usize, &u32)| {
                    let value = Ratio::new(i128::from(*v) * by, 1).unwrap();
                    Point { like: like(), day: day(at), value }
                };
                values.iter().enumerate().map(point).collect()
            };
            let limit = |by: i128| Ratio::new(500 * by, 1).unwrap();
            let plain = trend(&points(1), &like(), Direction::Max, limit(1));
            let mut turned = points(1);
            turned.reverse();
            prop_assert_eq!(&plain, &trend(&turned, &like(), Direction::Max, limit(1)));
            let other = trend(&points(scale), &like(), Direction::Max, limit(scale));
            match (plain.limit, other.limit) {
                // A floor may fall on either side of a whole day.
                (Reaches::On(a), Reaches::On(b)) => {
                    prop_assert!(a.number().abs_diff(b.number()) <= 1);
                }
                (a, b) => prop_assert_eq!(a, b),
            }
        }
    }
}
