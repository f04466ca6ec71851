//! Operating states: what is shut off in one of them leaks in the other (IEC 60601-1:2005 8.7.1 b),
//! energised in stand-by and fully operating, from memory).

use alloc::string::ToString;
use alloc::vec::Vec;

use super::bench::{Bench, Setting};
use crate::fact::{Fact, Policy, ProveFact, Word};
use crate::register::Known;

/// Protective earth is proved, the supply checked: the lamp that dims comes to its leakage.
fn to_leak(setting: &Setting) -> Bench {
    let mut bench = Bench::open(setting);
    bench.set(false, false, false);
    bench.reach_the_first_leakage();
    bench
}

fn dims() -> Setting {
    Setting { asset: "P-0119", ..Setting::default() }
}

/// With hands clear and the supply on, in the first polarity.
fn energised(bench: &mut Bench) {
    bench.act("connected").unwrap();
    bench.until("prove_open");
    bench.set(false, true, false);
    bench.until("clear");
    bench.act("clear").unwrap();
    bench.set(false, true, true);
    if bench.state() == "live" {
        bench.act("live").unwrap();
    }
}

fn leaks(bench: &Bench) -> usize {
    bench.values().iter().filter(|value| value.step.starts_with("leak")).count()
}

fn states(bench: &Bench) -> Vec<(&str, Option<&str>, Option<Known>)> {
    let values = bench.values().into_iter().filter(|value| value.step.starts_with("leak"));
    values.map(|v| (v.step.as_str(), v.operating.as_deref(), v.known)).collect()
}

#[test]
fn each_state_is_measured_and_stands_with_its_value() {
    let mut bench = to_leak(&dims());
    bench.leak_declared();
    assert_eq!((bench.active().as_str(), bench.state()), ("leak/3", "connect"));
    bench.leak_declared();
    let said = Some(Known::Declared);
    let (one, other) = (Some("standby"), Some("operating"));
    assert_eq!(
        states(&bench),
        [
            ("leak/1", one, said),
            ("leak/2", one, said),
            ("leak/3", other, said),
            ("leak/4", other, said)
        ]
    );
    let reasons = ["near_limit", "nothing_earlier", "conditions_declared"].map(ToString::to_string);
    assert_eq!(bench.verdict("leak"), (Word::Pass, reasons.to_vec()));
}

/// 100 kohm behind a relay that is open in standby.
#[test]
fn a_fault_that_standby_hides_fails_the_step() {
    let mut bench = to_leak(&dims());
    bench.world.leak = ["159 mV".into(), "159 mV".into()];
    bench.leak_declared();
    bench.world.leak = ["2283 mV".into(), "159 mV".into()];
    bench.leak_declared();
    assert_eq!(bench.verdict("leak").0, Word::Fail);
}

#[test]
fn nothing_is_captured_before_the_state_was_set_and_seen() {
    for witnessed in [false, true] {
        let mut bench = to_leak(&Setting { witnessed, ..dims() });
        energised(&mut bench);
        bench.run(30);
        let prompt = bench.inspection.prompt();
        assert_eq!((prompt.state, prompt.operating.as_deref()), ("set_state", Some("standby")));
        assert_eq!(leaks(&bench), 0, "witnessed: {witnessed}");
        bench.prove("alive").unwrap();
        bench.until("dead");
        assert_eq!(states(&bench), [("leak/1", Some("standby"), Some(Known::Declared))]);
        let shown = |fact: &ProveFact| (fact.what == "alive").then(|| fact.operating.clone());
        let proofs = bench.inspection.record().proofs.iter().filter_map(|line| shown(&line.fact));
        assert_eq!(proofs.collect::<Vec<_>>(), [Some("standby".to_string())]);
    }
}

/// The second polarity is energised anew: what the asset comes up in then is to be seen again.
#[test]
fn a_state_holds_while_it_is_energised_and_no_longer() {
    let mut bench = to_leak(&dims());
    energised(&mut bench);
    bench.prove("alive").unwrap();
    bench.until("dead");
    bench.set(false, true, false);
    bench.act("dead").unwrap();
    bench.until("clear");
    bench.set(true, true, false);
    bench.act("clear").unwrap();
    bench.set(true, true, true);
    bench.act("live").unwrap();
    bench.run(30);
    assert_eq!((bench.active().as_str(), bench.state(), leaks(&bench)), ("leak/2", "set_state", 1));
}

/// What was read before the asset was in its state is no part of the value.
#[test]
fn the_window_begins_after_the_state_was_set() {
    let mut bench = to_leak(&dims());
    bench.world.leak[0] = "100 mV".into();
    energised(&mut bench);
    bench.run(3);
    bench.prove("alive").unwrap();
    bench.run(3);
    bench.world.leak[0] = "462 mV".into();
    // Set once more: the readings of before go with the state of before.
    bench.prove("alive").unwrap();
    let set = bench.now;
    bench.until("dead");
    let value = (*bench.values().last().unwrap()).clone();
    assert_eq!(value.value, "462");
    let first = |id: &_| bench.readings.iter().find(|one| one.id == *id).map(|r| r.reading.first.0);
    assert!(value.from.iter().all(|id| first(id).is_some_and(|at| set + 500_000 <= at)));
}

/// A book of the fourth list: `live` says that the asset works, in whichever state.
#[test]
fn books_of_the_list_before_are_judged_as_they_were() {
    let policy = Policy { proofs: 4, ..Policy::default() };
    let mut bench = to_leak(&Setting { policy, ..dims() });
    energised(&mut bench);
    assert_eq!(bench.state(), "capture");
    bench.until("dead");
    assert_eq!(states(&bench), [("leak/1", None, Some(Known::Declared))]);
    let named = |line: &super::bench::Stored| match &line.fact {
        Fact::Prove(proof) => proof.operating.is_some(),
        _ => false,
    };
    assert!(!bench.lines.iter().any(named));
}

#[test]
fn what_has_one_state_is_not_asked_for_it() {
    let mut bench = to_leak(&Setting::default());
    bench.leak_declared();
    assert!(states(&bench).iter().all(|(_, state, _)| state.is_none()));
    assert_eq!(bench.verdict("leak").0, Word::Pass);
}
