//! Lists by comma, strings with doubled quotes, and answers of the error queue.
//!
//! IEEE 488.2-1992 8.4.2 (separator) and 8.7.8 (string), both from memory; the forms of the
//! error queue's answer as sent by an open parser library and printed in public manuals.

use alloc::vec::Vec;

use nom::branch::alt;
use nom::bytes::complete::{tag, take_while, take_while1};
use nom::combinator::{all_consuming, map};
use nom::multi::{many0, separated_list1};
use nom::sequence::delimited;
use nom::{IResult, Parser};

use super::number::{Numeric, numeric};
use super::{blank, trim};

/// One item of a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Item {
    /// What stood in quotes, doubled quotes folded.
    Text(Vec<u8>),
    /// Anything else, blanks around it taken away.
    Plain(Vec<u8>),
}

/// An answer to `SYST:ERR?`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QueuedError {
    /// 0 = the queue is empty.
    pub code: i32,
    /// What it says, with or without quotes as sent.
    pub text: Vec<u8>,
}

/// The items of a list; commas in quotes are data. `None` where a quote is not closed or
/// something stands beside one.
#[must_use]
pub fn items(bytes: &[u8]) -> Option<Vec<Item>> {
    let list = all_consuming(separated_list1(tag(&b","[..]), item)).parse(bytes);
    list.ok().map(|(_, items)| items)
}

pub(super) fn quoted(bytes: &[u8]) -> IResult<&[u8], Vec<u8>> {
    let run = alt((take_while1(|byte| byte != b'"'), map(tag(&b"\"\""[..]), |_| &b"\""[..])));
    let quote = || tag(&b"\""[..]);
    map(delimited(quote(), many0(run), quote()), |runs| runs.concat()).parse(bytes)
}

fn item(bytes: &[u8]) -> IResult<&[u8], Item> {
    let blanks = || take_while(blank);
    let plain = take_while(|byte| byte != b',' && byte != b'"');
    alt((
        map(delimited(blanks(), quoted, blanks()), Item::Text),
        map(plain, |bytes| Item::Plain(trim(bytes).to_vec())),
    ))
    .parse(bytes)
}

/// An answer of the error queue: an integer, a comma and a text that is no number.
#[must_use]
pub fn queued_error(bytes: &[u8]) -> Option<QueuedError> {
    let comma = bytes.iter().position(|byte| *byte == b',')?;
    let code = integer(&bytes[..comma])?;
    let text = trim(&bytes[comma + 1..]);
    let text = match items(text).as_deref() {
        Some([Item::Text(text)]) => text.clone(),
        _ if text.is_empty() || text.contains(&b'"') || numeric(text).is_some() => return None,
        _ => text.to_vec(),
    };
    (!text.iter().any(u8::is_ascii_control)).then_some(QueuedError { code, text })
}

fn integer(bytes: &[u8]) -> Option<i32> {
    let Some(Numeric::Value(number)) = numeric(bytes) else { return None };
    if number.exponent != 0 || bytes.iter().any(|byte| matches!(byte, b'.' | b'e' | b'E')) {
        return None;
    }
    let size = i32::try_from(number.digits).ok()?;
    Some(if number.negative { -size } else { size })
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec;
    use proptest::prelude::*;

    fn plain(bytes: &[u8]) -> Item {
        Item::Plain(bytes.to_vec())
    }

    fn text(bytes: &[u8]) -> Item {
        Item::Text(bytes.to_vec())
    }

    #[test]
    fn lists_and_strings() {
        assert_eq!(
            items(b"1.234, 1,5.678"),
            Some(vec![plain(b"1.234"), plain(b"1"), plain(b"5.678")])
        );
        assert_eq!(items(b"0,\"a, \"\"b\"\"\""), Some(vec![plain(b"0"), text(b"a, \"b\"")]));
        assert_eq!(items(b""), Some(vec![plain(b"")]));
        assert_eq!(items(b"\"open"), None);
        assert_eq!(items(b"\"a\"b"), None);
    }

    #[test]
    fn answers_of_the_error_queue() {
        let got = |bytes: &[u8]| queued_error(bytes).map(|e| (e.code, e.text));
        assert_eq!(got(b"0,\"No error\""), Some((0, b"No error".to_vec())));
        assert_eq!(got(b"+0, No Error"), Some((0, b"No Error".to_vec())));
        assert_eq!(got(b"-0, No errors"), Some((0, b"No errors".to_vec())));
        assert_eq!(
            got(b"-113,\"Undefined header;BOGUS?\""),
            Some((-113, b"Undefined header;BOGUS?".to_vec()))
        );
        assert_eq!(got(b"-113, \"Undefined header\""), Some((-113, b"Undefined header".to_vec())));
        for bytes in [&b"0"[..], b"+1.2E-3,+1.3E-3", b"1.0,\"x\"", b"VOLT,1", b"0,", b"0,\"x"] {
            assert_eq!(got(bytes), None);
        }
    }

    fn emit(items: &[Item]) -> Vec<u8> {
        let one = |item: &Item| match item {
            Item::Plain(bytes) => bytes.clone(),
            Item::Text(bytes) => {
                let mut out = vec![b'"'];
                for byte in bytes {
                    out.extend(core::iter::repeat_n(*byte, 1 + usize::from(*byte == b'"')));
                }
                out.push(b'"');
                out
            }
        };
        items.iter().map(one).collect::<Vec<_>>().join(&b',')
    }

    fn any_item() -> impl Strategy<Value = Item> {
        let some = prop::collection::vec(any::<u8>(), 0..12);
        let word = "[-+.0-9A-Z_]{0,10}".prop_map(String::into_bytes);
        prop_oneof![some.prop_map(Item::Text), word.prop_map(Item::Plain)]
    }

    proptest! {
        #[test]
        fn what_is_emitted_is_read_back(list in prop::collection::vec(any_item(), 1..6)) {
            prop_assert_eq!(items(&emit(&list)), Some(list));
        }

        #[test]
        fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..40)) {
            let _ = items(&bytes);
            let _ = queued_error(&bytes);
        }
    }

    use alloc::string::String;
}
