//! Parts of a summary in words, for pages and HTML alike.

use super::data::{Missing, Part, Share, Summary};
use crate::words::{Words, offset};

/// Places that are told one by one; what lies beyond is one line.
pub(super) const PLACES_MAX: usize = 24;

/// Operators that are told one by one.
pub(super) const PEOPLE_MAX: usize = 40;

/// Of what is missing so much is on paper: some five pages.
pub const MISSING_MAX: usize = 250;

/// `2026-11`, `2026-W48`, `2026-11-27` as the reader writes them.
pub(super) fn period(words: &Words, summary: &Summary) -> String {
    match summary.kind.as_str() {
        "month" => words.month(&summary.period),
        "week" => {
            let (year, week) = summary.period.split_once("-W").unwrap_or((&summary.period, ""));
            words.tell("summary", "week", &[("year", year), ("week", week)])
        }
        _ => words.day(&summary.period),
    }
}

/// From when to when; nothing of a single day.
pub(super) fn days(words: &Words, summary: &Summary) -> String {
    if summary.first == summary.last {
        return String::new();
    }
    let (first, last) = (words.day(&summary.first), words.day(&summary.last));
    words.tell("summary", "days", &[("first", &first), ("last", &last)])
}

/// When it was counted, and whether it is over.
pub(super) fn state(words: &Words, summary: &Summary) -> String {
    let at = summary.counted.map(|at| format!("{} {}", words.moment(at), offset(at)));
    let counted = words.tell("summary", "counted", &[("at", &at.unwrap_or_default())]);
    let grace = match summary.grace {
        0 => String::new(),
        days => words.tell("summary", "grace", &[("days", &days.to_string())]),
    };
    let open = if summary.open { words.say("summary", "open") } else { String::new() };
    [open, counted, grace].join(" ").trim().to_owned()
}

/// `87.5 %`, or a dash where there is nothing to count.
pub(super) fn percent(words: &Words, share: Share) -> String {
    match share.percent() {
        None => "–".into(),
        Some(percent) => format!("{}\u{a0}%", words.number(&percent)),
    }
}

/// `35 / 40`.
pub(super) fn of_all(share: Share) -> String {
    format!("{} / {}", share.of, share.all)
}

/// Each number: its name, what it means, what it is, and of how many.
pub(super) fn numbers(words: &Words, summary: &Summary) -> Vec<[String; 4]> {
    let named = |code: &str| [words.say("number", code), words.say("number_means", code)];
    let row = |code: &str, share: Share| {
        let [name, means] = named(code);
        [name, means, percent(words, share), of_all(share)]
    };
    let mut rows: Vec<[String; 4]> =
        summary.shares.iter().map(|(code, share)| row(code, *share)).collect();
    let overdue = Part::sum(String::new(), summary.risks.iter()).overdue;
    rows.push(row("overdue", overdue));
    let minutes = &summary.minutes;
    let at =
        |text: &Option<String>| text.as_deref().map_or("–".into(), |text| words.number(text));
    let [name, means] = named("minutes");
    let values = [("median", &*at(&minutes.median)), ("p90", &*at(&minutes.p90))];
    let shown = words.tell("summary", "minutes", &values);
    rows.push([name, means, shown, minutes.inspections.to_string()]);
    rows
}

/// Places with what they are called, the last line for those that are not told.
pub(super) fn places(words: &Words, summary: &Summary) -> Vec<Part> {
    let named = |part: &Part| match part.name.as_str() {
        "" => Part { name: words.say("summary", "no_place"), ..part.clone() },
        _ => part.clone(),
    };
    let told = summary.places.len().min(PLACES_MAX);
    let (told, rest) = summary.places.split_at(told);
    let mut parts: Vec<Part> = told.iter().map(named).collect();
    if !rest.is_empty() {
        let name = words.tell("summary", "places_more", &[("n", &rest.len().to_string())]);
        parts.push(Part::sum(name, rest.iter()));
    }
    parts
}

/// Risks with what they are called.
pub(super) fn risks(words: &Words, summary: &Summary) -> Vec<Part> {
    let named = |part: &Part| Part { name: risk(words, &part.name), ..part.clone() };
    summary.risks.iter().map(named).collect()
}

fn risk(words: &Words, code: &str) -> String {
    words.say("risk", if code.is_empty() { "unknown" } else { code })
}

/// A line for each of those who set something aside.
pub(super) fn set_aside(words: &Words, summary: &Summary) -> Vec<[String; 3]> {
    let row = |name: String, values: u64, kept: u64| [name, values.to_string(), kept.to_string()];
    let told = summary.set_aside.len().min(PEOPLE_MAX);
    let (told, rest) = summary.set_aside.split_at(told);
    let mut rows: Vec<[String; 3]> = Vec::new();
    for one in told {
        let by = if one.by.is_empty() { words.say("summary", "nobody") } else { one.by.clone() };
        rows.push(row(by, one.values, one.in_force));
    }
    if !rest.is_empty() {
        let name = words.tell("summary", "people_more", &[("n", &rest.len().to_string())]);
        let sum = |of: fn(&super::Aside) -> u64| rest.iter().map(of).sum();
        rows.push(row(name, sum(|one| one.values), sum(|one| one.in_force)));
    }
    rows
}

/// What became of an asset that was due: nothing, or what came of looking for it.
pub(super) fn since(words: &Words, one: &Missing) -> String {
    let late = one.late.as_ref();
    let late = late.map(|day| words.tell("summary", "late", &[("day", &words.day(day))]));
    let visit = one.visit.as_ref().map(|code| words.say("ended", code));
    late.into_iter().chain(visit).collect::<Vec<_>>().join("; ")
}

/// How many are missing, in a sentence.
pub(super) fn missing(words: &Words, summary: &Summary) -> String {
    let due = summary.places.iter().map(|part| part.on_time.all).sum();
    match (summary.missing_all, due) {
        (0, 0) => words.say("summary", "nothing_due"),
        (0, _) => words.say("summary", "missing_none"),
        (n, _) => words.tell("summary", "missing", &[("n", &n.to_string())]),
    }
}

/// How many are missing that no line tells of.
pub(super) fn missing_more(words: &Words, summary: &Summary) -> Option<String> {
    let told = summary.missing.len().min(MISSING_MAX) as u64;
    let more = summary.missing_all.saturating_sub(told);
    let values = [("n", &*more.to_string()), ("period", &*summary.period)];
    (more > 0).then(|| words.tell("summary", "missing_more", &values))
}

/// What it rests on.
pub(super) fn says(words: &Words, summary: &Summary) -> Vec<String> {
    let mut lines = Vec::new();
    if summary.damaged > 0 {
        let n = summary.damaged.to_string();
        lines.push(words.tell("summary", "damaged", &[("n", &n)]));
    }
    lines.push(words.say("summary", "says"));
    lines.push(words.tell("summary", "program", &[("program", &summary.program)]));
    lines
}
