//! A plan before anybody starts: each step with its limit, and what it will cost.

use alloc::collections::{BTreeMap, BTreeSet};
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use serde::Serialize;

use super::axes::spots;
use super::bench::BenchGiven;
use super::expand::{EXPANDED_MAX, applies, expand, in_force};
use super::model::{Axis, Capture, Contact, Hazard, Plan, Proof, Rule, Step, StepKind};
use super::steps::{Expanded, Settings, Switch};
use crate::fault::Fault;
use crate::limits::{Row, Table};
use crate::register::{Asset, Class, FixtureKind};

/// Estimate: seconds to place leads once. Common practice, no source; so are the four below.
const PLACEMENT_SECONDS: u32 = 30;
/// Seconds to move one switch.
const MOVE_SECONDS: u32 = 5;
/// Seconds for one act.
const ACT_SECONDS: u32 = 5;
/// Seconds to answer one item.
const ANSWER_SECONDS: u32 = 15;
/// Seconds to settle before a value, its window not counted.
const SETTLE_SECONDS: u32 = 3;

/// A plan for one asset on one bench, as it is shown before anything is measured.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Outline {
    /// Plan.
    pub plan: String,
    /// Its title.
    pub title: String,
    /// Its standard.
    pub standard: String,
    /// Its edition.
    pub edition: String,
    /// Asset.
    pub asset: String,
    /// What keeps steps closed on this bench; excluded ones are not among them.
    pub missing: Vec<Missing>,
    /// What else a person should know first.
    pub remarks: Vec<Remark>,
    /// The expanded steps in order.
    pub steps: Vec<Planned>,
    /// Steps by reason that nobody asked for and that the asset could come to.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub off: Vec<String>,
    /// What the bench can prove of the limits, where somebody asked: see [`super::foresee()`].
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub proves: Vec<super::Foreseen>,
    /// What it will cost.
    pub totals: Totals,
}

/// Why a step of the plan can't start here.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Missing {
    /// The plan's step.
    pub step: String,
    /// Reason, a closed word.
    pub closed: String,
    /// What is lacking: a kind of fixture (`foil`), what it lacks (`supply_box.S7`,
    /// `supply_box.poles`, `supply_box.expired`), `lead`, or the instrument in question.
    pub lacks: Vec<String>,
}

/// A remark, by its code.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Remark {
    /// `no_earthed_point`: class I without a point to measure, so nothing can prove the
    /// protective earth. `part_not_measured`: an applied part that no step of a plan that goes
    /// round applied parts comes to. `exclusion_unknown`: the asset excludes a step that the plan
    /// lacks.
    pub code: &'static str,
    /// What it is about.
    pub about: String,
}

/// An expanded step with what the plan says of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Planned {
    /// As it will stand in the record.
    #[serde(flatten)]
    pub expanded: Expanded,
    /// What it asks for.
    pub kind: StepKind,
    /// What is answered.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub items: Vec<String>,
    /// How the asset is touched.
    pub contact: Option<Contact>,
    /// How readings become a value.
    pub capture: Option<Capture>,
    /// What can hurt.
    pub hazard: Option<Hazard>,
    /// The limit.
    pub judged_by: Option<JudgedBy>,
    /// How the leads lie: a key of the words file.
    pub lead: Option<String>,
    /// Cautions: keys of the words file.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub caution: Vec<String>,
    /// The leads are placed anew for this step.
    pub places_leads: bool,
    /// Switches that are moved for it, in order: `S7=open`, `supply=on`.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub moves: Vec<String>,
}

/// A limit, as far as it is shown.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct JudgedBy {
    /// In words: `at most 0.300 Ohm`.
    pub limit: String,
    /// Clause.
    pub clause: String,
    /// `two_sources one_source memory`, or `confirmed_here` where the workshop has read it.
    pub confidence: &'static str,
    /// How it was computed, and who approved it over the standard's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub how: Option<String>,
}

/// What a plan costs. Closed steps are not counted.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Totals {
    /// Values to be captured.
    pub values: u32,
    /// Items to be answered.
    pub answers: u32,
    /// Times that leads are placed; a reversed direction counts, as clips are swapped for it.
    pub placements: u32,
    /// Switches moved, the supply included.
    pub moves: u32,
    /// Deliberate acts: at a placement with a hazard `connected`, at each of its conditions
    /// `clear`, `live`, `dead`, the operating state where there are several, the source's
    /// voltage twice where one takes part, and three of a test current; one for a value under the
    /// rule `operator`.
    pub acts: u32,
    /// Estimate: 30 s a placement, 5 s a move and an act, 15 s an answer, and for a value its
    /// window and 3 s; rounded up to minutes.
    pub minutes: u32,
    /// Steps of the plan that can't start here.
    pub closed: u32,
}

