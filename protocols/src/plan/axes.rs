//! What a step is repeated over: axes of the asset, and conditions of the switches.

use alloc::format;
use alloc::string::String;
use alloc::vec;
use alloc::vec::Vec;

use super::limits::part_word;
use super::model::{Axis, PlanFor, Step};
use super::steps::{Direction, Settings, Switch};
use crate::register::{AppliedPart, Asset, Class, Kind, PartType};

/// One place and direction of a step.
#[derive(Debug, Clone, Default)]
pub(super) struct Spot<'a> {
    pub(super) point: Option<String>,
    pub(super) part: Option<&'a AppliedPart>,
    pub(super) state: Option<String>,
    pub(super) direction: Option<Direction>,
}

/// Every spot of a step in order, last axis fastest; `None` when there are more than `most`.
pub(super) fn spots<'a>(
    step: &Step,
    asset: &'a Asset,
    kind: Option<Kind>,
    most: usize,
) -> Option<Vec<Spot<'a>>> {
    let mut spots = vec![Spot::default()];
    for axis in &step.each {
        let mut next = Vec::new();
        for spot in &spots {
            next.extend(along(*axis, spot, asset, kind, &step.when));
            if next.len() > most {
                return None;
            }
        }
        spots = next;
    }
    Some(spots)
}

fn along<'a>(
    axis: Axis,
    spot: &Spot<'a>,
    asset: &'a Asset,
    kind: Option<Kind>,
    when: &PlanFor,
) -> Vec<Spot<'a>> {
    let point = |name: String| Spot { point: Some(name), ..spot.clone() };
    match axis {
        Axis::EarthedPoint => asset.earthed_points.iter().cloned().map(point).collect(),
        Axis::AccessiblePart => asset.accessible_parts.iter().cloned().map(point).collect(),
        Axis::Cord if asset.cords.is_empty() => vec![point("with the asset".into())],
        Axis::Cord => asset.cords.iter().cloned().map(point).collect(),
        Axis::Inlet => vec![spot.clone()],
        Axis::AppliedPart => {
            let parts = asset.applied_parts.iter().filter(|part| takes(when, part.part_type));
            parts.map(|part| Spot { part: Some(part), ..spot.clone() }).collect()
        }
        Axis::PartType => {
            let types = [PartType::B, PartType::BF, PartType::CF];
            let own = types.into_iter().filter(|own| takes(when, *own));
            own.filter_map(|own| {
                let mut of = asset.applied_parts.iter().filter(|part| part.part_type == own);
                let (first, _) = of.next().zip(of.next())?;
                let point = Some(format!("all of type {}", part_word(own)));
                Some(Spot { part: Some(first), point, ..spot.clone() })
            })
            .collect()
        }
        Axis::Connection => {
            let connections = spot.part.map_or(0, |part| part.connections);
            (1..=connections).map(|n| point(format!("{n}"))).collect()
        }
        // What has one state is in it: nothing is to be set, and nothing to be told apart.
        Axis::OperatingState if asset.states.len() < 2 => vec![spot.clone()],
        Axis::OperatingState => {
            let states = asset.states.iter().cloned();
            states.map(|state| Spot { state: Some(state), ..spot.clone() }).collect()
        }
        Axis::DcDirection => {
            let directions: &[Direction] = match kind {
                Some(Kind::Ac) => &[Direction::None],
                _ => &[Direction::Plus, Direction::Minus],
            };
            let direction = |d: &Direction| Spot { direction: Some(*d), ..spot.clone() };
            directions.iter().map(direction).collect()
        }
    }
}

/// A type of applied part plays its part.
pub(super) fn takes(when: &PlanFor, part: PartType) -> bool {
    when.applied_part.is_empty() || when.applied_part.contains(&part)
}

/// The conditions of a step in order: fixed switches, and the walk through the others with the
/// last one fastest, position of rest first.
pub(super) fn conditions(step: &Step, class: Class, functional_earth: bool) -> Vec<Settings> {
    let has = |switch: &Switch| has(class, functional_earth, *switch);
    let fixed = step.set.iter().filter(|(switch, _)| has(switch));
    let mut conditions = vec![fixed.map(|(s, word)| (*s, word.clone())).collect::<Settings>()];
    for switch in step.sweep.iter().filter(|switch| has(switch)) {
        let walk = |set: &Settings| {
            let set = set.clone();
            switch.words().iter().map(move |word| {
                let mut set = set.clone();
                set.insert(*switch, (*word).into());
                set
            })
        };
        conditions = conditions.iter().flat_map(walk).collect();
    }
    // One fault at a time: a walk that opens a supply conductor leaves protective earth closed. A
    // step that is `set` to S7 open measures there, which is no fault.
    let walked = |switch| step.sweep.contains(&switch);
    let open = |set: &Settings, switch| set.get(&switch).is_some_and(|word| word == "open");
    let two_faults = |set: &Settings| {
        let both = walked(Switch::S1) && walked(Switch::S7);
        both && open(set, Switch::S1) && open(set, Switch::S7)
    };
    conditions.retain(|set| !two_faults(set));
    conditions
}

/// The switch means something for this asset: class II has no protective earth to open, and S10
/// needs a functional earth.
fn has(class: Class, functional_earth: bool, switch: Switch) -> bool {
    match switch {
        Switch::S7 => matches!(class, Class::I | Class::System),
        Switch::S10 => functional_earth,
        Switch::S1 | Switch::S5 | Switch::Supply | Switch::Test => true,
        Switch::Probe => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{builtin, parse};

    /// IEC 60601-1:2005 Figures 13 to 15 as JIS T 0601-1:2012 prints them (excerpt seen): class II
    /// has no S7, a functional earth doubles all; one fault at a time.
    #[test]
    fn a_sweep_has_six_conditions_four_for_class_two_and_twice_that_with_functional_earth() {
        let plan = parse(builtin("iec60601-1-leakage").unwrap()).unwrap();
        let step = |id: &str| plan.steps.iter().find(|step| step.id == id).unwrap();
        for (class, functional_earth, count) in [
            (Class::I, false, 6),
            (Class::II, false, 4),
            (Class::I, true, 12),
            (Class::II, true, 8),
        ] {
            for id in ["touch", "patient_ac", "patient_single_dc", "auxiliary_ac"] {
                assert_eq!(conditions(step(id), class, functional_earth).len(), count, "{id}");
            }
        }
        for id in ["earth", "earth_open"] {
            assert_eq!(conditions(step(id), Class::I, false).len(), 2, "{id}");
        }
        assert_eq!(conditions(step("mains"), Class::I, false).len(), 2, "polarity alone");
    }
}
