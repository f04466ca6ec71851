//! Whether every asset that a plan is for finds one limit at each step.

use alloc::collections::BTreeSet;
use alloc::format;
use alloc::string::String;
use alloc::vec;
use alloc::vec::Vec;

use super::{Findings, demand};
use crate::limits::{Confidence, Direction, NoRow, Row, Table};
use crate::plan::axes::conditions;
use crate::plan::expand::{cord_word, kinds};
use crate::plan::limits::{LimitKey, class_word, condition, kind_word, part_word};
use crate::plan::model::{Axis, Combine, Method, Plan, Step, StepKind};
use crate::register::{Class, Cord, Kind, PartType};
use crate::terms;

/// A limit that a step can come to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reached<'a> {
    /// The step.
    pub step: &'a Step,
    /// The row.
    pub row: &'a Row,
}

impl Reached<'_> {
    /// The row was entered from memory: it decides nothing until the workshop has confirmed it.
    #[must_use]
    pub fn is_unconfirmed(&self) -> bool {
        self.row.confidence == Confidence::Memory
    }
}

/// Every limit that some asset of the plan can come to, by step, each once.
#[must_use]
pub fn reached<'a>(plan: &'a Plan, tables: &'a [Table]) -> Vec<Reached<'a>> {
    let mut found = Vec::new();
    for step in plan.steps.iter().filter(|step| step.kind == StepKind::Measure) {
        let mut seen = BTreeSet::new();
        for key in keys(plan, step) {
            if let Ok(row) = key.row(tables)
                && seen.insert(&row.id)
            {
                found.push(Reached { step, row });
            }
        }
    }
    found
}

pub(super) fn checked(
    plan: &Plan,
    step: &Step,
    tables: &[Table],
    place: &str,
    findings: &mut Findings<'_>,
) {
    for key in keys(plan, step) {
        match key.row(tables) {
            Ok(row) => {
                let worst = match row.bound.direction {
                    Direction::Max => Combine::LargestMagnitude,
                    Direction::Min => Combine::Smallest,
                };
                let fits = step.combine.is_none_or(|combine| combine == worst);
                let text = "keeps the better of several values: turn it round";
                findings.unless(fits, place, "combine", text);
                demand::plain(step, row, place, findings);
            }
            Err(NoRow::Many { ids }) => {
                findings.add(place, "", format!("two limits for {key}: {}", ids.join(", ")));
            }
            // Said of the term itself.
            Err(NoRow::Unknown { .. }) => {}
            Err(NoRow::NoLimit | NoRow::Missing { .. }) => {
                findings.add(place, "", format!("no limit for {key}{}", near(&key, tables)));
            }
        }
    }
    for class in classes(plan, step) {
        demand::fault_there(step, class, place, findings);
    }
    uncovered(plan, step, place, findings);
}

/// Conditions that belong together: who measures one measures the other.
const TOGETHER: [[&str; 2]; 2] = [["normal", "single_fault"], ["earth_intact", "earth_open"]];

/// A plan that comes to a limit comes to the limits of the other condition and of the other kind of
/// current, too: the first fault, and direct current, are no matter of choice.
pub(super) fn siblings(plan: &Plan, tables: &[Table], findings: &mut Findings<'_>) {
    let mut reached = BTreeSet::new();
    let mut wanted = Vec::new();
    for step in plan.steps.iter().filter(|step| step.kind == StepKind::Measure) {
        for key in keys(plan, step) {
            let Ok(row) = key.row(tables) else { continue };
            reached.insert(row.id.as_str());
            let other = |word| {
                TOGETHER.iter().find_map(|[a, b]| match word {
                    word if word == *a => Some(*b),
                    word if word == *b => Some(*a),
                    _ => None,
                })
            };
            let beside = other(key.condition).map(|condition| LimitKey { condition, ..key });
            let turned = KINDS.map(|kind| LimitKey { kind, ..key });
            let beside = beside.into_iter().chain(turned).chain(other_terminals(key));
            wanted.extend(beside.filter_map(|key| Some((step, key.row(tables).ok()?))));
        }
    }
    for (step, row) in wanted {
        if !reached.contains(row.id.as_str()) {
            let place = format!("step.{}", step.id);
            let text = format!(
                "no step comes to `{}` ({}), which goes with its limit",
                row.id,
                row.in_words()
            );
            findings.add(&place, "", text);
        }
    }
}

