//! Random benches: whatever is read, pressed and switched, the laws hold.
//!
//! Each case is a list of moves; after the last move the lines and readings are checked against
//! laws that are written here once more, without the code that they hold for.

extern crate std;

use alloc::collections::VecDeque;
use alloc::string::ToString;
use alloc::vec;

use proptest::prelude::*;
use tapline_drivers::{Function, Indication, Now, Reading};

use super::bench::{Bench, DAY, Setting, Stored, Told};
use super::laws;
use crate::fact::{Fact, LinkFact, ReadingId, Word};
use crate::inspection::{Command, Inspection};
use crate::register::Known;

#[derive(Debug, Clone)]
enum Move {
    Ohms(&'static str),
    Leak(&'static str),
    Box(bool, bool, bool),
    Run(u64),
    Act(&'static str),
    Capture,
    Answer(&'static str),
    Null,
    Alive,
    Supply,
    GiveUp,
    Repeat(&'static str),
    Skip,
    Discard(Option<&'static str>),
    Override,
    LinkDown(&'static str),
    Restart,
    NextDay,
    Zero(Option<&'static str>),
    Scan,
    Follow,
}

/// Moves that a person would make are likelier than those that only hinder.
fn moves() -> impl Strategy<Value = Move> {
    let ohms = prop::sample::select(vec![
        "OL",
        "OL",
        "0.182 Ohm",
        "-0.190 Ohm",
        "0.061 Ohm",
        "-0.061 Ohm",
        "0.400 Ohm",
        "3.5 Ohm",
        "none",
        ">2 Ohm",
    ]);
    let leak = prop::sample::select(vec!["451 mV", "462 mV", "10953 mV", "0.1 mV", "OL"]);
    let act = prop::sample::select(vec!["connected", "clear", "live", "dead"]);
    let answer = prop::sample::select(vec!["pass", "pass", "pass", "fail"]);
    let step = prop::sample::select(vec!["pe", "pe/1", "pe/2", "leak", "leak/1", "look"]);
    let second = prop::sample::select(vec![None, Some("op-2")]);
    let link = prop::sample::select(vec!["ohm", "dmm", "box"]);
    let zero = prop::sample::select(vec![None, None, Some("LR-01"), Some("DM-01")]);
    prop_oneof![
        4 => ohms.prop_map(Move::Ohms),
        1 => leak.prop_map(Move::Leak),
        2 => any::<(bool, bool, bool)>().prop_map(|(a, b, c)| Move::Box(a, b, c)),
        8 => (1u64..9).prop_map(Move::Run),
        2 => act.prop_map(Move::Act),
        1 => Just(Move::Capture),
        2 => answer.prop_map(Move::Answer),
        1 => Just(Move::Null),
        1 => Just(Move::Alive),
        1 => Just(Move::Supply),
        1 => Just(Move::GiveUp),
        1 => step.prop_map(Move::Repeat),
        1 => Just(Move::Skip),
        1 => second.prop_map(Move::Discard),
        1 => Just(Move::Override),
        1 => link.prop_map(Move::LinkDown),
        1 => Just(Move::Restart),
        1 => Just(Move::NextDay),
        1 => zero.prop_map(Move::Zero),
        1 => Just(Move::Scan),
        // The next thing that a careful person would do: long runs get somewhere.
        12 => Just(Move::Follow),
    ]
}

/// Refusals are part of the game: what matters is what is stored.
fn play(bench: &mut Bench, one: &Move) {
    match one {
        Move::Ohms(shows) => bench.world.ohms = (*shows).into(),
        Move::Leak(shows) => bench.world.leak = [(*shows).into(), (*shows).into()],
        Move::Box(s5, s7, supply) => bench.set(*s5, *s7, *supply),
        Move::Run(seconds) => bench.run(*seconds),
        Move::Act(what) => drop(bench.act(what)),
        Move::Capture => drop(bench.ask(&Command::Capture { expect: None })),
        Move::Answer(answer) => drop(bench.answer(answer)),
        Move::Null => drop(bench.ask(&Command::Null { lead: "L-1".into() })),
        Move::Alive => drop(bench.prove("alive")),
        Move::Supply => drop(bench.supply("226", "0.3", "225.8")),
        Move::GiveUp => drop(bench.prove("network_resistance")),
        Move::Repeat(step) => drop(bench.ask(&Command::Repeat { step: (*step).into() })),
        Move::Skip => drop(bench.ask(&Command::Skip { reason: "a test".into() })),
        Move::Discard(second) => {
            let values = &bench.inspection.record().values;
            let Some(seq) = values.last().map(|value| value.line.seq) else { return };
            let second = second.map(ToString::to_string);
            let cause = "lead_slipped".into();
            drop(bench.ask(&Command::Discard { seq, cause, second }));
        }
        Move::Override => {
            let (step, reason) = ("leak".into(), "a test".into());
            drop(bench.ask(&Command::Override { step, reason }));
        }
        Move::LinkDown(link) => {
            let down =
                LinkFact { link: (*link).into(), state: "down".into(), why: None, identity: None };
            bench.put(vec![Fact::Link(down)], None);
        }
        Move::Restart => bench.resume("boot-1", &today(bench)),
        Move::NextDay => {
            let day = if today(bench) == DAY { "2026-11-25" } else { DAY };
            bench.resume("boot-2", day);
        }
        Move::Zero(meter) => bench.zeroed = *meter,
        Move::Scan => bench.scan("P-0109"),
        Move::Follow => follow(bench),
    }
}

/// The day that it goes by.
fn today(bench: &Bench) -> alloc::string::String {
    bench.inspection.record().day().unwrap_or_default()
}

fn follow(bench: &mut Bench) {
    let prompt = bench.inspection.prompt();
    match prompt.state {
        "look" | "answer" => drop(bench.answer("pass")),
        "arm" | "measure" if prompt.missing.contains(&"lead_not_nulled") => {
            drop(bench.ask(&Command::Null { lead: "L-1".into() }));
        }
        "arm" | "null_apart" => {
            bench.world.ohms = "OL".into();
            bench.run(2);
        }
        "null" | "measure" => {
            let minus = prompt.direction == Some(crate::plan::Direction::Minus);
            let shows = match (prompt.state, minus) {
                ("null", false) => "0.061 Ohm",
                ("null", true) => "-0.061 Ohm",
                (_, false) => "0.182 Ohm",
                (_, true) => "-0.190 Ohm",
            };
            bench.world.ohms = shows.into();
            bench.run(8);
        }
        "connect" => {
            bench.set(false, false, false);
            drop(bench.supply("226", "0.3", "225.8"));
            drop(bench.act("connected"));
        }
        "prove_closed" | "reprove" => bench.set(bench.world.s5, false, false),
        "prove_open" => bench.set(bench.world.s5, true, false),
        "clear" => {
            let reversed = prompt.set.values().any(|word| word == "reversed");
            bench.set(reversed, true, false);
            drop(bench.act("clear"));
        }
        "live" => {
            match prompt.set.keys().any(|switch| switch.name() == "supply") {
                true => bench.set(bench.world.s5, true, true),
                false => bench.world.supply = true,
            }
            drop(bench.act("live"));
        }
        "alive" | "set_state" => drop(bench.prove("alive")),
        "source" => {
            drop(bench.source("226"));
            drop(bench.source("226"));
        }
        "dead" | "may_be_live" => {
            bench.set(bench.world.s5, bench.world.s7, false);
            drop(bench.act("dead"));
        }
        _ => {}
    }
    bench.run(4);
}

fn reading(bench: &Bench, id: ReadingId) -> (&str, &Reading) {
    let one = bench.readings.iter().find(|one| one.id == id).expect("a value names readings");
    (&one.meter, &one.reading)
}

/// Two released readings over half a second, or an act, between any two captures of a meter.
fn one_contact_one_value(bench: &Bench) {
    let mut last: [Option<(u64, u64)>; 2] = [None, None];
    for line in &bench.lines {
        let from = match &line.fact {
            Fact::Value(value) => value.from.first(),
            Fact::Null(null) => null.from.first(),
            _ => continue,
        };
        let (meter, _) = reading(bench, *from.expect("a capture rests on readings"));
        let at = usize::from(meter == "DM-01");
        if let Some((seq, _)) = last[at] {
            let acts = |other: &&Stored| {
                let supply = matches!(&other.fact, Fact::Switch(s)
                    if s.known == Known::Witnessed
                        && s.set.values().any(|word| word == "off"));
                seq < other.seq
                    && other.seq < line.seq
                    && (matches!(other.fact, Fact::Act(_)) || supply)
            };
            let acted = bench.lines.iter().any(|other| acts(&other));
            assert!(acted || lifted(bench, meter, (seq, line.seq)), "{:?}", line.fact);
        }
        last[at] = Some((line.seq, line.at.0));
    }
}

fn lifted(bench: &Bench, meter: &str, (from, to): (u64, u64)) -> bool {
    let three = |n: &tapline_drivers::Number| n.exponent >= -3 && n.digits >= 3000;
    let open = |reading: &Reading| match &reading.indication {
        Indication::Overload | Indication::Above(_) => true,
        Indication::Value(number) => {
            reading.function == Function::Resistance4w && (number.digits == 35 || three(number))
        }
        _ => false,
    };
    let mut first: Option<u64> = None;
    for one in bench.readings.iter().filter(|one| one.meter == meter) {
        if !(from < one.id.0 && one.id.0 < to) || one.reading.indication == Indication::NoValue {
            continue;
        }
        match (open(&one.reading), first) {
            (true, None) => first = Some(one.reading.first.0),
            (true, Some(at)) if one.reading.first.0 - at >= 500_000 => return true,
            (true, Some(_)) => {}
            (false, _) => first = None,
        }
    }
    false
}

/// Every value in an energised step has a proved or overridden gate before it, an act `clear`,
/// and the supply on.
fn never_live_without_a_gate(bench: &Bench) {
    let mut earth = None;
    let mut overridden = false;
    let mut cleared = false;
    let mut supply = false;
    for line in &bench.lines {
        match &line.fact {
            Fact::Verdict(verdict) if verdict.step == "pe" => {
                earth = Some(verdict.judged.verdict);
            }
            Fact::Override(_) => overridden = true,
            Fact::Act(act) if act.what == "clear" => cleared = true,
            Fact::Act(act) if act.what == "dead" => cleared = false,
            Fact::Resume(_) => (cleared, supply) = (false, false),
            Fact::Switch(switch) => {
                for (which, word) in &switch.set {
                    if which.name() == "supply" {
                        supply = word == "on";
                        cleared &= supply || switch.known == Known::Declared;
                    }
                }
            }
            Fact::Step(step) if step.step.starts_with("leak") && step.state == "active" => {
                let failed = matches!(earth, Some(Word::Fail | Word::ConditionalFail));
                assert!(!failed, "a failed earth has no override");
                assert!(earth == Some(Word::Pass) || overridden);
            }
            Fact::Value(value) if value.step.starts_with("leak") => {
                assert!(earth == Some(Word::Pass) || overridden, "{value:?}");
                assert!(cleared && supply, "{value:?}");
                assert!(value.known.is_some());
            }
            _ => {}
        }
    }
}

/// No reading is captured whose first byte precedes the activation of its step, and none is
/// captured twice.
fn only_fresh_readings(bench: &Bench) {
    let mut active = 0;
    let mut used: alloc::collections::BTreeSet<ReadingId> = alloc::collections::BTreeSet::new();
    for line in &bench.lines {
        match &line.fact {
            Fact::Step(step) if step.state == "active" => active = line.at.0,
            Fact::Value(value) => {
                for id in &value.from {
                    assert!(active + 500_000 <= reading(bench, *id).1.first.0, "{value:?}");
                    assert!(used.insert(*id), "{id:?} was captured twice");
                }
            }
            _ => {}
        }
    }
}

/// A pass says: nothing failed, nothing was left out.
fn a_pass_is_complete(bench: &Bench) {
    let outcome = bench.inspection.outcome();
    if outcome.word == Word::Pass {
        assert!(outcome.open.is_empty());
        let verdicts = &bench.inspection.record().verdicts;
        assert!(verdicts.values().all(|line| line.fact.judged.verdict == Word::Pass));
    }
}

fn the_fold_agrees(bench: &Bench) {
    let mut folded = Inspection::new();
    for line in &bench.lines {
        folded.apply(line.seq, line.at, &line.fact, line.by.as_deref());
    }
    assert_eq!(folded.record(), bench.inspection.record());
}

/// A replay predicts the same facts in the same order: nothing but facts and stamped readings
/// decides. What a person, a link or a scanner did is told, not predicted.
fn a_replay_predicts_the_same(bench: &Bench) {
    let mut again = Inspection::new();
    let mut expected: VecDeque<Fact> = VecDeque::new();
    let mut places = bench.readings.iter();
    let mut at = Now(0);
    for told in &bench.told {
        match told {
            Told::Prepare => again.prepare().unwrap(),
            Told::Configured(function, at) => again.configured("DM-01", *function, *at),
            Told::Contacts(contacts) => expected.extend(again.contacts("box", contacts)),
            Told::Reading(id, meter, reading) => {
                let (at, facts) = again.reading(*id, meter, reading);
                assert_eq!(Some(&at), places.next().map(|one| &one.at));
                expected.extend(facts);
            }
            Told::Fact(line) => {
                let outside = matches!(line.fact, Fact::Link(_) | Fact::Scan(_) | Fact::Resume(_));
                if line.by.is_none() && !outside {
                    if expected.is_empty() {
                        expected.extend(again.follow(line.at));
                    }
                    assert_eq!(expected.pop_front().as_ref(), Some(&line.fact));
                }
                again.apply(line.seq, line.at, &line.fact, line.by.as_deref());
                at = line.at;
            }
        }
    }
    assert!(expected.is_empty() && again.follow(at).is_empty());
    assert_eq!(again.record(), bench.inspection.record());
}

/// Every reading has a place or a reason, never both.
fn every_reading_has_its_place(bench: &Bench) {
    assert!(crate::inspection::STATES.contains(&bench.state()));
    for one in &bench.readings {
        assert!(one.at.step.is_some() != one.at.why.is_some(), "{one:?}");
        if let Some(why) = one.at.why {
            assert!(crate::terms::known("why", why), "{why}");
        }
    }
}

/// `SEEDS` benches, or 256. The same ones every time with `PROPTEST_RNG_SEED`.
fn config() -> ProptestConfig {
    let seeds = std::env::var("SEEDS").ok().and_then(|seeds| seeds.parse().ok()).unwrap_or(256);
    ProptestConfig { failure_persistence: None, cases: seeds, ..Default::default() }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn the_laws_hold_on_any_bench(
        witnessed in any::<bool>(),
        moves in prop::collection::vec(moves(), 1..60),
    ) {
        let mut bench = Bench::open(&Setting { witnessed, ..Setting::default() });
        for one in &moves {
            play(&mut bench, one);
        }
        one_contact_one_value(&bench);
        never_live_without_a_gate(&bench);
        only_fresh_readings(&bench);
        a_pass_is_complete(&bench);
        the_fold_agrees(&bench);
        a_replay_predicts_the_same(&bench);
        every_reading_has_its_place(&bench);
        laws::a_limit_judges_its_own_step(&bench);
        laws::a_reading_serves_once_and_where_it_was_placed(&bench);
        laws::nothing_is_energised_on_an_unproved_earth(&bench);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: config().cases / 4, ..config() })]

    #[test]
    fn the_laws_hold_where_a_source_drives(
        witnessed in any::<bool>(),
        careful in 0usize..30,
        moves in prop::collection::vec(moves(), 1..30),
    ) {
        let mut bench = super::source::alternatively(witnessed);
        for _ in 0..careful {
            follow(&mut bench);
        }
        for one in &moves {
            play(&mut bench, one);
        }
        one_contact_one_value(&bench);
        only_fresh_readings(&bench);
        a_pass_is_complete(&bench);
        the_fold_agrees(&bench);
        a_replay_predicts_the_same(&bench);
        every_reading_has_its_place(&bench);
        laws::a_limit_judges_its_own_step(&bench);
        laws::a_reading_serves_once_and_where_it_was_placed(&bench);
        laws::nothing_is_energised_on_an_unproved_earth(&bench);
        laws::nothing_is_captured_before_its_source_was_read(&bench);
    }
}

/// The game is worth playing only if careful moves get to the end of it.
#[test]
fn careful_moves_reach_a_value_that_a_source_drives() {
    for witnessed in [false, true] {
        let mut bench = super::source::alternatively(witnessed);
        for _ in 0..60 {
            follow(&mut bench);
        }
        let leaks = bench.values().iter().filter(|v| v.step.starts_with("leak")).count();
        assert_eq!((leaks, bench.state()), (1, "close_scan"), "witnessed: {witnessed}");
        laws::nothing_is_captured_before_its_source_was_read(&bench);
    }
}

/// The game is worth playing only if careful moves get to the end of it.
#[test]
fn careful_moves_reach_a_live_value() {
    for witnessed in [false, true] {
        let mut bench = Bench::open(&Setting { witnessed, ..Setting::default() });
        for _ in 0..60 {
            follow(&mut bench);
        }
        let leaks = bench.values().iter().filter(|v| v.step.starts_with("leak")).count();
        assert_eq!((leaks, bench.state()), (2, "close_scan"), "witnessed: {witnessed}");
    }
}
