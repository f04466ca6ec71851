//! Exact sizes for thresholds: integers in 10^-24 of the base unit.
//!
//! Every reading and every amount is a whole multiple of that (`Unit::holds` sees to it), so
//! thresholds are compared without rounding. What is judged goes another way, as a
//! ratio of integers.

use alloc::format;
use alloc::string::String;

use tapline_drivers::{Number, Quantity, Unit};

use crate::amount::Amount;

/// 1 of the base unit.
pub(super) const ONE: i128 = 1_000_000_000_000_000_000_000_000;

/// Size with its sign, in 10^-24 of the base unit. What is too large for it is the largest there
/// is: it lies beyond every threshold.
pub(super) fn size(number: Number, unit: Unit) -> i128 {
    let power = i32::from(number.exponent) + i32::from(unit.prefix.exponent()) + 24;
    let Ok(power) = u32::try_from(power) else { return 0 };
    let scaled = 10i128
        .checked_pow(power)
        .and_then(|ten| ten.checked_mul(i128::from(number.digits)))
        .unwrap_or(if number.digits == 0 { 0 } else { i128::MAX });
    if number.negative { -scaled } else { scaled }
}

/// Size without its sign.
pub(super) fn magnitude(number: Number, unit: Unit) -> i128 {
    size(number, unit).abs()
}

/// Size of an amount.
pub(super) fn of(amount: Amount) -> i128 {
    size(amount.number, amount.unit)
}

/// `value` is within `permille` thousandths of `want`, borders included.
pub(super) fn within_permille(value: i128, want: i128, permille: i128) -> bool {
    let Some(off) = value.checked_sub(want).and_then(i128::checked_abs) else { return false };
    match (off.checked_mul(1000), want.abs().checked_mul(permille)) {
        (Some(off), Some(room)) => off <= room,
        _ => false,
    }
}

/// A resistance within 1 % of so many ohms, borders included.
pub(crate) fn is_within_percent(amount: Amount, ohms: u64) -> bool {
    within_permille(of(amount), ONE.saturating_mul(i128::from(ohms)), 10)
}

/// Two resistances side by side, to a millionth of an ohm; `None` for what is none.
pub(super) fn side_by_side(one: i128, other: i128) -> Option<i128> {
    const MICRO: i128 = ONE / 1_000_000;
    let (one, other) = (one / MICRO, other / MICRO);
    one.checked_mul(other)?.checked_div(one.checked_add(other)?)?.checked_mul(MICRO)
}

/// A size as a decimal in a unit, without needless zeros.
pub(super) fn text(size: i128, unit: Unit) -> String {
    let power = u32::try_from(24 + i32::from(unit.prefix.exponent())).unwrap_or(0);
    let one = 10i128.checked_pow(power).unwrap_or(i128::MAX);
    let sign = if size < 0 { "-" } else { "" };
    let (whole, rest) = ((size / one).abs(), (size % one).abs());
    let places = usize::try_from(power).unwrap_or(0);
    let part = format!("{rest:0places$}");
    match part.trim_end_matches('0') {
        "" => format!("{sign}{whole}"),
        part => format!("{sign}{whole}.{part}"),
    }
}

/// Size of a plain decimal in volts, as people type it.
pub(super) fn volts(text: &str) -> Option<i128> {
    let unit = Unit { prefix: tapline_drivers::Prefix::One, quantity: Quantity::Volt };
    Number::parse(text).map(|number| size(number, unit))
}

/// Size of one count of the last digit as sent.
pub(super) fn last_digit(number: Number, unit: Unit) -> i128 {
    magnitude(Number { negative: false, digits: 1, exponent: number.exponent }, unit)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn amount(text: &str) -> i128 {
        of(Amount::parse(text).unwrap())
    }

    #[test]
    fn prefixes_fold_without_rounding() {
        assert_eq!(amount("300 mOhm"), amount("0.300 Ohm"));
        assert_eq!(amount("-0.275 Ohm"), -amount("0.275 Ohm"));
        assert_eq!(amount("1 Ohm"), ONE);
        assert_eq!(amount("0.000000000000001 nV"), 1);
    }

    #[test]
    fn what_is_too_large_lies_beyond_every_threshold() {
        assert_eq!(amount("9.9E14 GOhm"), i128::MAX);
    }

    #[test]
    fn a_size_is_written_in_the_unit_that_is_asked_for() {
        let unit = Amount::parse("1 kOhm").unwrap().unit;
        assert_eq!(text(amount("10.012 kOhm") + amount("0.9996 kOhm"), unit), "11.0116");
        assert_eq!(text(amount("-5000 Ohm"), unit), "-5");
    }

    /// IEC 60990 Figure 4 (two makers print the annex of IEC 60065, excerpts seen): 1.5 kohm beside
    /// 500 ohm are 375 ohm.
    #[test]
    fn resistances_beside_each_other() {
        let beside = |one, other| side_by_side(amount(one), amount(other));
        assert_eq!(beside("500 Ohm", "1.5 kOhm"), Some(amount("375 Ohm")));
        assert_eq!(beside("1.498 kOhm", "0 Ohm"), Some(0));
        assert_eq!(beside("0 Ohm", "0 Ohm"), None);
        assert_eq!(beside("9.9E14 GOhm", "9.9E14 GOhm"), None);
    }

    #[test]
    fn a_hundredth_includes_its_border() {
        let within = |text, ohms| is_within_percent(Amount::parse(text).unwrap(), ohms);
        assert!(within("495 Ohm", 500) && within("0.505 kOhm", 500));
        assert!(!within("494.9 Ohm", 500) && !within("1 kOhm", 500) && !within("-500 Ohm", 500));
    }

    #[test]
    fn four_thousandths_include_the_border() {
        let want = amount("10.000 kOhm");
        assert!(within_permille(amount("10.040 kOhm"), want, 4));
        assert!(within_permille(amount("9.960 kOhm"), want, 4));
        assert!(!within_permille(amount("10.041 kOhm"), want, 4));
        assert!(!within_permille(i128::MAX, want, 4));
    }
}