/// Over 500 ohm: what is weighted, what is direct and what is above 100 kHz have each a limit.
fn other_terminals(key: LimitKey<'_>) -> impl Iterator<Item = LimitKey<'_>> {
    let methods: &[&str] = if demand::of_iec_60990(key.method) { &OVER_500 } else { &[] };
    let of = move |method: &&'static str| KINDS.map(|kind| LimitKey { method, kind, ..key });
    methods.iter().flat_map(of)
}

const KINDS: [Kind; 3] = [Kind::Ac, Kind::Dc, Kind::Peak];
const OVER_500: [&str; 3] = ["u2_over_500", "u1_over_500", "u1_above_100_khz"];

/// What there is instead: other editions where the table is not here, else the words that one has
/// to change to come to a limit.
fn near(key: &LimitKey<'_>, tables: &[Table]) -> String {
    let (standard, edition) = (key.standard, key.edition);
    if !tables.iter().any(|t| t.standard == standard && t.edition == edition) {
        let known = Table::editions(standard);
        return match known.is_empty() {
            true => format!(
                "; no table of that standard is here: {}",
                terms::choices("standard").join(", ")
            ),
            false => format!("; no table of that edition is here: {}", known.join(", ")),
        };
    }
    let mut instead = Vec::new();
    let mut try_all = |name: &str, all: &mut dyn Iterator<Item = (&'static str, LimitKey<'_>)>| {
        let found: Vec<&str> =
            all.filter(|(_, key)| key.row(tables).is_ok()).map(|(word, _)| word).collect();
        if !found.is_empty() {
            instead.push(format!("{name} {}", found.join(", ")));
        }
    };
    let classes = [Class::I, Class::II, Class::III, Class::Internal, Class::System];
    try_all(
        "class",
        &mut classes.into_iter().map(|class| (class_word(class), LimitKey { class, ..*key })),
    );
    try_all(
        "method",
        &mut terms::choices(&format!("method.{}", key.measurand))
            .into_iter()
            .map(|method| (method, LimitKey { method, ..*key })),
    );
    let parts = [PartType::B, PartType::BF, PartType::CF];
    try_all(
        "applied part",
        &mut parts.into_iter().map(|part| (part_word(part), LimitKey { part: Some(part), ..*key })),
    );
    try_all(
        "condition",
        &mut terms::choices("condition")
            .into_iter()
            .map(|condition| (condition, LimitKey { condition, ..*key })),
    );
    try_all(
        "kind",
        &mut KINDS.into_iter().map(|kind| (kind_word(kind), LimitKey { kind, ..*key })),
    );
    match instead.is_empty() {
        true => String::new(),
        false => format!("; there is one for {}", instead.join("; for ")),
    }
}

/// A method by cord has a word for every cord that comes to the step, and none for others.
fn uncovered(plan: &Plan, step: &Step, place: &str, findings: &mut Findings<'_>) {
    let Some(Method::ByCord(words)) = &step.method else { return };
    let coming = cords(plan, step);
    for cord in &coming {
        let text = format!("has no word for the mains connection `{}`", cord_word(*cord));
        findings.unless(words.contains_key(cord), place, "method", &text);
    }
    for cord in words.keys().filter(|cord| !coming.contains(cord)) {
        let text = format!("no asset of the plan with `{}` comes here", cord_word(*cord));
        findings.add(place, "method", text);
    }
}

/// The keys of every class, method, part, condition and kind that can come to a step.
fn keys<'a>(plan: &'a Plan, step: &'a Step) -> Vec<LimitKey<'a>> {
    let Some(measurand) = &step.measurand else { return Vec::new() };
    let mut keys = Vec::new();
    for class in classes(plan, step) {
        for method in methods(plan, step) {
            for part in parts(step) {
                for condition in words(step, class) {
                    for kind in kinds(step) {
                        keys.push(LimitKey {
                            standard: &plan.standard,
                            edition: &plan.edition,
                            measurand,
                            method,
                            class,
                            part,
                            condition,
                            kind,
                        });
                    }
                }
            }
        }
    }
    keys
}

fn classes(plan: &Plan, step: &Step) -> Vec<Class> {
    let all = [Class::I, Class::II, Class::III, Class::Internal, Class::System];
    both(&all, &plan.for_assets.class, &step.when.class)
}

fn cords(plan: &Plan, step: &Step) -> Vec<Cord> {
    let all = [Cord::Fixed, Cord::Detachable, Cord::Installed, Cord::None];
    both(&all, &plan.for_assets.cord, &step.when.cord)
}

fn both<T: Copy + PartialEq>(all: &[T], some: &[T], others: &[T]) -> Vec<T> {
    let takes = |list: &[T], word| list.is_empty() || list.contains(word);
    all.iter().filter(|word| takes(some, word) && takes(others, word)).copied().collect()
}

fn methods<'a>(plan: &Plan, step: &'a Step) -> Vec<&'a str> {
    match &step.method {
        None => Vec::new(),
        Some(Method::One(word)) => vec![word],
        Some(Method::ByCord(words)) => {
            let cords = cords(plan, step);
            words.iter().filter(|(cord, _)| cords.contains(cord)).map(|(_, w)| w.as_str()).collect()
        }
    }
}

fn parts(step: &Step) -> Vec<Option<PartType>> {
    if !step.each.contains(&Axis::AppliedPart) && !step.each.contains(&Axis::PartType) {
        return vec![None];
    }
    let all = [PartType::B, PartType::BF, PartType::CF];
    both(&all, &step.when.applied_part, &[]).into_iter().map(Some).collect()
}

/// Words of the conditions, each once, with a functional earth and without.
fn words(step: &Step, class: Class) -> BTreeSet<&str> {
    let with = conditions(step, class, true);
    let without = conditions(step, class, false);
    with.iter().chain(&without).map(|set| condition(step, set)).collect()
}

impl core::fmt::Display for LimitKey<'_> {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let (measurand, method) = (self.measurand, self.method);
        write!(f, "{measurand}, method {method}, class {}", self.class_word())?;
        if let Some(part) = self.part_word() {
            write!(f, ", applied part {part}")?;
        }
        let kind = kind_word(self.kind);
        write!(f, ", {kind}, condition {}", self.condition)?;
        write!(f, " in {} edition {}", self.standard, self.edition)
    }
}
