//! Meters without a line: what a person reads of their displays and enters.
//!
//! That manual entries are entered twice: PIC/S PI 041-1 and EU GMP Annex 11 section 6 ask for a
//! second check of critical data (from memory). That such a value never passes is our own rule: the
//! limits (IEC 62353:2014: at least 2 Mohm, at most 0.3 ohm, at most 500 uA; from memory) are those
//! of the other tests.

use alloc::string::{String, ToString};
use alloc::vec;

use tapline_drivers::Now;

use super::bench::{Bench, Setting};
use super::worked::to_the_leakage;
use crate::fact::{Fact, Given, Word};
use crate::inspection::{Command, Refusal, TYPED};
use crate::register::Known;

fn enter(bench: &mut Bench, shows: &str) -> Result<(), Refusal> {
    bench.ask(&Command::Enter { shows: shows.to_string() })
}

fn twice(bench: &mut Bench, shows: &str) {
    enter(bench, shows).unwrap();
    enter(bench, shows).unwrap();
}

fn with(typed: &'static str) -> Setting {
    Setting {
        typed: vec![typed],
        asked: vec!["insulation".to_string()],
        confirmed: vec!["iec62353-2014.insulation.mains_to_earth".to_string()],
        ..Setting::default()
    }
}

/// At the insulation, its tester without a line, the test voltage on.
fn under_voltage() -> Bench {
    let mut bench = Bench::open(&with("IR-01"));
    to_the_leakage(&mut bench);
    for (act, state) in [("connected", "connect"), ("clear", "clear"), ("live", "voltage_on")] {
        assert_eq!(bench.state(), state);
        assert_eq!(enter(&mut bench, "1.00 MOhm").unwrap_err().key, "refusal.not_live");
        bench.act(act).unwrap();
    }
    assert_eq!((bench.active().as_str(), bench.state()), ("insulation/1", "enter_live"));
    bench
}

fn entered(bench: &Bench) -> usize {
    bench.values().iter().filter(|value| value.rule == "typed").count()
}

fn has(reasons: &[String], word: &str) -> bool {
    reasons.iter().any(|one| one == word)
}

#[test]
fn what_is_entered_twice_is_a_value_that_fails_and_never_passes() {
    for (shows, word) in [
        ("1.99 MOhm", Word::Fail),
        ("0 kOhm", Word::Fail),
        ("< 1.0 MOhm", Word::Fail),
        ("2.00 MOhm", Word::Undecided),
        ("500 MOhm", Word::Undecided),
        ("> 20 GOhm", Word::Undecided),
        ("above 20 GOhm", Word::Undecided),
        ("OL", Word::Undecided),
    ] {
        let mut bench = under_voltage();
        enter(&mut bench, shows).unwrap();
        assert_eq!((entered(&bench), bench.state()), (0, "enter_live"), "{shows}");
        enter(&mut bench, shows).unwrap();
        assert_eq!((entered(&bench), bench.state()), (1, "voltage_off"), "{shows}");
        bench.act("dead").unwrap();
        let (found, reasons) = bench.verdict("insulation");
        assert_eq!(found, word, "{shows}: {reasons:?}");
        // What holds back a pass stands beside no fail: the value says how it came about.
        assert_eq!(has(&reasons, "typed"), word == Word::Undecided, "{reasons:?}");
        assert_ne!(bench.active(), "insulation/1", "the step is over");
        let value = bench.values().into_iter().find(|value| value.rule == "typed").unwrap();
        assert_eq!((value.from.len(), value.known), (0, Some(Known::Declared)));
        assert_eq!(value.words, ["typed"]);
    }
}

#[test]
fn two_entries_that_differ_count_for_nothing() {
    let mut bench = under_voltage();
    for shows in ["5.0 MOhm", "5.1 MOhm", "5.1 MOhm"] {
        enter(&mut bench, shows).unwrap();
        assert_eq!(entered(&bench), 0, "after {shows}");
    }
    let differs =
        |line: &super::bench::Stored| matches!(&line.fact, Fact::Prove(one) if one.differs);
    assert_eq!(bench.lines.iter().filter(|line| differs(line)).count(), 1);
    // The third began anew; digits, unit and sign have to be the same.
    for shows in ["5.10 MOhm", "5.1 MOhm", "5.1 kOhm", "5.1 MOhm", "> 5.1 MOhm"] {
        enter(&mut bench, shows).unwrap();
        assert_eq!(entered(&bench), 0, "after {shows}");
    }
    twice(&mut bench, "5.1 MOhm");
    assert_eq!(entered(&bench), 1);
}

