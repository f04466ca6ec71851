//! The isolated source of a step: on, and at mains voltage, before each value that it drives.
//!
//! Off it reads as the best insulation does. The meter lies at the network and can't tell, so the
//! source's own voltmeter is read while it is on, with hands clear.

use alloc::string::ToString;
use alloc::vec::Vec;

use tapline_drivers::{Prefix, Quantity, Unit};

use super::acts::RATED_PERMILLE;
use super::command::{Desk, Refusal};
use super::entered::Entry;
use super::evidence::{ENTER_AGAIN, last_act, next_act};
use super::record::{Line, Record};
use super::{condition, proof, scale};
use crate::fact::{Fact, ProveFact, ValueFact};
use crate::plan::Needs;
use crate::register::Known;

/// The check that the source is on for the step that is worked on; `None` where the newest says
/// otherwise.
pub(super) fn now<'a>(record: &'a Record, step: &str) -> Option<&'a Line<ProveFact>> {
    newest(record, step, last_act(record, "clear", u64::MAX), u64::MAX)
}

/// The check that a value rests on: before it, since hands were clear, and none since that says
/// otherwise.
pub(super) fn of_value<'a>(
    record: &'a Record,
    value: &Line<ValueFact>,
) -> Option<&'a Line<ProveFact>> {
    let step = &value.fact.step;
    let from = last_act(record, "clear", value.seq);
    let to = ["clear", "connected", "dead"].map(|act| next_act(record, act, value.seq));
    let end = to.into_iter().min().unwrap_or(u64::MAX);
    let before = newest(record, step, from, value.seq)?;
    let since = last(record, step, value.seq, end);
    since.is_none_or(|line| line.fact.ok).then_some(before)
}

fn newest<'a>(record: &'a Record, step: &str, from: u64, to: u64) -> Option<&'a Line<ProveFact>> {
    last(record, step, from, to).filter(|line| line.fact.ok)
}

fn last<'a>(record: &'a Record, step: &str, from: u64, to: u64) -> Option<&'a Line<ProveFact>> {
    let counts = |line: &&Line<ProveFact>| {
        let of = line.fact.step.as_deref() == Some(step);
        of && line.seq < to && line.fact.why.as_deref() != Some(ENTER_AGAIN)
    };
    proof::proofs(record, "source", from).filter(counts).last()
}

/// The voltage that a check of the supply or of the source found.
pub(super) fn volts(fact: &ProveFact) -> Option<&str> {
    fact.ln.as_deref().or(fact.value.as_deref())
}

/// What the source's own voltmeter shows, typed twice while it is on.
pub(super) fn prove(desk: Desk<'_>, volts: Option<&str>) -> Result<Vec<Fact>, Refusal> {
    desk.seen(None)?;
    let step = desk.active()?;
    let job = desk.brief.job(&step.expanded.step).filter(|job| job.source);
    let job = job.ok_or(Refusal::new("conflict", "refusal.no_source_step"))?;
    if !desk.record.run.live_and_watched() || !condition::energised(desk.record, job) {
        return Err(Refusal::new("conflict", "refusal.not_live"));
    }
    let Some(volts) = volts else {
        return Err(Refusal::new("bad_input", "refusal.one_voltage"));
    };
    let size = scale::volts(volts).filter(|size| *size >= 0);
    let size = size.ok_or_else(|| Refusal::new("bad_input", "refusal.no_voltage").with(volts))?;
    let last = proof::proofs(desk.record, "source", desk.record.run.live).last();
    let entry = Entry::after(last, desk.by, |fact| fact.value.as_deref() == Some(volts));
    let why = entry.why(|| (!fits(desk, size)).then_some("source_not_shown"));
    Ok(Vec::from([Fact::Prove(ProveFact {
        what: "source".into(),
        step: Some(job.step.clone()),
        value: Some(volts.to_string()),
        unit: Some(Unit { prefix: Prefix::One, quantity: Quantity::Volt }),
        known: Some(Known::Declared),
        typed: true,
        differs: entry == Entry::Differs,
        ok: why.is_none(),
        why: why.map(ToString::to_string),
        ..ProveFact::default()
    })]))
}

/// Within a tenth of the rated voltage, or of 110 % of it where the step asks for that.
fn fits(desk: Desk<'_>, size: i128) -> bool {
    let rated = desk.brief.asset.rated_volts.as_deref().and_then(scale::volts);
    let active = desk.record.active().and_then(|step| desk.brief.step(&step.expanded.of));
    let at_110 = |needs: &Needs| needs.mains.as_deref() == Some("at_110_percent");
    let percent = match active.and_then(|step| step.needs.as_ref()).is_some_and(at_110) {
        true => 110,
        false => 100,
    };
    let wanted = rated.and_then(|rated| rated.checked_mul(percent)).map(|rated| rated / 100);
    wanted.is_some_and(|wanted| scale::within_permille(size, wanted, RATED_PERMILLE))
}
