//! What the meter of a live step reads as dc: kept, as it says how much of a leakage is direct.
//!
//! Nobody has to look. Whoever turns the meter to dc while the asset is energised, in the condition
//! of a value, takes the scaling of that value away where more than a tenth is direct. It counts
//! for all values of the expanded step, and the largest that was ever read of it: a share that was
//! seen once is not undone by measuring again.

use alloc::string::ToString;

use tapline_drivers::{Function, Now, Number};

use super::attach::quiet;
use super::brief::Brief;
use super::job::{self, Job};
use super::null::SLOW_GUARD_US;
use super::proof::proofs;
use super::record::{Line, Record};
use super::sample::{Sample, Says};
use super::scale;
use crate::amount::Amount;
use crate::fact::{ProveFact, ValueFact};
use crate::judge::Share;
use crate::plan::Correct;

/// The word of its lines.
const WHAT: &str = "direct";

/// A meter that was turned to dc.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct DirectRun {
    step: Option<alloc::string::String>,
    /// First reading in a row.
    since: Now,
    /// The newest one after the guard.
    before: Option<Sample>,
}

/// A reading of this function says how much of what a job measures is direct.
pub(super) fn shares(brief: &Brief, job: &Job, function: Function) -> bool {
    let step = brief.step(&job.of);
    let scaled = step.is_some_and(|step| step.correct.contains(&Correct::MainsScaling));
    let direct = match job.function {
        Function::VoltageAc => Some(Function::VoltageDc),
        Function::CurrentAc => Some(Function::CurrentDc),
        _ => None,
    };
    brief.policy.doubt >= 4 && job.live() && scaled && direct == Some(function)
}

impl DirectRun {
    /// Takes a reading while the asset is energised in the condition of the job: why it is not
    /// used, or the fact that it gives. `alone`: the reading before was of another function.
    pub(super) fn take(
        &mut self,
        (record, brief, job): (&Record, &Brief, &Job),
        (function, step_at): (Function, Now),
        (sample, alone): (Sample, bool),
    ) -> Result<Option<ProveFact>, &'static str> {
        if alone || self.step.as_ref() != Some(&job.step) {
            *self = DirectRun { step: Some(job.step.clone()), since: sample.at, before: None };
        }
        if sample.relative {
            self.before = None;
            return Err("wrong_function");
        }
        let guard = job::guard_us(brief, &job.meter, function).unwrap_or(SLOW_GUARD_US);
        let since = self.since.max(quiet(record, job, step_at));
        if sample.at.0 < since.0.saturating_add(guard) {
            self.before = None;
            return Err("guard");
        }
        // What one alone says may be a flipped bit.
        let before = self.before.replace(sample);
        Ok(before.and_then(|before| fact(record, job, before, sample)))
    }
}

/// The larger of two readings in a row, where it is more than what was kept.
fn fact(record: &Record, job: &Job, before: Sample, sample: Sample) -> Option<ProveFact> {
    let larger = before.larger(sample);
    let kept = largest(record, &job.step).map(|line| size(&line.fact));
    if kept.is_some_and(|kept| larger.size <= kept) {
        return None;
    }
    let how = match larger.says {
        Says::Value => None,
        Says::Below => Some("below"),
        Says::Above => Some("above"),
        Says::Overload => Some("overload"),
    };
    Some(ProveFact {
        what: WHAT.to_string(),
        step: Some(job.step.clone()),
        set: job.set.clone(),
        value: (larger.says != Says::Overload).then(|| larger.number.text()),
        unit: Some(larger.unit),
        how: how.map(ToString::to_string),
        ok: true,
        from: alloc::vec![before.id, sample.id],
        ..ProveFact::default()
    })
}

/// What was read as dc of what a value was captured from.
pub(super) fn of_value(record: &Record, value: &ValueFact) -> Option<Share> {
    let line = largest(record, &value.step)?;
    // A bound from below may be any size.
    let bounded = matches!(line.fact.how.as_deref(), Some("above" | "overload"));
    let amount =
        amount(&line.fact).filter(|amount| !bounded && amount.unit.quantity == value.unit.quantity);
    Some(Share { amount, seq: Some(line.seq) })
}

fn largest<'a>(record: &'a Record, step: &str) -> Option<&'a Line<ProveFact>> {
    let of = |line: &&Line<ProveFact>| line.fact.step.as_deref() == Some(step);
    proofs(record, WHAT, 0).filter(of).max_by_key(|line| size(&line.fact))
}

fn size(fact: &ProveFact) -> i128 {
    amount(fact).map_or(i128::MAX, |amount| scale::magnitude(amount.number, amount.unit))
}

fn amount(fact: &ProveFact) -> Option<Amount> {
    let number = Number::parse(fact.value.as_deref()?)?;
    Some(Amount { number, unit: fact.unit? })
}
