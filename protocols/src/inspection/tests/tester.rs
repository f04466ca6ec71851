//! Insulation under a test voltage: dead, hands clear, live, dead, between two joined clips.
//!
//! Limits of IEC 62353:2014 for insulation are from memory, confirmed by this workshop; that a
//! forgotten voltage reads as the best insulation needs no source.

use alloc::boxed::Box;
use alloc::string::{String, ToString};
use alloc::vec;
use alloc::vec::Vec;

use tapline_drivers::Function;

use super::bench::{Bench, DAY, Setting};
use super::worked::to_the_leakage;
use crate::fact::{Fact, LinkFact, PROOFS, Policy, Word};
use crate::inspection::Command;
use crate::register::Known;

const STEP: &str = "insulation/1";

/// What the tester says each second: its own voltage, where it does, and what it reads.
#[derive(Clone, Copy)]
struct Says(Option<&'static str>, &'static str);

const OFF: Says = Says(None, "none");
const OPEN: Says = Says(None, ">200 MOhm");

fn setting() -> Setting {
    Setting {
        asked: vec!["insulation".to_string()],
        confirmed: vec!["iec62353-2014.insulation.mains_to_earth".to_string()],
        ..Setting::default()
    }
}

fn open(setting: &Setting) -> Bench {
    let mut bench = Bench::open(setting);
    to_the_leakage(&mut bench);
    assert_eq!(bench.active(), STEP);
    bench
}

fn says(bench: &mut Bench, Says(volts, ohms): Says, seconds: u64) {
    for _ in 0..seconds {
        bench.now += 1_000_000;
        if let Some(volts) = volts {
            bench.feed("IR-01", Function::VoltageDc, volts);
        }
        bench.feed("IR-01", Function::InsulationResistance, ohms);
    }
}

/// Both clips on one metal point, voltage on and off again.
fn join(bench: &mut Bench, shows: &'static str) {
    assert_eq!(bench.state(), "join_clips");
    says(bench, Says(None, shows), 3);
    bench.prove("closed_path").unwrap();
}

/// From the joined clips to the switch of the tester.
fn to_the_switch(bench: &mut Bench, idle: Says) {
    join(bench, "0.00 MOhm");
    says(bench, idle, 1);
    assert_eq!(bench.state(), "connect");
    bench.act("connected").unwrap();
    assert_eq!(bench.state(), "clear");
    says(bench, idle, 1);
    bench.act("clear").unwrap();
    assert_eq!(bench.state(), "voltage_on");
    says(bench, idle, 2);
}

/// From a value to the end of the step.
fn off(bench: &mut Bench, idle: Says) {
    assert_eq!(bench.state(), "voltage_off");
    says(bench, idle, 4);
    bench.act("dead").unwrap();
    join(bench, "0.00 MOhm");
}

/// The whole step as it should go; `shows` for so many seconds.
pub(super) fn insulate(bench: &mut Bench, shows: &'static str, seconds: u64) {
    to_the_switch(bench, OFF);
    bench.act("live").unwrap();
    says(bench, Says(None, shows), seconds);
    off(bench, OFF);
}

fn verdict(bench: &Bench) -> (Word, Vec<String>) {
    bench.verdict("insulation")
}

fn captured(bench: &Bench) -> usize {
    bench.values().iter().filter(|value| value.step == STEP).count()
}

/// At least 2 Mohm for class I.
#[test]
fn a_run_gives_the_smallest_at_its_end_and_says_that_the_voltage_was_seen() {
    for (shows, word) in [
        ("48.2 MOhm", Word::Pass),
        (">200 MOhm", Word::Pass),
        ("2.00 MOhm", Word::Pass),
        ("1.99 MOhm", Word::Fail),
        ("0.00 MOhm", Word::Fail),
    ] {
        let mut bench = open(&setting());
        insulate(&mut bench, shows, 65);
        assert_eq!(verdict(&bench).0, word, "{shows}: {:?}", verdict(&bench));
        assert_eq!(bench.values().last().unwrap().known, Some(Known::Witnessed));
    }
    let mut bench = open(&setting());
    to_the_switch(&mut bench, OFF);
    bench.act("live").unwrap();
    says(&mut bench, Says(None, "12.0 MOhm"), 60);
    for shows in ["48.3 MOhm", "48.2 MOhm", "48.4 MOhm", "48.4 MOhm"] {
        says(&mut bench, Says(None, shows), 1);
    }
    assert_eq!(bench.values().last().unwrap().value, "48.2");
}

