//! GS1 Digital Link, uncompressed: `https://…/01/09506000134352/21/SN1234?17=271120`.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use super::content::{Content, Fault};
use super::gs1::dictionary::entry;
use super::gs1::{finish, lint};
use crate::reading::ScanKind;

const SCHEMES: &[&str] = &["https://", "http://", "HTTPS://", "HTTP://"];

/// A segment of the path with its place in the code.
type Segment<'a> = (usize, &'a str);

/// Reads a link; `None` where it is one of another kind, with no key of GS1 in its path.
pub(super) fn read(text: &str) -> Option<Result<Content, Fault>> {
    let scheme = SCHEMES.iter().find(|scheme| text.starts_with(**scheme))?;
    let end = text.find('#').unwrap_or(text.len());
    let (path, query) = text[..end].split_once('?').unwrap_or((&text[..end], ""));
    let segments = segments(path, scheme.len());
    let keys: Vec<usize> = (1..segments.len()).filter(|at| is_key(&segments[*at..])).collect();
    let first = *keys.first()?;
    let begin = keys.into_iter().find(|at| in_order(&segments[*at..])).unwrap_or(first);
    let mut content = Content::new(ScanKind::Gs1Link);
    let filled = fill(&mut content, &segments[begin..])
        .and_then(|()| attributes(&mut content, query, path.len() + 1));
    Some(filled.map(|()| {
        finish(&mut content);
        content
    }))
}

/// The parts between the strokes, the host first; a stroke at the end counts for nothing.
fn segments(path: &str, from: usize) -> Vec<Segment<'_>> {
    let mut at = from;
    let rest = path.get(from..).unwrap_or_default();
    let all = rest.strip_suffix('/').unwrap_or(rest).split('/').map(|part| {
        let place = at;
        at += part.len() + 1;
        (place, part)
    });
    all.collect()
}

/// A primary key and a value of it; its check digit may be wrong.
fn is_key(segments: &[Segment<'_>]) -> bool {
    let [(_, ai), (_, value), ..] = segments else { return false };
    let Some(entry) = entry(ai).filter(|entry| entry.qualifiers().is_some()) else { return false };
    let value = decoded(value).map(|value| padded(ai, value));
    value.is_some_and(|value| matches!(lint::value(entry, &value), Ok(()) | Err("check_digit")))
}

/// What follows a key are pairs of its qualifiers, in one of the orders that the table has.
fn in_order(segments: &[Segment<'_>]) -> bool {
    let mut alternatives =
        entry(segments[0].1).and_then(|entry| entry.qualifiers()).into_iter().flatten();
    let pairs = segments.len().is_multiple_of(2);
    pairs
        && alternatives.any(|list| {
            let mut known = list.split(',');
            segments[2..].chunks(2).all(|pair| known.any(|qualifier| qualifier == pair[0].1))
        })
}

fn fill(content: &mut Content, segments: &[Segment<'_>]) -> Result<(), Fault> {
    if !in_order(segments) {
        let (at, _) = segments.get(2).copied().unwrap_or(segments[0]);
        return Err(Fault::new("unknown_ai", at));
    }
    segments.chunks(2).try_for_each(|pair| element(content, pair[0], pair[1].1))
}

fn element(content: &mut Content, (at, ai): Segment<'_>, value: &str) -> Result<(), Fault> {
    let entry = entry(ai).ok_or_else(|| Fault::of("unknown_ai", at, ai))?;
    let value = decoded(value).ok_or_else(|| Fault::of("characters", at, ai))?;
    let value = padded(ai, value);
    lint::value(entry, &value).map_err(|word| Fault::of(word, at, ai))?;
    content.element(ai, &value, at)
}

/// Pairs of the query whose names are identifiers; others are no business of ours.
fn attributes(content: &mut Content, query: &str, from: usize) -> Result<(), Fault> {
    let mut at = from;
    for pair in query.split(['&', ';']) {
        let place = at;
        at += pair.len() + 1;
        let Some((ai, value)) = pair.split_once('=') else { continue };
        if !(2..=4).contains(&ai.len()) || !ai.bytes().all(|byte| byte.is_ascii_digit()) {
            continue;
        }
        if entry(ai).is_none_or(|entry| !entry.in_query()) {
            return Err(Fault::of("unknown_ai", place, ai));
        }
        element(content, (place, ai), value)?;
    }
    Ok(())
}

/// A GTIN of 8, 12 or 13 digits as one of 14.
fn padded(ai: &str, value: String) -> String {
    if ai == "01" && [8, 12, 13].contains(&value.len()) { format!("{value:0>14}") } else { value }
}

/// Percent-encoded text; `None` where an escape is cut short or is no ASCII.
#[must_use]
pub(super) fn decoded(text: &str) -> Option<String> {
    let (mut out, mut rest) = (String::new(), text);
    while let Some((plain, escape)) = rest.split_once('%') {
        let byte = u8::from_str_radix(escape.get(..2)?, 16).ok().filter(u8::is_ascii)?;
        out.push_str(plain);
        out.push(char::from(byte));
        rest = &escape[2..];
    }
    out.push_str(rest);
    Some(out)
}
