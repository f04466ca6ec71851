//! What the steps of a plan mean together: contradictions, gaps, limits that are missing or
//! double. Shape and words were checked when the plan was read.

mod demand;
mod limit;
mod step;

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use super::model::{Hazard, Method, Plan, Step, StepKind};
use crate::fault::Fault;
use crate::limits::Table;
use crate::read::Lines;
use crate::register::Class;

pub(crate) use demand::of_iec_60990;
pub use limit::{Reached, reached};

/// Checks a plan against itself and against tables of limits.
///
/// `lines` says where its fields stand ([`super::read`]); without them faults have line 0. An
/// empty answer means that every step can be reached, can be captured and has one limit for
/// every asset that the plan is for.
#[must_use]
pub fn check(plan: &Plan, lines: &Lines, tables: &[Table]) -> Vec<Fault> {
    let mut findings = Findings { lines, faults: Vec::new() };
    for (at, step) in plan.steps.iter().enumerate() {
        let place = format!("step.{}", step.id);
        reach(plan, step, &place, &mut findings);
        gates(&plan.steps[..at], step, &place, &mut findings);
        ungated(plan, step, &place, &mut findings);
        opens_none(plan, step, &place, &mut findings);
        match step.kind {
            StepKind::Measure => step::measured(step, &place, &mut findings),
            StepKind::Look | StepKind::Try | StepKind::Ask => {
                step::answered(step, &place, &mut findings);
            }
            StepKind::Compute => findings.add(&place, "kind", COMPUTE.into()),
        }
        if step.kind == StepKind::Measure {
            demand::met(plan, step, &place, &mut findings);
            limit::checked(plan, step, tables, &place, &mut findings);
        }
    }
    demand::edition(plan, &mut findings);
    limit::siblings(plan, tables, &mut findings);
    if plan.steps.is_empty() {
        findings.add("step", "", "a plan has at least one step".into());
    }
    findings.faults.sort();
    findings.faults.dedup();
    findings.faults
}

const COMPUTE: &str = "computed steps are not built yet: measure, or leave it out";

/// Faults on their way, with the lines they stand on.
struct Findings<'a> {
    lines: &'a Lines,
    faults: Vec<Fault>,
}

impl Findings<'_> {
    fn add(&mut self, place: &str, key: &str, text: String) {
        let field = if key.is_empty() { place.into() } else { format!("{place}.{key}") };
        self.faults.push(Fault { line: self.lines.of(&field), field, text });
    }

    fn unless(&mut self, holds: bool, place: &str, key: &str, text: &str) {
        if !holds {
            self.add(place, key, text.into());
        }
    }
}

/// Some asset that the plan is for must come to the step.
fn reach(plan: &Plan, step: &Step, place: &str, findings: &mut Findings<'_>) {
    let (all, when) = (&plan.for_assets, &step.when);
    let class = meets(&all.class, &when.class);
    let cord = meets(&all.cord, &when.cord);
    let text = "no asset that the plan is `for` ever comes to this step";
    findings.unless(class && cord, place, "when", text);
}

fn meets<T: PartialEq>(all: &[T], some: &[T]) -> bool {
    all.is_empty() || some.is_empty() || some.iter().any(|word| all.contains(word))
}

/// A gate that is asked for is proved by an earlier step.
fn gates(before: &[Step], step: &Step, place: &str, findings: &mut Findings<'_>) {
    let Some(needed) = step.needs_gate else { return };
    let proved = before.iter().any(|earlier| earlier.gate == Some(needed));
    let text = "no earlier step has this `gate`, so this one would never open";
    findings.unless(proved, place, "needs_gate", text);
}

/// Every measured path of a protective earth is part of the gate, where steps wait behind one.
fn opens_none(plan: &Plan, step: &Step, place: &str, findings: &mut Findings<'_>) {
    let waits = plan.steps.iter().any(|other| other.needs_gate.is_some());
    let earth = matches!(
        step.measurand.as_deref(),
        Some(
            "protective_earth_resistance"
                | "protective_earth_impedance"
                | "protective_conductor_resistance"
                | "ground_resistance"
        )
    );
    let text = "others wait for the protective earth: this step proves a part of it, \
                `gate = \"protective_earth\"`";
    // Cord and asset together say nothing that both have not said alone.
    let sum = matches!(&step.method, Some(Method::One(word)) if word == "cord_and_equipment");
    let free = !(waits && earth) || step.by_reason || sum;
    findings.unless(free || step.gate.is_some(), place, "gate", text);
}

/// What has a protective earth is energised behind the gate alone.
fn ungated(plan: &Plan, step: &Step, place: &str, findings: &mut Findings<'_>) {
    let lists = [&plan.for_assets.class, &step.when.class];
    let comes = |class| lists.iter().all(|list| list.is_empty() || list.contains(&class));
    let earthed = comes(Class::I) || comes(Class::System);
    let open = step.hazard == Some(Hazard::Live) && step.needs_gate.is_none();
    let text = "an energised step that class I comes to needs `needs_gate = \"protective_earth\"`";
    findings.unless(!(earthed && open), place, "needs_gate", text);
}

#[cfg(test)]
mod tests;