/// Outlines a plan.
///
/// # Errors
/// As [`expand`].
pub fn outline(plan: &Plan, asset: &Asset, bench: &BenchGiven<'_>) -> Result<Outline, Vec<Fault>> {
    let expanded = expand(plan, asset, bench)?;
    let tables = in_force(plan, asset, bench.limits);
    let mut walk = Walk::default();
    let mut steps = Vec::new();
    for one in expanded {
        let Some(step) = plan.steps.iter().find(|step| step.id == one.of) else { continue };
        steps.push(walk.planned(step, one, &tables));
    }
    walk.leave();
    Ok(Outline {
        plan: plan.id.clone(),
        title: plan.title.clone(),
        standard: plan.standard.clone(),
        edition: plan.edition.clone(),
        asset: asset.id.clone(),
        missing: missing(plan, &steps, bench),
        remarks: remarks(plan, asset, &steps),
        totals: walk.totals(&steps),
        proves: Vec::new(),
        off: off(plan, asset, bench),
        steps,
    })
}

/// Hands and switches on their way through the steps.
#[derive(Default)]
struct Walk {
    /// The step for which the leads were placed.
    placed: Option<Expanded>,
    /// Switches that are not at rest.
    moved: BTreeMap<Switch, String>,
    totals: Totals,
    seconds: u32,
}

impl Walk {
    fn planned(&mut self, step: &Step, one: Expanded, tables: &[Table]) -> Planned {
        let open = one.closed.is_none();
        let measured = step.kind == StepKind::Measure;
        let places_leads = open && measured && self.place(&one);
        let moves = if open && measured { self.switch(step, &one.set) } else { Vec::new() };
        if open {
            self.count(step, &one, places_leads);
        }
        let row = one.limit.as_ref().and_then(|id| tables.iter().find_map(|t| t.row(id)));
        Planned {
            kind: step.kind,
            items: step.items.clone(),
            contact: step.contact,
            capture: step.capture,
            hazard: step.hazard,
            judged_by: row.map(judged_by),
            lead: step.lead.clone(),
            caution: step.caution.clone(),
            places_leads,
            moves,
            expanded: one,
        }
    }

    fn place(&mut self, one: &Expanded) -> bool {
        let same = |last: &Expanded| {
            (&last.of, &last.point, &last.part, &last.state, last.direction)
                == (&one.of, &one.point, &one.part, &one.state, one.direction)
        };
        if self.placed.as_ref().is_some_and(same) {
            return false;
        }
        self.leave();
        self.placed = Some(one.clone());
        true
    }

    /// Before leads are moved, protective earth is closed again.
    fn leave(&mut self) {
        if self.moved.remove(&Switch::S7).is_some() {
            self.totals.moves += 1;
            self.seconds += MOVE_SECONDS;
        }
    }

    fn switch(&mut self, step: &Step, set: &Settings) -> Vec<String> {
        let mut moves = Vec::new();
        for (switch, word) in set {
            let rest = switch.words()[0];
            if self.moved.get(switch).map_or(rest, String::as_str) != word {
                moves.push(format!("{}={word}", switch.name()));
                self.moved.insert(*switch, word.clone());
            }
        }
        self.moved.retain(|switch, word| word != switch.words()[0]);
        if step.hazard == Some(Hazard::Live) {
            let has = |kind| step.fixtures.contains(&kind);
            let by_source = has(FixtureKind::IsolatedSource);
            let by_box = !by_source || has(FixtureKind::SupplyBox);
            for (_, what) in
                [(by_box, "supply"), (by_source, "source")].iter().filter(|(is, _)| *is)
            {
                moves.extend([format!("{what}=on"), format!("{what}=off")]);
            }
        }
        if step.prove.contains(&Proof::TestCurrent) {
            moves.extend(["plus", "minus", "off"].map(|word| format!("test={word}")));
        }
        self.totals.moves += u32::try_from(moves.len()).unwrap_or(u32::MAX);
        moves
    }

