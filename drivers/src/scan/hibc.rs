//! HIBC supplier labels (ANSI/HIBC 2.6, as its figures are cited in open test suites; flags as in
//! the table of UDI formats that the accredited agencies published).
//!
//! The check character comes first, over everything in front of it, and only then are strokes
//! places to cut: it may be one itself. A published sample whose check is a placeholder is refused.

use alloc::string::String;

use nom::branch::alt;
use nom::bytes::complete::{tag, take_while_m_n};
use nom::combinator::value;
use nom::{IResult, Parser};

use super::check::{CHARACTERS, checked43};
use super::content::{Content, Element, Fault, Said, field};
use super::date::{Day, Year, number, small, yymmdd, yyyymmdd};
use crate::reading::ScanKind;

/// Longest lot or serial, characters.
const TEXT_MAX: usize = 18;

/// Reads a label; `None` where the code is none and does not claim to be one.
pub(super) fn read(sent: &str) -> Option<Result<Content, Fault>> {
    let text = sent.to_ascii_uppercase();
    let claims = claims(&text);
    let inner = text.strip_prefix('+')?;
    let Some(body) = checked43(text.as_bytes()).and_then(|body| text.get(1..body.len())) else {
        return claims.then(|| Err(Fault::new("check_character", text.len().saturating_sub(1))));
    };
    let mut content = Content::new(ScanKind::Hibc);
    let said = label(&mut content, body);
    content.elements.push(Element::new("check", &inner[body.len()..]));
    match said {
        Ok(()) => Some(Ok(content)),
        Err(fault) => claims.then_some(Err(fault)),
    }
}

/// It has the characters of a label and begins like one. What begins with digits may be a
/// telephone.
fn claims(text: &str) -> bool {
    let begins = match text.as_bytes() {
        [b'+', b'$' | b'/', _, _, ..] => true,
        [b'+', letter, rest @ ..] if letter.is_ascii_uppercase() => {
            rest.len() >= 6 && rest[..3].iter().all(u8::is_ascii_alphanumeric)
        }
        _ => false,
    };
    begins && text.bytes().all(|byte| CHARACTERS.contains(&byte))
}

/// What stands between `+` and the check character.
fn label(content: &mut Content, body: &str) -> Result<(), Fault> {
    if body.starts_with('/') {
        // A provider's label: kept as it is.
        return Ok(());
    }
    if body.starts_with(|c: char| c == '$' || c.is_ascii_digit()) {
        let (said, link) = body.split_at_checked(body.len() - 1).unwrap_or((body, ""));
        secondary(content, said, 1)?;
        content.elements.push(Element::new("link", link));
        content.warn("no_key");
        return Ok(());
    }
    let mut parts = body.split('/');
    let mut at = 1;
    for (place, part) in parts.by_ref().enumerate() {
        match place {
            0 => primary(content, part)?,
            1 => secondary(content, part, at)?,
            _ => supplement(content, part, at)?,
        }
        at += part.len() + 1;
    }
    Ok(())
}

/// Cut from the right: the last is the unit of measure, what is behind the first four the product.
fn primary(content: &mut Content, text: &str) -> Result<(), Fault> {
    let fault = |word| Err(Fault::of(word, 1, "lic"));
    if !text.bytes().all(|byte| byte.is_ascii_alphanumeric()) {
        return fault("characters");
    }
    if !(6..=23).contains(&text.len()) {
        return fault("length");
    }
    let (lic, rest) = text.split_at(4);
    let (pcn, unit) = rest.split_at(rest.len() - 1);
    if !unit.bytes().all(|byte| byte.is_ascii_digit()) {
        return Err(Fault::of("characters", text.len(), "uom"));
    }
    for (key, value) in [("lic", lic), ("pcn", pcn), ("uom", unit)] {
        content.elements.push(Element::new(key, value));
    }
    content.text_field(field::DEVICE_ID, text);
    content.text_field(field::UNIT_OF_USE, unit);
    Ok(())
}

/// The flag of a secondary part, by the longest.
fn flag(text: &str) -> IResult<&str, Flag> {
    alt((
        value(Flag::Dated(field::SERIAL), tag("$$+")),
        value(Flag::Plain(field::SERIAL), tag("$+")),
        value(Flag::Dated(field::LOT), tag("$$")),
        value(Flag::Plain(field::LOT), tag("$")),
    ))
    .parse_complete(text)
}

