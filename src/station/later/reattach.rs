//! It was another asset that was inspected. What was measured stays; for the other asset it counts
//! as far as the same plan would have been made of it.

use tapline_protocols::Fact;
use tapline_protocols::fact::{Given, ReattachFact};
use tapline_protocols::life::Life;
use tapline_protocols::plan;
use tapline_protocols::register::{Asset, Operator};

use super::super::event::Problem;
use super::super::say::conflict;
use super::{Added, long_enough};

pub(super) fn reattach(
    life: &Life,
    second: Option<&Operator>,
    to: &Asset,
    text: &str,
) -> Result<Added, Problem> {
    let text = long_enough("text", text)?;
    let Some(from) = life.asset() else {
        return Err(conflict(format!("{} names no asset", life.id), "Run `tapline verify` on it."));
    };
    if from.id == to.id {
        let text = format!("{} is about `{}` already", life.id, to.id);
        return Err(conflict(text, "Name the asset that was really inspected."));
    }
    let first = life.inspection().record().given.iter().find_map(|given| match given {
        Given::Asset { asset } => Some(asset.as_ref()),
        _ => None,
    });
    let differs = differs(life, first.unwrap_or(from), to);
    let mut besides = vec![vec!["life.labels".into(), from.id.clone(), to.id.clone()]];
    if !differs.is_empty() {
        let names = differs.join(", ").replace('_', " ");
        besides.push(vec!["life.differs".into(), to.id.clone(), names]);
    } else if second.is_none() {
        besides.push(vec!["life.one_person".into(), to.id.clone()]);
    }
    let fact = ReattachFact {
        from: from.id.clone(),
        to: Box::new(to.clone()),
        text,
        differs,
        second: second.map(|one| one.id.clone()),
    };
    let facts = vec![Fact::Reattach(Box::new(fact))];
    Ok(Added { facts, meaning: "amended", say: "life.reattached", besides })
}

/// In what an asset differs from the one whose plan was expanded; whatever a step or a limit may
/// follow from.
fn differs(life: &Life, measured: &Asset, to: &Asset) -> Vec<String> {
    let same = [
        ("class", measured.class == to.class),
        ("functional_earth", measured.functional_earth == to.functional_earth),
        ("cord", measured.cord == to.cord),
        ("cords", measured.cords.len() == to.cords.len()),
        ("rated_volts", measured.rated_volts == to.rated_volts),
        ("rated_amps", measured.rated_amps == to.rated_amps),
        ("cord_metres", measured.cord_metres == to.cord_metres),
        ("heating_kw", measured.heating_kw == to.heating_kw),
        ("switching_supply", measured.switching_supply == to.switching_supply),
        ("earthed_points", measured.earthed_points == to.earthed_points),
        ("accessible_parts", measured.accessible_parts == to.accessible_parts),
        ("applied_parts", measured.applied_parts == to.applied_parts),
        ("states", measured.states == to.states),
        ("built_to", measured.built_to == to.built_to),
        ("excluded", measured.excluded == to.excluded),
        ("plan", is_by_its_plan(life, to)),
    ];
    same.iter().filter(|(_, same)| !same).map(|(name, _)| (*name).into()).collect()
}

/// The inspection was made by the plan that the register names for the asset, or by one that is not
/// taken by name only where it names none.
fn is_by_its_plan(life: &Life, to: &Asset) -> bool {
    let text = life.inspection().record().given.iter().find_map(|given| match given {
        Given::Plan { text, .. } => Some(text),
        _ => None,
    });
    let Some(plan) = text.and_then(|text| plan::parse(text).ok()) else { return false };
    to.plan.as_ref().map_or(!plan.by_name, |own| *own == plan.id)
}
