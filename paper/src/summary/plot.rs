//! Inspections a day as bars, and what was inspected in time by place, side by side.

use super::data::{Outcomes, Part, Summary};
use super::tell;
use crate::canvas::{Ink, Page, Style};
use crate::report::flow::{Flow, SMALL};
use crate::seal::{Word, seal};
use crate::words::Words;

const HIGH: f32 = 78.0;
const GAP: f32 = 22.0;
/// Places that are drawn; the table has more of them.
const BARS_MAX: usize = 8;

/// Height of both with what stands around them.
const BLOCK: f32 = HIGH + 42.0;

pub(super) fn plots(flow: &mut Flow, summary: &Summary) {
    let due: Vec<Part> = places(flow.words, summary);
    let many = summary.days.len() > 1 && summary.outcomes.all() > 0;
    if !many && due.is_empty() {
        return;
    }
    flow.need(BLOCK + 8.0);
    flow.y += 6.5;
    let wide = (flow.width() - GAP) / 2.0;
    let (words, y, mut x) = (flow.words, flow.y, flow.left());
    if many {
        days(flow.page(), words, summary, [x, y, wide, HIGH]);
        x += wide + GAP;
    }
    if !due.is_empty() {
        shares(flow.page(), words, &due, [x, y, wide, HIGH]);
    }
    flow.y += BLOCK;
}

/// The drawings alone, for HTML.
pub(super) fn page(words: &Words, summary: &Summary) -> Option<Page> {
    let due = places(words, summary);
    let many = summary.days.len() > 1 && summary.outcomes.all() > 0;
    if !many && due.is_empty() {
        return None;
    }
    let wide = 247.0;
    let mut page = Page::new(2.0 * wide + GAP + 2.0, BLOCK);
    let mut x = 1.0;
    if many {
        days(&mut page, words, summary, [x, 0.0, wide, HIGH]);
        x += wide + GAP;
    }
    if !due.is_empty() {
        shares(&mut page, words, &due, [x, 0.0, wide, HIGH]);
    }
    Some(page)
}

/// Those where something was due: the largest first, the rest in one.
fn places(words: &Words, summary: &Summary) -> Vec<Part> {
    let mut due: Vec<Part> = tell::places(words, summary);
    due.retain(|part| part.on_time.all > 0);
    due.sort_by_key(|part| std::cmp::Reverse(part.on_time.all));
    if due.len() > BARS_MAX {
        let rest = due.split_off(BARS_MAX - 1);
        let name = words.say("summary", "places_rest");
        due.push(Part::sum(name, rest.iter()));
    }
    due
}

/// What each part of a bar is, from the axis up; a shape says it without its colour.
const PARTS: [(&str, Word, Ink); 4] = [
    ("passed", Word::Pass, Ink(0x0b, 0x66, 0x3d)),
    ("failed", Word::Fail, Ink(0xb0, 0x12, 0x2a)),
    ("undecided", Word::Undecided, Ink(0xc9, 0x8a, 0x1b)),
    ("ended", Word::Undecided, Ink(0xb9, 0xbe, 0xc5)),
];

fn days(page: &mut Page, words: &Words, summary: &Summary, [x, y, w, h]: [f32; 4]) {
    title(page, &words.say("plot", "days"), (x, y));
    let (top, bottom) = (y + 16.0, y + 16.0 + h);
    let most = summary.days.iter().map(|(_, of)| of.all()).max().unwrap_or(0);
    let scale = nice(most);
    axis(page, scale, [x, top, w, h]);
    let (from, room) = (x + 20.0, w - 20.0);
    let step = room / summary.days.len() as f32;
    let bar = (step * 0.72).min(26.0);
    for (n, (day, of)) in summary.days.iter().enumerate() {
        let middle = from + step * (n as f32 + 0.5);
        stack(page, of, (middle - bar / 2.0, bottom), (bar, h / part(scale, 1)));
        // A month has too many days to name each.
        if summary.days.len() <= 7 || n % 7 == 0 {
            let text = label(words, day);
            page.middle(middle, bottom + 8.5, Style::quiet(SMALL), &text);
        }
    }
    legend(page, words, (from, bottom + 18.0));
}

