//! The tables of a summary.

use super::data::{Part, Summary};
use super::tell;
use crate::canvas::{Ink, Style};
use crate::report::flow::{Flow, SMALL, TEXT};

const HAIR: Ink = Ink(0xe2, 0xe5, 0xe9);
const ROW: f32 = 11.4;
const BODY: Style = Style::plain(TEXT);

/// Each number with what it means, what it is, and of how many.
pub(super) fn numbers(flow: &mut Flow, summary: &Summary) {
    flow.heading("numbers", 60.0);
    for [name, means, shown, of] in tell::numbers(flow.words, summary) {
        let (left, width) = (flow.left(), flow.width());
        let small = Style::quiet(SMALL + 0.2);
        let lines = small.wrapped(&means, width * 0.70);
        let height = 13.5 + 8.4 * lines.len() as f32;
        flow.need(height);
        let y = flow.y;
        let big = Style::strong(TEXT + 3.6).fitting(&shown, width * 0.26);
        let page = flow.page();
        page.text(left, y + 9.0, Style::strong(TEXT + 0.6), &name);
        for (n, line) in (0_u8..).zip(&lines) {
            page.text(left, y + 17.6 + 8.4 * f32::from(n), small, line);
        }
        page.right(left + width, y + 11.0, big, &shown);
        page.right(left + width, y + 20.0, Style::plain(TEXT), &of);
        page.rule(left, y + height, width, HAIR);
        flow.y += height;
    }
}

/// Where columns of numbers end, of the width.
const ENDS: [f32; 9] = [0.32, 0.40, 0.48, 0.57, 0.65, 0.73, 0.81, 0.90, 1.0];
const NAMES: [&str; 9] =
    ["due", "in_time", "share", "overdue", "begun", "passed", "failed", "undecided", "ended"];

/// What is counted by place or by risk, and all of it.
pub(super) fn parts(flow: &mut Flow, (heading, first): (&str, &str), list: &[Part]) {
    if list.is_empty() {
        return;
    }
    flow.heading(heading, 9.5 + ROW * (list.len() + 1).min(5) as f32);
    columns(flow, first);
    let all = Part::sum(flow.words.say("summary", "all"), list.iter());
    for (n, part) in list.iter().chain([&all]).enumerate() {
        if flow.need(ROW) {
            columns(flow, first);
        }
        let style = if n == list.len() { Style::strong(TEXT) } else { BODY };
        row(flow, part, style);
    }
}

fn columns(flow: &mut Flow, first: &str) {
    let (left, width, y, words) = (flow.left(), flow.width(), flow.y, flow.words);
    let quiet = Style::quiet(SMALL);
    let page = flow.page();
    page.text(left, y + 6.0, quiet, &words.say("summed", first));
    for (n, (at, code)) in ENDS.iter().zip(NAMES).enumerate() {
        let text = words.say("summed", code);
        let before = n.checked_sub(1).map_or(0.27, |n| ENDS[n]);
        let style = quiet.fitting(&text, width * (at - before) - 6.0);
        page.right(left + at * width, y + 6.0, style, &text);
    }
    page.rule(left, y + 9.0, width, Ink::RULE);
    flow.y += 9.5;
}

/// What stands in a line of a part, in the order of the columns.
pub(super) fn cells(words: &crate::words::Words, part: &Part) -> [String; 9] {
    let [pass, fail, undecided, ended] = part.outcomes.four().map(|n| n.to_string());
    let (due, in_time) = (part.on_time.all.to_string(), part.on_time.of.to_string());
    let share = tell::percent(words, part.on_time);
    let overdue = tell::of_all(part.overdue);
    [due, in_time, share, overdue, part.outcomes.all().to_string(), pass, fail, undecided, ended]
}

/// What the columns are called.
pub(super) fn heads(words: &crate::words::Words, first: &str) -> Vec<String> {
    [first].iter().chain(&NAMES).map(|code| words.say("summed", code)).collect()
}

