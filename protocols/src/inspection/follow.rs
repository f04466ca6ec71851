//! What follows from the record: verdicts that are due, steps that end, the next step.

use alloc::boxed::Box;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::Now;

use super::attach::quiet;
use super::brief::Brief;
use super::evidence;
use super::job::Job;
use super::proof::{self, Stage};
use super::record::{Record, StepRecord, StepState};
use super::run::Phase;
use super::watch::Watch;
use super::{condition, gate, weigh};
use crate::fact::{Fact, StepFact, ValueFact};
use crate::plan::{Proof, StepKind};

/// The next facts that follow. Empty when there is nothing more.
pub(super) fn follow(record: &Record, brief: &Brief, watch: &Watch, at: Now) -> Vec<Fact> {
    if record.parked || record.closed() || record.steps.is_empty() {
        return Vec::new();
    }
    let fact = asked_for(record, brief, watch, at)
        .map(Fact::Value)
        .or_else(|| due(record, brief))
        .or_else(|| ended(record, brief).map(Fact::Step))
        .or_else(|| next(record, brief).map(Fact::Step));
    fact.into_iter().collect()
}

/// The newest reading, where the operator asked for it.
fn asked_for(record: &Record, brief: &Brief, watch: &Watch, at: Now) -> Option<ValueFact> {
    let step = record.active()?;
    let job = brief.job(&step.expanded.step).filter(|job| job.by_operator())?;
    let known = condition::known(record, job).ok()?;
    let channel = watch.seen(&job.meter)?;
    let known = if job.tested.is_some() { Some(channel.voltage(job)?) } else { known };
    let guard = condition::operator_guard_us(brief, job);
    let fact = channel.answer(job, quiet(record, job, step.at), guard, at)?;
    Some(condition::stamped(fact, job, known))
}

fn due(record: &Record, brief: &Brief) -> Option<Fact> {
    let steps = brief.plan.steps.iter().filter(|step| record.due.contains(&step.id));
    let verdict = |step| weigh::verdict(record, brief, step);
    steps.filter_map(verdict).next().map(|verdict| Fact::Verdict(Box::new(verdict)))
}

fn ended(record: &Record, brief: &Brief) -> Option<StepFact> {
    let step = record.active()?;
    if finished(record, brief, step) {
        return Some(fact(step, "done", None));
    }
    // A gate can close while its step waits to be energised: a value was set aside, a day began.
    let why = closed(record, brief, step).filter(|_| record.run.phase != Phase::Live)?;
    Some(fact(step, "closed", Some(why)))
}

/// Everything that a step asks for is there, and nothing is energised any more.
pub(super) fn finished(record: &Record, brief: &Brief, step: &StepRecord) -> bool {
    match brief.kind(&step.expanded) {
        StepKind::Measure => match brief.job(&step.expanded.step) {
            Some(job) if job.live() => finished_live(record, brief, job, step),
            Some(job) if job.tested.is_some() => finished_tested(record, job, step),
            Some(job) => match record.captured(step) {
                Some(value) => {
                    job.typed
                        || !job.prove.contains(&Proof::ClosedPath)
                        || joined(record, value.seq, job)
                }
                None => false,
            },
            None => false,
        },
        StepKind::Compute => false,
        StepKind::Look | StepKind::Try | StepKind::Ask => {
            let answered = |item: &String| answered(record, step, item);
            brief.items(&step.expanded).iter().all(answered)
        }
    }
}

/// An item has its answer.
pub(super) fn answered(record: &Record, step: &StepRecord, item: &str) -> bool {
    record.answers.iter().any(|line| line.fact.step == step.expanded.step && line.fact.item == item)
}

/// The clips were joined after a line, and what they read then is stored.
pub(super) fn joined(record: &Record, since: u64, job: &Job) -> bool {
    proof::proofs(record, "closed_path", since)
        .any(|line| line.fact.step.as_deref() == Some(&job.step))
}

/// The clips were joined since the step began, and the instrument was watched since.
pub(super) fn joined_now(record: &Record, brief: &Brief, job: &Job, step: &StepRecord) -> bool {
    let link = brief.link_of(&job.meter).map(|link| link.link.as_str());
    proof::proofs(record, "closed_path", step.since)
        .filter(|line| line.fact.step.as_deref() == Some(&job.step))
        .any(|line| !record.relinked(link, line.seq, u64::MAX))
}

fn finished_live(record: &Record, brief: &Brief, job: &Job, step: &StepRecord) -> bool {
    let Some(value) = record.captured(step) else { return false };
    let dead = record.run.phase == Phase::Connected && value.seq < record.run.dead;
    if proof::provable(brief, job) && proof::laid_anew(record, value.seq) {
        // Its path can't be shown any more: it is measured again.
        return false;
    }
    dead && proof::stage(record, brief, job) == Stage::Ready
}

/// The voltage is gone, and the clips were joined once more since.
fn finished_tested(record: &Record, job: &Job, step: &StepRecord) -> bool {
    off_again(record, step) && (job.typed || joined(record, record.run.dead, job))
}

/// A value was captured under a test voltage, and that is off.
pub(super) fn off_again(record: &Record, step: &StepRecord) -> bool {
    let value = record.captured(step);
    record.run.phase != Phase::Live && value.is_some_and(|value| value.seq < record.run.dead)
}

fn next(record: &Record, brief: &Brief) -> Option<StepFact> {
    if record.active().is_some() || record.run.phase == Phase::Live {
        return None;
    }
    record.steps.iter().find_map(|step| turn(record, brief, step))
}

/// What becomes of a step when its turn comes; `None`: it is not its turn.
fn turn(record: &Record, brief: &Brief, step: &StepRecord) -> Option<StepFact> {
    let closed = closed(record, brief, step);
    match (step.state, closed) {
        (StepState::Waiting, None) => Some(fact(step, "active", None)),
        (StepState::Waiting, Some(why)) => Some(fact(step, "closed", Some(why))),
        (StepState::Closed, None) if step.reason.as_deref() == Some("gate_closed") => {
            Some(fact(step, "active", None))
        }
        _ => None,
    }
}

/// Why a step can't start.
pub(super) fn closed(record: &Record, brief: &Brief, step: &StepRecord) -> Option<&'static str> {
    let planned = brief.step(&step.expanded.of)?;
    if planned.kind == StepKind::Compute {
        return Some("method_not_valid");
    }
    let job = brief.job(&step.expanded.step);
    if let Some(why) = job.and_then(|job| job.closed) {
        return Some(why);
    }
    if job.is_some_and(|job| job.lapsed) && brief.policy.out_of_calibration != "override" {
        return Some("out_of_calibration");
    }
    if !gate::before(record, brief, planned).open() {
        return Some("gate_closed");
    }
    None
}

fn fact(step: &StepRecord, state: &str, reason: Option<&str>) -> StepFact {
    StepFact {
        step: step.expanded.step.clone(),
        state: state.to_string(),
        reason: reason.map(ToString::to_string),
    }
}

/// The supply was checked today, for what comes next.
pub(super) fn supply_checked(record: &Record) -> bool {
    proof::proofs(record, "supply", record.day_began.saturating_sub(1))
        .filter(|line| line.fact.why.as_deref() != Some(evidence::ENTER_AGAIN))
        .last()
        .is_some_and(|line| line.fact.ok)
}
