//! One step: what a measurement must say, and what an answer must not.

use alloc::format;

use tapline_drivers::{Function, Number};

use super::Findings;
use crate::plan::model::{
    Axis, Capture, Contact, Correct, Hazard, Method, Needs, Potential, Proof, Rule, Step, While,
};
use crate::plan::steps::Switch;
use crate::read::nearest;
use crate::register::{Cord, FixtureKind};
use crate::temperature::is_believed;
use crate::terms;

/// A look, try or ask step.
pub(super) fn answered(step: &Step, place: &str, findings: &mut Findings<'_>) {
    let text = "needs at least one item to answer";
    findings.unless(!step.items.is_empty(), place, "items", text);
    let measured = [
        ("measurand", step.measurand.is_some()),
        ("method", step.method.is_some()),
        ("needs", step.needs.is_some()),
        ("capture", step.capture.is_some()),
        ("combine", step.combine.is_some()),
        ("correct", !step.correct.is_empty()),
        ("celsius", step.celsius.is_some()),
        ("prove", !step.prove.is_empty()),
        ("sweep", !step.sweep.is_empty()),
        ("set", !step.set.is_empty()),
        ("gate", step.gate.is_some()),
        ("hazard", step.hazard.is_some()),
    ];
    for (key, _) in measured.into_iter().filter(|(_, there)| *there) {
        findings.add(place, key, "plays no part in a step that is answered: leave it out".into());
    }
}

/// A measure step.
pub(super) fn measured(step: &Step, place: &str, findings: &mut Findings<'_>) {
    let there = [
        ("measurand", step.measurand.is_some()),
        ("method", step.method.is_some()),
        ("contact", step.contact.is_some()),
        ("potential", step.potential.is_some()),
        ("needs", step.needs.is_some()),
        ("capture", step.capture.is_some()),
        ("lead", step.lead.is_some()),
    ];
    for (key, there) in there {
        findings.unless(there, place, key, "every measure step names it");
    }
    findings.unless(step.items.is_empty(), place, "items", "a measurement has no items");
    terms_of(step, place, findings);
    if let Some(capture) = step.capture {
        window(capture, place, findings);
    }
    axes(step, place, findings);
    switches(step, place, findings);
    test_current(step, place, findings);
    hazard(step, place, findings);
    corrections(step, place, findings);
    let several = !step.each.is_empty() || !step.sweep.is_empty();
    let text = "the step gives several values: say which one is judged";
    findings.unless(step.combine.is_some() || !several, place, "combine", text);
}

fn terms_of(step: &Step, place: &str, findings: &mut Findings<'_>) {
    let Some(measurand) = &step.measurand else { return };
    let list = format!("method.{measurand}");
    if !terms::known("measurand", measurand) {
        unknown("measurand", "measurand", measurand, place, findings);
        return;
    }
    let words = match &step.method {
        None => return,
        Some(Method::One(word)) => alloc::vec![word],
        Some(Method::ByCord(words)) => words.values().collect(),
    };
    for word in words.into_iter().filter(|word| !terms::known(&list, word)) {
        unknown("method", &list, word, place, findings);
    }
}

fn unknown(key: &str, list: &str, word: &str, place: &str, findings: &mut Findings<'_>) {
    let known = terms::choices(list);
    findings.add(
        place,
        key,
        match nearest(word, known.iter().copied()) {
            Some(meant) => format!("unknown term `{word}`; did you mean `{meant}`?"),
            None => format!("unknown term `{word}`; known here: {}", known.join(", ")),
        },
    );
}

fn window(capture: Capture, place: &str, findings: &mut Findings<'_>) {
    let timed = matches!(capture.rule, Rule::WorstOver | Rule::AfterSeconds);
    let text = "this rule needs `seconds`, 1 to 600";
    findings.unless(capture.seconds.is_some() || !timed, place, "capture", text);
    let text = "this rule has no window: leave `seconds` out";
    findings.unless(capture.seconds.is_none() || timed, place, "capture", text);
    let flexed = capture.during == Some(While::Flexed);
    let text = "only `worst_over` watches while the cord is flexed";
    findings.unless(!flexed || capture.rule == Rule::WorstOver, place, "capture", text);
}