#[derive(Debug, Clone, Copy)]
enum Flag {
    Dated(&'static str),
    Plain(&'static str),
}

fn secondary(content: &mut Content, text: &str, at: usize) -> Result<(), Fault> {
    let Ok((rest, flag)) = flag(text) else { return legacy(content, text, at) };
    let key = &text[..text.len() - rest.len()];
    match flag {
        Flag::Plain(name) => {
            content.element(key, rest, at)?;
            said(content, name, rest, at, key)
        }
        Flag::Dated(name) => {
            let rest = if name == field::LOT { quantity(content, rest, at)? } else { rest };
            if rest.is_empty() && content.field(field::QUANTITY).is_some() {
                return Ok(());
            }
            let (after, day) = dated(rest).ok_or_else(|| Fault::of("date", at, key))?;
            let format = if rest.starts_with(['0', '1']) { "" } else { &rest[..1] };
            let key: String = [key, format].concat();
            content.element(&key, &rest[format.len()..], at)?;
            if let Some(day) = day {
                content.says(field::EXPIRES_ON, Said::Day(day));
            }
            if after.is_empty() { Ok(()) } else { said(content, name, after, at, &key) }
        }
    }
}

/// `YYJJJ` and a lot, without any flag.
fn legacy(content: &mut Content, text: &str, at: usize) -> Result<(), Fault> {
    let (date, lot) = text.split_at_checked(5).ok_or_else(|| Fault::new("flag", at))?;
    let day = ordinal(date).ok_or_else(|| Fault::new("flag", at))?;
    content.elements.push(Element::new("", text));
    content.says(field::EXPIRES_ON, Said::Day(day));
    if lot.is_empty() { Ok(()) } else { said(content, field::LOT, lot, at, "") }
}

/// A lot or serial: 1 to 18 characters.
fn said(
    content: &mut Content,
    name: &'static str,
    text: &str,
    at: usize,
    key: &str,
) -> Result<(), Fault> {
    match text.len() {
        0 => Err(Fault::of("empty", at, key)),
        1..=TEXT_MAX => {
            content.text_field(name, text);
            Ok(())
        }
        _ => Err(Fault::of("length", at, key)),
    }
}

/// `8` and two digits, `9` and five: how many, of old labels.
fn quantity<'a>(content: &mut Content, text: &'a str, at: usize) -> Result<&'a str, Fault> {
    let digits = match text.as_bytes().first() {
        Some(b'8') => 2,
        Some(b'9') => 5,
        _ => return Ok(text),
    };
    let number = |text: &'a str| -> IResult<&'a str, &'a str> {
        take_while_m_n(digits, digits, |c: char| c.is_ascii_digit()).parse_complete(text)
    };
    let key: String = ["$$", &text[..1]].concat();
    let (rest, many) = number(&text[1..]).map_err(|_| Fault::of("characters", at, &key))?;
    content.element(&key, many, at)?;
    content.text_field(field::QUANTITY, plain(many));
    Ok(rest)
}

/// A number without zeros in front.
fn plain(digits: &str) -> &str {
    let short = digits.trim_start_matches('0');
    if short.is_empty() { "0" } else { short }
}

/// A date reference and what follows it; 7 says that there is none.
fn dated(text: &str) -> Option<(&str, Option<Day>)> {
    let length = match text.as_bytes().first()? {
        b'0' | b'1' => 4,
        b'2' | b'3' => 7,
        b'4' => 9,
        b'5' => 6,
        b'6' => 8,
        b'7' => 1,
        _ => return None,
    };
    let (date, after) = text.split_at_checked(length)?;
    let part = |from: usize, to: usize| date.get(from..to);
    let day = match date.as_bytes()[0] {
        b'0' | b'1' => month(date)?,
        b'2' => yymmdd(&[part(5, 7)?, part(1, 5)?].concat())?,
        b'3' => yymmdd(part(1, 7)?)?,
        b'4' => yymmdd(part(1, 7)?)?.at_hour(small(part(7, 9)?)?)?,
        b'5' => ordinal(part(1, 6)?)?,
        b'6' => ordinal(part(1, 6)?)?.at_hour(small(part(6, 8)?)?)?,
        _ => return Some((after, None)),
    };
    Some((after, Some(day)))
}

/// `MMYY`: to the end of the month.
fn month(text: &str) -> Option<Day> {
    Day::of_month(Year::Short(small(text.get(2..4)?)?), small(text.get(..2)?)?, 0)
}

/// `YYJJJ`: the year and the day of it.
fn ordinal(text: &str) -> Option<Day> {
    Day::of_year(Year::Short(small(text.get(..2)?)?), number(text.get(2..5)?)?)
}

/// What may follow besides: serial, made, expires, how many; anything else is kept.
fn supplement(content: &mut Content, text: &str, at: usize) -> Result<(), Fault> {
    let days = [("16D", field::MADE_ON), ("14D", field::EXPIRES_ON)];
    if let Some((key, name)) = days.into_iter().find(|(key, _)| text.starts_with(key)) {
        let day = yyyymmdd(&text[3..]).ok_or_else(|| Fault::of("date", at, key))?;
        content.says(name, Said::Day(day));
        return content.element(key, &text[3..], at);
    }
    if let Some(serial) = text.strip_prefix('S') {
        content.element("S", serial, at)?;
        return said(content, field::SERIAL, serial, at, "S");
    }
    let many = text.strip_prefix('Q').filter(|digits| (1..=5).contains(&digits.len()));
    if let Some(many) = many.filter(|digits| digits.bytes().all(|b| b.is_ascii_digit())) {
        content.text_field(field::QUANTITY, plain(many));
        return content.element("Q", many, at);
    }
    if content.elements.len() >= super::content::ELEMENTS_MAX - 2 {
        return Err(Fault::new("too_many_elements", at));
    }
    content.elements.push(Element::new("other", text));
    Ok(())
}
