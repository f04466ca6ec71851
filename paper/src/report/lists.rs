//! Below the measurements: what was looked at, under what, with what, and what was said.

use super::data::{Answer, Entered, Meter, Outcome, Report};
use super::flow::{Flow, SMALL, TEXT};
use super::tell;
use crate::canvas::{Ink, Style};
use crate::seal::{Word, seal};
use crate::words::Words;

/// Looks and tries, three beside each other.
pub(super) fn answers(flow: &mut Flow, report: &Report) {
    if report.answers.is_empty() {
        return;
    }
    flow.heading("answers", 20.0);
    let column = flow.width() / 3.0;
    let style = Style::plain(TEXT - 0.2);
    for row in report.answers.chunks(3) {
        let texts: Vec<(Style, Vec<String>)> =
            row.iter().map(|one| style.snug(&answered(flow.words, one), column - 18.0)).collect();
        let lines = texts.iter().map(|(_, text)| text.len()).max().unwrap_or(1);
        let height = 9.0 * lines as f32 + 1.6;
        flow.need(height);
        let (left, y) = (flow.left(), flow.y);
        for (at, (one, (style, text))) in (0_u8..).zip(row.iter().zip(&texts)) {
            let x = left + column * f32::from(at);
            let page = flow.page();
            match word(one) {
                Some(word) => seal(page, word, (x + 6.0, y + 5.4), 3.4, word.ink()),
                None => page.text(x + 3.4, y + 7.8, Style::quiet(TEXT), "–"),
            }
            for (n, line) in (0_u8..).zip(text) {
                page.text(x + 14.0, y + 7.8 + 9.0 * f32::from(n), *style, line);
            }
        }
        flow.y += height;
    }
}

fn word(one: &Answer) -> Option<Word> {
    match one.answer.as_str() {
        "pass" => Some(Word::Pass),
        "fail" => Some(Word::Fail),
        "not_applicable" => None,
        _ => Some(Word::Undecided),
    }
}

/// `Housing: pass`, with what was said to it.
pub(super) fn answered(words: &Words, one: &Answer) -> String {
    let base = format!("{}: {}", words.say("item", &one.item), words.say("answer", &one.answer));
    match one.reason.as_deref().filter(|reason| !reason.is_empty()) {
        None => base,
        Some(reason) => format!("{base} ({})", words.say("said", reason)),
    }
}

/// Supply, and how conditions are known.
pub(super) fn conditions_of(words: &Words, report: &Report) -> Vec<String> {
    let mut lines = Vec::new();
    for supply in &report.supply {
        let [ln, npe, lpe] = &supply.volts.clone().map(|volts| words.number(&volts));
        let known = words.say("known", &supply.known);
        let values = [("ln", ln.as_str()), ("npe", npe), ("lpe", lpe), ("known", &known)];
        lines.push(words.tell("conditions", "supply", &values));
    }
    lines.extend(report.entered.iter().map(|one| entered(words, report, one)));
    for (known, names) in &report.known {
        let names: Vec<String> = names.iter().map(|name| words.say("seen", name)).collect();
        let known = words.say("known_long", known);
        lines.push(format!("{known}: {}.", names.join(", ")));
    }
    lines
}

/// What was typed in, and the measurement with the places that it counts for.
fn entered(words: &Words, report: &Report, one: &Entered) -> String {
    let group = report.groups.iter().find(|group| group.step == one.step);
    let name = group.map_or_else(|| one.step.clone(), |group| tell::name(words, group));
    let known = words.say("known", &one.known);
    let values = [
        ("name", name.as_str()),
        ("places", &one.places.join(", ")),
        ("digits", &words.number(&one.digits)),
        ("from", &words.say("said", &one.read_from)),
        ("known", &known),
    ];
    words.tell("conditions", &one.what, &values)
}

