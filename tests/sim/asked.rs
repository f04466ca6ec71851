//! What a bench answers to the codes that ask for a badge, and to an asset that rests.

use tapline::station::event::{Answer, Problem, Request};
use tapline_drivers::scan::control;

use super::world::World;

fn scan(world: &mut World, code: &str) -> Result<Answer, Problem> {
    world.run(1_100_000);
    world.ask(Request::Scan { code: code.into() })
}

/// An inspection of P-0109 in which nothing was measured: undecided.
fn begun() -> World {
    let mut world = World::new(1, true);
    scan(&mut world, "OP-0007").unwrap();
    let asset = Some("P-0109".to_string());
    world.ask(Request::begin(asset)).unwrap();
    world
}

#[test]
fn a_signing_code_says_at_once_what_is_missing() {
    let mut world = begun();
    let refused = scan(&mut world, &control::code("SIGN")).unwrap_err();
    assert_eq!(refused.detail, "The asset was not scanned at the end.");
    scan(&mut world, "P-0109").unwrap();
    let refused = scan(&mut world, &control::code("SIGN")).unwrap_err();
    assert!(refused.detail.contains("tag") && refused.next.contains("--tag"), "{refused:?}");
    let asks = scan(&mut world, &control::code("SIGN.TAG")).unwrap();
    assert_eq!(asks.say, ["sign.badge"]);
    scan(&mut world, "OP-0007").unwrap();
    assert_eq!(world.active(), None, "signed");
}

#[test]
fn another_badge_than_that_of_who_works_here_signs_nothing_and_says_so() {
    let mut world = begun();
    scan(&mut world, "P-0109").unwrap();
    scan(&mut world, &control::code("SIGN.TAG")).unwrap();
    let said = scan(&mut world, "OP-0002").unwrap();
    assert_eq!(said.besides, [["sign.other"]]);
    assert!(world.active().is_some());
    scan(&mut world, "OP-0002").unwrap();
    assert!(world.active().is_some(), "the code is spent");
}

#[test]
fn an_asset_that_rests_here_says_how_it_goes_on() {
    let mut world = begun();
    let id = world.active().unwrap();
    world.ask(Request::Park {}).unwrap();
    let said = scan(&mut world, "P-0109").unwrap();
    assert_eq!(said.say, ["scan.parked", "P-0109", &id]);
}
