//! What a verdict may be compared by, and whether it is worse than the one before it.

use alloc::collections::BTreeSet;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::Unit;

use super::brief::Brief;
use super::record::Record;
use crate::doubt::trend::{Like, worse_than_before};
use crate::exact::Ratio;
use crate::fact::{Earlier, Judged, Word};
use crate::limits::{Direction, Row};
use crate::plan::{Contact, Expanded, Step, cord_word};
use crate::register::Asset;

/// Everything in which two values must agree. A verdict is the worst of the values it rests on:
/// those of the same points and conditions. `steps`: the expanded steps of these values.
#[must_use]
pub fn like(
    judged: &Judged,
    planned: Option<&Step>,
    steps: &[&Expanded],
    row: Option<&Row>,
    asset: &Asset,
) -> Like {
    let points = |one: &Expanded| [&one.part, &one.point].into_iter().flatten().cloned().collect();
    let meters =
        |one: &Expanded| [&one.instrument, &one.leads].into_iter().flatten().cloned().collect();
    Like {
        measurand: judged.measurand.clone().unwrap_or_default(),
        method: judged.method.clone().unwrap_or_default(),
        condition: joined(steps, condition),
        kind: row.map(|row| row.kind.join("+")).unwrap_or_default(),
        point: joined(steps, points),
        cord: cord(asset),
        contact: planned.and_then(|step| step.contact).map(contact_word).unwrap_or_default().into(),
        setup: joined(steps, meters),
        reference: 0,
    }
}

/// `S5=normal S7=open standby`.
fn condition(one: &Expanded) -> Vec<String> {
    let set = one.set.iter().map(|(switch, at)| alloc::format!("{}={at}", switch.name()));
    let words: Vec<String> = set.chain(one.state.clone()).collect();
    if words.is_empty() { words } else { alloc::vec![words.join(" ")] }
}

fn joined(steps: &[&Expanded], of: impl Fn(&Expanded) -> Vec<String>) -> String {
    let all: BTreeSet<String> = steps.iter().flat_map(|one| of(one)).collect();
    all.into_iter().collect::<Vec<_>>().join(", ")
}

/// Its mains connection, with the cords that are kept with it and their length.
fn cord(asset: &Asset) -> String {
    let mut words = alloc::vec![cord_word(asset.cord).to_string()];
    words.extend(asset.cords.iter().cloned());
    words.extend(asset.cord_metres.iter().map(|metres| alloc::format!("{metres} m")));
    words.join(", ")
}

fn contact_word(contact: Contact) -> &'static str {
    match contact {
        Contact::ClipOnMetal => "clip_on_metal",
        Contact::Plug => "plug",
        Contact::Foil => "foil",
        Contact::Saline => "saline",
        Contact::Joined => "joined",
    }
}

/// What stands beside a pass: that it is worse than the newest like value of an earlier inspection
/// by more than both expanded uncertainties; that it is near its limit and nothing earlier is
/// there to compare it with (IEC 62353, from memory: then a shorter interval is considered). Words
/// change no verdict, and equality is no flag. A value from paper is never measured against: of
/// its likeness and of its doubt too little is known.
pub(super) fn compared(record: &Record, brief: &Brief, step: &Step, mut judged: Judged) -> Judged {
    let passes = matches!(judged.verdict, Word::Pass | Word::ConditionalPass);
    let Some(own) = own(record, brief, step, &judged).filter(|_| passes) else { return judged };
    if worse(brief, &judged, &own) == Some(true) {
        judged.reasons.push("worse_than_before".to_string());
    }
    let near = judged.reasons.iter().any(|reason| reason == "near_limit");
    if near && brief.policy.doubt >= 5 && !known_before(brief, &own) {
        judged.reasons.push("nothing_earlier".to_string());
    }
    let stands = |word: &&str| judged.reasons.iter().any(|reason| reason == word);
    let words: Vec<&str> = crate::terms::choices("reason").into_iter().filter(stands).collect();
    judged.reasons = words.into_iter().map(ToString::to_string).collect();
    judged
}

/// What the verdict may be compared by.
fn own(record: &Record, brief: &Brief, step: &Step, judged: &Judged) -> Option<Like> {
    let of = |seq: &u64| record.values.iter().find(|value| value.line.seq == *seq);
    let named = judged.from.iter().filter_map(of).map(|value| &value.line.fact.step);
    let steps = named.filter_map(|name| record.step_named(name)).map(|one| &one.expanded);
    let steps: Vec<&Expanded> = steps.collect();
    let row = brief.limits.row(&judged.limit.as_ref()?.id);
    Some(like(judged, Some(step), &steps, row, &brief.asset))
}

fn known_before(brief: &Brief, own: &Like) -> bool {
    brief.earlier.iter().any(|one| one.like == *own)
        || brief.former.iter().any(|one| one.may_be(own))
}

fn worse(brief: &Brief, judged: &Judged, own: &Like) -> Option<bool> {
    let limit = judged.limit.as_ref()?;
    let earlier = brief.earlier.iter().find(|one| one.like == *own)?;
    let unit = judged.unit?;
    let now = sized((judged.value.as_ref()?, &judged.uncertainty.as_ref()?.expanded), unit, unit)?;
    let before = sized((&earlier.value, &earlier.expanded), earlier.unit, unit)?;
    let direction = match limit.direction.as_str() {
        "max" => Direction::Max,
        _ => Direction::Min,
    };
    // A bound is no number to compare.
    judged.indication.is_none().then(|| worse_than_before(now, before, direction).ok()).flatten()
}

fn sized((value, doubt): (&String, &String), from: Unit, to: Unit) -> Option<(Ratio, Ratio)> {
    let up = i32::from(from.prefix.exponent()) - i32::from(to.prefix.exponent());
    let ratio = |text: &str| Ratio::parse(text)?.shifted(up).ok();
    let pair = (ratio(value)?, ratio(doubt)?);
    (from.quantity == to.quantity).then_some(pair)
}

impl Earlier {
    /// What a later verdict is compared with; `None` for one that says nothing: undecided, a
    /// bound, or without an uncertainty.
    #[must_use]
    pub fn of(like: Like, judged: &Judged, book: &str) -> Option<Earlier> {
        let says = judged.verdict != Word::Undecided && judged.indication.is_none();
        Some(Earlier {
            like,
            value: judged.value.clone().filter(|_| says)?,
            expanded: judged.uncertainty.as_ref()?.expanded.clone(),
            unit: judged.unit?,
            book: book.to_string(),
        })
    }
}
