//! Under what it was measured, and earlier values against their limit, small and side by side.

use super::data::{Group, History, Report};
use super::flow::{Flow, SMALL, TEXT};
use super::lists::conditions_of;
use super::tell;
use crate::canvas::{Ink, Style, circle};
use crate::words::Words;

const HIGH: f32 = 30.0;
const GAP: f32 = 12.0;

/// The conditions, with one or two histories to their right; more stand below.
pub(super) fn conditions(flow: &mut Flow, report: &Report) {
    let lines = conditions_of(flow.words, report);
    let plots: Vec<&Group> = report.groups.iter().filter(|group| has_past(group)).collect();
    let beside = !plots.is_empty() && plots.len() <= 2;
    let width = if beside { flow.width() / 2.0 - GAP } else { flow.width() };
    let style = Style::plain(TEXT - 0.2);
    let lines: Vec<String> = lines.iter().flat_map(|line| style.wrapped(line, width)).collect();
    let text = style.leading() * lines.len() as f32;
    let needed = if beside { text.max(HIGH + 24.0) } else { text };
    let mut from = flow.y;
    if !lines.is_empty() {
        flow.heading("conditions", needed);
        from = flow.y;
        let left = flow.left();
        for line in &lines {
            let y = flow.y + style.rise();
            flow.page().text(left, y, style, line);
            flow.y += style.leading();
        }
    }
    let below = flow.y;
    match (beside, lines.is_empty()) {
        (true, false) => {
            let x = flow.left() + flow.width() / 2.0;
            let text = flow.words.say("heading", "history");
            flow.page().text(x, from - 5.0, Style::strong(8.2), &text);
            flow.y = from;
            row(flow, x, &plots);
            flow.y = flow.y.max(below);
        }
        _ => rows(flow, &plots),
    }
}

/// There is something to compare with.
fn has_past(group: &Group) -> bool {
    let History { points, paper, .. } = &group.history;
    !points.is_empty() && points.len() + paper.len() > 1
}

/// The same in words, a line each: where nothing is drawn.
pub(super) fn told(words: &Words, report: &Report) -> Vec<String> {
    report.groups.iter().filter(|group| has_past(group)).map(|group| line(words, group)).collect()
}

fn line(words: &Words, group: &Group) -> String {
    let History { points, paper, unit, .. } = &group.history;
    let one = |(day, _, value): &(String, u32, f32)| {
        format!("{} {}", words.day(day), words.amount(&value.to_string(), unit))
    };
    let all = |list: &[(String, u32, f32)]| list.iter().map(one).collect::<Vec<_>>().join("; ");
    let from_paper = || {
        let many = words.tell("mark", "paper", &[("n", &paper.len().to_string())]);
        format!("{many}: {}", all(paper))
    };
    let paper = (!paper.is_empty()).then(from_paper);
    let here = (!points.is_empty()).then(|| all(points));
    let told: Vec<String> = here.into_iter().chain(paper).collect();
    format!("{}: {}", words.say("measurand", &group.measurand), told.join(" · "))
}

fn rows(flow: &mut Flow, plots: &[&Group]) {
    for (at, four) in plots.chunks(4).enumerate() {
        if at == 0 {
            flow.heading("history", HIGH + 24.0);
        }
        flow.need(HIGH + 24.0);
        let left = flow.left();
        row(flow, left, four);
    }
}

/// Histories side by side, from a place on.
fn row(flow: &mut Flow, left: f32, groups: &[&Group]) {
    let wide = (flow.width() - 3.0 * GAP) / 4.0;
    let y = flow.y;
    for (n, group) in (0_u8..).zip(groups) {
        let x = left + f32::from(n) * (wide + GAP);
        let title = Style::strong(SMALL + 0.2);
        let name = flow.words.say("measurand", &group.measurand);
        let title = title.fitting(&name, wide);
        flow.page().text(x, y + 6.5, title, &name);
        plot(flow, group, [x, y + 11.0, wide, HIGH]);
    }
    flow.y += HIGH + 24.0;
}

/// Where values lie between the axis at zero and a tenth beyond the largest, limit or value.
fn plot(flow: &mut Flow, group: &Group, [x, y, w, h]: [f32; 4]) {
    let History { points, paper, limit, .. } = &group.history;
    let all = || paper.iter().chain(points);
    let words = flow.words;
    let top = all().map(|one| one.2).fold(*limit, f32::max) * 1.1;
    let place = |value: f32| y + h - (value / top.max(f32::MIN_POSITIVE)).clamp(0.0, 1.0) * h;
    let ends = (all().min_by_key(|one| one.1), all().max_by_key(|one| one.1));
    let (Some(oldest), Some(newest)) = ends else { return };
    let (first, last) = (oldest.1, newest.1);
    let span = (last - first).max(1);
    let along = |day: u32| {
        let part = f64::from(day - first) / f64::from(span);
        #[expect(clippy::cast_possible_truncation, reason = "a place on paper, 0 to 1")]
        let part = part as f32;
        x + 8.0 + part * (w - 16.0)
    };
    let shown = group.limit.as_ref().map(|limit| tell::limit(words, limit)).unwrap_or_default();
    let page = flow.page();
    page.rule(x, y + h, w, Ink::RULE);
    let mut dash = x;
    while dash < x + w {
        page.rule(dash, place(*limit), 4.0_f32.min(x + w - dash), Ink::BLACK);
        dash += 7.0;
    }
    page.right(x + w, place(*limit) - 2.0, Style::plain(SMALL - 0.6), &shown);
    let dots: Vec<(f32, f32)> = points.iter().map(|one| (along(one.1), place(one.2))).collect();
    for two in dots.windows(2) {
        page.line(two[0], two[1], 0.6, Ink::QUIET);
    }
    for one in paper {
        let dot = (along(one.1), place(one.2));
        page.shape(circle(dot, 1.7), Ink::QUIET);
        page.shape(circle(dot, 1.1), Ink::WHITE);
    }
    for (at, dot) in dots.iter().enumerate() {
        let newest = at + 1 == dots.len();
        let ink = if newest { group.word.ink() } else { Ink::QUIET };
        page.shape(circle(*dot, if newest { 2.2 } else { 1.5 }), ink);
    }
    let tiny = Style::quiet(SMALL - 0.4);
    page.text(x, y + h + 7.5, tiny, &words.day(&oldest.0));
    page.right(x + w, y + h + 7.5, tiny, &words.day(&newest.0));
    let many = match paper.len() {
        0 => words.tell("mark", "values", &[("n", &points.len().to_string())]),
        n => words.tell("mark", "paper", &[("n", &n.to_string())]),
    };
    page.middle(x + w / 2.0, y + h + 7.5, tiny, &many);
}
