//! An insulation that is judged at another temperature than it had: it halves with each 10 K
//! (IEEE 43-2013 by public walk-throughs, excerpts seen: 500 Mohm at 25 C are 177 at 40 C).

use alloc::string::{String, ToString};
use alloc::vec;
use alloc::vec::Vec;

use super::bench::{Bench, Setting};
use super::tester::insulate;
use crate::fact::{Fact, Word};
use crate::inspection::{Command, Refusal};
use crate::plan;

/// The shipped plan with its insulation judged at 40 degrees.
fn setting() -> Setting {
    let text = plan::builtin("iec62353-recurrent-direct").unwrap();
    let at_40 = "combine   = \"smallest\"\ncorrect   = [\"temperature\"]\ncelsius   = \"40\"\n";
    Setting {
        text: Some(text.replacen("combine   = \"smallest\"\n", at_40, 1)),
        asked: vec!["insulation".to_string()],
        confirmed: vec!["iec62353-2014.insulation.mains_to_earth".to_string()],
        ..Setting::default()
    }
}

fn warm(bench: &mut Bench, celsius: &str, source: &str) -> Result<(), Refusal> {
    let (celsius, source) = (celsius.to_string(), source.to_string());
    bench.ask(&Command::Temperature { celsius, source })
}

/// At the insulation.
fn next() -> Bench {
    let mut bench = Bench::open(&setting());
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.answer("pass").unwrap();
    bench.touch("0.182 Ohm");
    bench.touch("-0.190 Ohm");
    assert_eq!((bench.active().as_str(), bench.state()), ("insulation/1", "join_clips"));
    bench
}

fn measured(bench: &mut Bench, shows: &'static str) -> (Word, Vec<String>) {
    insulate(bench, shows, 66);
    bench.verdict("insulation")
}

#[test]
fn what_conforms_as_it_was_read_may_not_at_the_plans_temperature() {
    for (shows, celsius, gives, word) in [
        ("500 MOhm", "25", "176.776500", Word::Pass),
        ("5.66 MOhm", "25", "2.00110998", Word::Pass),
        ("5.65 MOhm", "25", "1.99757445", Word::Fail),
        ("4.00 MOhm", "25", "1.41421200", Word::Fail),
        ("1.60 MOhm", "45", "2.2627360", Word::Pass),
    ] {
        let mut bench = next();
        assert!(bench.inspection.prompt().missing.contains(&"no_temperature"));
        warm(&mut bench, celsius, "thermometer on the housing").unwrap();
        warm(&mut bench, celsius, "thermometer on the housing").unwrap();
        assert!(!bench.inspection.prompt().missing.contains(&"no_temperature"));
        let (found, reasons) = measured(&mut bench, shows);
        assert_eq!(found, word, "{shows} at {celsius}: {reasons:?}");
        assert!(reasons.contains(&"conditions_declared".to_string()), "it is a person's word");
        let judged = &bench.inspection.record().verdicts["insulation"].fact.judged;
        let link = judged.chain.iter().find(|link| link.what == "temperature").unwrap();
        assert_eq!((link.at.as_deref(), link.to.as_deref()), (Some(celsius), Some("40")));
        assert_eq!(link.gives, [gives]);
        let check = bench.lines.iter().find(|line| Some(&line.seq) == link.from.first()).unwrap();
        let Fact::Prove(check) = &check.fact else { panic!("{check:?}") };
        assert_eq!(check.how.as_deref(), Some("thermometer on the housing"));
    }
}

#[test]
fn without_a_temperature_nothing_is_judged() {
    let mut bench = next();
    let none = [Word::Undecided];
    let (word, reasons) = measured(&mut bench, "500 MOhm");
    assert_eq!((word, reasons.contains(&"no_temperature".to_string())), (none[0], true));
    // Once is not twice; nor are two figures, or two thermometers.
    let mut bench = next();
    warm(&mut bench, "25", "thermometer").unwrap();
    warm(&mut bench, "26", "thermometer").unwrap();
    warm(&mut bench, "26", "the wall").unwrap();
    assert_eq!(measured(&mut bench, "500 MOhm").0, Word::Undecided);
    // What was read a quarter of an hour ago is not the temperature of now.
    let mut bench = next();
    warm(&mut bench, "25", "thermometer").unwrap();
    warm(&mut bench, "25", "thermometer").unwrap();
    bench.now += 900_000_000;
    assert_eq!(measured(&mut bench, "500 MOhm").0, Word::Undecided);
}

/// Said after the value, it is no temperature that the value had: the step is measured again.
#[test]
fn a_temperature_that_is_said_later_corrects_nothing() {
    let mut bench = next();
    assert_eq!(measured(&mut bench, "500 MOhm").0, Word::Undecided);
    assert_eq!(warm(&mut bench, "25", "x").unwrap_err().key, "refusal.no_temperature_step");
    bench.ask(&Command::Repeat { step: "insulation".into() }).unwrap();
    while bench.active() != "insulation/1" {
        bench.ask(&Command::Skip { reason: "later".into() }).unwrap();
    }
    warm(&mut bench, "25", "thermometer").unwrap();
    warm(&mut bench, "25", "thermometer").unwrap();
    let verdicts = &bench.inspection.record().verdicts;
    assert!(!verdicts.contains_key("insulation"), "the value is older");
    assert_eq!(measured(&mut bench, "500 MOhm").0, Word::Pass);
}

#[test]
fn what_is_no_temperature_is_refused_and_so_is_one_that_nobody_asks_for() {
    let mut bench = next();
    for celsius in ["250", "-11", "warm", "25.001", ""] {
        assert_eq!(warm(&mut bench, celsius, "x").unwrap_err().key, "refusal.no_celsius");
    }
    assert_eq!(warm(&mut bench, "25", " ").unwrap_err().key, "refusal.reason_needed");
    let mut bench = Bench::open(&Setting::default());
    assert_eq!(warm(&mut bench, "25", "x").unwrap_err().key, "refusal.no_temperature_step");
}
