//! Protective earth: contacts, windows, nulls.

use alloc::string::ToString;
use alloc::vec;

use tapline_drivers::Function;

use super::bench::{Bench, Setting};
use crate::fact::{CheckFact, Fact, Policy, Word};
use crate::inspection::{Command, StepState};

fn looked() -> Bench {
    let mut bench = Bench::open(&Setting::default());
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.answer("pass").unwrap();
    bench
}

/// A stream frozen at one value through ten steps gives exactly one capture, and that one only
/// after the operator armed it.
#[test]
fn a_frozen_stream_gives_one_capture() {
    let mut bench = looked();
    bench.world.ohms = "0.182 Ohm".into();
    bench.run(60);
    assert_eq!(bench.values().len(), 1, "the clips were apart after the null");
    bench.run(600);
    assert_eq!(bench.values().len(), 1, "a new step never arms");
    bench.ask(&Command::Capture { expect: None }).unwrap();
    bench.run(60);
    assert_eq!(bench.values().len(), 2, "an act does");
}

/// Both clips on the part, none on the plug: 0.061 ohm of leads, and nothing else.
#[test]
fn a_low_resistance_that_is_nothing_but_its_leads_proves_no_path() {
    for (plus, minus, word) in [
        ("0.063 Ohm", "-0.060 Ohm", Word::Undecided),
        ("0.182 Ohm", "-0.065 Ohm", Word::Undecided),
        ("0.066 Ohm", "-0.066 Ohm", Word::Pass),
    ] {
        let mut bench = looked();
        bench.touch(plus);
        bench.touch(minus);
        assert_eq!(bench.verdict("pe").0, word, "{plus} {minus}");
        if word == Word::Undecided {
            assert_eq!(bench.verdict("pe").1, ["path_not_proved"]);
            assert_ne!(bench.active(), "leak/1", "it opens no gate");
        }
    }
}

#[test]
fn an_inspection_starts_spent() {
    let mut bench = Bench::open(&Setting::default());
    bench.world.ohms = "0.182 Ohm".into();
    bench.answer("pass").unwrap();
    bench.run(60);
    assert!(bench.values().is_empty());
    assert_eq!(bench.state(), "arm");
    assert_eq!(bench.readings.last().unwrap().at.why, Some("spent"));
}

#[test]
fn a_broken_earth_is_a_fail_that_keeps_energised_steps_closed() {
    let mut bench = looked();
    for _ in 0..2 {
        bench.world.ohms = "OL".into();
        bench.run(2);
        bench.ask(&Command::Capture { expect: None }).unwrap();
        bench.run(8);
    }
    assert_eq!(bench.verdict("pe").0, Word::Fail);
    assert_eq!(bench.values()[0].value, "2");
    assert_eq!(bench.values()[0].indication.as_deref(), Some("above"));
    assert_eq!(bench.verdict("leak"), (Word::Undecided, ["gate_closed".into()].into()));
    let over = Command::Override { step: "leak".into(), reason: "ward waits".into() };
    assert_eq!(bench.ask(&over).unwrap_err().key, "refusal.gate_failed");
}

#[test]
fn the_window_begins_with_the_contact_and_closes_with_the_first_reading_after_it() {
    let mut bench = looked();
    bench.run(2);
    bench.world.ohms = "0.182 Ohm".into();
    let touched = bench.now;
    bench.until("arm");
    let value = bench.values()[0].clone();
    let stamp = |id| bench.readings.iter().find(|one| one.id == id).unwrap().reading.first.0;
    let (first, last) = (stamp(value.from[0]), stamp(*value.from.last().unwrap()));
    let seen = |one: &&super::bench::Attached| touched < one.reading.first.0;
    let contact = bench.readings.iter().find(seen).unwrap().reading.first.0;
    // First reading below ten limits, then twice 400 ms and 20 ms, then five seconds.
    assert_eq!(first, contact + 1_200_000, "one reading every 0.4 s");
    assert!(last - first >= 5_000_000 && last - first < 5_400_000);
    assert_eq!(value.rule, "worst_over");
}

#[test]
fn a_lifted_probe_before_the_guard_ends_begins_again() {
    let mut bench = looked();
    bench.run(2);
    for shows in ["0.182 Ohm", "OL", "0.190 Ohm"] {
        bench.world.ohms = shows.into();
        bench.now += 400_000;
        bench.feed("LR-01", Function::Resistance4w, shows);
    }
    bench.run(8);
    let value = bench.values()[0];
    assert_eq!((value.value.as_str(), value.words.len()), ("0.190", 0));
}

