//! Numeric response data of IEEE 488.2: NR1, NR2 and NR3, and the numbers that are none.
//!
//! IEEE 488.2-1992 clauses 8.7.2 (quoted in a public programming guide), 8.7.3 and 8.7.4 (from
//! memory). Beyond the standard, as public meter manuals show: blanks and NUL around a number,
//! blanks between sign and digits, a point first or last, a lower-case `e`, leading zeros.

use nom::branch::alt;
use nom::bytes::complete::{take_while, take_while_m_n, take_while1};
use nom::character::complete::one_of;
use nom::combinator::{all_consuming, map, opt};
use nom::sequence::{delimited, preceded};
use nom::{IResult, Parser};

use super::blank;
use crate::number::Number;

/// Most significant digits of a value.
pub const DIGITS_MAX: usize = 15;

/// Powers of ten of a value's last digit, both ends included: those of [`Number`].
pub const EXPONENTS: core::ops::RangeInclusive<i32> = crate::number::EXPONENTS;

/// What a numeric response says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Numeric {
    /// A value.
    Value(Number),
    /// Infinity, 9.9E37 with either sign (SCPI-99 volume 1, 7.2.1.4, from memory; "overload"
    /// in public meter manuals).
    Infinity {
        /// -9.9E37.
        negative: bool,
    },
    /// Not a number, 9.91E37 (SCPI-99 volume 1, 7.2.1.5, from memory), and whatever else is
    /// 9.89E37 or more.
    NotANumber,
}

/// The whole of `bytes` as one number, blanks around it allowed.
///
/// `None` for what is no number, and for a value of more than 15 significant digits or with a
/// power of ten outside -24 to 15 at its last digit; zeros below 10^-24 are left out.
#[must_use]
pub fn numeric(bytes: &[u8]) -> Option<Numeric> {
    let blanks = || take_while(blank);
    let (_, sent) = all_consuming(delimited(blanks(), decimal, blanks())).parse(bytes).ok()?;
    sent.settle()
}

/// A number in front of something else.
///
/// # Errors
/// When there is none, or none that [`numeric`] would take.
pub fn leading(bytes: &[u8]) -> IResult<&[u8], Numeric> {
    nom::combinator::map_opt(decimal, |sent| sent.settle()).parse(bytes)
}

/// A decimal as sent, before anything is made of it.
#[derive(Debug, Clone, Copy)]
struct Decimal<'a> {
    negative: bool,
    whole: &'a [u8],
    part: &'a [u8],
    power: i32,
}

fn digits(bytes: &[u8]) -> IResult<&[u8], &[u8]> {
    take_while1(|byte: u8| byte.is_ascii_digit()).parse(bytes)
}

fn sign(bytes: &[u8]) -> IResult<&[u8], bool> {
    map(opt(one_of("+-")), |sign| sign == Some('-')).parse(bytes)
}

fn mantissa(bytes: &[u8]) -> IResult<&[u8], (&[u8], &[u8])> {
    let point = || one_of(".");
    let whole_first = (digits, opt(preceded(point(), opt(digits))));
    alt((
        map(whole_first, |(whole, part)| (whole, part.flatten().unwrap_or_default())),
        map(preceded(point(), digits), |part| (&[][..], part)),
    ))
    .parse(bytes)
}

fn power(bytes: &[u8]) -> IResult<&[u8], i32> {
    let digits = take_while_m_n(1, 3, |byte: u8| byte.is_ascii_digit());
    let (rest, (negative, digits)) = preceded(one_of("eE"), (sign, digits)).parse(bytes)?;
    let size = digits.iter().fold(0, |sum, byte| sum * 10 + i32::from(byte - b'0'));
    Ok((rest, if negative { -size } else { size }))
}

fn decimal(bytes: &[u8]) -> IResult<&[u8], Decimal<'_>> {
    let (rest, negative) = sign(bytes)?;
    let (rest, _) = take_while(blank).parse(rest)?;
    let (rest, (whole, part)) = mantissa(rest)?;
    let (rest, power) = opt(power).parse(rest)?;
    Ok((rest, Decimal { negative, whole, part, power: power.unwrap_or(0) }))
}

