//! A decimal as the instrument sent it.

use alloc::string::String;

/// Powers of ten of a number's last digit, both ends included. A meter that sends nine digits of a
/// value in base units reaches -16 at ten nanoamperes; 10^-24 is the smallest step that 128 bits
/// hold beside the largest number.
pub const EXPONENTS: core::ops::RangeInclusive<i32> = -24..=15;

/// Sign, digits and exponent as sent: `0.180` keeps three decimals, `-0.000` its sign.
///
/// The value is `digits` x 10^`exponent`, negated when `negative`. At most 15 significant
/// digits, exponent -24 to 15 (a number outside is not a value but malformed).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Number {
    /// A minus sign was sent, also in front of zero.
    pub negative: bool,
    /// The digits without point, as an integer.
    pub digits: u64,
    /// Power of ten of the last digit.
    pub exponent: i8,
}

impl Number {
    /// The decimal in plain notation: `0.180`, `-0.000`, `1500`. Trailing zeros that were sent
    /// after the point are kept; a positive exponent is written out as zeros.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = alloc::format!("{}", self.digits);
        if self.exponent > 0 {
            if self.digits != 0 {
                text.extend(core::iter::repeat_n('0', usize::from(self.exponent.unsigned_abs())));
            }
        } else if self.exponent < 0 {
            let places = usize::from(self.exponent.unsigned_abs());
            while text.len() <= places {
                text.insert(0, '0');
            }
            text.insert(text.len() - places, '.');
        }
        if self.negative {
            text.insert(0, '-');
        }
        text
    }
}

impl Number {
    /// Reads plain notation with an optional exponent (`0.180`, `-2`, `1.5E+06`): the form that
    /// people write in files. What instruments send goes through `wire`.
    ///
    /// `None` for anything else, for more than 15 significant digits and for an exponent outside
    /// -24 to 15.
    #[must_use]
    pub fn parse(text: &str) -> Option<Number> {
        let (negative, rest) = match text.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, text.strip_prefix('+').unwrap_or(text)),
        };
        let (mantissa, power) = match rest.split_once(['e', 'E']) {
            Some((mantissa, power)) => (mantissa, power.parse::<i32>().ok()?),
            None => (rest, 0),
        };
        let (whole, part) = mantissa.split_once('.').unwrap_or((mantissa, ""));
        let digits = Number::digits(whole, part)?;
        let exponent = power.checked_sub(i32::try_from(part.len()).ok()?)?;
        let exponent =
            i8::try_from(exponent).ok().filter(|e| EXPONENTS.contains(&i32::from(*e)))?;
        Some(Number { negative, digits, exponent })
    }

    fn digits(whole: &str, part: &str) -> Option<u64> {
        let all = || whole.bytes().chain(part.bytes());
        if all().next().is_none() || !all().all(|b| b.is_ascii_digit()) {
            return None;
        }
        let significant = all().skip_while(|b| *b == b'0').count();
        if significant > 15 {
            return None;
        }
        Some(all().fold(0, |sum, b| sum * 10 + u64::from(b - b'0')))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_are_kept_as_written() {
        for text in ["0.180", "-0.000", "15", "0.0004", "-2.50"] {
            assert_eq!(Number::parse(text).unwrap().text(), text);
        }
        assert_eq!(Number::parse("1.5E+06").unwrap().text(), "1500000");
        assert_eq!(Number::parse("+1.23450E-03").unwrap().text(), "0.00123450");
    }

    #[test]
    fn what_is_no_plain_decimal_is_refused() {
        for text in ["", ".", "-", "1.2.3", "0x1", "1e", "9.9E37", "1234567890123456", "1E-25"] {
            assert_eq!(Number::parse(text), None, "{text}");
        }
    }
}