/// An open circuit, or a jump of more than 20 % of the limit, inside the window.
#[test]
fn an_event_inside_the_window_leaves_the_step_undecided_until_a_full_window_has_none() {
    for event in ["OL", "0.250 Ohm"] {
        let mut bench = looked();
        bench.touch("-0.150 Ohm");
        bench.run(2);
        bench.world.ohms = "OL".into();
        bench.run(2);
        bench.world.ohms = "0.182 Ohm".into();
        bench.run(4);
        bench.now += 400_000;
        bench.feed("LR-01", Function::Resistance4w, event);
        bench.run(8);
        assert_eq!(bench.values()[1].words, ["open_seen"], "{event}");
        assert_eq!(bench.verdict("pe"), (Word::Undecided, vec!["open_seen".to_string()]));
        bench.ask(&Command::Repeat { step: "pe/2".into() }).unwrap();
        bench.touch("0.182 Ohm");
        assert_eq!(bench.verdict("pe").0, Word::Pass, "{event}");
        assert!(bench.inspection.outcome().words.contains(&"open_seen".to_string()));
    }
}

#[test]
fn a_failing_value_is_not_replaced_by_a_better_one() {
    let mut bench = looked();
    bench.touch("0.400 Ohm");
    assert_eq!(bench.verdict("pe").0, Word::Fail, "at once, with one direction missing");
    bench.touch("-0.150 Ohm");
    bench.ask(&Command::Repeat { step: "pe/1".into() }).unwrap();
    bench.touch("0.150 Ohm");
    assert_eq!(bench.verdict("pe").0, Word::Fail);
    let seq = bench.inspection.record().values[0].line.seq;
    let discard = |second: Option<&str>| Command::Discard {
        seq,
        cause: "lead_slipped".into(),
        second: second.map(ToString::to_string),
    };
    bench.ask(&discard(None)).unwrap();
    assert_eq!(bench.verdict("pe").0, Word::Fail, "one person can't set a fail aside");
    assert_eq!(bench.ask(&discard(Some("op-7"))).unwrap_err().key, "refusal.second_person");
    bench.ask(&discard(Some("op-2"))).unwrap();
    assert_eq!(bench.verdict("pe").0, Word::Pass);
    assert!(bench.inspection.outcome().words.contains(&"set_aside".to_string()));
    let drops = bench.lines.iter().filter(|line| matches!(line.fact, Fact::Drop(_))).count();
    assert_eq!(drops, 2, "both stand in the record");
}

#[test]
fn leads_that_were_not_nulled_leave_earth_undecided_and_the_gate_closed() {
    let mut bench = Bench::open(&Setting::default());
    bench.answer("pass").unwrap();
    assert_eq!(bench.inspection.prompt().missing, ["lead_not_nulled"]);
    bench.touch("0.182 Ohm");
    bench.touch("-0.190 Ohm");
    assert_eq!(bench.verdict("pe"), (Word::Undecided, vec!["lead_not_nulled".to_string()]));
    assert_eq!(bench.verdict("leak"), (Word::Undecided, vec!["gate_closed".to_string()]));
    assert_eq!(bench.verdict("try"), (Word::Undecided, vec!["gate_closed".to_string()]));
    assert_eq!((bench.active().as_str(), bench.state()), ("", "close_scan"));
    // Nulled and measured again, the gate opens and the closed steps come back.
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.ask(&Command::Repeat { step: "pe".into() }).unwrap();
    let told = |bench: &Bench, step: &str| bench.inspection.record().verdicts.contains_key(step);
    assert!(!told(&bench, "pe") && told(&bench, "leak"), "what it was undecided for is void");
    bench.touch("0.182 Ohm");
    bench.touch("-0.190 Ohm");
    assert_eq!(bench.verdict("pe").0, Word::Pass);
    assert_eq!(bench.active(), "leak/1");
    assert!(!told(&bench, "leak"), "the gate is open");
}

#[test]
fn an_undecided_gate_opens_for_live_work_competence_only_and_with_a_reason() {
    let mut bench = Bench::open(&Setting::default());
    bench.answer("pass").unwrap();
    let over = |reason: &str| Command::Override { step: "leak".into(), reason: reason.into() };
    bench.touch("0.182 Ohm");
    // One direction of two: nobody knows yet what it comes to.
    assert_eq!(bench.ask(&over("hurry")).unwrap_err().key, "refusal.gate_not_measured");
    bench.touch("-0.190 Ohm");
    let at = tapline_drivers::Now(bench.now + 2_000_000);
    let refused = bench.inspection.command(at, &over("bench test"), Some("op-2")).unwrap_err();
    assert_eq!(refused.key, "refusal.no_live_work");
    assert_eq!(bench.ask(&over(" ")).unwrap_err().key, "refusal.reason_needed");
    bench.ask(&over("leads were nulled by hand")).unwrap();
    assert_eq!(bench.active(), "leak/1");
    let closed = |bench: &Bench| bench.inspection.record().step_named("try").unwrap().state;
    assert_eq!(closed(&bench), StepState::Closed, "it was opened for the leakage alone");
    assert!(bench.inspection.outcome().words.contains(&"overridden".to_string()));
}

