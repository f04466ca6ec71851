//! What stories found, each in its smallest form.

use tapline::station::event::{BookId, Event};
use tapline_protocols::Fact;
use tapline_protocols::fact::In;

use super::world::World;

fn ins(world: &World, link: &str) -> Vec<(u64, In)> {
    let lines = world.lines(&BookId::Idle("2026-11-24".into())).into_iter();
    let of = |line: tapline::books::Line| match line.fact {
        Fact::In(read) if read.link == link => Some((line.at.boot_us, read)),
        _ => None,
    };
    lines.filter_map(of).collect()
}

/// A read waits its turn while a tick is handled: its bytes had the stamp of the tick.
#[test]
fn a_byte_that_was_read_before_a_tick_keeps_its_stamp() {
    let mut world = World::new(1, true);
    world.bench.quiet();
    world.run(1_000_000);
    let bytes = |world: &mut World, us: u64, link: &str, bytes: &[u8]| {
        let at = world.station.at(us);
        world.event(Event::Bytes { at, link: link.into(), bytes: bytes.to_vec() });
    };
    let t = world.now;
    bytes(&mut world, t, "ohm", b"R4 +0.182 Ohm\r");
    let tick = world.core.deadline().unwrap();
    bytes(&mut world, tick - 10_000, "box", b"C 0000\r\n");
    world.event(Event::Deadline { at: world.station.at(tick) });
    bytes(&mut world, tick - 1_000, "ohm", b"\n");
    world.delivered.clear();
    world.run(1_000_000);
    let ohm = ins(&world, "ohm");
    let told: Vec<_> = ohm.iter().map(|(m, read)| (*m, read.raw.as_str())).collect();
    assert_eq!(told, [(t, "R4 +0.182 Ohm\r"), (tick, ""), (tick - 1_000, "\n")]);
}