/// Nothing but the run gives a value: not what is said before the leads are laid, with hands on
/// them, or after the voltage is off.
#[test]
fn nothing_is_captured_but_live() {
    let mut bench = open(&setting());
    says(&mut bench, OPEN, 70);
    assert!(bench.act("connected").unwrap_err().key.contains("path_first"));
    join(&mut bench, "0.00 MOhm");
    says(&mut bench, OPEN, 70);
    bench.act("connected").unwrap();
    says(&mut bench, OPEN, 70);
    let capture = Command::Capture { expect: None };
    assert_eq!(bench.ask(&capture).unwrap_err().key, "refusal.not_live");
    assert!(bench.act("live").unwrap_err().key.contains("out_of_turn"), "hands first");
    bench.act("clear").unwrap();
    says(&mut bench, OPEN, 70);
    assert_eq!(captured(&bench), 0);
    bench.act("live").unwrap();
    assert!(bench.prove("closed_path").unwrap_err().key.contains("out_of_turn"));
    let skip = Command::Skip { reason: "no time".to_string() };
    assert_eq!(bench.ask(&skip).unwrap_err().key, "refusal.may_be_live");
    assert_eq!(bench.ask(&Command::Park).unwrap_err().key, "refusal.may_be_live");
}

/// Forgotten, a voltage reads as the best insulation there is. A display that goes on saying so
/// shows none.
#[test]
fn a_voltage_that_was_never_switched_on_passes_nothing() {
    // A tester that says that it has none: no value.
    let mut bench = open(&setting());
    to_the_switch(&mut bench, OFF);
    bench.act("live").unwrap();
    says(&mut bench, OFF, 90);
    assert_eq!((captured(&bench), bench.state()), (0, "capture"));
    // One that tells its own: no value either, whatever else it says.
    for volts in ["0 V", "3 V", "262 V", "499 V"] {
        let mut bench = open(&setting());
        to_the_switch(&mut bench, OFF);
        bench.act("live").unwrap();
        says(&mut bench, Says(Some(volts), ">200 MOhm"), 90);
        assert_eq!(captured(&bench), 0, "{volts}");
        assert_eq!(bench.inspection.prompt().refused, Some("voltage_not_shown"), "{volts}");
    }
    // One that says numbers all the time: a value, and no pass.
    let mut bench = open(&setting());
    to_the_switch(&mut bench, OPEN);
    bench.act("live").unwrap();
    assert_eq!(bench.inspection.prompt().refused, Some("voltage_not_shown"));
    says(&mut bench, OPEN, 65);
    off(&mut bench, OPEN);
    let words = ["conditions_declared", "voltage_not_shown"].map(String::from);
    let (word, mut said) = verdict(&bench);
    said.sort();
    assert_eq!((word, said), (Word::Undecided, words.to_vec()));
}

/// A number that lies in the range comes of a current: declared, it passes with that word.
#[test]
fn a_voltage_that_only_the_person_knows_of_is_declared() {
    for (shows, word) in [("48.2 MOhm", Word::Pass), ("1.50 MOhm", Word::Fail)] {
        let mut bench = open(&setting());
        to_the_switch(&mut bench, Says(None, "0.00 MOhm"));
        bench.act("live").unwrap();
        says(&mut bench, Says(None, shows), 65);
        off(&mut bench, Says(None, shows));
        assert_eq!(verdict(&bench).0, word);
        assert!(verdict(&bench).1.contains(&"conditions_declared".to_string()));
    }
}

/// 500 V from 0.5 Mohm up; below that a tester of 1 mA can't hold it (IEC 61557-2:2019, excerpt
/// seen), and what reads so little fails.
#[test]
fn a_tester_that_tells_its_voltage_is_believed() {
    for (volts, shows, word) in [
        ("523 V", "48.2 MOhm", Some(Word::Pass)),
        ("0.5 kV", ">200 MOhm", Some(Word::Pass)),
        ("300 V", "0.20 MOhm", Some(Word::Fail)),
        ("0 V", "0.00 MOhm", Some(Word::Fail)),
        ("300 V", "1.90 MOhm", None),
    ] {
        let mut bench = open(&setting());
        to_the_switch(&mut bench, OFF);
        bench.act("live").unwrap();
        says(&mut bench, Says(Some(volts), shows), 65);
        match word {
            None => assert_eq!(captured(&bench), 0, "{volts} {shows}"),
            Some(word) => {
                off(&mut bench, Says(Some("4 V"), "none"));
                assert_eq!(verdict(&bench).0, word, "{volts} {shows}");
                assert!(verdict(&bench).1.is_empty());
            }
        }
    }
}

