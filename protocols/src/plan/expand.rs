//! A plan for one asset on one bench: the exact list of steps.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec;
use alloc::vec::Vec;

use super::axes::{Spot, conditions, spots, takes};
use super::bench::{BenchGiven, Choice, kind_of};
use super::limits::{LimitKey, class_word, condition};
use super::model::{Method, Plan, Step, StepKind};
use super::steps::{Expanded, Settings};
use crate::fault::Fault;
use crate::limits::{NoRow, Table};
use crate::read::is_date;
use crate::register::{Asset, Cord, Kind};

/// Most expanded steps of an inspection.
pub const EXPANDED_MAX: usize = 512;

/// Expands a plan: every value to be captured and every thing to be answered, in order.
///
/// A step that can't start here is in the list all the same, with its reason in `closed`:
/// `excluded` (by the maker), `fixture_missing`, `unknown_instrument`, `link_not_isolated`,
/// `out_of_calibration`, `no_limit`, `many_limits`. Steps that do not apply to the asset, and
/// steps by reason that nobody asked for, are left out.
///
/// # Errors
/// The plan is not for this asset, or comes to more than 512 steps.
pub fn expand(
    plan: &Plan,
    asset: &Asset,
    bench: &BenchGiven<'_>,
) -> Result<Vec<Expanded>, Vec<Fault>> {
    let tables = in_force(plan, asset, bench.limits);
    let bench = &BenchGiven { limits: &tables, ..*bench };
    let mut faults = not_for(plan, asset);
    let missing = bench.missing(&plan.fixtures);
    if !missing.is_empty() {
        let text = format!("this bench lacks {}: the plan needs it", missing.join(", "));
        faults.push(fault("fixtures", text));
    }
    if !is_date(bench.today) {
        faults.push(fault("today", format!("`{}` is no day", bench.today)));
    }
    let mut list = Vec::new();
    for step in plan.steps.iter().filter(|step| applies(step, asset, bench.asked)) {
        match one(plan, step, asset, bench) {
            Ok(steps) if list.len() + steps.len() <= EXPANDED_MAX => list.extend(steps),
            Ok(_) => return Err(vec![too_many(&step.id)]),
            Err(found) => faults.push(found),
        }
    }
    if faults.is_empty() { Ok(list) } else { Err(faults) }
}

/// The table of the plan's edition, as it is for the asset.
pub(super) fn in_force(plan: &Plan, asset: &Asset, tables: &[Table]) -> Vec<Table> {
    let own = |t: &&Table| t.standard == plan.standard && t.edition == plan.edition;
    tables.iter().filter(own).map(|table| table.for_asset(asset)).collect()
}

/// What keeps a plan from being for an asset.
pub(super) fn not_for(plan: &Plan, asset: &Asset) -> Vec<Fault> {
    let mut faults = Vec::new();
    let classes = &plan.for_assets.class;
    if !classes.is_empty() && !classes.contains(&asset.class) {
        let known: Vec<&str> = classes.iter().map(|class| class_word(*class)).collect();
        let (is, known) = (class_word(asset.class), known.join(", "));
        faults.push(fault(
            "class",
            format!(
                "plan `{}` is for class {known}; asset `{}` is {is}: choose another plan",
                plan.id, asset.id
            ),
        ));
    }
    let cords = &plan.for_assets.cord;
    if !cords.is_empty() && !cords.contains(&asset.cord) {
        let known: Vec<&str> = cords.iter().map(|cord| cord_word(*cord)).collect();
        let (is, known) = (cord_word(asset.cord), known.join(", "));
        faults.push(fault(
            "cord",
            format!(
                "plan `{}` is for mains connection {known}; that of asset `{}` is {is}: choose \
                 another plan",
                plan.id, asset.id
            ),
        ));
    }
    let built_to = &plan.for_assets.built_to;
    if !built_to.is_empty() && !built_to.contains(&asset.built_to) {
        let is = match asset.built_to.as_str() {
            "" => "does not say what it was built to".into(),
            other => format!("was built to {other}"),
        };
        faults.push(fault(
            "built_to",
            format!(
                "plan `{}` is for assets built to {}; asset `{}` {is}: another edition has other \
                 limits, choose another plan or correct the register",
                plan.id,
                built_to.join(", "),
                asset.id
            ),
        ));
    }
    faults
}

/// A step is asked of this asset.
pub(super) fn applies(step: &Step, asset: &Asset, asked: &[String]) -> bool {
    let when = &step.when;
    let parts = asset.applied_parts.iter().any(|part| takes(when, part.part_type));
    (when.class.is_empty() || when.class.contains(&asset.class))
        && (when.cord.is_empty() || when.cord.contains(&asset.cord))
        && (when.applied_part.is_empty() || parts)
        && (!step.by_reason || asked.contains(&step.id))
}

