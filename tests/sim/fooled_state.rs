//! The rules of a moment can fail: each is shown a station, a disk or a queue that breaks it.

use std::collections::BTreeMap;

use tapline::books::{Line, Memory};
use tapline::station::event::{BookId, Effect, Event};
use tapline_protocols::fact::Word;
use tapline_protocols::plan::{Settings, Switch};

use super::fooled::{Stored, honest, placed, read, verdict};
use super::ledger::Ledger;
use super::log::Log;
use super::state;
use super::wiring::Station;
use super::world::{Delivered, World};
use super::{inspect, story};

/// A world in the middle of an inspection, with its ledger.
fn amid() -> (World, Ledger) {
    let mut world = World::new(1, true);
    world.scan("OP-0007");
    world.scan("P-0109");
    let begin = tapline::station::event::Request::begin(None);
    world.ask(begin).unwrap();
    super::null(&mut world);
    world.settle();
    let mut ledger = Ledger::default();
    for (book, text) in std::mem::take(&mut world.fresh) {
        ledger.apply(&book, &Line::read(text.as_bytes()).unwrap(), &text);
    }
    (world, ledger)
}

#[test]
fn bytes_that_are_lost_changed_or_late_are_seen() {
    let kept_in = |idle: bool, byte: u8, stored: &[u8], now| {
        let mut delivered = Delivered::from([("ohm".into(), [(5, byte)].into())]);
        let mut stored = BTreeMap::from([("ohm".to_string(), stored.to_vec())]);
        state::bytes_are_kept(&mut delivered, &mut stored, &|_| idle, now)
    };
    let kept = |byte, stored: &[u8], now| kept_in(false, byte, stored, now);
    assert_eq!(kept(7, &[7], 1_000_000), Ok(()));
    assert_eq!(kept(7, &[], 40_000), Ok(()), "it may wait for its commit");
    assert!(kept(7, &[], 40_006).is_err(), "late");
    assert_eq!(kept_in(true, 7, &[], 200_000), Ok(()), "of no inspection it may wait longer");
    assert!(kept_in(true, 7, &[], 200_006).is_err(), "but not for ever");
    assert!(kept(7, &[], 1_000_000).is_err(), "lost");
    assert!(kept(7, &[8], 10).is_err(), "changed");
    assert!(kept(7, &[7, 7], 10).is_err(), "twice");
}

/// Something reached the core that the world knows nothing of.
#[test]
fn bytes_behind_the_back_of_the_world_are_seen() {
    let (mut world, mut ledger) = amid();
    let (at, link) = (world.at(), "ohm".to_string());
    world.event(Event::Bytes { at, link, bytes: b"R4 +0.1 Ohm\r\n".to_vec() });
    world.settle();
    for (book, text) in std::mem::take(&mut world.fresh) {
        ledger.apply(&book, &Line::read(text.as_bytes()).unwrap(), &text);
    }
    let now = world.now;
    let kept = state::bytes_are_kept(&mut world.delivered, &mut ledger.stored, &|_| true, now);
    assert!(kept.is_err());
}

#[test]
fn a_record_that_is_not_the_fold_of_its_lines_is_seen() {
    let (world, ledger) = amid();
    let id = world.active().unwrap();
    let (stored, lives) =
        (ledger.shadows[&id].inspection.record(), world.core.record(&id).unwrap());
    assert_eq!(state::the_fold_is_what_lives(&id, stored, lives), Ok(()));
    let mut other = lives.clone();
    other.nulls.pop();
    let said = state::the_fold_is_what_lives(&id, stored, &other).unwrap_err();
    assert!(said.contains(&id), "{said}");
}

#[test]
fn a_live_step_that_the_lines_do_not_tell_of_is_seen() {
    let (world, mut ledger) = amid();
    let id = world.active().unwrap();
    let shadow = ledger.shadows.get_mut(&id).unwrap();
    assert_eq!(state::the_phase_is_what_was_stored(&id, shadow), Ok(()));
    shadow.live = true;
    assert!(state::the_phase_is_what_was_stored(&id, shadow).is_err());
}

