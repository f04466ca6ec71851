//! The temperature of an asset while its insulation is measured: typed twice, with what it was
//! read from, where the plan judges at another temperature.

use alloc::string::ToString;
use alloc::vec::Vec;

use tapline_drivers::{Now, Number};

use super::command::{Desk, Refusal, said};
use super::entered::Entry;
use super::evidence::ENTER_AGAIN;
use super::proof;
use super::record::{Line, Record};
use super::weigh::MAINS_AGE_MAX_US;
use crate::fact::{Fact, ProveFact, ValueFact};
use crate::plan::{Correct, Step};
use crate::register::Known;
use crate::temperature::{Temperature, is_believed};

/// What a check of the temperature is called.
const WHAT: &str = "temperature";

/// The temperatures that the values of a step are corrected by: the lowest that the asset had for
/// one of them, at which an insulation shows best.
pub(super) fn of_values(
    record: &Record,
    step: &Step,
    lines: &[&Line<ValueFact>],
) -> Option<Temperature> {
    let reference = Number::parse(step.celsius.as_ref().filter(|_| asked(step))?)?;
    let checks: Option<Vec<_>> =
        lines.iter().map(|line| newest(record, (line.seq, line.at))).collect();
    let of = |line: &Line<ProveFact>| {
        let measured = Number::parse(line.fact.value.as_ref()?)?;
        Some(Temperature { measured, reference, seq: Some(line.seq) })
    };
    let all: Option<Vec<Temperature>> = checks?.into_iter().map(of).collect();
    all?.into_iter().reduce(colder)
}

/// A value of this line and moment has its temperature; `u64::MAX` stands for one to come.
pub(super) fn is_known(record: &Record, value: (u64, Now)) -> bool {
    newest(record, value).is_some()
}

/// The plan judges the step at another temperature.
pub(super) fn asked(step: &Step) -> bool {
    step.correct.contains(&Correct::Temperature)
}

/// The newest check before a moment that holds, not older than ten minutes.
fn newest(record: &Record, (seq, at): (u64, Now)) -> Option<&Line<ProveFact>> {
    let entered =
        |line: &&Line<ProveFact>| line.seq < seq && line.fact.why.as_deref() != Some(ENTER_AGAIN);
    let last = proof::proofs(record, WHAT, 0).filter(entered).last()?;
    let young = at.0.saturating_sub(last.at.0) <= MAINS_AGE_MAX_US;
    (last.fact.ok && young && record.same_boot(last.seq, seq)).then_some(last)
}

fn colder(one: Temperature, other: Temperature) -> Temperature {
    let warmer = one.factor().and_then(|a| other.factor().and_then(|b| a.compare(b)));
    if warmer.is_ok_and(core::cmp::Ordering::is_gt) { other } else { one }
}

/// Typed twice, with what it was read from: the first entry is no check yet.
pub(super) fn prove(desk: Desk<'_>, celsius: &str, source: &str) -> Result<Vec<Fact>, Refusal> {
    desk.seen(None)?;
    let step = desk.active()?;
    let planned = desk.brief.step(&step.expanded.of).filter(|step| asked(step));
    planned.ok_or(Refusal::new("conflict", "refusal.no_temperature_step"))?;
    let wrong = || Refusal::new("bad_input", "refusal.no_celsius").with(celsius);
    Number::parse(celsius).filter(|number| is_believed(*number)).ok_or_else(wrong)?;
    let source = said(source)?;
    let last = proof::proofs(desk.record, WHAT, 0).last();
    let is_same = |fact: &ProveFact| {
        fact.value.as_deref() == Some(celsius) && fact.how.as_ref() == Some(&source)
    };
    let entry = Entry::after(last, desk.by, is_same);
    let why = entry.why(|| None);
    Ok(Vec::from([Fact::Prove(ProveFact {
        what: WHAT.to_string(),
        step: Some(step.expanded.step.clone()),
        value: Some(celsius.to_string()),
        how: Some(source.clone()),
        known: Some(Known::Declared),
        typed: true,
        differs: entry == Entry::Differs,
        ok: why.is_none(),
        why: why.map(ToString::to_string),
        ..ProveFact::default()
    })]))
}