    fn count(&mut self, step: &Step, one: &Expanded, places_leads: bool) {
        let totals = &mut self.totals;
        if step.kind != StepKind::Measure {
            let answers = u32::try_from(step.items.len()).unwrap_or(u32::MAX);
            totals.answers += answers;
            self.seconds += answers * ANSWER_SECONDS;
            return;
        }
        let by_hand = step.capture.is_some_and(|capture| capture.rule == Rule::Operator);
        let source = 2 * u32::from(step.prove.contains(&Proof::Source));
        let live = step.hazard == Some(Hazard::Live);
        let state = u32::from(live && one.state.is_some());
        let test = 3 * u32::from(step.prove.contains(&Proof::TestCurrent));
        let acts =
            if step.hazard.is_some() { 3 + source + test + u32::from(places_leads) } else { 0 };
        totals.values += 1;
        totals.acts += acts + state + u32::from(by_hand);
        totals.placements += u32::from(places_leads);
        let window = step.capture.and_then(|capture| capture.seconds).unwrap_or_default();
        self.seconds += window + SETTLE_SECONDS;
    }

    fn totals(&self, steps: &[Planned]) -> Totals {
        let totals = self.totals;
        let hands = totals.placements * PLACEMENT_SECONDS
            + totals.moves * MOVE_SECONDS
            + totals.acts * ACT_SECONDS;
        let closed: BTreeSet<&str> = steps.iter().filter_map(closed_step).collect();
        Totals {
            minutes: (self.seconds + hands).div_ceil(60),
            closed: u32::try_from(closed.len()).unwrap_or(u32::MAX),
            ..totals
        }
    }
}

fn off(plan: &Plan, asset: &Asset, bench: &BenchGiven<'_>) -> Vec<String> {
    let off = |step: &&Step| {
        let somewhere = spots(step, asset, None, EXPANDED_MAX).is_none_or(|all| !all.is_empty());
        step.by_reason
            && !bench.asked.contains(&step.id)
            && applies(step, asset, core::slice::from_ref(&step.id))
            && somewhere
    };
    plan.steps.iter().filter(off).map(|step| step.id.clone()).collect()
}

fn closed_step(planned: &Planned) -> Option<&str> {
    planned.expanded.closed.as_ref().map(|_| planned.expanded.of.as_str())
}

fn judged_by(row: &Row) -> JudgedBy {
    JudgedBy {
        limit: row.bound_in_words(),
        clause: row.clause.clone(),
        confidence: row.confidence.word(),
        how: row.how(),
    }
}

fn missing(plan: &Plan, steps: &[Planned], bench: &BenchGiven<'_>) -> Vec<Missing> {
    let mut missing: Vec<Missing> = Vec::new();
    for planned in steps {
        let one = &planned.expanded;
        let Some(closed) = one.closed.as_ref().filter(|closed| *closed != "excluded") else {
            continue;
        };
        if missing.iter().any(|earlier| earlier.step == one.of && earlier.closed == *closed) {
            continue;
        }
        let step = plan.steps.iter().find(|step| step.id == one.of);
        let lacks = match closed.as_str() {
            "fixture_missing" => step.map(|s| bench.lacks(s, &one.set)).unwrap_or_default(),
            _ => one.instrument.iter().cloned().collect(),
        };
        missing.push(Missing { step: one.of.clone(), closed: closed.clone(), lacks });
    }
    missing
}

fn remarks(plan: &Plan, asset: &Asset, steps: &[Planned]) -> Vec<Remark> {
    let mut remarks = Vec::new();
    let gated = plan.steps.iter().any(|step| {
        step.needs_gate.is_some() && steps.iter().any(|planned| planned.expanded.of == step.id)
    });
    if gated && asset.class == Class::I && asset.earthed_points.is_empty() {
        remarks.push(Remark { code: "no_earthed_point", about: asset.id.clone() });
    }
    let goes_round = |step: &Step| step.each.contains(&Axis::AppliedPart);
    if plan.steps.iter().any(goes_round) {
        let measured = |name: &String| {
            steps.iter().any(|planned| planned.expanded.part.as_ref() == Some(name))
        };
        let alone = asset.applied_parts.iter().filter(|part| !measured(&part.name));
        remarks.extend(
            alone.map(|part| Remark { code: "part_not_measured", about: part.name.clone() }),
        );
    }
    for excluded in &asset.excluded {
        if plan.steps.iter().all(|step| step.id != excluded.step) {
            remarks.push(Remark { code: "exclusion_unknown", about: excluded.step.clone() });
        }
    }
    remarks
}
