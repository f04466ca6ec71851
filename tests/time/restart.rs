//! What a bench knows for the next inspection, over a restart of the program: what the books say,
//! while nothing can have changed unseen; else nulls and supply check are asked anew.

use tapline::books::disk::{Disk, Mode};
use tapline::books::{Crash, place};
use tapline::station::event::{BookId, Event, Request};
use tapline_protocols::Fact;
use tapline_protocols::fact::Carried;

use super::days::nothing_for;
use super::world::World;
use super::{DAY_US, HOUR, HOUR_US, SECOND};
use super::{begin, end, facts, null, opened, ready, supply};

/// An inspection has left the bench nulled and its supply checked; its book.
fn left() -> (World, BookId) {
    let mut world = ready();
    let book = opened(&mut world);
    supply(&mut world);
    null(&mut world);
    end(&mut world);
    world.run(2 * SECOND);
    (world, book)
}

/// The program begins again on the same machine, and all links come up.
fn again(world: &mut World) {
    world.start_again(10 * SECOND);
    world.plug();
    world.run(2 * SECOND);
}

/// Nulls and supply checks that the next inspection has from the start.
fn carried(world: &mut World) -> (usize, usize, Vec<Carried>) {
    let book = opened(world);
    let (mut nulls, mut supplies, mut from) = (0, 0, Vec::new());
    for fact in facts(world, &book) {
        let carried = match fact {
            Fact::Null(null) => {
                nulls += 1;
                null.carried
            }
            Fact::Prove(prove) if prove.what == "supply" => {
                supplies += 1;
                prove.carried
            }
            _ => continue,
        };
        from.extend(carried);
    }
    (nulls, supplies, from)
}

fn name(book: &BookId) -> String {
    place::shown(book)
}

#[test]
fn a_restart_takes_nothing_from_a_bench_that_is_as_it_was() {
    let (mut world, first) = left();
    again(&mut world);
    again(&mut world);
    let (nulls, supplies, from) = carried(&mut world);
    assert_eq!((nulls, supplies), (2, 1));
    assert!(from.iter().all(|one| one.book == name(&first)), "{from:?}");
    assert!(world.prompt().missing.is_empty(), "{:?}", world.prompt());
    // It says where it was made, however often it is carried over.
    end(&mut world);
    again(&mut world);
    let (nulls, supplies, from) = carried(&mut world);
    assert_eq!((nulls, supplies), (2, 1));
    assert!(from.iter().all(|one| one.book == name(&first)), "{from:?}");
}

/// Also where the inspection rested, or was open, or was signed and not yet sealed.
#[test]
fn what_the_last_inspection_knew_counts_wherever_it_stands() {
    for leaves in ["rests", "is open", "is ended"] {
        let mut world = ready();
        let first = opened(&mut world);
        supply(&mut world);
        null(&mut world);
        world.run(SECOND);
        match leaves {
            "rests" => drop(world.ask(Request::Park {}).unwrap()),
            "is ended" => end(&mut world),
            _ => {}
        }
        again(&mut world);
        let next = if leaves == "is open" { "P-0109" } else { "P-0107" };
        if leaves == "is open" {
            end(&mut world);
        }
        let book = BookId::Inspection(begin(&mut world, next).unwrap().id.unwrap());
        let from = facts(&world, &book).into_iter().filter_map(|fact| match fact {
            Fact::Null(null) => null.carried,
            Fact::Prove(prove) => prove.carried,
            _ => None,
        });
        let from: Vec<Carried> = from.collect();
        assert_eq!(from.len(), 3, "it {leaves}: {from:?}");
        assert!(from.iter().all(|one| one.book == name(&first)), "it {leaves}");
    }
}

/// It is the newest that counts, and a rest ends what was known of its leads.
#[test]
fn what_was_taken_up_again_after_a_rest_leaves_no_null_of_before() {
    let mut world = ready();
    let book = opened(&mut world);
    null(&mut world);
    world.run(SECOND);
    world.ask(Request::Park {}).unwrap();
    begin(&mut world, "P-0107").unwrap();
    end(&mut world);
    world.ask(Request::Resume { id: name(&book) }).unwrap();
    end(&mut world);
    again(&mut world);
    assert_eq!(carried(&mut world).0, 0);
}

type Change = fn(&mut World);

/// After such a change nothing is known of the bench.
fn ask_anew(changes: &[(&str, Change)]) {
    for (what, change) in changes {
        let (mut world, _) = left();
        change(&mut world);
        world.run(2 * SECOND);
        let (nulls, supplies, _) = carried(&mut world);
        assert_eq!((nulls, supplies), (0, 0), "{what}");
    }
}

