//! Exact arithmetic on the way to a verdict: a ratio of two integers, compared by
//! cross-multiplying, never rounded first.

use alloc::format;
use alloc::string::String;
use core::cmp::Ordering;

use tapline_drivers::Number;

/// A result that two `i128` can't hold, or a division by zero: the reason `arithmetic`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Arithmetic;

/// Smallest number of four digits.
const FOUR_DIGITS: u128 = 1000;

/// A ratio of two integers. Never reduced on its way, so that it can be written as it came
/// about: 462 x 230 / 226 is `106260/226`.
#[derive(Debug, Clone, Copy)]
pub struct Ratio {
    num: i128,
    /// Above zero.
    den: i128,
}

impl Ratio {
    /// `num / den`.
    ///
    /// # Errors
    /// When `den` is zero.
    pub fn new(num: i128, den: i128) -> Result<Ratio, Arithmetic> {
        match den.cmp(&0) {
            Ordering::Greater => Ok(Ratio { num, den }),
            Ordering::Equal => Err(Arithmetic),
            Ordering::Less => Ok(Ratio { num: neg(num)?, den: neg(den)? }),
        }
    }

    /// The decimal as sent; its places are kept.
    ///
    /// # Errors
    /// When its power of ten has no room.
    pub fn of(number: Number) -> Result<Ratio, Arithmetic> {
        let digits = i128::from(number.digits);
        let num = if number.negative { neg(digits)? } else { digits };
        Ratio { num, den: 1 }.shifted(i32::from(number.exponent))
    }

    /// Times ten to the power `exponent`: a change of prefix.
    ///
    /// # Errors
    /// When it has no room.
    pub fn shifted(self, exponent: i32) -> Result<Ratio, Arithmetic> {
        let factor = power_of_ten(exponent.unsigned_abs())?;
        if exponent < 0 {
            return Ok(Ratio { num: self.num, den: mul(self.den, factor)? });
        }
        if self.den % factor == 0 {
            return Ok(Ratio { num: self.num, den: self.den / factor });
        }
        Ok(Ratio { num: mul(self.num, factor)?, den: self.den })
    }

    /// Minus another; the longer decimal gives the places.
    ///
    /// # Errors
    /// When it has no room.
    pub fn minus(self, other: Ratio) -> Result<Ratio, Arithmetic> {
        let (den, left, right) = if self.den % other.den == 0 {
            (self.den, 1, self.den / other.den)
        } else if other.den % self.den == 0 {
            (other.den, other.den / self.den, 1)
        } else {
            (mul(self.den, other.den)?, other.den, self.den)
        };
        let num = mul(self.num, left)?.checked_sub(mul(other.num, right)?).ok_or(Arithmetic)?;
        Ok(Ratio { num, den })
    }

    /// Plus another; the longer decimal gives the places.
    ///
    /// # Errors
    /// When it has no room.
    pub fn plus(self, other: Ratio) -> Result<Ratio, Arithmetic> {
        self.minus(Ratio { num: neg(other.num)?, den: other.den })
    }

    /// Times another.
    ///
    /// # Errors
    /// When it has no room.
    pub fn times(self, other: Ratio) -> Result<Ratio, Arithmetic> {
        Ok(Ratio { num: mul(self.num, other.num)?, den: mul(self.den, other.den)? })
    }

    /// Over another.
    ///
    /// # Errors
    /// When the other is zero, or it has no room.
    pub fn over(self, other: Ratio) -> Result<Ratio, Arithmetic> {
        Ratio::new(mul(self.num, other.den)?, mul(self.den, other.num)?)
    }

    /// Without its sign.
    #[must_use]
    pub fn abs(self) -> Ratio {
        Ratio { num: self.num.saturating_abs(), den: self.den }
    }

    /// Below zero.
    #[must_use]
    pub fn is_negative(self) -> bool {
        self.num < 0
    }

    /// Compares by cross-multiplying.
    ///
    /// # Errors
    /// When a product has no room.
    pub fn compare(self, other: Ratio) -> Result<Ordering, Arithmetic> {
        Ok(mul(self.num, other.den)?.cmp(&mul(other.num, self.den)?))
    }

    /// Numerator and denominator as carried.
    #[must_use]
    pub fn parts(self) -> (i128, i128) {
        (self.num, self.den)
    }

