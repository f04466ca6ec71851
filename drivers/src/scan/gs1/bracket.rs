//! GS1 in brackets, as people read and type it: `(01)09501101530003(21)1234`.

use super::dictionary::entry;
use super::{finish, lint};
use crate::reading::ScanKind;
use crate::scan::content::{Content, Fault};

/// Whether a code begins with digits in brackets.
#[must_use]
pub(in crate::scan) fn claims(text: &str) -> bool {
    key(text).is_some()
}

/// The two to four digits in brackets that a text begins with, and what follows.
fn key(text: &str) -> Option<(&str, &str)> {
    let (ai, rest) = text.strip_prefix('(')?.split_once(')')?;
    let digits = (2..=4).contains(&ai.len()) && ai.bytes().all(|byte| byte.is_ascii_digit());
    digits.then_some((ai, rest))
}

/// Reads bracketed text. A bracket may be part of a value: a new element begins only where a known
/// identifier stands in brackets.
///
/// # Errors
/// The first element that is none.
pub(in crate::scan) fn read(text: &str) -> Result<Content, Fault> {
    let mut content = Content::new(ScanKind::Gs1);
    let mut rest = text;
    while !rest.is_empty() {
        let at = text.len() - rest.len();
        let (ai, after) = key(rest).ok_or_else(|| Fault::new("unknown_ai", at))?;
        let entry = entry(ai).ok_or_else(|| Fault::of("unknown_ai", at, ai))?;
        let (value, after) = after.split_at(next(after));
        lint::value(entry, value).map_err(|word| Fault::of(word, at, ai))?;
        content.element(ai, value, at)?;
        rest = after;
    }
    finish(&mut content);
    Ok(content)
}

/// Where the next element begins.
fn next(text: &str) -> usize {
    let mut places = text.match_indices('(').map(|(at, _)| at);
    let known = |at: &usize| key(&text[*at..]).is_some_and(|(ai, _)| entry(ai).is_some());
    places.find(known).unwrap_or(text.len())
}
