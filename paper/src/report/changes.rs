//! What was changed since an inspection was signed: the report that tells it has a number of its
//! own and names the one that it replaces (ISO/IEC 17025:2017, 7.8.8, from memory).

use super::data::{Change, Field, Report};
use super::flow::{Flow, SMALL, TEXT};
use crate::canvas::{Ink, Style};
use crate::words::Words;

/// What the report is called: its content was changed, or it was looked through and no more.
pub(super) fn title(words: &Words, report: &Report) -> String {
    let changed = |one: &Change| matches!(one.what.as_str(), "amended" | "reattached" | "rejected");
    match report.changes.iter().any(changed) {
        true => words.say("page", "amended"),
        false => words.say("page", "title"),
    }
}

/// Its number, and the one that it replaces.
pub(super) fn number(words: &Words, report: &Report) -> String {
    match report.changes.last() {
        None => report.id.clone(),
        Some(last) => {
            let values = [("id", report.number()), ("before", last.replaces.as_str())];
            words.tell("page", "replaces", &values)
        }
    }
}

/// How it was signed first, where that is something else now.
pub(super) fn first(words: &Words, report: &Report) -> Vec<String> {
    let word = report.signed_as.map(|word| words.say("verdict", word.code()));
    let word = word.map(|word| words.tell("page", "signed_as", &[("word", &word)]));
    let asset = report.signed_for.as_ref();
    let asset = asset.map(|asset| words.tell("page", "signed_for", &[("asset", asset)]));
    word.into_iter().chain(asset).collect()
}

/// A line of what was changed, by whom and when; below it why, and each field.
pub(super) fn told(words: &Words, one: &Change) -> (String, Vec<String>) {
    let at = one.at.map(|at| words.moment(at)).unwrap_or_default();
    let second = one.second.as_ref().map(|who| words.tell("page", "second", &[("who", who)]));
    let who = [Some(one.who.clone()), second].into_iter().flatten().collect::<Vec<_>>().join(", ");
    let what = words.say("changed", &one.what);
    let values = [
        ("id", one.id.as_str()),
        ("before", &one.replaces),
        ("what", &what),
        ("at", &at),
        ("who", &who),
    ];
    let head = words.tell("page", "change", &values);
    let reason = match one.reason.as_str() {
        "" => None,
        code => Some(words.say("amend_reason", code)),
    };
    let text = Some(one.text.clone()).filter(|text| !text.is_empty());
    let why: Vec<String> = reason.into_iter().chain(text).collect();
    let mut lines = Vec::new();
    if !why.is_empty() {
        lines.push(words.tell("page", "why", &[("text", &why.join(": "))]));
    }
    lines.extend(one.fields.iter().map(|field| self::field(words, field)));
    (head, lines)
}

fn field(words: &Words, field: &Field) -> String {
    let mut parts = field.name.splitn(3, '/');
    let (kind, of) = (parts.next().unwrap_or_default(), parts.next().unwrap_or_default());
    let item = parts.next().unwrap_or_default();
    let name = match kind {
        "answer" => format!("{of}, {}", words.say("item", item)),
        "value" => words.tell("changed", "value", &[("line", of)]),
        _ => words.say("changed", kind),
    };
    let shown = |text: &str| match kind {
        "answer" => words.say("answer", text),
        "tag" => words.say("tag", text),
        _ => text.to_owned(),
    };
    let before = field.before.as_deref().map_or_else(|| "–".to_owned(), shown);
    let after = match kind {
        "value" => words.tell("mark", "set_aside", &[("cause", &words.say("cause", &field.after))]),
        _ => shown(&field.after),
    };
    match kind {
        "differs" => format!("{name}: {after}"),
        _ => format!("{name}: {before} → {after}"),
    }
}

/// What was changed, before all that was measured.
pub(super) fn changes(flow: &mut Flow, report: &Report) {
    if report.changes.is_empty() {
        return;
    }
    flow.heading("changes", 30.0);
    for line in first(flow.words, report) {
        flow.paragraph(Style::strong(TEXT), &line);
    }
    for one in &report.changes {
        let (head, lines) = told(flow.words, one);
        flow.need(20.0);
        flow.paragraph(Style::strong(TEXT - 0.2), &head);
        lines.iter().for_each(|line| flow.paragraph(Style::plain(SMALL + 0.6), line));
        let (left, width, y) = (flow.left(), flow.width(), flow.y);
        flow.page().rule(left, y + 1.6, width, Ink(0xe2, 0xe5, 0xe9));
        flow.y += 3.6;
    }
}
