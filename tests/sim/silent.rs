//! An instrument that is asked in vain.

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