fn axes(step: &Step, place: &str, findings: &mut Findings<'_>) {
    let is_point = |axis: &&Axis| match axis {
        Axis::EarthedPoint | Axis::AccessiblePart | Axis::Cord | Axis::Connection | Axis::Inlet => {
            true
        }
        Axis::AppliedPart | Axis::PartType | Axis::OperatingState | Axis::DcDirection => false,
    };
    let points = step.each.iter().filter(is_point).count();
    let text = "one step is repeated over one kind of point: split it";
    findings.unless(points <= 1, place, "each", text);
    let at = |axis| step.each.iter().position(|other| *other == axis);
    if let Some(connection) = at(Axis::Connection) {
        let inside = at(Axis::AppliedPart).is_some_and(|part| part < connection);
        let text = "`connection` is repeated within `applied_part`, which stands before it";
        findings.unless(inside, place, "each", text);
    }
}

fn switches(step: &Step, place: &str, findings: &mut Findings<'_>) {
    for switch in &step.sweep {
        let name = switch.name();
        if step.set.contains_key(switch) {
            findings.add(place, "sweep", format!("`{name}` stands in `set` as well"));
        }
        let text = "a test current is put on for its own proof alone: `prove = [\"test_current\"]`";
        findings.unless(*switch != Switch::Test, place, "sweep", text);
        let text = "the probe of a network is moved for the proof alone";
        findings.unless(*switch != Switch::Probe, place, "sweep", text);
        let text = "the supply is switched by the operator's acts, never walked through";
        findings.unless(*switch != Switch::Supply, place, "sweep", text);
    }
    let text = "a test current is put on for its own proof alone: `prove = [\"test_current\"]`";
    findings.unless(!step.set.contains_key(&Switch::Test), place, "set", text);
    let text = "the probe of a network is moved for the proof alone";
    findings.unless(!step.set.contains_key(&Switch::Probe), place, "set", text);
    let switched = !step.sweep.is_empty() || !step.set.is_empty();
    let has_box = step.fixtures.contains(&FixtureKind::SupplyBox);
    let text = "switches need the fixture `supply_box`";
    findings.unless(!switched || has_box, place, "fixtures", text);
}

/// A known current is one of the supply box, and shows something of a bare ammeter on its plug.
fn test_current(step: &Step, place: &str, findings: &mut Findings<'_>) {
    let proved = step.prove.contains(&Proof::TestCurrent);
    let bare = |needs: &Needs| needs.function == [Function::CurrentAc] && needs.network.is_none();
    let there = step.hazard == Some(Hazard::Live)
        && step.contact == Some(Contact::Plug)
        && step.fixtures.contains(&FixtureKind::SupplyBox)
        && step.needs.as_ref().is_some_and(bare);
    let text = "`test_current` is proved of an ammeter around the conductors of the supply box: \
                `hazard = \"live\"`, `contact = \"plug\"`, the fixture `supply_box`, \
                `function = [\"current_ac\"]` without network";
    findings.unless(there || !proved, place, "prove", text);
    let other = matches!(&step.method, Some(Method::One(word)) if word == "differential");
    let text = "a test current shows what the method `differential` measures";
    findings.unless(other || !proved, place, "method", text);
    let text = "an ammeter that sees nothing reads as good: prove `test_current`";
    findings.unless(proved || !other, place, "prove", text);
}