    /// The exact value as text. One value that came about in one way has one text:
    /// 1. over a power of ten: the decimal with the places it has (`0.220`);
    /// 2. a decimal that ends once reduced: that decimal, without zeros at its end (`460`);
    /// 3. else the fraction as it was multiplied, without tens common to both (`106260/226`).
    #[must_use]
    pub fn text(self) -> String {
        if let Some(places) = places_of(self.den) {
            return decimal(self.num, places);
        }
        let (mut num, mut den) = self.reduced();
        let (mut twos, mut fives) = (0, 0);
        while den % 2 == 0 {
            (den, twos) = (den / 2, twos + 1);
        }
        while den % 5 == 0 {
            (den, fives) = (den / 5, fives + 1);
        }
        let places = u32::max(twos, fives);
        let fill = [2_i128.checked_pow(places - twos), 5_i128.checked_pow(places - fives)];
        if let ([Some(two), Some(five)], 1) = (fill, den)
            && let Ok(digits) = mul(num, two).and_then(|n| mul(n, five))
        {
            return decimal(digits, places);
        }
        (num, den) = self.parts();
        while num % 10 == 0 && den % 10 == 0 {
            (num, den) = (num / 10, den / 10);
        }
        format!("{num}/{den}")
    }

    /// Reads what [`Ratio::text`] wrote.
    #[must_use]
    pub fn parse(text: &str) -> Option<Ratio> {
        match text.split_once('/') {
            Some((num, den)) => Ratio::new(num.parse().ok()?, den.parse().ok()?).ok(),
            None => {
                let (whole, part) = text.split_once('.').unwrap_or((text, ""));
                let num: i128 = format!("{whole}{part}").parse().ok()?;
                Ratio { num, den: 1 }.shifted(-i32::try_from(part.len()).ok()?).ok()
            }
        }
    }

    /// Rounded half to even to a multiple of ten to the power `exponent`: what people see.
    ///
    /// # Errors
    /// When it has no room.
    pub fn shown(self, exponent: i32) -> Result<String, Arithmetic> {
        let (whole, rest, den) = self.split(exponent)?;
        let up = match mul(rest, 2)?.cmp(&den) {
            Ordering::Less => 0,
            Ordering::Equal => whole.rem_euclid(2),
            Ordering::Greater => 1,
        };
        written(whole.checked_add(up).ok_or(Arithmetic)?, exponent)
    }

    /// As [`Ratio::shown`], but as fine as it takes to stand on its own side of `limit`: 500.4
    /// against 500 is not shown as 500. Where no decimal does, the exact value.
    ///
    /// # Errors
    /// When it can't be compared with the limit.
    pub fn shown_beside(self, limit: Ratio, exponent: i32) -> Result<String, Arithmetic> {
        let side = self.compare(limit)?;
        let mut at = exponent;
        while let Ok(text) = self.shown(at) {
            let seen = Ratio::parse(&text).ok_or(Arithmetic)?;
            if seen.compare(limit) == Ok(side) {
                return Ok(text);
            }
            at = at.checked_sub(1).ok_or(Arithmetic)?;
        }
        Ok(self.text())
    }

    /// Cut, towards less, to a multiple of ten to the power `exponent`.
    ///
    /// # Errors
    /// When it has no room.
    pub fn shown_cut(self, exponent: i32) -> Result<String, Arithmetic> {
        written(self.split(exponent)?.0, exponent)
    }

    /// As a bound is shown: never rounded to where it would say more than is known. What is more
    /// than this is rounded down, what is less than this is rounded `up`.
    ///
    /// To a multiple of ten to the power `exponent`; where it is none, as fine as it is, or with
    /// at least four significant digits.
    ///
    /// # Errors
    /// When it has no room.
    pub fn shown_bound(self, exponent: i32, up: bool) -> Result<String, Arithmetic> {
        let (mut at, mut split) = (exponent, self.split(exponent)?);
        while split.1 != 0 && split.0.unsigned_abs() < FOUR_DIGITS {
            let Ok(finer) = self.split(at - 1) else { break };
            (at, split) = (at - 1, finer);
        }
        let up = i128::from(up && split.1 != 0);
        written(split.0.checked_add(up).ok_or(Arithmetic)?, at)
    }

    /// Whole multiples of ten to the power `exponent`, rounded down; what is over, of how much.
    fn split(self, exponent: i32) -> Result<(i128, i128, i128), Arithmetic> {
        let Ratio { num, den } = self.shifted(exponent.checked_neg().ok_or(Arithmetic)?)?;
        Ok((num.div_euclid(den), num.rem_euclid(den), den))
    }

