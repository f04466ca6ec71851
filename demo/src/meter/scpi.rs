//! The words of IEEE 488.2 and SCPI-1999 that a bench multimeter needs.

/// Overload, as SCPI-1999 volume 1, 7.2.1.4 writes infinity (from memory).
pub(super) const OVERLOAD: f64 = 9.9e37;

/// No meter has a range from here on, as a power of ten.
const RANGES_END: i32 = 10;

/// A number as NR3: sign, eight decimals, two digits of exponent.
pub(super) fn nr3(value: f64) -> String {
    let text = format!("{value:+.8e}");
    let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
    let exponent: i32 = exponent.parse().unwrap_or(0);
    let sign = if exponent < 0 { '-' } else { '+' };
    format!("{mantissa}E{sign}{:02}", exponent.unsigned_abs())
}

/// What the display shows of a value, as NR3 without a digit more: 5 1/2 digits of the smallest
/// decade range that takes the value. `lowest` is the exponent of the meter's lowest range.
pub(super) fn as_displayed(value: f64, lowest: i32) -> String {
    let range = (lowest..RANGES_END).find(|range| value.abs() < 1.2 * 10_f64.powi(*range));
    match range {
        Some(range) => format!("{:+.5}E{range:+03}", value / 10_f64.powi(range)),
        None => nr3(value),
    }
}

/// Whether a header is `wanted`, written as SCPI documents it: `VOLTage:AC` allows each word in
/// its short form (capitals) or its full form, in any case, with or without a leading colon.
pub(super) fn is(header: &str, wanted: &str) -> bool {
    let header = header.strip_prefix(':').unwrap_or(header);
    let mut words = header.split(':');
    let all = wanted.split(':').all(|want| {
        let short: String = want.chars().filter(|c| !c.is_ascii_lowercase()).collect();
        words.next().is_some_and(|word| {
            word.eq_ignore_ascii_case(want) || word.eq_ignore_ascii_case(&short)
        })
    });
    all && words.next().is_none()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_the_form_of_a_response() {
        assert_eq!(nr3(0.159), "+1.59000000E-01");
        assert_eq!(nr3(-11_012.0), "-1.10120000E+04");
        assert_eq!(nr3(OVERLOAD), "+9.90000000E+37");
        assert_eq!(nr3(0.0), "+0.00000000E+00");
    }

    #[test]
    fn a_display_of_five_and_a_half_digits_has_no_more_to_say() {
        assert_eq!(as_displayed(0.158_543_96, -1), "+0.15854E+00");
        assert_eq!(as_displayed(-0.000_004_42, -1), "-0.00004E-01");
        assert_eq!(as_displayed(0.119_999, -1), "+1.19999E-01");
        assert_eq!(as_displayed(11_011.523_5, 2), "+1.10115E+04");
        assert_eq!(as_displayed(230.04, -1), "+0.23004E+03");
        assert_eq!(as_displayed(OVERLOAD, -1), nr3(OVERLOAD));
    }

    #[test]
    fn headers_match_in_short_and_full_form_only() {
        for header in ["CONF:VOLT:AC", "configure:voltage:ac", ":Conf:Voltage:AC"] {
            assert!(is(header, "CONFigure:VOLTage:AC"), "{header}");
        }
        for header in ["CONF:VOLT", "CONFI:VOLT:AC", "CONF:VOLT:AC:X", "VOLT:AC"] {
            assert!(!is(header, "CONFigure:VOLTage:AC"), "{header}");
        }
    }
}
