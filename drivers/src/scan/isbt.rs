//! ISBT 128: recognised and taken apart, nothing more. The standard is licensed; the data
//! structures are those of the published table of UDI formats.

use nom::bytes::complete::{tag, take_while_m_n};
use nom::error::{Error, ErrorKind};
use nom::sequence::pair;
use nom::{IResult, Parser};

use super::content::{Content, ELEMENTS_MAX, Element, Said, field};
use super::date::{Day, Year, number};
use crate::reading::ScanKind;

/// Flags of data structures, and how many characters follow.
const FLAGS: [(&str, usize); 8] =
    [("=/", 16), ("=,", 6), ("=>", 6), ("=}", 6), ("=)", 10), ("&,1", 18), ("&)", 10), ("=", 15)];

/// One data structure: its flag and its value.
fn piece(text: &str) -> IResult<&str, (&str, &str)> {
    let fault = || nom::Err::Error(Error::new(text, ErrorKind::Tag));
    let known = FLAGS.into_iter().find(|(flag, _)| text.starts_with(flag));
    let (flag, length) = known.ok_or_else(fault)?;
    let value = take_while_m_n(length, length, |c: char| c.is_ascii_alphanumeric());
    pair(tag(flag), value).parse_complete(text)
}

/// Reads a code; `None` where it is something else.
#[must_use]
pub(super) fn read(text: &str) -> Option<Content> {
    let mut content = Content::new(ScanKind::Isbt);
    let mut rest = text;
    while !rest.is_empty() && content.elements.len() < ELEMENTS_MAX {
        let (after, (flag, value)) = piece(rest).ok()?;
        content.elements.push(Element::new(flag, value));
        match flag {
            "=/" | "=)" => content.text_field(field::DEVICE_ID, value),
            "=," => content.text_field(field::SERIAL, value),
            "&,1" | "&)" => content.text_field(field::LOT, value),
            "=>" => content.says_day(field::EXPIRES_ON, value),
            "=}" => content.says_day(field::MADE_ON, value),
            _ => {}
        }
        rest = after;
    }
    (rest.is_empty() && !text.is_empty()).then_some(content)
}

impl Content {
    /// `CYYJJJ`: the last three digits of the year and the day of it.
    fn says_day(&mut self, name: &'static str, text: &str) {
        let year = text.get(..3).and_then(number);
        let year = year.map(|year| if year >= 900 { 1000 + year } else { 2000 + year });
        let day = year.zip(text.get(3..).and_then(number));
        if let Some(day) = day.and_then(|(year, day)| Day::of_year(Year::Full(year), day)) {
            self.says(name, Said::Day(day));
        }
    }
}
