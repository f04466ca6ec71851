//! The gate of protective earth: energised steps stay closed until it is proved.

use super::brief::Brief;
use super::record::{Record, StepRecord};
use crate::fact::Word;
use crate::plan::{Gate, Step, StepKind};
use crate::register::Class;

/// Where a gate stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum GateState {
    /// The asset has no protective earth to prove.
    NotAsked,
    /// Every step of the gate has passed, today.
    Proved,
    /// Opened by competence, today; the step of the plan is named in `override`.
    Overridden,
    /// Closed; it may be opened by competence.
    Undecided,
    /// Closed: a step of the gate has failed. There is no override.
    Failed,
}

impl GateState {
    /// Energised steps may go on.
    pub(super) fn open(self) -> bool {
        matches!(self, GateState::NotAsked | GateState::Proved | GateState::Overridden)
    }
}

/// The gate that a step waits for: the one that its plan names, and for a function test the one
/// that the plan has, since the asset is switched on for it.
pub(super) fn asked(brief: &Brief, step: &Step) -> Option<Gate> {
    let tries = step.kind == StepKind::Try && 7 <= brief.policy.proofs;
    let has = tries && gates(brief, Gate::ProtectiveEarth).next().is_some();
    step.needs_gate.or(has.then_some(Gate::ProtectiveEarth))
}

/// The gate as a step of the plan meets it.
pub(super) fn before(record: &Record, brief: &Brief, step: &Step) -> GateState {
    let Some(gate) = asked(brief, step) else { return GateState::NotAsked };
    if matches!(brief.asset.class, Class::II | Class::III | Class::Internal) {
        return GateState::NotAsked;
    }
    let state = state(record, brief, gate);
    let names = |over: &str| over == step.id || gates(brief, gate).any(|proof| proof.id == over);
    let mut today = record.overrides.iter().filter(|over| record.day_began < over.seq);
    if state == GateState::Undecided && today.any(|over| names(&over.fact.step)) {
        return GateState::Overridden;
    }
    state
}

/// Every step of the gate that the asset has was measured, or left out with a reason: what nobody
/// has tried to prove yet is not undecided, and nobody's competence stands for it.
pub(super) fn measured(record: &Record, brief: &Brief) -> bool {
    gates(brief, Gate::ProtectiveEarth).all(|step| {
        record.steps_of(&step.id).next().is_none() || record.verdicts.contains_key(&step.id)
    })
}

/// The gate by itself.
pub(super) fn state(record: &Record, brief: &Brief, gate: Gate) -> GateState {
    let mut state = GateState::Undecided;
    for step in gates(brief, gate) {
        if record.steps_of(&step.id).next().is_none() {
            continue;
        }
        let verdict = record.verdicts.get(&step.id);
        match verdict.map(|line| line.fact.judged.verdict) {
            Some(Word::Fail | Word::ConditionalFail) => return GateState::Failed,
            Some(Word::Pass | Word::ConditionalPass) if fresh(record, step) => {
                state = GateState::Proved;
            }
            _ => return worst(record, brief, gate),
        }
    }
    state
}

/// Undecided, unless a later step of the gate has failed.
fn worst(record: &Record, brief: &Brief, gate: Gate) -> GateState {
    let failed = |step: &Step| {
        let verdict = record.verdicts.get(&step.id);
        verdict.is_some_and(|line| {
            matches!(line.fact.judged.verdict, Word::Fail | Word::ConditionalFail)
        })
    };
    match gates(brief, gate).any(failed) {
        true => GateState::Failed,
        false => GateState::Undecided,
    }
}

/// Every value of it was measured today, and nothing since that has not been judged. A verdict
/// of today may rest on values of yesterday.
fn fresh(record: &Record, step: &Step) -> bool {
    let Some(verdict) = record.verdicts.get(&step.id) else { return false };
    let from = &verdict.fact.judged.from;
    let today = |one: &StepRecord| {
        let mut values = record.values_of(&one.expanded.step);
        values.any(|value| record.day_began < value.seq && from.contains(&value.seq))
    };
    !record.due.contains(&step.id) && record.steps_of(&step.id).all(today)
}

fn gates(brief: &Brief, gate: Gate) -> impl Iterator<Item = &Step> {
    brief.plan.steps.iter().filter(move |step| step.gate == Some(gate))
}
