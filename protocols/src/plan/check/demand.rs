//! What a measurand asks of the step that measures it: without it a wrong bench reads as good.

use super::Findings;
use crate::correct::Network;
use crate::limits::{Row, Supply, quantity_of};
use crate::plan::axes::conditions;
use crate::plan::expand::kinds;
use crate::plan::limits::condition;
use crate::plan::model::{Axis, Contact, Correct, Hazard, Method, Needs, Plan, Step};
use crate::plan::steps::{Settings, Switch};
use crate::register::{Class, FixtureKind, Kind};
use tapline_drivers::Quantity;

/// The limits of a design standard are those of what an asset was built to: from one edition to the
/// next an earth leakage grew tenfold (IEC 60601-1, makers' service manuals, excerpts seen).
pub(super) fn edition(plan: &Plan, findings: &mut Findings<'_>) {
    let designed = Supply::of(&plan.standard) == Supply::Rated110;
    let text = "its limits are those of one edition: say with `built_to` which assets were built to \
                it";
    findings.unless(!designed || !plan.for_assets.built_to.is_empty(), "for", "", text);
}

/// What the measurand of a step asks for, by the standard of its plan.
pub(super) fn met(plan: &Plan, step: &Step, place: &str, findings: &mut Findings<'_>) {
    let Some(measurand) = step.measurand.as_deref() else { return };
    touched(step, place, findings);
    everywhere(measurand, step, place, findings);
    match (quantity_of(measurand), measurand) {
        (Quantity::Ampere, _) => current(plan, step, place, findings),
        (_, "insulation_resistance") => insulation(step, place, findings),
        (Quantity::Ohm, _) => turned_round(step, place, findings),
        _ => {}
    }
}

/// What it is touched with is there, and not bypassed.
fn touched(step: &Step, place: &str, findings: &mut Findings<'_>) {
    for (contact, kind, text) in [
        (Contact::Foil, FixtureKind::Foil, "what is touched with foil needs the fixture `foil`"),
        (Contact::Saline, FixtureKind::Saline, "saline is a fixture: `saline`"),
    ] {
        let there = step.contact != Some(contact) || step.fixtures.contains(&kind);
        findings.unless(there, place, "fixtures", text);
    }
    let network = step.needs.as_ref().is_some_and(|needs| needs.network.is_some());
    let in_the_box = step.fixtures.contains(&FixtureKind::SupplyBox);
    let plugged = step.contact == Some(Contact::Plug) && network && in_the_box;
    let opened = step.set.get(&Switch::S7).is_some_and(|word| word == "open");
    let text = "the network stands in the protective earth of the box, which bypasses it while \
                closed: `set = { S7 = \"open\" }`";
    findings.unless(opened || !plugged, place, "set", text);
}

/// What the register lists is measured at each of its places.
fn everywhere(measurand: &str, step: &Step, place: &str, findings: &mut Findings<'_>) {
    let all = |word: &str| methods(step).all(|method| method == word);
    let axis = match measurand {
        "protective_earth_resistance" if all("cord_alone") => Axis::Cord,
        "protective_earth_resistance"
        | "protective_earth_impedance"
        | "protective_conductor_resistance"
        | "ground_resistance" => Axis::EarthedPoint,
        "insulation_resistance" if all("mains_to_accessible") => Axis::AccessiblePart,
        "touch_current" | "enclosure_leakage" => Axis::AccessiblePart,
        _ => return,
    };
    let (word, text) = match axis {
        Axis::Cord => ("cord", "each cord that is kept with the asset is measured"),
        Axis::EarthedPoint => ("earthed_point", "each point that is earthed is measured"),
        _ => ("accessible_part", "each part that can be touched is measured"),
    };
    let text = alloc::format!("{text}: repeat the step over `{word}`");
    findings.unless(step.each.contains(&axis), place, "each", &text);
}

/// A current that nothing drives is none, and one at another voltage is another one.
fn current(plan: &Plan, step: &Step, place: &str, findings: &mut Findings<'_>) {
    let text = "nothing flows where nothing is energised: `hazard = \"live\"`";
    findings.unless(step.hazard == Some(Hazard::Live), place, "hazard", text);
    let alternating = kinds(step).contains(&Kind::Ac);
    let mains = step.needs.as_ref().and_then(|needs| needs.mains.as_deref());
    match Supply::of(&plan.standard) {
        Supply::Nominal => {
            let scaled = !alternating || step.correct.contains(&Correct::MainsScaling);
            let text = "this standard scales a leakage to nominal mains: `mains_scaling`";
            findings.unless(scaled, place, "correct", text);
        }
        Supply::Rated110 => {
            let text = "this standard measures at 110 % of the rated voltage: \
                        `mains = \"at_110_percent\"`";
            findings.unless(mains == Some("at_110_percent"), place, "needs", text);
        }
        Supply::AsMeasured => {}
    }
    let class_one = [&plan.for_assets.class, &step.when.class];
    let class_one = class_one.iter().all(|list| list.is_empty() || list.contains(&Class::I));
    let [supply, earth] = [Switch::S1, Switch::S7].map(|switch| step.sweep.contains(&switch));
    let text = "who walks through one fault of the supply walks through both: `S1` and `S7`";
    findings.unless(supply == earth || !class_one, place, "sweep", text);
    // By the alternative method, and where a source drives alone, no polarity is there.
    let by_box = step.fixtures.contains(&FixtureKind::SupplyBox);
    let both = step.sweep.contains(&Switch::S5);
    let text = "one polarity of the mains says nothing of the other: walk through `S5`";
    findings.unless(both || !by_box, place, "sweep", text);
    terminals(step, place, findings);
}

