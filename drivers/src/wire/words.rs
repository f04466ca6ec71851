//! Words and marks that stand where a number is expected.
//!
//! `INF` and `****` as seen in test suites of general-purpose libraries, `OL` and `-OL` in a
//! public meter manual, the rest from memory. What a word means for a reading is the driver's to
//! say: [`indication`] is what drivers say unless they know better.

use super::number::Numeric;
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

#[cfg(test)]
mod tests {
    use super::*;

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