#[test]
fn a_register_that_is_not_the_fold_of_its_lines_is_seen() {
    let (world, mut ledger) = amid();
    assert_eq!(state::the_register_is_what_lives(&world, &ledger), Ok(()));
    ledger.register.assets.pop_first();
    assert!(state::the_register_is_what_lives(&world, &ledger).is_err());
}

#[test]
fn a_status_that_is_not_what_is_stored_is_seen() {
    let (world, ledger) = amid();
    let status = world.status.clone().unwrap();
    assert_eq!(state::the_status_is_what_is_stored(&ledger, &status), Ok(()));
    let doctor = |doctor: fn(&mut tapline::station::status::Status)| {
        let mut status = status.clone();
        doctor(&mut status);
        state::the_status_is_what_is_stored(&ledger, &status).unwrap_err()
    };
    doctor(|status| status.seq += 1);
    doctor(|status| status.benches[0].operator = None);
    doctor(|status| status.benches[0].inspection = None);
    doctor(|status| status.benches[0].parked.push("K3-20261124-0009".into()));
    doctor(|status| status.benches[0].links[0].state = "down");
    doctor(|status| status.benches[0].links[0].state = "silent");
    doctor(|status| status.benches[0].inspection.as_mut().unwrap().prompt.seq = Some(1));
    doctor(|status| status.benches[0].inspection.as_mut().unwrap().prompt.state = "may_be_live");
}

#[test]
fn what_is_shown_before_it_is_on_disk_is_seen() {
    assert_eq!(state::is_durable(7, 7), Ok(()));
    assert!(state::is_durable(8, 7).is_err());
}

/// A book that somebody edited is damaged from there on: the station says so at its start.
#[test]
fn a_book_that_is_not_understood_is_seen() {
    let (world, _) = amid();
    let path = format!("open/{}.jsonl", world.active().unwrap());
    let text = String::from_utf8(world.disk.bytes(&path).unwrap()).unwrap();
    let odd = || Station::default().start(&world.disk, world.at(), None).unwrap().odd;
    assert_eq!(state::is_understood(&odd()), Ok(()));
    world.disk.put(&path, text.replace("0.061", "0.016").as_bytes());
    assert!(state::is_understood(&odd()).is_err());
}

#[test]
fn an_outcome_that_is_not_signed_is_seen() {
    let mut world = World::new(1, true);
    let (id, outcome) = inspect(&mut world);
    let mut ledger = Ledger::default();
    for (book, text) in &world.fresh {
        ledger.apply(book, &Line::read(text.as_bytes()).unwrap(), text);
    }
    assert_eq!(outcome.as_deref(), Some("pass"));
    let told = |outcome: &str| state::outcomes_are_stored(&ledger, &[(id.clone(), outcome.into())]);
    assert_eq!(told("pass"), Ok(()));
    assert!(told("fail").is_err());
    let nowhere = ("K3-20261124-0009".to_string(), "pass".to_string());
    assert!(state::outcomes_are_stored(&ledger, &[nowhere]).is_err());
}

#[test]
fn a_queue_above_its_bound_is_seen() {
    assert_eq!(state::queues_are_bounded((512, 16)), Ok(()));
    assert!(state::queues_are_bounded((1025, 16)).is_err());
    assert!(state::queues_are_bounded((1, 257)).is_err());
}

