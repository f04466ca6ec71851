//! What earlier inspections of the asset say: histories, and the day on which it is due next.

use tapline_drivers::Unit;
use tapline_paper::report::{History, Next, Outcome, Report};
use tapline_paper::seal;
use tapline_protocols::due::{Counting, Day, Every};
use tapline_protocols::fact::{Judged, Word};
use tapline_protocols::register::Former;

use super::book::Book;
use crate::past::Past;
use crate::past::course::{Course, done};
use crate::past::history::{Group, Of, groups};

/// Like for like values up to this inspection, where there are two and more.
pub(super) fn history(report: &mut Report, book: &Book, pasts: &[Past]) {
    let all = groups(pasts.iter().map(Past::values));
    for group in &mut report.groups {
        let verdict = book.verdicts.iter().find(|one| one.fact.step == group.step);
        let Some(judged) = verdict.map(|one| &one.fact.judged) else { continue };
        let ends_here = |group: &&Group<'_>| {
            group.values.last().is_some_and(|(id, _, last)| *id == report.id && **last == *judged)
        };
        if let Some(found) = all.iter().find(ends_here) {
            group.history = told(found, judged, &book.former).unwrap_or_default();
        }
    }
}

fn told(group: &Group<'_>, judged: &Judged, former: &[Former]) -> Option<History> {
    let limit = judged.limit.as_ref()?;
    let point = |(_, day, judged): &Of<'_>| {
        let says = judged.verdict != Word::Undecided && judged.indication.is_none();
        let value = number(judged.value.as_deref().filter(|_| says)?)?;
        Some((day.text(), day.number(), scaled(value, judged.unit?, limit.unit)?))
    };
    let from_paper = |one: &&Former| one.bound.is_none() && one.may_be(&group.like);
    let noted = |one: &Former| {
        let day = Day::parse(&one.day)?;
        let value = number(&one.value.number.text())?;
        Some((day.text(), day.number(), scaled(value, one.value.unit, limit.unit)?))
    };
    Some(History {
        paper: former.iter().filter(from_paper).filter_map(noted).collect(),
        points: group.values.iter().filter_map(point).collect(),
        limit: scaled(number(&limit.value)?, limit.unit, limit.unit)?,
        unit: limit.unit.ucum().into(),
        of: String::new(),
    })
}

/// A decimal or a fraction, for the eye alone.
fn number(text: &str) -> Option<f64> {
    match text.split_once('/') {
        None => text.parse().ok(),
        Some((above, below)) => Some(above.parse::<f64>().ok()? / below.parse::<f64>().ok()?),
    }
}

fn scaled(value: f64, from: Unit, to: Unit) -> Option<f32> {
    let up = i32::from(from.prefix.exponent()) - i32::from(to.prefix.exponent());
    #[expect(clippy::cast_possible_truncation, reason = "a place in a drawing")]
    let place = (value.abs() * 10_f64.powi(up)) as f32;
    (from.quantity == to.quantity).then_some(place)
}

/// When it is due next, as its inspections so far move the date.
pub(super) fn next(outcome: &Outcome, book: &Book, counting: Counting, pasts: &[Past]) -> Next {
    let without = |why: &str| Next { day: None, why: why.into() };
    let (Outcome::Signed(word), Some(asset)) = (outcome, &book.asset) else {
        return without("unsigned");
    };
    if !matches!(word, seal::Word::Pass | seal::Word::ConditionalPass) {
        return without("not_passed");
    }
    if pasts.is_empty() {
        return without("alone");
    }
    let (mut course, mut before) = (Course::default(), None);
    for past in pasts {
        course.register(past.asset.due.as_deref().and_then(Day::parse));
        before = course.due;
        let Some((_, outcome)) = past.signed else { continue };
        let done = done(past.day, &past.reason, past.by_its_plan, outcome);
        let every = past.asset.interval.as_deref().and_then(Every::parse);
        course.inspect(every, counting, &done);
    }
    match course.due {
        None => without("no_interval"),
        Some(day) if asset.interval.is_none() || Some(day) == before => {
            Next { day: Some(day.text()), why: "not_moved".into() }
        }
        Some(day) => Next { day: Some(day.text()), why: String::new() },
    }
}
