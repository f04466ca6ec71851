//! GS1: element strings, their bracketed text, and what their elements mean.

pub(super) mod bracket;
pub(super) mod dictionary;
pub(super) mod lint;
mod meaning;

use nom::bytes::complete::take_till;
use nom::{IResult, Parser};

use super::content::{Content, Fault};
use crate::reading::ScanKind;
use dictionary::{Entry, begins};
pub(super) use meaning::{finish, names_a_patient};

/// The separator, FNC1 as a reader sends it.
pub(super) const GS: char = '\u{1d}';

/// Reads a GS1 element string.
///
/// `proven` says that the reader is known to send separators.
///
/// # Errors
/// The first element that is none: an unknown identifier, a value that is not of it.
pub(super) fn read(text: &str, proven: bool) -> Result<Content, Fault> {
    let mut content = Content::new(ScanKind::Gs1);
    let mut rest = text.strip_prefix(GS).unwrap_or(text);
    if rest.is_empty() {
        return Err(Fault::new("empty", 0));
    }
    let mut last = None;
    while !rest.is_empty() {
        let at = text.len() - rest.len();
        let (ai, entry) = begins(rest).ok_or_else(|| Fault::new("unknown_ai", at))?;
        let (after, value) = take(entry, &rest[ai.len()..], &mut content)
            .map_err(|_| Fault::of("length", at, ai))?;
        lint::value(entry, value).map_err(|word| Fault::of(word, at, ai))?;
        content.element(ai, value, at)?;
        last = (entry.fixed().is_none() && after.is_empty()).then_some(value);
        rest = after;
    }
    if !proven && !text.contains(GS) && last.is_some_and(may_hold_more) {
        content.warn("no_separator_seen");
    }
    finish(&mut content);
    Ok(content)
}

/// A value, and what follows its separator.
fn take<'a>(entry: Entry, text: &'a str, content: &mut Content) -> IResult<&'a str, &'a str> {
    let (after, run) = take_till(|c| c == GS).parse_complete(text)?;
    let length = entry.fixed().filter(|length| entry.predefined() || run.len() > *length);
    let Some(length) = length else {
        return Ok((after.strip_prefix(GS).unwrap_or(after), run));
    };
    let (after, value) = nom::bytes::complete::take(length).parse_complete(text)?;
    match after.strip_prefix(GS) {
        Some(after) if entry.predefined() => {
            content.warn("one_extra_separator");
            Ok((after, value))
        }
        Some(after) => Ok((after, value)),
        None if !entry.predefined() && !after.is_empty() => {
            content.warn("no_separator_seen");
            Ok((after, value))
        }
        None => Ok((after, value)),
    }
}

/// Whether the end of a value reads as elements of its own: then a separator may have been lost.
fn may_hold_more(value: &str) -> bool {
    (1..value.len()).any(|cut| value.get(cut..).is_some_and(are_elements))
}

fn are_elements(text: &str) -> bool {
    let mut rest = text;
    while let Some((ai, entry)) = begins(rest) {
        let value = &rest[ai.len()..];
        let length = entry.fixed().unwrap_or(value.len());
        let Some((value, after)) = value.split_at_checked(length) else { return false };
        if lint::value(entry, value).is_err() {
            return false;
        }
        rest = after;
    }
    rest.is_empty()
}