fn one(
    plan: &Plan,
    step: &Step,
    asset: &Asset,
    bench: &BenchGiven<'_>,
) -> Result<Vec<Expanded>, Fault> {
    let conditions = conditions(step, asset.class, asset.functional_earth);
    let first = conditions.first().cloned().unwrap_or_default();
    let choice = bench.choose(step, &first);
    let spots = spots(step, asset, choice.kind, EXPANDED_MAX).ok_or(too_many(&step.id))?;
    if spots.len().saturating_mul(conditions.len()) > EXPANDED_MAX {
        return Err(too_many(&step.id));
    }
    let made = Made { plan, step, asset, bench, choice, method: method(step, asset)? };
    let values = spots.iter().flat_map(|spot| conditions.iter().map(move |set| (spot, set)));
    Ok(values.enumerate().map(|(at, (spot, set))| made.expanded(at + 1, spot, set)).collect())
}

/// What all expanded steps of one step share.
struct Made<'a> {
    plan: &'a Plan,
    step: &'a Step,
    asset: &'a Asset,
    bench: &'a BenchGiven<'a>,
    choice: Choice<'a>,
    method: Option<&'a str>,
}

impl Made<'_> {
    fn expanded(&self, number: usize, spot: &Spot<'_>, set: &Settings) -> Expanded {
        let step = self.step;
        let answered = !matches!(step.kind, StepKind::Measure | StepKind::Compute);
        let plain = answered && step.each.is_empty() && set.is_empty();
        let limit = self.limit(spot, set);
        let excluded = self.asset.excluded.iter().any(|excluded| excluded.step == step.id);
        let closed = match (excluded, self.choice.closed, limit) {
            (true, ..) => Some("excluded"),
            (_, Some(closed), _) => Some(closed),
            (_, _, Err(closed)) if step.kind == StepKind::Measure => Some(closed),
            _ => None,
        };
        Expanded {
            step: if plain { step.id.clone() } else { format!("{}/{number}", step.id) },
            of: step.id.clone(),
            point: spot.point.clone(),
            part: spot.part.map(|part| part.name.clone()),
            state: spot.state.clone(),
            direction: spot.direction,
            set: set.clone(),
            method: self.method.map(ToString::to_string),
            instrument: self.choice.instrument.map(ToString::to_string),
            leads: self.choice.leads.map(ToString::to_string),
            limit: limit.ok().map(ToString::to_string),
            closed: closed.map(ToString::to_string),
        }
    }

    /// The row that fits; without an instrument, the one of every kind that it could come to.
    fn limit(&self, spot: &Spot<'_>, set: &Settings) -> Result<&str, &'static str> {
        let (Some(measurand), Some(method)) = (&self.step.measurand, self.method) else {
            return Err("no_limit");
        };
        let mut found: Option<&str> = None;
        for kind in self.choice.kind.map_or(kinds(self.step), |kind| vec![kind]) {
            let key = LimitKey {
                standard: &self.plan.standard,
                edition: &self.plan.edition,
                measurand,
                method,
                class: self.asset.class,
                part: spot.part.map(|part| part.part_type),
                condition: condition(self.step, set),
                kind,
            };
            match (key.row(self.bench.limits), found) {
                (Ok(row), None) => found = Some(&row.id),
                (Ok(row), Some(id)) if row.id == id => {}
                (Ok(_) | Err(NoRow::Many { .. }), _) => return Err("many_limits"),
                (Err(_), _) => return Err("no_limit"),
            }
        }
        found.ok_or("no_limit")
    }
}

/// Alternating and direct, as far as the step leaves it open.
pub(super) fn kinds(step: &Step) -> Vec<Kind> {
    let functions = step.needs.iter().flat_map(|needs| &needs.function);
    let mut kinds = Vec::new();
    for function in functions {
        let both = vec![Kind::Ac, Kind::Dc];
        for kind in kind_of(*function).map_or(both, |kind| vec![kind]) {
            if !kinds.contains(&kind) {
                kinds.push(kind);
            }
        }
    }
    kinds
}

fn method<'a>(step: &'a Step, asset: &Asset) -> Result<Option<&'a str>, Fault> {
    match &step.method {
        None => Ok(None),
        Some(Method::One(word)) => Ok(Some(word)),
        Some(Method::ByCord(words)) => match words.get(&asset.cord) {
            Some(word) => Ok(Some(word)),
            None => Err(fault(
                &format!("step.{}.method", step.id),
                format!(
                    "has no method for the mains connection of asset `{}`, {}",
                    asset.id,
                    cord_word(asset.cord)
                ),
            )),
        },
    }
}

pub(crate) fn cord_word(cord: Cord) -> &'static str {
    match cord {
        Cord::Fixed => "fixed",
        Cord::Detachable => "detachable",
        Cord::Installed => "installed",
        Cord::None => "none",
    }
}

fn too_many(step: &str) -> Fault {
    fault(
        &format!("step.{step}"),
        format!("with this step the plan comes to more than {EXPANDED_MAX} values: split the plan"),
    )
}

fn fault(field: &str, text: String) -> Fault {
    Fault { line: 0, field: field.to_string(), text }
}

#[cfg(test)]
#[path = "expand_tests.rs"]
mod tests;
