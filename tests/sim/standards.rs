//! The bench check: an instrument is held against a standard before it is believed.

use tapline::station::event::{BookId, Request};
use tapline_protocols::Fact;
use tapline_protocols::fact::CheckFact;

use super::world::World;

/// The example's standards, and one of the size of the network's R1 (10.012 kOhm) that the
/// voltmeter is asked for.
fn ready() -> World {
    let mut world = World::new(1, true);
    world.scan("OP-0007");
    let text = include_str!("../../contrib/example/standards.toml").to_owned()
        + r#"
[[standard]]
id = "CS-5"
what = "resistor, two terminals"
function = "resistance_2w"
value = "10.012 kOhm"
room = "0.040 kOhm"
certificate = "C-2026-155"
calibration_due = 2027-03-31

[[standard]]
id = "CS-OLD"
what = "resistor whose certificate has ended"
function = "resistance_4w"
value = "0.200 Ohm"
room = "0.006 Ohm"
certificate = "C-2020-1"
calibration_due = 2021-03-31
"#;
    world.ask(Request::import("standards", text)).unwrap();
    world
}

fn check(world: &mut World, standard: &str) -> Result<(), String> {
    let request = Request::Check { standard: standard.into(), instrument: None };
    world.ask(request).map(|_| ()).map_err(|problem| problem.detail)
}

fn points(world: &World) -> Vec<CheckFact> {
    let check = |line: tapline::books::Line| match line.fact {
        Fact::Check(check) => Some(*check),
        _ => None,
    };
    world.lines(&BookId::Station).into_iter().filter_map(check).collect()
}

#[test]
fn a_meter_is_held_against_a_resistor_and_the_point_outlives_a_restart() {
    let mut world = ready();
    check(&mut world, "CS-1").unwrap();
    assert_eq!(world.shown().unwrap().check.as_ref().unwrap().instrument, "LR-01");
    world.bench.ohms = "+0.201".into();
    world.run(4_000_000);
    let made = points(&world);
    assert_eq!((made.len(), made[0].ok, made[0].value.as_deref()), (1, true, Some("0.201")));
    assert!(world.shown().unwrap().check.is_none(), "one check, one point");
    let last = |world: &World| {
        let links = &world.shown().unwrap().links;
        let meter = links.iter().find(|link| link.instrument.as_deref() == Some("LR-01")).unwrap();
        meter.check.clone().unwrap()
    };
    assert_eq!((last(&world).ok, last(&world).shown.as_deref()), (true, Some("0.201 Ohm")));
    world.bench.ohms = "+0.150".into();
    check(&mut world, "CS-1").unwrap();
    world.run(4_000_000);
    world.start_again(1_000_000);
    let points = &world.core.register().checks[&("LR-01".to_owned(), "CS-1".to_owned())];
    let ok: Vec<bool> = points.iter().map(|point| point.fact.ok).collect();
    assert_eq!(ok, [true, false]);
    let asset = Some("P-0109".to_string());
    let begun = world.ask(Request::begin(asset));
    let said: Vec<Vec<String>> = begun.unwrap().besides;
    assert!(said.iter().any(|said| *said == ["begin.check_off", "LR-01", "CS-1"]), "{said:?}");
}

/// It is asked for nothing on an idle bench but what the check wants, and for nothing after it.
#[test]
fn a_meter_that_is_asked_is_asked_for_the_check_alone() {
    let mut world = ready();
    world.run(3_000_000);
    let asked = |world: &World| world.sent.iter().filter(|sent| sent.starts_with(b"READ?")).count();
    assert_eq!(asked(&world), 0);
    check(&mut world, "CS-5").unwrap();
    world.run(6_000_000);
    let made = points(&world);
    assert_eq!((made.len(), made[0].ok, made[0].instrument.as_str()), (1, true, "DM-01"));
    let after = asked(&world);
    assert!(after >= 3, "{after}");
    world.run(5_000_000);
    assert_eq!(asked(&world), after);
}

#[test]
fn what_can_not_be_checked_is_said() {
    let mut world = ready();
    for (standard, says) in [("CS-7", "there is no check standard"), ("CS-OLD", "has ended")] {
        let said = check(&mut world, standard).unwrap_err();
        assert!(said.contains(says), "{said}");
    }
    let asset = Some("P-0109".to_string());
    check(&mut world, "CS-1").unwrap();
    world.ask(Request::begin(asset)).unwrap();
    assert!(check(&mut world, "CS-1").unwrap_err().contains("an inspection is open"));
    world.bench.ohms = "+0.201".into();
    world.run(4_000_000);
    assert_eq!(points(&world), [], "the check ended with the beginning of the inspection");
}

/// Its label is scanned; another instrument's readings are no part of it.
#[test]
fn the_label_of_a_standard_begins_its_check() {
    let mut world = ready();
    world.bench.ohms = "+0.500".into();
    world.scan("CS-2");
    world.run(4_000_000);
    let made = points(&world);
    assert_eq!((made.len(), made[0].standard.as_str(), made[0].ok), (1, "CS-2", true));
}