fn row(flow: &mut Flow, part: &Part, style: Style) {
    let (left, width, y) = (flow.left(), flow.width(), flow.y);
    let cells = cells(flow.words, part);
    let name = style.fitting(&part.name, width * 0.27);
    let page = flow.page();
    page.text(left, y + 8.0, name, &part.name);
    for (at, cell) in ENDS.iter().zip(&cells) {
        page.right(left + at * width, y + 8.0, style, cell);
    }
    page.rule(left, y + ROW, width, HAIR);
    flow.y += ROW;
}

/// Who set values aside.
pub(super) fn set_aside(flow: &mut Flow, summary: &Summary) {
    let rows = tell::set_aside(flow.words, summary);
    flow.heading("set_aside", 40.0);
    if rows.is_empty() {
        let none = flow.words.say("summary", "none_set_aside");
        return flow.paragraph(BODY, &none);
    }
    let means = flow.words.say("number_means", "set_aside");
    flow.paragraph(Style::quiet(SMALL + 0.2), &means);
    let head = ["by", "values", "in_force"].map(|code| flow.words.say("summed", code));
    line(flow, &head, Style::quiet(SMALL));
    for cells in rows {
        flow.need(ROW);
        line(flow, &cells, BODY);
    }
}

fn line(flow: &mut Flow, [name, values, kept]: &[String; 3], style: Style) {
    let (left, width, y) = (flow.left(), flow.width(), flow.y);
    let page = flow.page();
    page.text(left, y + 8.0, style.fitting(name, width * 0.28), name);
    page.right(left + 0.42 * width, y + 8.0, style, values);
    page.right(left + 0.60 * width, y + 8.0, style, kept);
    page.rule(left, y + ROW, width * 0.60, HAIR);
    flow.y += ROW;
}

const MISSING: [(f32, &str); 5] =
    [(0.0, "due_on"), (0.10, "asset"), (0.23, "what"), (0.52, "place"), (0.78, "since")];

/// What was due and is missing.
pub(super) fn missing(flow: &mut Flow, summary: &Summary) {
    let words = flow.words;
    flow.heading("missing", 40.0);
    flow.paragraph(BODY, &tell::missing(words, summary));
    if summary.missing.is_empty() {
        return;
    }
    missing_columns(flow);
    for one in summary.missing.iter().take(tell::MISSING_MAX) {
        let due = words.day(&one.due);
        let since = tell::since(words, one);
        let texts = [&due, &one.asset, &one.what, &one.place, &since];
        let room = |n: usize| MISSING.get(n + 1).map_or(1.0, |next| next.0) - MISSING[n].0;
        let width = flow.width();
        let set = texts.iter().enumerate().map(|(n, text)| BODY.snug(text, room(n) * width - 4.0));
        let set: Vec<(Style, Vec<String>)> = set.collect();
        let lines = set.iter().map(|(_, lines)| lines.len().min(4)).max().unwrap_or(1);
        let height = 2.4 + 8.8 * lines as f32;
        if flow.need(height) {
            missing_columns(flow);
        }
        let (left, y) = (flow.left(), flow.y);
        let page = flow.page();
        for ((at, _), (style, lines)) in MISSING.iter().zip(&set) {
            for (n, line) in (0_u8..).zip(lines.iter().take(4)) {
                page.text(left + at * width, y + 7.8 + 8.8 * f32::from(n), *style, line);
            }
        }
        page.rule(left, y + height, width, HAIR);
        flow.y += height;
    }
    if let Some(more) = tell::missing_more(words, summary) {
        flow.y += 3.0;
        flow.paragraph(Style::strong(TEXT), &more);
    }
}

fn missing_columns(flow: &mut Flow) {
    let (left, width, y, words) = (flow.left(), flow.width(), flow.y, flow.words);
    let page = flow.page();
    for (at, code) in MISSING {
        page.text(left + at * width, y + 7.0, Style::quiet(SMALL), &words.say("summed", code));
    }
    page.rule(left, y + 10.0, width, Ink::RULE);
    flow.y += 10.5;
}