#[test]
fn the_second_entry_is_of_the_same_person_and_the_same_run() {
    let mut bench = under_voltage();
    enter(&mut bench, "5.0 MOhm").unwrap();
    bench.now += 1_100_000;
    let shows = Command::Enter { shows: "5.0 MOhm".to_string() };
    let facts = bench.inspection.command(Now(bench.now), &shows, Some("op-9")).unwrap();
    assert!(matches!(&facts[..], [Fact::Prove(one)] if !one.ok && !one.differs), "{facts:?}");
    assert_eq!(
        bench.inspection.command(Now(bench.now), &shows, None).unwrap_err().code,
        "forbidden"
    );
    bench.act("dead").unwrap();
    bench.act("clear").unwrap();
    bench.act("live").unwrap();
    enter(&mut bench, "5.0 MOhm").unwrap();
    assert_eq!(entered(&bench), 0, "one entry of each run");
    enter(&mut bench, "5.0 MOhm").unwrap();
    assert_eq!(entered(&bench), 1);
    assert_eq!(enter(&mut bench, "5.0 MOhm").unwrap_err().key, "refusal.not_live", "it has one");
}

/// A protective earth needs its leads nulled, and nobody nulls by looking.
#[test]
fn a_low_resistance_that_was_entered_is_undecided() {
    for shows in ["0.182 Ohm", "0.900 Ohm"] {
        let mut bench = Bench::open(&with("LR-01"));
        bench.answer("pass").unwrap();
        assert_eq!(bench.state(), "enter");
        for _ in 0..2 {
            twice(&mut bench, shows);
        }
        let (word, reasons) = bench.verdict("pe");
        assert_eq!(word, Word::Undecided, "{reasons:?}");
        assert!(has(&reasons, "typed") && has(&reasons, "lead_not_nulled"), "{reasons:?}");
        assert_ne!(bench.inspection.prompt().of.as_deref(), Some("pe"));
    }
}

/// Nothing says that the network is in the path: what lies beyond the limit fails all the same.
#[test]
fn a_leakage_that_was_entered_fails_beyond_its_limit() {
    for (shows, word) in [("0.620 V", Word::Fail), ("0.200 V", Word::Undecided)] {
        let mut bench = Bench::open(&Setting { asked: vec![], ..with("DM-01") });
        to_the_leakage(&mut bench);
        assert_eq!(bench.state(), "connect");
        bench.act("connected").unwrap();
        while bench.inspection.prompt().of.as_deref() == Some("leak") {
            for (act, state) in [("clear", "clear"), ("live", "live")] {
                assert_eq!(bench.state(), state);
                bench.act(act).unwrap();
            }
            if bench.state() == "set_state" {
                bench.prove("alive").unwrap();
            }
            assert_eq!(bench.state(), "enter_live");
            twice(&mut bench, shows);
            assert_eq!(bench.state(), "dead");
            bench.act("dead").unwrap();
        }
        assert_eq!(entered(&bench), 2, "one of each polarity");
        let (found, reasons) = bench.verdict("leak");
        assert_eq!(found, word, "{reasons:?}");
        let undecided = word == Word::Undecided;
        assert_eq!(has(&reasons, "typed"), undecided, "{reasons:?}");
        assert_eq!(has(&reasons, "path_not_proved"), undecided, "{reasons:?}");
    }
}

#[test]
fn only_what_stands_on_the_display_of_such_a_meter_is_entered() {
    let mut bench = Bench::open(&Setting::default());
    bench.answer("pass").unwrap();
    assert_eq!(enter(&mut bench, "0.1 Ohm").unwrap_err().key, "refusal.no_typed_step");
    let mut bench = under_voltage();
    for (shows, key) in [
        ("", "refusal.not_shown"),
        ("5", "refusal.not_shown"),
        ("5 megohm", "refusal.not_shown"),
        ("five MOhm", "refusal.not_shown"),
        ("OL MOhm", "refusal.not_shown"),
        (">> 5 MOhm", "refusal.not_shown"),
        ("5 V", "refusal.other_quantity"),
        ("> 5 mA", "refusal.other_quantity"),
    ] {
        assert_eq!(enter(&mut bench, shows).unwrap_err().key, key, "{shows}");
    }
    bench.now += 1_100_000;
    assert_eq!(bench.ask(&Command::Capture { expect: None }).unwrap_err().key, "refusal.enter_it");
}

/// A file may describe a driver of that name: what it hears is proved as what any other hears.
#[test]
fn a_driver_of_that_name_is_not_read_by_a_person() {
    let mut bench = Bench::before(&Setting::default());
    for line in &mut bench.lines {
        if let Fact::Given(Given::Links { list }) = &mut line.fact {
            list.iter_mut().for_each(|link| link.driver = TYPED.into());
        }
    }
    bench.inspection = crate::inspection::Inspection::new();
    for line in bench.lines.clone() {
        bench.inspection.apply(line.seq, line.at, &line.fact, line.by.as_deref());
    }
    bench.inspection.prepare().unwrap();
    bench.put(vec![], None);
    bench.answer("pass").unwrap();
    assert_eq!(enter(&mut bench, "0.1 Ohm").unwrap_err().key, "refusal.no_typed_step");
}