fn hazard(step: &Step, place: &str, findings: &mut Findings<'_>) {
    let proves = |proof| step.prove.contains(&proof);
    match step.hazard {
        Some(Hazard::Live) => {
            // By the alternative method a source stands in for the supply box, and nothing works.
            let dead = matches!(&step.method, Some(Method::One(word)) if word == "alternative");
            let proved = dead || (proves(Proof::Alive) && proves(Proof::Supply));
            let text = "an energised step proves `alive` and `supply`";
            findings.unless(proved, place, "prove", text);
            let from_source = step.fixtures.contains(&FixtureKind::IsolatedSource);
            let text = "a source that is off reads as good: prove `source`";
            findings.unless(!from_source || proves(Proof::Source), place, "prove", text);
            let text = "`source` is proved of the fixture `isolated_source`: name it";
            findings.unless(from_source || !proves(Proof::Source), place, "fixtures", text);
            let installed = step.when.cord == [Cord::Installed];
            let needed = match dead {
                true => FixtureKind::IsolatedSource,
                false => FixtureKind::SupplyBox,
            };
            let has = installed || step.fixtures.contains(&needed);
            let text = "an energised step needs the fixture `supply_box`, by the alternative \
                        method `isolated_source`; only a step for `cord = [\"installed\"]` has none";
            findings.unless(has, place, "fixtures", text);
            let mains = step.potential == Some(Potential::Mains);
            let text = "in an energised step the meter may come to `mains`";
            findings.unless(mains, place, "potential", text);
        }
        Some(Hazard::TestVoltage) => {
            let text = "a large resistance proves nothing unless the path was `closed_path`";
            findings.unless(proves(Proof::ClosedPath), place, "prove", text);
            let high = step.potential == Some(Potential::Dc500);
            let text = "with a test voltage the meter may come to `dc_500`";
            findings.unless(high, place, "potential", text);
        }
        None => {
            let low = matches!(step.potential, None | Some(Potential::ExtraLow));
            let text = "above extra-low voltage a step says its `hazard`";
            findings.unless(low, place, "hazard", text);
        }
    }
}

fn corrections(step: &Step, place: &str, findings: &mut Findings<'_>) {
    let corrects = |link| step.correct.contains(&link);
    let asks = |of: fn(&Needs) -> bool| step.needs.as_ref().is_some_and(of);
    if asks(|needs| needs.network.is_some()) {
        let text = "a voltage across the network becomes a current by `network`";
        findings.unless(corrects(Correct::Network), place, "correct", text);
        let kind = step.needs.as_ref().and_then(Needs::network_kind);
        let has_network = kind.is_none_or(|kind| step.fixtures.contains(&kind));
        let text = match kind {
            Some(FixtureKind::NetworkFig4) => "the network of `needs` is a fixture: `network_fig4`",
            _ => "the network of `needs` is a fixture: `network_fig12`",
        };
        findings.unless(has_network, place, "fixtures", text);
        let proved = step.prove.contains(&Proof::NetworkResistance);
        let text = "a small leakage proves nothing without `network_resistance`";
        findings.unless(proved, place, "prove", text);
    } else {
        let text = "`network` corrects the voltage of a network: name it in `needs`";
        findings.unless(!corrects(Correct::Network), place, "correct", text);
    }
    let scaled = corrects(Correct::MainsScaling);
    let text = "scaling needs a mains voltage: `needs = { mains = … }`";
    findings.unless(!scaled || asks(|needs| needs.mains.is_some()), place, "needs", text);
    let at_110 = asks(|needs| needs.mains.as_deref() == Some("at_110_percent"));
    let text = "what is measured at 110 % of the rated voltage is never scaled";
    findings.unless(!(scaled && at_110), place, "correct", text);
    if corrects(Correct::Rms) {
        findings.add(place, "correct", "`rms` is not built yet: leave it out".into());
    }
    temperature(step, place, findings);
}

fn temperature(step: &Step, place: &str, findings: &mut Findings<'_>) {
    let corrects = step.correct.contains(&Correct::Temperature);
    let text = "only an insulation resistance is reckoned to another temperature";
    let insulation = step.measurand.as_deref() == Some("insulation_resistance");
    findings.unless(insulation || !corrects, place, "correct", text);
    let text = "`temperature` corrects to a reference: say `celsius = \"40\"`";
    findings.unless(step.celsius.is_some() || !corrects, place, "correct", text);
    let text = "is the reference of `temperature`, which `correct` does not name";
    findings.unless(step.celsius.is_none() || corrects, place, "celsius", text);
    let text = "must be degrees Celsius, -10 to 80, a decimal in quotes such as \"40\"";
    let celsius = step.celsius.as_deref();
    let reads = |text: &str| Number::parse(text).is_some_and(is_believed);
    findings.unless(celsius.is_none_or(reads), place, "celsius", text);
}