/// Whatever may have changed unseen is a reason to ask anew.
#[test]
fn what_may_have_changed_unseen_is_asked_anew() {
    ask_anew(&[
        ("the power went", |world| {
            world.crash(Crash::KeepAll, 10 * SECOND);
            world.plug();
        }),
        ("nobody watched for long", |world| {
            world.start_again(200 * SECOND);
            world.plug();
        }),
        ("the clock was set meanwhile", |world| {
            world.station.set_us -= 30 * 60 * 1_000_000;
            again(world);
        }),
        ("the clock was set back a day meanwhile", |world| {
            world.station.set_us -= DAY_US;
            again(world);
            world.core.synchronised(true);
        }),
        ("the box is wired otherwise", |world| {
            world.station.witnessed = false;
            again(world);
        }),
        ("the machine slept", |world| {
            again(world);
            world.sleep(SECOND);
        }),
    ]);
}

/// Every line that was there is there again, and whoever says who it is says the same.
#[test]
fn another_line_or_meter_is_nulled_anew() {
    ask_anew(&[
        ("a line is not there", |world| {
            world.start_again(10 * SECOND);
            let (at, why) = (world.at(), "no such port".to_string());
            world.event(Event::LinkDown { at, link: "ohm".into(), why });
            world.plug();
        }),
        ("a line was not seen yet", |world| {
            world.start_again(10 * SECOND);
            ["dmm", "box", "scan"].into_iter().for_each(|link| world.link_up(link));
        }),
        ("a line was not seen in the life between", |world| {
            world.start_again(10 * SECOND);
            ["dmm", "box", "scan"].into_iter().for_each(|link| world.link_up(link));
            again(world);
        }),
        ("a line was pulled after the restart", |world| {
            again(world);
            world.link_down("ohm");
            world.link_up("ohm");
        }),
        ("another meter answers", |world| {
            world.bench.identity = "GENERIC,BENCH-DMM,0003,1.1";
            again(world);
        }),
        ("the meter says no longer who it is", |world| {
            world.bench.mute = true;
            again(world);
        }),
    ]);
}

/// A lead that was registered anew is another lead; this needs no restart.
#[test]
fn a_null_of_another_lead_is_asked_anew() {
    for restarts in [false, true] {
        let (mut world, _) = left();
        let text = include_str!("../../contrib/example/fixtures.toml");
        assert!(text.contains("0.058 Ohm"));
        let text = text.replace("0.058 Ohm", "0.057 Ohm");
        world.ask(Request::import("fixtures", text)).unwrap();
        if restarts {
            again(&mut world);
        }
        assert_eq!(carried(&mut world).0, 0, "restarts: {restarts}");
    }
}

/// Ages go on over the restart: by the boot-time clock, whatever the wall clock shows.
#[test]
fn no_restart_makes_an_old_null_young() {
    // A minute of those that it takes until here is kept off the hour.
    for (waits, step_us, nulls, supplies) in [
        (55 * 60 * SECOND, 0, 2, 1),
        (55 * 60 * SECOND, -2 * HOUR_US, 2, 1),
        (60 * 60 * SECOND, 0, 0, 1),
        (60 * 60 * SECOND, -HOUR_US, 0, 1),
        (25 * HOUR, 0, 0, 0),
        (25 * HOUR, -25 * HOUR_US, 0, 0),
    ] {
        let (mut world, _) = left();
        again(&mut world);
        nothing_for(&mut world, waits);
        world.run(2 * SECOND);
        world.set_clock(step_us);
        world.run(2 * SECOND);
        again(&mut world);
        world.core.synchronised(true);
        let (n, s, _) = carried(&mut world);
        assert_eq!((n, s), (nulls, supplies), "{waits} {step_us}");
    }
}

/// What was sealed is believed only as it was sealed.
#[test]
fn a_record_that_was_changed_leaves_nothing() {
    let (mut world, book) = left();
    let path = place::sealed_path(&name(&book)).unwrap();
    let mut bytes = Vec::new();
    std::io::Read::read_to_end(&mut world.disk.read(&path, 0).unwrap(), &mut bytes).unwrap();
    let text = String::from_utf8(bytes).unwrap();
    assert!(text.contains("\"value\":\"0.061\""));
    let text = text.replace("\"value\":\"0.061\"", "\"value\":\"0.072\"");
    world.disk.write(&path, text.as_bytes(), Mode::Shared).unwrap();
    again(&mut world);
    let (nulls, supplies, _) = carried(&mut world);
    assert_eq!((nulls, supplies), (0, 0));
}