/// Whatever ends the voltage begins the minute again: the tester's word, its own voltage, silence.
#[test]
fn the_clock_runs_as_long_as_the_voltage_and_no_longer() {
    let breaks: [fn(&mut Bench); 4] = [
        |bench| says(bench, OFF, 1),
        |bench| says(bench, Says(Some("3 V"), "48.2 MOhm"), 1),
        |bench| says(bench, Says(Some("262 V"), "48.2 MOhm"), 1),
        |bench| bench.now += 5_000_000,
    ];
    for (at, breaks) in breaks.into_iter().enumerate() {
        let mut bench = open(&setting());
        to_the_switch(&mut bench, OFF);
        bench.act("live").unwrap();
        let on = Says(Some("523 V"), "48.2 MOhm");
        says(&mut bench, on, 55);
        breaks(&mut bench);
        says(&mut bench, on, 55);
        assert_eq!(captured(&bench), 0, "break {at}");
        says(&mut bench, on, 10);
        assert_eq!(captured(&bench), 1, "break {at}");
    }
}

/// The minute before the act does not count, nor does one that is cut short.
#[test]
fn a_minute_that_is_too_short_gives_no_value() {
    let mut bench = open(&setting());
    to_the_switch(&mut bench, OFF);
    says(&mut bench, OPEN, 50);
    bench.act("live").unwrap();
    says(&mut bench, OPEN, 59);
    assert_eq!(captured(&bench), 0);
    bench.act("dead").unwrap();
    assert_eq!(bench.state(), "clear", "it was not measured: once more");
    says(&mut bench, OFF, 1);
    bench.act("clear").unwrap();
    says(&mut bench, OFF, 1);
    bench.act("live").unwrap();
    says(&mut bench, OPEN, 59);
    assert_eq!(captured(&bench), 0);
    says(&mut bench, OPEN, 6);
    assert_eq!(captured(&bench), 1);
}

/// A tester whose response nobody knows still waits for its minute.
#[test]
fn nobody_captures_an_insulation_at_once() {
    let fixed = setting();
    let instruments = fixed.instruments.replace("response_ms = 1000\n", "");
    assert_ne!(instruments, fixed.instruments);
    let mut bench = open(&Setting { instruments, ..fixed });
    to_the_switch(&mut bench, OFF);
    bench.act("live").unwrap();
    says(&mut bench, OPEN, 5);
    bench.ask(&Command::Capture { expect: None }).unwrap_err();
    says(&mut bench, OPEN, 40);
    assert_eq!(captured(&bench), 0);
    says(&mut bench, OPEN, 25);
    off(&mut bench, OFF);
    assert_eq!(verdict(&bench), (Word::Pass, vec![]));
}

/// Clips that were not joined, or no longer hold, show nothing: `> 200` is then no insulation.
#[test]
fn a_clip_that_is_off_passes_nothing() {
    for joined in [[true, false], [false, true], [false, false]] {
        let mut bench = open(&setting());
        let shows = |joined: bool| if joined { "0.00 MOhm" } else { ">200 MOhm" };
        join(&mut bench, shows(joined[0]));
        says(&mut bench, OFF, 1);
        bench.act("connected").unwrap();
        says(&mut bench, OFF, 1);
        bench.act("clear").unwrap();
        says(&mut bench, OFF, 1);
        bench.act("live").unwrap();
        says(&mut bench, OPEN, 65);
        says(&mut bench, OFF, 1);
        bench.act("dead").unwrap();
        join(&mut bench, shows(joined[1]));
        let want = (Word::Undecided, vec!["path_not_proved".to_string()]);
        assert_eq!(verdict(&bench), want, "{joined:?}");
    }
}

/// A held display is said by the meter, or contradicted by joined clips.
#[test]
fn a_held_display_passes_nothing() {
    let mut bench = open(&setting());
    says(&mut bench, OPEN, 3);
    bench.prove("closed_path").unwrap();
    says(&mut bench, OPEN, 1);
    bench.act("connected").unwrap();
    says(&mut bench, OPEN, 1);
    bench.act("clear").unwrap();
    says(&mut bench, OPEN, 1);
    bench.act("live").unwrap();
    says(&mut bench, OPEN, 65);
    bench.act("dead").unwrap();
    says(&mut bench, OPEN, 3);
    bench.prove("closed_path").unwrap();
    assert_eq!(verdict(&bench).0, Word::Undecided);
}