#[test]
fn a_null_far_from_the_reference_of_the_leads_is_not_taken() {
    let mut bench = Bench::open(&Setting::default());
    bench.ask(&Command::Null { lead: "L-1".into() }).unwrap();
    bench.world.ohms = "0.074 Ohm".into();
    bench.run(20);
    assert!(bench.inspection.record().nulls.is_empty(), "0.058 and 15 thousandths: 0.073 at most");
    assert_eq!(bench.inspection.prompt().refused, Some("lead_not_nulled"));
    assert_eq!(bench.state(), "null");
}

#[test]
fn one_direction_taken_twice_is_no_pair() {
    let mut bench = Bench::open(&Setting::default());
    bench.null("0.061 Ohm", "0.061 Ohm");
    assert_eq!(bench.inspection.record().nulls.len(), 1, "the current was not turned round");
    let mut bench = looked();
    bench.touch("0.182 Ohm");
    bench.touch("0.180 Ohm");
    assert_eq!(bench.verdict("pe"), (Word::Undecided, vec!["condition_not_set".to_string()]));
}

/// The pair of the standard with the meter's own zero: nothing is subtracted a second time.
#[test]
fn what_the_meter_subtracts_is_not_subtracted_again() {
    let mut bench = Bench::open(&Setting::default());
    bench.world.relative = true;
    bench.null("0.000 Ohm", "-0.001 Ohm");
    assert!(bench.inspection.record().nulls.iter().all(|line| line.fact.zeroed == "in_meter"));
    bench.answer("pass").unwrap();
    bench.touch("0.243 Ohm");
    bench.touch("-0.275 Ohm");
    let judged = &bench.inspection.record().verdicts["pe"].fact.judged;
    assert_eq!((judged.verdict, judged.shown.as_deref()), (Word::Pass, Some("0.275")));
    // The zero key pressed after a null by software: nobody knows what is subtracted.
    let mut bench = looked();
    bench.world.relative = true;
    bench.touch("0.182 Ohm");
    bench.touch("-0.190 Ohm");
    assert_eq!(bench.verdict("pe"), (Word::Undecided, vec!["lead_not_nulled".to_string()]));
}

#[test]
fn an_old_null_is_no_null() {
    let mut bench = looked();
    bench.now += 61 * 60_000_000;
    bench.touch("0.182 Ohm");
    bench.touch("-0.190 Ohm");
    let (word, reasons) = bench.verdict("pe");
    assert_eq!(word, Word::Undecided);
    assert!(reasons.contains(&"null_too_old".to_string()), "{reasons:?}");
}

#[test]
fn an_unknown_response_leaves_the_capture_to_the_operator() {
    let fixed = Setting::default();
    let instruments = fixed.instruments.replacen("response_ms = 400\n", "", 1);
    let mut bench = Bench::open(&Setting { instruments, ..fixed });
    bench.answer("pass").unwrap();
    bench.touch("0.182 Ohm");
    assert!(bench.values().is_empty());
    bench.ask(&Command::Capture { expect: None }).unwrap();
    assert_eq!((bench.values().len(), bench.values()[0].rule.as_str()), (1, "operator"));
    bench.run(10);
    assert_eq!(bench.values().len(), 1, "one act, one value");
}

/// A bit that flips makes another digit: ASCII `4` and `0` differ in one. The true reading beside
/// it is the worse one.
#[test]
fn a_digit_that_flipped_in_one_reading_makes_no_value_better() {
    let fixed = Setting::default();
    let instruments = fixed.instruments.replacen("response_ms = 400\n", "", 1);
    for flipped in 0..2 {
        let mut bench =
            Bench::open(&Setting { instruments: instruments.clone(), ..Setting::default() });
        bench.answer("pass").unwrap();
        bench.touch("0.482 Ohm");
        let shows = ["0.082 Ohm", "0.482 Ohm"];
        for n in [flipped, 1 - flipped] {
            bench.now += 400_000;
            bench.feed("LR-01", Function::Resistance4w, shows[n]);
        }
        bench.ask(&Command::Capture { expect: None }).unwrap();
        assert_eq!(bench.values()[0].value, "0.482", "{flipped}");
        assert_eq!(bench.values()[0].from.len(), 2);
    }
}

