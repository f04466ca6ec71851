//! What was measured: a heading for each step of the plan with its limit and its verdict, below it
//! the values that it rests on. A long sweep shows its worst values here, all of them at the end.

use super::data::{Group, Report, Value};
use super::flow::{Flow, SMALL, TEXT};
use super::tell;
use crate::canvas::{Ink, Style};
use crate::seal::seal;

/// A step with more values than that shows the worst.
const SHOWN_MAX: usize = 10;

/// Right edges and left edges of columns, of the width; size of the text.
#[derive(Clone, Copy)]
struct Columns {
    sent: f32,
    corrected: f32,
    result: f32,
    rests: f32,
    size: f32,
}

const MAIN: Columns =
    Columns { sent: 0.445, corrected: 0.46, result: 0.765, rests: 0.78, size: TEXT - 0.4 };
/// Many values: where they were taken is read on one line.
const LONG: Columns =
    Columns { sent: 0.53, corrected: 0.54, result: 0.80, rests: 0.815, size: TEXT - 0.8 };

pub(super) fn table(flow: &mut Flow, report: &Report) {
    if report.groups.is_empty() {
        return;
    }
    flow.heading("measured", 60.0);
    columns(flow, MAIN);
    for group in &report.groups {
        let shown: Vec<&Value> = match group.values.len() > SHOWN_MAX {
            true => group.values.iter().filter(|v| v.worst || v.aside.is_some()).collect(),
            false => group.values.iter().collect(),
        };
        head(flow, group, MAIN, 12.0 * shown.len().min(2) as f32);
        shown.iter().for_each(|value| row(flow, value, MAIN));
        if group.values.len() > SHOWN_MAX {
            let many = group.values.len().to_string();
            let text = flow.words.tell("mark", "swept", &[("all", &many)]);
            let (x, y) = (flow.left() + 6.0, flow.y + 7.0);
            flow.page().text(x, y, Style::quiet(SMALL), &text);
            flow.y += 10.0;
        }
        flow.y += 2.5;
    }
}

/// All values of steps that show their worst above.
pub(super) fn appendix(flow: &mut Flow, report: &Report) {
    let long = |group: &&Group| group.values.len() > SHOWN_MAX;
    for (n, group) in report.groups.iter().filter(long).enumerate() {
        if n == 0 {
            flow.heading("appendix", 40.0);
            columns(flow, LONG);
        }
        head(flow, group, LONG, 24.0);
        group.values.iter().for_each(|value| row(flow, value, LONG));
        flow.y += 3.0;
    }
}

fn columns(flow: &mut Flow, at: Columns) {
    let (left, width, y, words) = (flow.left(), flow.width(), flow.y, flow.words);
    let say = |code: &str| words.say("column", code);
    let quiet = Style::quiet(SMALL);
    let page = flow.page();
    page.text(left + 6.0, y + 6.0, quiet, &say("place"));
    page.right(left + at.sent * width, y + 6.0, quiet, &say("sent"));
    page.text(left + at.corrected * width, y + 6.0, quiet, &say("corrections"));
    page.right(left + at.result * width, y + 6.0, quiet, &say("result"));
    page.text(left + at.rests * width, y + 6.0, quiet, &say("rests"));
    flow.y += 9.5;
}

/// Room for a piece; where it begins a page, the columns are named anew.
fn need(flow: &mut Flow, height: f32, at: Columns) {
    if flow.need(height) {
        columns(flow, at);
    }
}

fn head(flow: &mut Flow, group: &Group, at: Columns, below: f32) {
    let words = flow.words;
    let reasons: Vec<String> =
        group.reasons.iter().map(|reason| words.say("reason", reason)).collect();
    let mut beside = reasons.join(" ");
    if let Some(asides) = tell::asides(words, group) {
        beside = [beside.as_str(), &asides].join(" ").trim().to_owned();
    }
    let small = Style::plain(SMALL + 0.3);
    let beside = match beside.is_empty() {
        true => Vec::new(),
        false => small.wrapped(&beside, flow.width() - INSET - 6.0),
    };
    let height = 21.0 + 8.4 * beside.len() as f32;
    need(flow, height + below, at);
    let (left, y, width) = (flow.left(), flow.y, flow.width());
    flow.page().fill([left, y, width, height], Ink::PALE);
    names(flow, group, at);
    verdict(flow, group, at);
    for (n, line) in (0_u8..).zip(&beside) {
        flow.page().text(left + INSET, y + 25.6 + 8.4 * f32::from(n), small, line);
    }
    flow.y += height + 1.5;
}