/// A disk that lost or changed what was shown, and one that kept it.
#[test]
fn a_line_that_a_power_cut_takes_is_seen() {
    let (mut world, mut ledger) = amid();
    let survives = |ledger: &Ledger, disk: &Memory, now| {
        state::what_was_shown_survives(ledger, disk, &Station::default(), now)
    };
    assert_eq!(survives(&ledger, &world.disk, world.now), Ok(()));
    let path = format!("open/{}.jsonl", world.active().unwrap());
    let whole = world.disk.bytes(&path).unwrap();
    let changed = String::from_utf8(whole.clone()).unwrap().replace("0.061", "0.016");
    for bytes in [&whole[..whole.len() / 2], changed.as_bytes()] {
        world.disk.put(&path, bytes);
        assert!(survives(&ledger, &world.disk, world.now).is_err());
    }
    world.disk.put(&path, &whole);
    let text = "{\"seq\":999,\"k\":\"note\"}".to_string();
    ledger.texts.get_mut(&BookId::Station).unwrap().push(text);
    world.run(1);
    assert!(survives(&ledger, &world.disk, world.now).is_err(), "shown and never written");
}

#[test]
fn a_verdict_that_the_bytes_do_not_give_is_seen() {
    let lines = honest();
    let of = |lines: &[Stored]| -> Vec<Line> {
        let inspection = |(book, _): &&Stored| matches!(book, BookId::Inspection(_));
        lines.iter().filter(inspection).map(|(_, line)| line.clone()).collect()
    };
    let book = BookId::Inspection("K3-20261124-0001".into());
    assert_eq!(state::the_book_replays(&of(&lines), &book), Ok(()));
    let mut doctored = lines.clone();
    verdict(&mut doctored).judged.verdict = Word::Fail;
    assert!(state::the_book_replays(&of(&doctored), &book).is_err());
    let mut doctored = lines;
    let one = read(&mut doctored, placed);
    one.raw = one.raw.replace('2', "1");
    assert!(state::the_book_replays(&of(&doctored), &book).is_err());
}

#[test]
fn a_seal_that_does_not_fit_is_seen() {
    let mut world = World::new(1, true);
    let (id, _) = inspect(&mut world);
    world.settle();
    let station = world.lines(&BookId::Station);
    assert_eq!(state::seals_fit(&world.disk, &station), Ok(()));
    assert!(state::seals_fit(&world.disk, &[]).is_err(), "the station never said so");
    for end in ["jsonl", "head", "sig"] {
        let path = format!("inspections/2026/11/{id}.{end}");
        let whole = world.disk.bytes(&path).unwrap();
        let mut bytes = whole.clone();
        bytes[10] ^= 1;
        world.disk.put(&path, &bytes);
        assert!(state::seals_fit(&world.disk, &station).is_err(), "{end}");
        world.disk.put(&path, &whole);
    }
}

#[test]
fn a_value_of_another_condition_is_seen() {
    let set = Settings::from([(Switch::S5, "reversed".to_string())]);
    let stood = [(0, [false; 3]), (1_000_000, [true, false, false]), (3_000_000, [false; 3])];
    let at = |us| state::the_condition_was_true(&set, [us].into_iter(), &stood);
    assert_eq!((at(1_200_000), at(2_000_000), at(3_400_000)), (Ok(()), Ok(()), Ok(())));
    assert!(at(900_000).is_err() && at(3_600_000).is_err());
}

#[test]
fn books_that_differ_in_a_byte_are_seen() {
    let (one, _) = story(2, Log::default());
    let other = one.disk.image();
    assert_eq!(state::the_same_books(&one.disk, &other), Ok(()));
    let path = other.paths()[0].clone();
    let mut bytes = other.bytes(&path).unwrap();
    bytes[0] ^= 1;
    other.put(&path, &bytes);
    assert!(state::the_same_books(&one.disk, &other).is_err());
    let (another, _) = story(3, Log::default());
    assert!(state::the_same_books(&one.disk, &another.disk).is_err(), "another seed");
}

/// The world itself looks at what goes out: a core that wanted to energise would be stopped.
#[test]
fn a_core_that_sends_what_it_may_not_is_stopped() {
    let stopped = std::panic::catch_unwind(|| {
        let mut world = World::new(1, true);
        let bytes = b"OUTP ON\n".to_vec();
        world.effect(Effect::Send { link: "dmm".into(), bytes });
    });
    let said = *stopped.unwrap_err().downcast::<String>().unwrap();
    assert!(said.starts_with("only_allowed_messages"), "{said}");
}