#[test]
fn one_reading_alone_is_no_value() {
    let fixed = Setting::default();
    let instruments = fixed.instruments.replacen("response_ms = 400\n", "", 1);
    let mut bench = Bench::open(&Setting { instruments, ..fixed });
    bench.answer("pass").unwrap();
    bench.now += 10_000_000;
    bench.feed("LR-01", Function::Resistance4w, "0.182 Ohm");
    bench.ask(&Command::Capture { expect: None }).unwrap();
    assert!(bench.values().is_empty());
    bench.now += 400_000;
    bench.feed("LR-01", Function::Resistance4w, "0.183 Ohm");
    assert_eq!(bench.values()[0].value, "0.183");
}

#[test]
fn a_meter_that_failed_its_bench_check_passes_nothing() {
    let amount = |text: &str| crate::Amount::parse(text).ok();
    let check = |of: Option<&str>, ok: bool| CheckFact {
        bench: "b1".into(),
        standard: "CS-1".into(),
        certificate: "C-1".into(),
        instrument: if of.is_some() { "DM-01" } else { "LR-01" }.into(),
        of: of.map(str::to_string),
        function: Function::Resistance4w,
        indication: None,
        value: Some("0.150".into()),
        unit: amount("1 Ohm").map(|one| one.unit),
        want: amount("0.200 Ohm"),
        room: amount("0.006 Ohm"),
        ok,
        from: vec![],
    };
    for (of, ok) in [(None, true), (None, false), (Some("LR-01"), false), (Some("IR-01"), false)] {
        let checks = vec![check(of, ok)];
        let ok = ok || of == Some("IR-01");
        let word = if ok { Word::Pass } else { Word::Undecided };
        let mut bench = Bench::open(&Setting { checks, ..Setting::default() });
        bench.null("0.061 Ohm", "-0.061 Ohm");
        bench.answer("pass").unwrap();
        bench.touch("0.182 Ohm");
        bench.touch("-0.190 Ohm");
        let (judged, reasons) = bench.verdict("pe");
        assert_eq!(judged, word);
        assert_eq!(reasons.contains(&"bench_check_failed".to_string()), !ok);
    }
}

#[test]
fn a_lapsed_certificate_closes_the_step_or_is_said() {
    let fixed = Setting::default();
    let instruments = fixed.instruments.replacen("2027-03-31", "2026-11-23", 1);
    let lapsed = Setting { instruments, ..fixed };
    let mut bench = Bench::open(&lapsed);
    bench.answer("pass").unwrap();
    assert_eq!(bench.verdict("pe"), (Word::Undecided, vec!["out_of_calibration".to_string()]));
    let policy = Policy { out_of_calibration: "override".into(), ..Policy::default() };
    let mut bench = Bench::open(&Setting { policy, ..lapsed });
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.answer("pass").unwrap();
    bench.touch("0.182 Ohm");
    assert_eq!(bench.values()[0].words, ["out_of_calibration"]);
}

#[test]
fn a_held_display_is_never_captured() {
    let mut bench = looked();
    bench.run(2);
    for _ in 0..40 {
        bench.now += 400_000;
        let mut held = super::bench::reading(Function::Resistance4w, "0.1 Ohm");
        held.flags.push(tapline_drivers::Flag::Hold);
        (held.first, held.last) =
            (tapline_drivers::Now(bench.now), tapline_drivers::Now(bench.now));
        bench.seq += 1;
        let (at, facts) = bench.inspection.reading((bench.seq, 0), "LR-01", &held);
        assert_eq!((at.why, facts.len()), (Some("duplicate"), 0));
    }
}

/// The meter changes its range or its function inside the window.
#[test]
fn a_change_of_unit_or_function_inside_the_window_is_never_the_same_value() {
    use tapline_drivers::Function;
    for (function, shows) in [
        (Function::Resistance4w, "0.182 kOhm"),
        (Function::Resistance4w, "182 kOhm"),
        (Function::Resistance2w, "0.182 Ohm"),
        (Function::VoltageDc, "0.182 V"),
    ] {
        let mut bench = looked();
        bench.touch("-0.150 Ohm");
        bench.run(2);
        bench.world.ohms = "OL".into();
        bench.run(2);
        bench.world.ohms = "0.182 Ohm".into();
        bench.run(4);
        bench.now += 400_000;
        bench.feed("LR-01", function, shows);
        let attached = bench.readings.last().unwrap().at.why;
        bench.run(14);
        let value = bench.values()[1].clone();
        let ohms = function == Function::Resistance4w;
        assert_eq!(attached.is_none(), ohms, "{shows}: {attached:?}");
        if ohms {
            // In base units it is a jump of more than 20 % of the limit.
            assert_eq!(value.words, ["open_seen"], "{shows}");
            assert_eq!(bench.verdict("pe").0, Word::Undecided, "{shows}");
        } else {
            assert_eq!((value.value.as_str(), value.words.len()), ("0.182", 0), "{shows}");
        }
    }
}