    fn reduced(self) -> (i128, i128) {
        let (mut a, mut b) = (self.num.unsigned_abs(), self.den.unsigned_abs());
        while b != 0 {
            (a, b) = (b, a % b);
        }
        let common = i128::try_from(a).unwrap_or(1);
        (self.num / common, self.den / common)
    }
}

fn mul(a: i128, b: i128) -> Result<i128, Arithmetic> {
    a.checked_mul(b).ok_or(Arithmetic)
}

fn neg(a: i128) -> Result<i128, Arithmetic> {
    a.checked_neg().ok_or(Arithmetic)
}

fn power_of_ten(exponent: u32) -> Result<i128, Arithmetic> {
    10_i128.checked_pow(exponent).ok_or(Arithmetic)
}

/// How many zeros a power of ten has; `None` for other numbers.
fn places_of(mut den: i128) -> Option<u32> {
    let mut places = 0;
    while den % 10 == 0 {
        (den, places) = (den / 10, places + 1);
    }
    (den == 1).then_some(places)
}

/// `digits` times ten to the power `exponent`.
fn written(digits: i128, exponent: i32) -> Result<String, Arithmetic> {
    match u32::try_from(exponent) {
        Ok(zeros) => Ok(decimal(mul(digits, power_of_ten(zeros)?)?, 0)),
        Err(_) => Ok(decimal(digits, exponent.unsigned_abs())),
    }
}