/// Instruments with their calibration.
pub(super) fn meters(flow: &mut Flow, report: &Report) {
    if report.meters.is_empty() {
        return;
    }
    flow.heading("meters", 24.0);
    const COLUMNS: [(f32, &str); 5] =
        [(0.0, "meter"), (0.12, "what"), (0.54, "serial"), (0.68, "certificate"), (0.85, "due")];
    let (left, width) = (flow.left(), flow.width());
    let y = flow.y + 6.0;
    for (at, code) in COLUMNS {
        let text = flow.words.say("column", code);
        flow.page().text(left + at * width, y, Style::quiet(SMALL), &text);
    }
    flow.y += 9.0;
    for meter in &report.meters {
        let due = flow.words.day(&meter.due);
        let texts = [&meter.id, &kind(flow.words, meter), &meter.serial, &meter.certificate, &due];
        let style = Style::plain(TEXT - 0.2);
        let room = |n: usize| COLUMNS.get(n + 1).map_or(1.0, |next| next.0) - COLUMNS[n].0;
        let set = texts.iter().enumerate().map(|(n, text)| style.snug(text, room(n) * width - 4.0));
        let set: Vec<(Style, Vec<String>)> = set.collect();
        let lines = set.iter().map(|(_, lines)| lines.len()).max().unwrap_or(1);
        let height = 1.6 + 8.6 * lines as f32;
        flow.need(height);
        let y = flow.y;
        for ((at, _), (style, lines)) in COLUMNS.iter().zip(&set) {
            for (n, line) in (0_u8..).zip(lines) {
                flow.page().text(left + at * width, y + 7.2 + 8.6 * f32::from(n), *style, line);
            }
        }
        flow.page().rule(left, y + height, width, Ink(0xe2, 0xe5, 0xe9));
        flow.y += height;
    }
}

/// What an instrument or a fixture is.
pub(super) fn kind(words: &Words, meter: &Meter) -> String {
    match meter.fixture.as_str() {
        "" => meter.what.clone(),
        fixture => words.say("fixture", fixture),
    }
}

/// What a reader should know, what was set aside, what was said.
pub(super) fn remarks(flow: &mut Flow, report: &Report) {
    let lines = remarks_of(flow.words, report);
    if lines.is_empty() {
        return;
    }
    flow.heading("remarks", 12.0);
    lines.iter().for_each(|line| flow.paragraph(Style::plain(TEXT - 0.2), line));
}

pub(super) fn remarks_of(words: &Words, report: &Report) -> Vec<String> {
    let mut lines = Vec::new();
    // IEC 62353:2014 6.2 (from memory): who is responsible is told in writing of what is unsafe.
    if matches!(report.outcome, Outcome::Signed(Word::Fail | Word::ConditionalFail)) {
        lines.push(words.say("page", "notice"));
    }
    // What was set aside or changed is named one by one.
    let elsewhere = ["set_aside", "amended", "reattached"];
    let beside = report.words.iter().filter(|word| !elsewhere.contains(&word.as_str()));
    lines.extend(beside.map(|word| words.say("beside", word)));
    if !report.clock_kept {
        lines.push(words.say("page", "clock"));
    }
    for one in &report.aside {
        let value = tell::amount(words, &one.value);
        let cause = words.say("cause", &one.cause);
        let second = match &one.second {
            None => words.say("page", "no_second"),
            Some(who) => words.tell("page", "second", &[("who", who)]),
        };
        let counts = if one.counts { words.say("page", "counts") } else { String::new() };
        let values = [
            ("step", one.step.as_str()),
            ("value", &value),
            ("cause", &cause),
            ("who", &one.who),
            ("second", &second),
            ("counts", &counts),
        ];
        lines.push(words.tell("page", "aside", &values).trim().to_owned());
    }
    for one in &report.remarks {
        let text = words.say("said", &one.text);
        let values = [("step", one.step.as_str()), ("who", &one.who), ("text", &text)];
        lines.push(words.tell("remark", &one.code, &values));
    }
    if let Some(tag) = &report.tag {
        lines.push(words.say("tag", tag));
    }
    lines
}
