//! What stands where a value is expected: a number, a bound, a word or marks. [`shown`] reads any.
//!
//! `INF` and `****` as seen in test suites of general-purpose libraries, `OL` and `-OL` in a
//! public meter manual, the rest from memory. What a word means for a reading is the driver's to
//! say: [`indication`] is what drivers say unless they know better.

use nom::bytes::complete::take_while;
use nom::character::complete::one_of;
use nom::combinator::map_opt;
use nom::sequence::preceded;
use nom::{IResult, Parser};

use super::number::{Numeric, leading, numeric};
use super::{blank, trim};
use crate::reading::Indication;

const OVER: &[&[u8]] = &[b"INF", b"+INF", b"OVLD", b"OVER", b"OL", b"+OL", b".OL", b"0.L", b"O.L"];
const UNDER: &[&[u8]] = &[b"NINF", b"-INF", b"-OVLD", b"-OL"];
const NONE: &[&[u8]] = &[b"NAN", b"----", b"****"];

/// A word instead of a number, in any case of letters.
#[must_use]
pub fn word(bytes: &[u8]) -> Option<Numeric> {
    let among = |list: &[&[u8]]| list.iter().any(|word| word.eq_ignore_ascii_case(bytes));
    if among(OVER) {
        Some(Numeric::Infinity { negative: false })
    } else if among(UNDER) {
        Some(Numeric::Infinity { negative: true })
    } else {
        among(NONE).then_some(Numeric::NotANumber)
    }
}

/// What a number or word indicates. Minus infinity is no value: an overload may become "more
/// than the range end", and the far end of the other sign is not that.
#[must_use]
pub fn indication(numeric: Numeric) -> Indication {
    match numeric {
        Numeric::Value(number) => Indication::Value(number),
        Numeric::Infinity { negative: false } => Indication::Overload,
        Numeric::Infinity { negative: true } | Numeric::NotANumber => Indication::NoValue,
    }
}

/// A bound in front of something else: `>200`, `< 0.01`.
///
/// # Errors
/// When there is none, when its number is none or negative, or is a sentinel.
pub fn bound(bytes: &[u8]) -> IResult<&[u8], Indication> {
    let number = preceded(take_while(blank), leading);
    map_opt((one_of("<>"), number), |(mark, numeric)| match (mark, numeric) {
        ('>', Numeric::Value(number)) if !number.negative => Some(Indication::Above(number)),
        ('<', Numeric::Value(number)) if !number.negative => Some(Indication::Below(number)),
        _ => None,
    })
    .parse(bytes)
}

/// The whole of `bytes` as what was shown: a word, a bound or a number, blanks around it allowed.
/// `None` for anything else, which is then no reading.
#[must_use]
pub fn shown(bytes: &[u8]) -> Option<Indication> {
    let sent = trim(bytes);
    let bounded = || bound(sent).ok().filter(|(rest, _)| rest.is_empty()).map(|(_, said)| said);
    let number = || numeric(sent).map(indication);
    word(sent).map(indication).or_else(bounded).or_else(number)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::number::Number;

    #[test]
    fn what_stands_for_a_value_is_read_whole_or_not_at_all() {
        let number = Number::parse("200").unwrap();
        assert_eq!(shown(b" 200 "), Some(Indication::Value(number)));
        assert_eq!(shown(b">200"), Some(Indication::Above(number)));
        assert_eq!(shown(b"< 200\0"), Some(Indication::Below(number)));
        assert_eq!(shown(b" OL "), Some(Indication::Overload));
        assert_eq!(shown(b"9.9E37"), Some(Indication::Overload));
        assert_eq!(shown(b"----"), Some(Indication::NoValue));
        for text in [&b""[..], b">", b">-200", b">OL", b">9.9E37", b"200 MOhm", b">200 M", b">>2"] {
            assert_eq!(shown(text), None, "{}", text.escape_ascii());
        }
    }

    #[test]
    fn every_word_is_known_and_none_is_a_value() {
        for text in [&b"OL"[..], b".OL", b"0.L", b"inf", b"OVLD", b"+OL"] {
            assert_eq!(word(text).map(indication), Some(Indication::Overload));
        }
        for text in [&b"-OL"[..], b"NINF", b"NAN", b"nan", b"----", b"****"] {
            assert_eq!(word(text).map(indication), Some(Indication::NoValue));
        }
        for text in [&b""[..], b"0", b"OLE", b"0L", b"---", b"INF "] {
            assert_eq!(word(text), None);
        }
    }
}