fn decimal(num: i128, places: u32) -> String {
    let places = usize::try_from(places).expect("at most 38 places fit an i128");
    let mut text = format!("{:0>width$}", num.unsigned_abs(), width = places + 1);
    if places > 0 {
        text.insert(text.len() - places, '.');
    }
    if num < 0 {
        text.insert(0, '-');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ratio(text: &str) -> Ratio {
        Ratio::of(Number::parse(text).unwrap()).unwrap()
    }

    #[test]
    fn a_ratio_is_written_as_it_came_about() {
        let scaled = |v: &str, up: &str, down: &str| {
            ratio(v).times(ratio(up).over(ratio(down)).unwrap()).unwrap().text()
        };
        assert_eq!(scaled("462", "230", "226"), "106260/226");
        assert_eq!(scaled("462.0", "230", "226.4"), "1062600/2264");
        assert_eq!(scaled("462", "230.0", "226.0"), "106260/226");
        assert_eq!(scaled("480", "230", "240"), "460");
        assert_eq!(scaled("-1", "1", "8"), "-0.125");
        assert_eq!(ratio("0.180").text(), "0.180");
        assert_eq!(ratio("-0.5E+02").text(), "-50");
        assert_eq!(ratio("0.281").minus(ratio("0.061")).unwrap().text(), "0.220");
        assert_eq!(ratio("0.06").minus(ratio("0.061")).unwrap().text(), "-0.001");
        assert_eq!(ratio("182").shifted(-3).unwrap().text(), "0.182");
        assert_eq!(ratio("0.182").shifted(3).unwrap().text(), "182");
        assert_eq!(Ratio::new(1, 3).unwrap().text(), "1/3");
    }

    #[test]
    fn shown_rounds_half_to_even() {
        let cases = [
            ("0.5", 0, "0"),
            ("1.5", 0, "2"),
            ("2.5", 0, "2"),
            ("-0.5", 0, "0"),
            ("-1.5", 0, "-2"),
            ("-2.6", 0, "-3"),
            ("0.2145", -3, "0.214"),
            ("0.2155", -3, "0.216"),
            ("1250000", 5, "1200000"),
            ("41.699", -1, "41.7"),
        ];
        for (text, exponent, want) in cases {
            assert_eq!(ratio(text).shown(exponent).unwrap(), want, "{text}");
        }
        let scaled = ratio("462").times(Ratio::new(230, 226).unwrap()).unwrap();
        assert_eq!(scaled.shown(0).unwrap(), "470");
        assert_eq!(scaled.shown(-1).unwrap(), "470.2");
    }

    /// 462.5 at 212.5 V is 500.588 at 230 V, and no 501 but by its own digits (arithmetic).
    #[test]
    fn a_value_is_never_shown_on_the_other_side_of_its_limit() {
        for (text, limit, exponent, want) in [
            ("500.4", "500", 0, "500.4"),
            ("499.6", "500", 0, "499.6"),
            ("500.6", "500", 0, "501"),
            ("500", "500", 0, "500"),
            ("0.30004", "0.300", -3, "0.30004"),
            ("0.2999", "0.3", -1, "0.2999"),
            ("-0.5", "500", 0, "0"),
            ("2.00000000001", "2", 0, "2.00000000001"),
            ("1250000", "1200000", 5, "1250000"),
        ] {
            let found = ratio(text).shown_beside(ratio(limit), exponent).unwrap();
            assert_eq!(found, want, "{text} beside {limit}");
        }
        let third = Ratio::new(1_500_000_000_000_001, 3_000_000_000_000).unwrap();
        assert_eq!(third.shown_beside(ratio("500"), 0).unwrap(), "500.0000000000003");
    }

    /// More than 1.941 is not more than 2 (arithmetic).
    #[test]
    fn a_bound_is_never_rounded_to_where_it_says_more() {
        let cases = [
            ("1.941", 0, "1.941", "1.941"),
            ("1.99999", 0, "1.999", "2.000"),
            ("200", 0, "200", "200"),
            ("199.95", 0, "199.9", "200.0"),
            ("12345.6", 0, "12345", "12346"),
            ("12345", 1, "12340", "12350"),
            ("-0.061", 0, "-0.061", "-0.061"),
            ("-1.00001", 0, "-1.001", "-1.000"),
            ("0", 0, "0", "0"),
        ];
        for (text, exponent, above, below) in cases {
            let ratio = ratio(text);
            assert_eq!(ratio.shown_bound(exponent, false).unwrap(), above, "{text}");
            assert_eq!(ratio.shown_bound(exponent, true).unwrap(), below, "{text}");
        }
        let scaled = ratio("200").times(Ratio::new(230, 226).unwrap()).unwrap();
        assert_eq!(scaled.shown_bound(0, false).unwrap(), "203.5");
        assert_eq!(scaled.shown_bound(0, true).unwrap(), "203.6");
    }

    #[test]
    fn what_has_no_room_is_an_error() {
        let huge = ratio("999999999999999E15");
        assert!(huge.times(huge).is_err());
        assert!(huge.shifted(9).is_err());
        assert!(ratio("1").over(ratio("0")).is_err());
        assert!(Ratio::new(1, 0).is_err());
    }

    proptest! {
        /// A bound that is shown holds: it lies on the side where less is said, and near.
        #[test]
        fn a_shown_bound_holds(n in -10_i128.pow(15)..10_i128.pow(15),
                               d in 1..10_i128.pow(9), places in -6..=0_i32) {
            let exact = Ratio::new(n, d).unwrap();
            for up in [false, true] {
                let shown = Ratio::parse(&exact.shown_bound(places, up).unwrap()).unwrap();
                let side = shown.compare(exact).unwrap();
                prop_assert_ne!(side, if up { Ordering::Less } else { Ordering::Greater });
                let off = shown.minus(exact).unwrap().abs();
                let near = exact.abs().times(Ratio::new(1, 1000).unwrap()).unwrap();
                let count = Ratio::new(1, 1).unwrap().shifted(places).unwrap();
                let close =
                    [near, count].iter().any(|room| off.compare(*room).unwrap().is_le());
                prop_assert!(close, "{} {}", exact.text(), shown.text());
            }
        }

        /// What is seen decides as what is judged does.
        #[test]
        fn a_shown_value_lies_where_it_lies(n in -10_i128.pow(12)..10_i128.pow(12),
                                            d in 1..10_i128.pow(6), by in -3..=3_i128,
                                            places in -6..=2_i32, near in any::<bool>()) {
            let exact = Ratio::new(n, d).unwrap();
            let rounded = Ratio::parse(&exact.shown(-1).unwrap()).unwrap();
            let limit = if near { rounded } else { Ratio::new(by, 1).unwrap() };
            let shown = Ratio::parse(&exact.shown_beside(limit, places).unwrap()).unwrap();
            prop_assert_eq!(shown.compare(limit), exact.compare(limit));
        }

        #[test]
        fn what_is_written_reads_back_equal(n in -10_i128.pow(15)..10_i128.pow(15),
                                            d in 1..10_i128.pow(9)) {
            let ratio = Ratio::new(n, d).unwrap();
            let again = Ratio::parse(&ratio.text()).unwrap();
            prop_assert_eq!(ratio.compare(again), Ok(Ordering::Equal));
        }

        #[test]
        fn a_change_of_prefix_changes_no_value(n in -10_i128.pow(15)..10_i128.pow(15),
                                               e in -15_i32..=15) {
            let ratio = Ratio::new(n, 1000).unwrap();
            let back = ratio.shifted(e).and_then(|r| r.shifted(-e));
            if let Ok(back) = back {
                prop_assert_eq!(ratio.compare(back), Ok(Ordering::Equal));
            }
        }
    }
}