/// Where the text of a heading begins: right of the shape.
const INSET: f32 = 19.0;

/// What was measured, and by what it is judged.
fn names(flow: &mut Flow, group: &Group, at: Columns) {
    let (left, y, width, words) = (flow.left(), flow.y, flow.width(), flow.words);
    let mut source: Vec<String> =
        group.limit.iter().map(|limit| tell::source(words, limit)).collect();
    source.extend(
        group
            .share
            .as_ref()
            .map(|share| words.tell("mark", "share", &[("share", &words.number(share))])),
    );
    let room = at.result * width - INSET - 70.0;
    let style = Style::strong(TEXT + 0.3);
    let name = style.fitting(&tell::name(words, group), room);
    let small = Style::quiet(SMALL).fitting(&source.join(" · "), room);
    let page = flow.page();
    seal(page, group.word, (left + 9.5, y + 10.2), 5.2, group.word.ink());
    page.text(left + INSET, y + 8.6, name, &tell::name(words, group));
    page.text(left + INSET, y + 17.0, small, &source.join(" · "));
}

/// The result with its doubt, its limit, the word.
fn verdict(flow: &mut Flow, group: &Group, at: Columns) {
    let (left, y, width, words) = (flow.left(), flow.y, flow.width(), flow.words);
    let result = match &group.result {
        Some(result) => tell::amount(words, result),
        None => words.say("mark", "none"),
    };
    let limit = group.limit.as_ref().map(|limit| tell::limit(words, limit)).unwrap_or_default();
    let (doubt, word) = (tell::doubt(words, group), words.say("verdict", group.word.code()));
    let room = (1.0 - at.rests) * width - 4.0;
    let strong = Style::strong(TEXT + 0.3).ink(group.word.ink()).fitting(&word, room);
    let page = flow.page();
    page.right(left + at.result * width, y + 8.8, Style::strong(TEXT + 0.8), &result);
    page.right(left + at.result * width, y + 17.0, Style::plain(SMALL + 0.5), &limit);
    page.text(left + at.rests * width, y + 8.8, strong, &word);
    page.text(left + at.rests * width, y + 17.0, Style::plain(SMALL), &doubt);
}

fn row(flow: &mut Flow, value: &Value, at: Columns) {
    let words = flow.words;
    let plain = Style::plain(at.size);
    let small = Style::quiet(SMALL);
    let width = flow.width();
    let (place_style, place) = plain.snug(&tell::place(words, value), at.sent * width - 62.0);
    let (corrections_style, corrections) =
        small.snug(&tell::corrections(words, value), (at.result - at.corrected) * width - 46.0);
    let (rests_style, rests) = small.snug(&tell::rests(words, value), (1.0 - at.rests) * width);
    let lines = place.len().max(corrections.len()).max(rests.len());
    let height = 8.6 * lines as f32 + 2.6;
    need(flow, height, at);
    let (left, y) = (flow.left(), flow.y);
    let ink = if value.aside.is_some() { Ink::QUIET } else { Ink::BLACK };
    let sent = tell::amount(words, &value.sent);
    let result = value.result.as_ref().map(|result| tell::amount(words, result));
    let page = flow.page();
    let mut column = |x: f32, style: Style, lines: &[String]| {
        for (n, line) in (0_u8..).zip(lines) {
            page.text(x, y + 7.6 + 8.6 * f32::from(n), style, line);
        }
    };
    column(left + 6.0, place_style.ink(ink), &place);
    column(left + at.corrected * width, corrections_style, &corrections);
    column(left + at.rests * width, rests_style, &rests);
    page.right(left + at.sent * width, y + 7.6, plain.ink(ink), &sent);
    let strong = if value.worst { Style::strong(at.size) } else { plain };
    page.right(left + at.result * width, y + 7.6, strong.ink(ink), &result.unwrap_or_default());
    page.rule(left + 6.0, y + height, width - 6.0, Ink(0xe2, 0xe5, 0xe9));
    flow.y += height;
}