/// A bar of parts, from the bottom up, with a white gap between two.
fn stack(page: &mut Page, of: &Outcomes, (x, bottom): (f32, f32), (wide, each): (f32, f32)) {
    let mut y = bottom;
    for ((_, _, ink), count) in PARTS.iter().zip(of.four()) {
        if count > 0 {
            let high = part(count, 1) * each;
            let gap = if y < bottom { 0.5 } else { 0.0 };
            page.fill([x, y - high, wide, (high - gap).max(0.4)], *ink);
            y -= high;
        }
    }
}

fn legend(page: &mut Page, words: &Words, (mut x, y): (f32, f32)) {
    let style = Style::plain(SMALL);
    for (code, word, ink) in PARTS {
        if code == "ended" {
            page.fill([x, y - 5.2, 6.0, 6.0], ink);
        } else {
            seal(page, word, (x + 3.0, y - 2.2), 3.2, ink);
        }
        let text = words.say("summed", code);
        page.text(x + 8.5, y, style, &text);
        x += style.width(&text) + 19.0;
    }
}

/// `27` of a day of a month.
fn label(words: &Words, day: &str) -> String {
    let text = words.day(day);
    match text.len() {
        10 if text.as_bytes()[2] == b'.' => text[..6].to_owned(),
        10 => text[5..].to_owned(),
        _ => text,
    }
}

fn title(page: &mut Page, text: &str, (x, y): (f32, f32)) {
    page.text(x, y + 7.0, Style::strong(8.2), text);
}

/// Lines at none, the half and all of a scale.
fn axis(page: &mut Page, scale: u64, [x, y, w, h]: [f32; 4]) {
    let marks = if scale.is_multiple_of(2) { vec![0, scale / 2, scale] } else { vec![0, scale] };
    for value in marks {
        let at = y + h - h * part(value, scale);
        let ink = if value == 0 { Ink::QUIET } else { Ink(0xe2, 0xe5, 0xe9) };
        page.rule(x + 20.0, at, w - 20.0, ink);
        page.right(x + 16.0, at + 2.2, Style::quiet(SMALL), &value.to_string());
    }
}

/// The next of 1, 2, 4, 5 and 10 times a power of ten.
fn nice(most: u64) -> u64 {
    let mut power = 1;
    loop {
        for step in [1, 2, 4, 5] {
            if step * power >= most {
                return step * power;
            }
        }
        match 10_u64.checked_mul(power) {
            Some(next) if next < u64::MAX / 10 => power = next,
            _ => return most,
        }
    }
}

fn part(of: u64, all: u64) -> f32 {
    #[expect(clippy::cast_precision_loss, reason = "a place in a drawing")]
    let part = of as f32 / all.max(1) as f32;
    part
}

fn shares(page: &mut Page, words: &Words, parts: &[Part], [x, y, w, h]: [f32; 4]) {
    title(page, &words.say("plot", "places"), (x, y));
    let step = (h / parts.len() as f32).min(15.0);
    let (name, bar) = (w * 0.30, w * 0.44);
    let from = x + name + 6.0;
    let ground = Ink(0xe2, 0xe5, 0xe9);
    for (n, one) in parts.iter().enumerate() {
        let top = y + 16.0 + step * n as f32;
        let base = top + step / 2.0 + 2.4;
        let style = Style::plain(SMALL + 0.6);
        page.text(x, base, style.fitting(&one.name, name), &one.name);
        let high = (step * 0.62).min(8.0);
        let middle = top + (step - high) / 2.0;
        page.fill([from, middle, bar, high], ground);
        let done = bar * part(one.on_time.of, one.on_time.all);
        if one.on_time.of > 0 {
            page.fill([from, middle, done, high], Ink(0x2d, 0x4f, 0x7c));
        }
        let shown =
            format!("{} ({})", tell::percent(words, one.on_time), tell::of_all(one.on_time));
        let fitting = style.fitting(&shown, w - name - bar - 10.0);
        page.text(from + bar + 4.0, base, fitting, &shown);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_holds_what_is_drawn_on_it() {
        for (most, scale) in [(0, 1), (1, 1), (3, 4), (5, 5), (6, 10), (41, 50), (99, 100)] {
            assert_eq!(nice(most), scale, "{most}");
        }
        assert!(nice(u64::MAX) == u64::MAX);
    }

    #[test]
    fn days_are_named_short() {
        use crate::words::Language;
        let of = |language: Language| label(language.words(), "2026-11-27");
        assert_eq!(Language::ALL.map(of), ["11-27", "27.11."]);
    }
}