impl Decimal<'_> {
    /// All digits from the first that is not zero.
    fn significant(&self) -> impl Iterator<Item = u8> {
        self.whole.iter().chain(self.part).copied().skip_while(|byte| *byte == b'0')
    }

    fn settle(&self) -> Option<Numeric> {
        match self.large() {
            Some(size) if size < 9905 => Some(Numeric::Infinity { negative: self.negative }),
            Some(_) => Some(Numeric::NotANumber),
            None => self.value().map(Numeric::Value),
        }
    }

    /// Of 9.89E37 and more the first four digits, 9999 for 1E38 and more. Compared as a number,
    /// never as text; meters that compute in single precision are off by some of the last digits.
    fn large(&self) -> Option<u32> {
        let count = i32::try_from(self.significant().count()).ok()?;
        let below_point = i32::try_from(self.part.len()).ok()?;
        let leading = count.checked_sub(below_point)?.checked_sub(1)?.checked_add(self.power)?;
        if count == 0 || leading < 37 {
            return None;
        }
        let zeros = core::iter::repeat(b'0');
        let four = self.significant().chain(zeros).take(4);
        let four = four.fold(0, |sum, byte| sum * 10 + u32::from(byte - b'0'));
        let size = if leading > 37 { 9999 } else { four };
        (size >= 9890).then_some(size)
    }

    fn value(&self) -> Option<Number> {
        if self.significant().count() > DIGITS_MAX {
            return None;
        }
        let mut digits = self.significant().fold(0, |sum, b| sum * 10 + u64::from(b - b'0'));
        let mut exponent = self.power.checked_sub(i32::try_from(self.part.len()).ok()?)?;
        // Meters send nine digits whatever they resolve: zeros below 10^-24 may go.
        while exponent < *EXPONENTS.start() && digits.is_multiple_of(10) {
            digits /= 10;
            exponent += 1;
        }
        if !EXPONENTS.contains(&exponent) {
            return None;
        }
        Some(Number { negative: self.negative, digits, exponent: i8::try_from(exponent).ok()? })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const OVER: &str = "infinity";

    fn shown(bytes: &[u8]) -> alloc::string::String {
        match numeric(bytes) {
            Some(Numeric::Value(number)) => number.text(),
            Some(Numeric::Infinity { negative: false }) => OVER.into(),
            Some(Numeric::Infinity { negative: true }) => "-infinity".into(),
            Some(Numeric::NotANumber) => "not a number".into(),
            None => "malformed".into(),
        }
    }

    macro_rules! cases {
        ($($name:ident: $sent:literal => $want:literal;)*) => {
            $(#[test] fn $name() { assert_eq!(shown($sent), $want); })*
        };
    }

    // Forms of IEEE 488.2 8.7.2 to 8.7.4 and of public meter manuals; sentinels of SCPI-99
    // volume 1, 7.2.1 (from memory).
    cases! {
        integer:                 b"215" => "215";
        integer_signed_zero:     b"-00" => "-0";
        fixed_point:             b"+51.200" => "51.200";
        point_first:             b"-.00002" => "-0.00002";
        point_last:              b"46." => "46";
        with_power:              b"+4.23450000E-03" => "0.00423450000";
        power_lower_case:        b"5.0e-1" => "0.50";
        power_without_point:     b"1E-3" => "0.001";
        power_three_digits:      b"1.5E+003" => "1500";
        leading_zeros:           b"+00000000046.E-09" => "0.000000046";
        blanks_in_front:         b"    1.36E-3" => "0.00136";
        blanks_after_the_sign:   b"-   7.51E+0" => "-7.51";
        blank_and_nul_behind:    b"+0.182 \0" => "0.182";
        negative_zero_decimals:  b"-0.000" => "-0.000";
        fifteen_digits:          b"123456789012345" => "123456789012345";
        sixteen_digits:          b"1234567890123456" => "malformed";
        fifteen_after_zeros:     b"0.0000123456789" => "0.0000123456789";
        nine_digits_of_nano:     b"+1.23456789E-08" => "0.0000000123456789";
        nine_digits_of_femto:    b"+1.23456789E-15" => "0.00000000000000123456789";
        last_digit_at_the_end:   b"1E-24" => "0.000000000000000000000001";
        last_digit_too_small:    b"+1.23456789E-17" => "malformed";
        zeros_below_the_powers:  b"+1.23400000E-18" => "0.000000000000000001234000";
        last_digit_too_large:    b"1E16" => "malformed";
        zero_below_the_powers:   b"+0.00000000E-20" => "0.000000000000000000000000";
        zero_beyond_the_powers:  b"0E99" => "malformed";
        overload:                b"9.9E37" => "infinity";
        overload_long:           b"+9.90000000E+37" => "infinity";
        overload_lower_case:     b"+9.9e+37" => "infinity";
        overload_eighteen:       b"9.90000000000000000E+37" => "infinity";
        overload_single:         b"+9.89999953E+37" => "infinity";
        overload_shifted:        b"990E35" => "infinity";
        overload_negative:       b"-9.9E37" => "-infinity";
        not_a_number:            b"9.91E37" => "not a number";
        not_a_number_negative:   b"-9.91E+37" => "not a number";
        more_than_all:           b"1E38" => "not a number";
        much_more_than_all:      b"1E999" => "not a number";
        just_below_the_limit:    b"9.88E37" => "malformed";
        empty:                   b"" => "malformed";
        sign_alone:              b"-" => "malformed";
        point_alone:             b"." => "malformed";
        power_alone:             b"E5" => "malformed";
        power_without_digits:    b"1E" => "malformed";
        power_four_digits:       b"1E0001" => "malformed";
        two_points:              b"1.2.3" => "malformed";
        two_numbers:             b"1 2" => "malformed";
        letters_behind:          b"1.5 V" => "malformed";
        parity_left_in:          b"1\xb27" => "malformed";
        a_digit_less_one_bit:    b"+\x11.5" => "malformed";
        line_feed_inside:        b"1\n" => "malformed";
        hexadecimal:             b"#HA2F" => "malformed";
    }

    /// The same number as an instrument would send it as NR3.
    fn emit(number: Number) -> alloc::string::String {
        let sign = if number.negative { '-' } else { '+' };
        alloc::format!("{sign}{}E{:+03}", number.digits, number.exponent)
    }

    proptest! {
        #[test]
        fn what_is_emitted_is_read_back(
            negative: bool, digits in 0..1_000_000_000_000_000_u64, exponent in -24..=15_i8,
        ) {
            let number = Number { negative, digits, exponent };
            prop_assert_eq!(numeric(emit(number).as_bytes()), Some(Numeric::Value(number)));
            if exponent <= 0 {
                prop_assert_eq!(numeric(number.text().as_bytes()), Some(Numeric::Value(number)));
            }
        }

        #[test]
        fn plain_notation_agrees_with_the_reader_of_files(
            digits in 0..1_000_000_000_000_000_u64, exponent in -24..=15_i8,
        ) {
            let sent = emit(Number { negative: true, digits, exponent });
            prop_assert_eq!(numeric(sent.as_bytes()), Number::parse(&sent).map(Numeric::Value));
        }

        /// Another voice: the standard library's reader of decimals makes the same number of what
        /// was sent and of what we made of it.
        #[test]
        fn the_value_is_that_of_an_independent_reader(
            sign in "[-+]?", whole in "[0-9]{1,8}", part in "([.][0-9]{0,7})?",
            power in "([eE][-+]?[0-7])?",
        ) {
            let sent = alloc::format!("{sign}{whole}{part}{power}");
            let Some(Numeric::Value(number)) = numeric(sent.as_bytes()) else { panic!("{sent}") };
            prop_assert_eq!(number.text().parse::<f64>(), sent.parse::<f64>());
        }

        #[test]
        fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..40)) {
            let _ = numeric(&bytes);
            let _ = leading(&bytes);
        }

        #[test]
        fn no_number_like_bytes_give_a_value_out_of_bounds(
            bytes in prop::collection::vec(prop::sample::select(b"+-0189.eE \0".to_vec()), 0..36),
        ) {
            if let Some(Numeric::Value(number)) = numeric(&bytes) {
                prop_assert!(number.digits < 1_000_000_000_000_000);
                prop_assert!((-24..=15).contains(&number.exponent));
            }
        }
    }
}
