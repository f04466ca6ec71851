//! What the display of a meter without a line shows: entered twice by who reads it.
//!
//! Nobody but a person has seen it: no lifted probe, no joined clips, no second reading, no word of
//! what the meter was set to. It is kept, and it can fail an asset. A pass it never gives.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::{Prefix, Unit};

use super::brief::Brief;
use super::command::{Desk, Refusal};
use super::entered::Entry;
use super::job::Job;
use super::{condition, gate, proof};
use crate::amount::Amount;
use crate::fact::{Fact, ProveFact, ValueFact};
use crate::register::Known;

/// The driver of an instrument that has no line: a person reads its display.
pub const TYPED: &str = "typed";
/// What an entry is called.
const WHAT: &str = "display";

/// What was entered.
struct Shown {
    /// `above below overload`; `None` for a value.
    bound: Option<&'static str>,
    value: Option<String>,
    unit: Unit,
}

/// What stands in the place of a link where a person reads this instrument. No link of a
/// configuration has such an id, whatever its driver is called.
#[must_use]
pub fn typed_link(instrument: &str) -> String {
    alloc::format!("{TYPED}/{instrument}")
}

/// A person reads this meter.
pub(super) fn is_typed(brief: &Brief, meter: &str) -> bool {
    let link = brief.link_of(meter);
    link.is_some_and(|link| link.driver == TYPED && link.link == typed_link(meter))
}

/// The state of the prompt, where a person reads the meter: nothing of it shows a path, a lifted
/// probe or a known current.
pub(super) fn state(word: &'static str) -> &'static str {
    match word {
        "arm" | "measure" | "join_clips" => "enter",
        "capture" => "enter_live",
        "test_current" => "dead",
        word => word,
    }
}

/// The first entry is kept as one, the same once more is a value.
pub(super) fn enter(desk: Desk<'_>, text: &str) -> Result<Vec<Fact>, Refusal> {
    desk.seen(None)?;
    desk.person()?;
    let step = desk.active()?;
    let job = desk.brief.job(&step.expanded.step).filter(|job| job.typed);
    let job = job.ok_or(Refusal::new("conflict", "refusal.no_typed_step"))?;
    let known = measurable(desk, job)?;
    let shown = read(job, text)?;
    let began = if job.runs() { desk.record.run.live } else { step.since };
    let since = desk.record.captured(step).map_or(began, |value| began.max(value.seq));
    let mine = |line: &&super::Line<ProveFact>| line.fact.step.as_ref() == Some(&job.step);
    let last = proof::proofs(desk.record, WHAT, since).filter(mine).last();
    let entry = Entry::after(last, desk.by, |fact| shown.is(fact));
    if entry == Entry::Again {
        return Ok(Vec::from([Fact::Value(value(job, shown, known))]));
    }
    Ok(Vec::from([Fact::Prove(ProveFact {
        what: WHAT.to_string(),
        step: Some(job.step.clone()),
        set: job.set.clone(),
        value: shown.value.clone(),
        unit: Some(shown.unit),
        how: shown.bound.map(ToString::to_string),
        known: Some(Known::Declared),
        typed: true,
        differs: entry == Entry::Differs,
        why: entry.why(|| None).map(ToString::to_string),
        ..ProveFact::default()
    })]))
}

/// As for a capture: energised on purpose and watched, where that is asked.
fn measurable(desk: Desk<'_>, job: &Job) -> Result<Option<Known>, Refusal> {
    let planned = desk.brief.step(&job.of);
    if planned.is_some_and(|step| !gate::before(desk.record, desk.brief, step).open()) {
        return Err(Refusal::new("gate_closed", "refusal.step_closed").with(&job.step));
    }
    let known = condition::known(desk.record, job);
    known.map_err(|_| Refusal::new("conflict", "refusal.not_live"))
}

/// `2.5 MOhm`, `> 20 GOhm`, `above 20 GOhm`, `< 1 uA`, `OL`.
fn read(job: &Job, text: &str) -> Result<Shown, Refusal> {
    let text = text.trim();
    let wrong = |why: String| Refusal::new("bad_input", "refusal.not_shown").with(why);
    let quantity = job.function.quantity();
    if text.eq_ignore_ascii_case("OL") {
        let quantity = quantity.ok_or_else(|| wrong(text.to_string()))?;
        let unit = Unit { prefix: Prefix::One, quantity };
        return Ok(Shown { bound: Some("overload"), value: None, unit });
    }
    let bounds = [(">", "above"), ("above ", "above"), ("<", "below"), ("below ", "below")];
    let bound = bounds.into_iter().find_map(|(sign, word)| Some((text.strip_prefix(sign)?, word)));
    let (rest, bound) = bound.map_or((text, None), |(rest, word)| (rest, Some(word)));
    let amount = Amount::parse(rest.trim()).map_err(wrong)?;
    if Some(amount.unit.quantity) != quantity {
        let unit = amount.unit.ucum();
        return Err(Refusal::new("wrong_unit", "refusal.other_quantity").with(unit));
    }
    Ok(Shown { bound, value: Some(amount.number.text()), unit: amount.unit })
}

impl Shown {
    fn is(&self, fact: &ProveFact) -> bool {
        fact.value == self.value
            && fact.unit == Some(self.unit)
            && fact.how.as_deref() == self.bound
    }
}

fn value(job: &Job, shown: Shown, known: Option<Known>) -> ValueFact {
    let mut words = Vec::from([TYPED.to_string()]);
    if job.lapsed {
        words.push("out_of_calibration".to_string());
    }
    let (bound, value, unit) = match (shown.value, job.range_end) {
        (Some(value), _) => (shown.bound, value, shown.unit),
        (None, Some(end)) => (Some("above"), end.number.text(), end.unit),
        (None, None) => (shown.bound, String::new(), shown.unit),
    };
    // That a test voltage was there is the person's word, as the figure is.
    let known = if job.tested.is_some() { Some(Known::Declared) } else { known };
    let fact = ValueFact {
        step: job.step.clone(),
        rule: TYPED.to_string(),
        from: Vec::new(),
        indication: bound.map(ToString::to_string),
        value,
        unit,
        scatter: None,
        set: job.set.clone(),
        operating: None,
        known: None,
        words,
    };
    condition::stamped(fact, job, known)
}
