//! What stories found, each in its smallest form.

use tapline::station::event::{BookId, Event, Request};
use tapline_protocols::Fact;
use tapline_protocols::fact::In;
use tapline_protocols::plan::Switch;

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

/// A line of the contacts that nobody can read may be the news that a switch was moved: what they
/// saw is no longer known, and the next line tells all of it again. The book replays.
#[test]
fn contacts_that_cannot_be_read_are_known_no_more() {
    let mut world = World::new(1, true);
    world.scan("OP-0007");
    let asset = Some("P-0109".into());
    let begin = Request::begin(asset);
    let id = world.ask(begin).unwrap().id.unwrap();
    world.set(true, false, false);
    let at = world.at();
    let bytes = b"C 10#0\r\nC 1#00\r\nC 1000\r\n".to_vec();
    world.event(Event::Bytes { at, link: "box".into(), bytes });
    world.run(1_000_000);
    let book = BookId::Inspection(id);
    let told = world.lines(&book).into_iter().filter_map(|line| match line.fact {
        Fact::Link(link) => Some(format!("{} {}", link.link, link.state)),
        Fact::Switch(switch) => Some(switch.set[&Switch::S5].clone()),
        _ => None,
    });
    let told: Vec<String> = told.collect();
    assert_eq!(told[told.len() - 3..], ["reversed", "box unread", "reversed"], "{told:?}");
    let links = &world.status.as_ref().unwrap().benches[0].links;
    assert_eq!(links.iter().find(|link| link.id == "box").unwrap().state, "up");
    super::state::the_book_replays(&world.lines(&book), &book).unwrap();
}