/// A voltage is a current by the network that its method is for alone.
fn terminals(step: &Step, place: &str, findings: &mut Findings<'_>) {
    let Some(network) = step.needs.as_ref().and_then(Needs::terminals) else { return };
    let text = match network {
        Network::Fig12 => {
            "this method has the network of IEC 60990: over that of IEC 60601-1 it is half"
        }
        Network::U1 | Network::U2 => {
            "this method has other terminals: `iec60990_u2` is weighted and for `u2_over_500`, \
             `iec60990_u1` is not and for `u1_over_500` and `u1_above_100_khz`, `iec60601_fig12` \
             is for all others"
        }
    };
    findings.unless(methods(step).all(|method| network.fits(method)), place, "needs", text);
}

/// Voltages over 500 ohm.
pub(crate) fn of_iec_60990(method: &str) -> bool {
    matches!(method, "u1_over_500" | "u2_over_500" | "u1_above_100_khz")
}

fn methods(step: &Step) -> impl Iterator<Item = &str> {
    let (one, by_cord) = match &step.method {
        Some(Method::One(word)) => (Some(word.as_str()), None),
        Some(Method::ByCord(words)) => (None, Some(words)),
        None => (None, None),
    };
    one.into_iter().chain(by_cord.into_iter().flat_map(|words| words.values()).map(|w| &**w))
}

/// The few volts of an ohm range say nothing of an insulation.
fn insulation(step: &Step, place: &str, findings: &mut Findings<'_>) {
    let text = "an insulation is measured with a test voltage: `hazard = \"test_voltage\"`";
    findings.unless(step.hazard == Some(Hazard::TestVoltage), place, "hazard", text);
    let asked = |needs: &Needs| needs.test_voltage.is_some();
    let text = "an insulation is measured with a test voltage: `test_voltage = \">= 500 V\"`";
    findings.unless(step.needs.as_ref().is_some_and(asked), place, "needs", text);
}

/// IEC 62353:2014 5.3.2 (excerpt seen): a dc measuring current is repeated the other way round.
fn turned_round(step: &Step, place: &str, findings: &mut Findings<'_>) {
    let direct = kinds(step).contains(&Kind::Dc);
    let turned = step.measurand.as_deref() != Some("protective_earth_resistance")
        || step.each.contains(&Axis::DcDirection);
    let text = "a dc current is turned round: repeat the step over `dc_direction`";
    findings.unless(turned || !direct, place, "each", text);
}

/// A limit for a fault is for a condition that has one, whether the plan says the word or it
/// follows from the switches.
pub(super) fn fault_there(step: &Step, class: Class, place: &str, findings: &mut Findings<'_>) {
    let open = |set: &Settings, switch| set.get(&switch).is_some_and(|word| word == "open");
    // In the path of an earth leakage S7 is where it is measured.
    let in_path = step.measurand.as_deref() == Some("earth_leakage");
    let holds = |set: &Settings| match condition(step, set) {
        "single_fault" => open(set, Switch::S1) || (open(set, Switch::S7) && !in_path),
        "earth_open" => open(set, Switch::S7),
        _ => true,
    };
    let box_has_it = step.fixtures.contains(&FixtureKind::SupplyBox);
    let all = [true, false].map(|earth| conditions(step, class, earth));
    let text = "its larger limit is for a fault, and no switch makes one: open S1 or S7, or say \
                `condition = \"normal\"`";
    let shown = all.iter().flatten().all(holds);
    findings.unless(shown || !box_has_it, place, "condition", text);
}

/// A limit of the plain current is for what no network has made smaller.
pub(super) fn plain(step: &Step, row: &Row, place: &str, findings: &mut Findings<'_>) {
    let network = step.needs.as_ref().is_some_and(|needs| needs.network.is_some());
    let unweighted = row.basis.as_deref() == Some("unweighted") && !of_iec_60990(&row.method);
    let text = "this limit is for a current that no network weights: leave `network` out";
    findings.unless(!(network && unweighted), place, "needs", text);
}