/// The tester says itself that it is not safe yet.
#[test]
fn nobody_says_dead_while_the_tester_shows_its_voltage() {
    let mut bench = open(&setting());
    to_the_switch(&mut bench, Says(Some("2 V"), "none"));
    bench.act("live").unwrap();
    says(&mut bench, Says(Some("523 V"), "48.2 MOhm"), 65);
    for (volts, refused) in [("523 V", true), ("60.1 V", true), ("60.0 V", false)] {
        says(&mut bench, Says(Some(volts), "none"), 1);
        match bench.act("dead") {
            Err(why) => assert_eq!((why.key, refused), ("refusal.voltage_is_there", true)),
            Ok(()) => assert!(!refused, "{volts}"),
        }
    }
    // And nobody lays leads on a tester that is still on after the clips were joined.
    join(&mut bench, "0.00 MOhm");
    assert_eq!(verdict(&bench).0, Word::Pass);
    let mut bench = open(&setting());
    join(&mut bench, "0.00 MOhm");
    says(&mut bench, Says(Some("523 V"), ">200 MOhm"), 1);
    assert_eq!(bench.act("connected").unwrap_err().key, "refusal.voltage_is_there");
    says(&mut bench, Says(Some("0 V"), "none"), 1);
    bench.act("connected").unwrap();
}

/// A restart or a lost cable in the run: what was live may still be, and the path is shown no
/// more.
#[test]
fn a_run_that_nobody_watched_proves_nothing() {
    for restart in [true, false] {
        let mut bench = open(&setting());
        to_the_switch(&mut bench, OFF);
        bench.act("live").unwrap();
        says(&mut bench, OPEN, 65);
        assert_eq!(captured(&bench), 1);
        if restart {
            bench.resume("boot-1", DAY);
            assert_eq!(bench.state(), "may_be_live");
        } else {
            let down =
                LinkFact { link: "iso".into(), state: "down".into(), why: None, identity: None };
            bench.put(vec![Fact::Link(down)], None);
        }
        says(&mut bench, OFF, 2);
        bench.act("dead").unwrap();
        says(&mut bench, OFF, 1);
        join(&mut bench, "0.00 MOhm");
        let want = (Word::Undecided, vec!["path_not_proved".to_string()]);
        assert_eq!(verdict(&bench), want, "restart {restart}");
    }
    // Before the leads are laid the clips are joined once more.
    let mut bench = open(&setting());
    join(&mut bench, "0.00 MOhm");
    bench.resume("boot-1", DAY);
    says(&mut bench, OFF, 2);
    insulate(&mut bench, ">200 MOhm", 65);
    assert_eq!(verdict(&bench), (Word::Pass, vec![]));
}

/// Contacts that see the supply on say nothing of the tester, and mains on the asset stops it.
#[test]
fn the_supply_box_has_no_part_in_it() {
    let mut bench = Bench::open(&Setting { witnessed: true, ..setting() });
    bench.set(false, false, false);
    to_the_leakage(&mut bench);
    to_the_switch(&mut bench, OFF);
    bench.set(false, false, true);
    says(&mut bench, OPEN, 70);
    assert_eq!((captured(&bench), bench.state()), (0, "voltage_off"));
    bench.set(false, false, false);
    assert_eq!(bench.state(), "voltage_off", "only a person says that the tester is off");
    bench.act("dead").unwrap();
    assert_eq!(bench.state(), "clear");
    let said = |fact: &Fact| matches!(fact, Fact::Switch(one) if one.known == Known::Declared);
    assert!(!bench.lines.iter().any(|line| said(&line.fact)), "nobody moved the box");
}

/// Books of the lists before were captured without a run; their lines say the same for ever.
#[test]
fn an_older_list_of_proofs_has_no_run() {
    for (proofs, broken) in [(3, false), (2, true)] {
        let policy = Policy { proofs, ..Policy::default() };
        let mut bench = open(&Setting { policy, ..setting() });
        join(&mut bench, "0.00 MOhm");
        assert_eq!(bench.state(), "arm");
        assert_eq!(bench.act("connected").unwrap_err().key, "refusal.no_live_step");
        bench.ask(&Command::Capture { expect: None }).unwrap();
        says(&mut bench, OPEN, 40);
        says(&mut bench, OFF, 1);
        says(&mut bench, OPEN, 40);
        assert_eq!(captured(&bench), usize::from(broken), "{proofs}");
        says(&mut bench, OPEN, 40);
        join(&mut bench, "0.00 MOhm");
        assert_eq!(verdict(&bench), (Word::Pass, vec![]));
        assert_eq!(bench.values().last().unwrap().known, None);
    }
    assert_eq!(Policy::default().proofs, PROOFS);
}

/// A tester that says 250 V in the register can't start; the plan asks for 500.
#[test]
fn the_register_says_what_the_tester_gives() {
    let fixed = setting();
    let instruments =
        fixed.instruments.replace("test_voltage = \"500 V\"", "test_voltage = \"250 V\"");
    let mut bench = Box::new(Bench::open(&Setting { instruments, ..fixed }));
    to_the_leakage(&mut bench);
    assert_ne!(bench.active(), STEP, "closed");
    assert_eq!(verdict(&bench).0, Word::Undecided);
}
