//! An instrument that is asked in vain, or answers late.

use tapline::station::event::{BookId, Request};
use tapline_protocols::Fact;

use super::world::World;

/// A peer that stopped is still connected: the connection is no sign of health.
#[test]
fn an_instrument_that_is_asked_in_vain_is_called_silent_until_it_speaks() {
    let mut world = World::new(1, true);
    world.scan("OP-0007");
    let state = |world: &World| {
        let status = world.status.as_ref().expect("it was shown");
        let link = status.benches[0].links.iter().find(|link| link.id == "dmm").unwrap();
        link.state
    };
    assert_eq!(state(&world), "up");
    world.link_down("dmm");
    world.bench.mute = true;
    world.link_up("dmm");
    world.run(3_000_000);
    assert_eq!(state(&world), "up", "one question may be lost on its way");
    world.run(3_000_000);
    assert_eq!(state(&world), "silent");
    world.link_down("dmm");
    world.bench.mute = false;
    world.link_up("dmm");
    world.run(3_000_000);
    world.bench.mute = true;
    world.run(60_000_000);
    assert_eq!(state(&world), "up", "it answered, and nobody asked it since");
}

#[test]
fn who_answers_only_after_the_beginning_is_recorded_too() {
    let mut world = World::new(1, true);
    world.scan("OP-0007");
    world.bench.mute = true;
    world.start_again(1_000_000);
    world.run(2_000_000);
    world.scan("OP-0007");
    let asset = Some("P-0109".to_string());
    let begin = Request::begin(asset);
    let id = world.ask(begin).unwrap().id.unwrap();
    let book = BookId::Inspection(id);
    let told = |world: &World| -> Vec<String> {
        let named = |fact| match fact {
            Fact::Link(link) if link.link == "dmm" => link.identity,
            Fact::Tap(tap) if tap.link == "dmm" => tap.identity,
            _ => None,
        };
        world.lines(&book).into_iter().map(|line| line.fact).filter_map(named).collect()
    };
    assert_eq!(told(&world), [""; 0], "nobody answered yet");
    world.bench.mute = false;
    world.link_down("dmm");
    world.link_up("dmm");
    world.run(1_000_000);
    assert_eq!(told(&world), [world.bench.identity]);
}
