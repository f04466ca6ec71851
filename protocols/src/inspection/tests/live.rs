//! Energised steps: proofs, conditions, acts, restarts.

use alloc::string::ToString;
use alloc::vec;
use alloc::vec::Vec;

use tapline_drivers::Now;

use super::bench::{Bench, Setting};
use crate::fact::{Fact, LinkFact, Word};
use crate::inspection::{Command, Expect};

fn connected(setting: &Setting) -> Bench {
    let mut bench = Bench::open(setting);
    bench.set(false, false, false);
    bench.supply("226", "0.3", "225.8").unwrap();
    bench.supply("226", "0.3", "225.8").unwrap();
    if setting.asset != "P-0118" {
        bench.null("0.061 Ohm", "-0.061 Ohm");
    }
    bench.answer("pass").unwrap();
    if setting.asset != "P-0118" {
        bench.touch("0.182 Ohm");
        bench.touch("-0.190 Ohm");
    }
    bench
}

fn witnessed() -> Setting {
    Setting { witnessed: true, ..Setting::default() }
}

fn leak_values(bench: &Bench) -> usize {
    bench.values().iter().filter(|value| value.step.starts_with("leak")).count()
}

#[test]
fn the_run_goes_in_its_order_and_in_no_other() {
    let mut bench = connected(&Setting::default());
    assert_eq!(bench.state(), "connect");
    for early in ["clear", "live", "dead"] {
        assert_eq!(bench.act(early).unwrap_err().key, "refusal.out_of_turn", "{early}");
    }
    bench.act("connected").unwrap();
    assert_eq!(bench.act("clear").unwrap_err().code, "path_not_proved");
    bench.until("prove_open");
    bench.world.s7 = true;
    while bench.state() == "prove_open" {
        bench.tick();
    }
    assert_eq!(bench.state(), "waiting");
    // The meter reads resistance still, until it says that it is back in ac volts.
    assert_eq!(bench.act("clear").unwrap_err().code, "wrong_function");
    bench.until("clear");
    assert_eq!(bench.act("live").unwrap_err().key, "refusal.out_of_turn");
    bench.act("clear").unwrap();
    bench.world.supply = true;
    bench.act("live").unwrap();
    assert_eq!(bench.state(), "capture");
    bench.until("dead");
    bench.run(30);
    assert_eq!((bench.active().as_str(), leak_values(&bench)), ("leak/1", 1));
    assert_eq!(
        bench.ask(&Command::Skip { reason: "late".into() }).unwrap_err().key,
        "refusal.may_be_live"
    );
    bench.world.supply = false;
    bench.act("dead").unwrap();
    assert_eq!((bench.active().as_str(), bench.state()), ("leak/2", "clear"));
}

#[test]
fn an_act_is_valid_for_what_was_seen_and_not_within_a_second() {
    let mut bench = connected(&Setting::default());
    let seen = bench.inspection.prompt();
    let expect = |seq| {
        let (step, state) = (seen.step.clone(), Some(seen.state.to_string()));
        Command::Act { what: "connected".into(), expect: Some(Expect { step, state, seq }) }
    };
    assert_eq!(bench.ask(&expect(Some(1))).unwrap_err().key, "refusal.changed");
    bench.ask(&expect(seen.seq)).unwrap();
    bench.now += 900_000;
    let again = Command::Act { what: "connected".into(), expect: None };
    assert_eq!(bench.ask_now(&again).unwrap_err().key, "refusal.too_soon");
}

/// A forgotten data cable of 1 ohm: 10.00 instead of 11.01 kohm with protective earth open.
#[test]
fn a_second_earth_keeps_the_path_unproved_whatever_is_measured() {
    let mut bench = connected(&Setting::default());
    bench.world.network[1] = "10.013 kOhm".into();
    bench.world.leak = ["2.3 mV".into(), "2.3 mV".into()];
    bench.act("connected").unwrap();
    bench.until("prove_open");
    bench.world.s7 = true;
    bench.run(30);
    assert_eq!(bench.state(), "prove_open");
    bench.prove("network_resistance").unwrap();
    bench.live_declared(false);
    bench.live_declared(true);
    bench.prove("network_resistance").unwrap();
    let (word, reasons) = bench.verdict("leak");
    assert_eq!(word, Word::Undecided);
    assert!(reasons.contains(&"path_not_proved".to_string()), "{reasons:?}");
}

#[test]
fn the_path_is_shown_once_more_before_a_lead_is_moved() {
    let mut bench = connected(&Setting::default());
    bench.act("connected").unwrap();
    bench.until("prove_open");
    bench.world.s7 = true;
    bench.live_declared(false);
    bench.live_declared(true);
    bench.until("reprove");
    assert_eq!(bench.act("connected").unwrap_err().key, "refusal.out_of_turn");
    bench.world.network = ["OL".into(), "OL".into()];
    bench.run(20);
    assert_eq!(bench.state(), "reprove", "the lead has come off");
    bench.prove("network_resistance").unwrap();
    assert_eq!(bench.verdict("leak").1[0], "path_not_proved");
}

/// The supply is switched and the voltmeter shows the same: its display is held, the plug is in
/// another outlet, it measures something else. And 0.4 mV are less than it can tell.
#[test]
fn a_leakage_that_was_there_before_the_supply_proves_nothing() {
    for (idle, leak, word) in [
        ("0.0100 V", "10.0 mV", Word::Undecided),
        ("0.0101 V", "20.1 mV", Word::Undecided),
        ("0.0100 V", "20.0 mV", Word::Pass),
        ("0.0100 V", "700 mV", Word::Fail),
        ("0.0001 V", "0.4 mV", Word::Undecided),
        ("0.0001 V", "0.5 mV", Word::Pass),
    ] {
        let mut bench = connected(&Setting::default());
        bench.world.idle = idle.into();
        bench.world.leak = [leak.into(), leak.into()];
        bench.act("connected").unwrap();
        bench.until("prove_open");
        bench.world.s7 = true;
        for reversed in [false, true] {
            bench.until("clear");
            bench.run(3);
            bench.live_declared(reversed);
        }
        bench.until("reprove");
        bench.world.s7 = false;
        bench.run(12);
        let (found, reasons) = bench.verdict("leak");
        assert_eq!(found, word, "{idle} {leak}: {reasons:?}");
        assert_eq!(word == Word::Undecided, reasons.contains(&"path_not_proved".to_string()));
    }
}

#[test]
fn a_voltage_keeps_the_meter_out_of_its_resistance_function() {
    let mut bench = connected(&Setting::default());
    bench.world.idle = "12.5 V".into();
    bench.act("connected").unwrap();
    bench.run(20);
    let resistance = |bench: &Bench| {
        bench
            .inspection
            .wants()
            .iter()
            .any(|(_, want)| want.function == tapline_drivers::Function::Resistance2w)
    };
    assert!(!resistance(&bench));
    let fails = |fact: &Fact| matches!(fact, Fact::Prove(p) if p.what == "no_voltage" && !p.ok);
    let told = |line: &&super::bench::Stored| fails(&line.fact);
    assert_eq!(bench.lines.iter().filter(told).count(), 1, "said once");
    bench.world.idle = "0.0002 V".into();
    bench.run(4);
    assert!(resistance(&bench));
}

#[test]
fn a_fault_that_shows_in_one_polarity_is_a_fail() {
    let mut bench = connected(&Setting::default());
    bench.world.leak = ["10953 uV".into(), "10953 mV".into()];
    bench.leak_declared();
    assert_eq!(bench.verdict("leak").0, Word::Fail);
    assert_eq!(bench.inspection.outcome().word, Word::Fail);
}

#[test]
fn a_switch_that_was_not_turned_is_seen_where_contacts_witness_it() {
    let mut bench = connected(&witnessed());
    bench.act("connected").unwrap();
    bench.until("prove_open");
    bench.set(true, true, false);
    bench.until("clear");
    let refused = bench.act("clear").unwrap_err();
    assert_eq!((refused.code, refused.values[0].as_str()), ("condition_not_set", "S5"));
    bench.set(false, true, false);
    bench.act("clear").unwrap();
    // Turned after hands clear: live, but nothing is captured.
    bench.set(true, true, true);
    bench.run(20);
    assert_eq!((leak_values(&bench), bench.state()), (0, "dead"));
    assert_eq!(bench.inspection.prompt().refused, Some("condition_not_set"));
}

#[test]
fn live_without_hands_clear_captures_nothing() {
    let mut bench = connected(&witnessed());
    bench.act("connected").unwrap();
    bench.until("prove_open");
    bench.set(false, true, true);
    bench.run(20);
    assert_eq!((leak_values(&bench), bench.state()), (0, "may_be_live"));
    assert_eq!(bench.act("dead").unwrap_err().key, "refusal.supply_is_on");
    bench.set(false, true, false);
    assert_eq!(bench.state(), "connect", "the leads are declared again");
}

#[test]
fn an_asset_that_was_not_seen_alive_is_undecided() {
    let mut bench = connected(&witnessed());
    bench.act("connected").unwrap();
    bench.until("prove_open");
    bench.set(false, true, false);
    for reversed in [false, true] {
        bench.until("clear");
        bench.set(reversed, true, false);
        bench.act("clear").unwrap();
        bench.set(reversed, true, true);
        bench.run(15);
        assert_eq!(bench.state(), "alive");
        bench.set(reversed, true, false);
    }
    bench.until("reprove");
    bench.set(true, false, false);
    bench.run(15);
    assert_eq!(bench.verdict("leak"), (Word::Undecided, vec!["not_alive".to_string()]));
}

#[test]
fn a_supply_that_was_not_checked_leaves_the_direct_method_undecided() {
    let mut bench = Bench::open(&Setting::default());
    assert_eq!(bench.supply("226", "0.3", "225.8"), Ok(()));
    bench.supply("226", "0.3", "225.9").unwrap();
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.answer("pass").unwrap();
    bench.touch("0.182 Ohm");
    bench.touch("-0.190 Ohm");
    assert_eq!(bench.inspection.prompt().missing, ["supply_not_checked"]);
    bench.leak_declared();
    let (word, reasons) = bench.verdict("leak");
    assert_eq!(word, Word::Undecided);
    assert!(reasons.contains(&"supply_not_checked".to_string()), "{reasons:?}");
}

/// U(L-N) within 10 % of rated, U(N-PE) below 1 % of it, U(L-PE) within 1 % of it.
#[test]
fn a_floating_or_isolated_supply_is_refused() {
    for (ln, npe, lpe, ok) in [
        ("230", "0.3", "229.9", true),
        ("253", "2.52", "250.5", true),
        ("253.1", "0.3", "253", false),
        ("230", "2.3", "229.9", false),
        ("230", "0.3", "227.6", false),
        ("230", "115", "115", false),
    ] {
        let mut bench = Bench::open(&Setting::default());
        bench.supply(ln, npe, lpe).unwrap();
        bench.supply(ln, npe, lpe).unwrap();
        let last = bench.inspection.record().proofs.last().unwrap();
        assert_eq!(last.fact.ok, ok, "{ln} {npe} {lpe}");
    }
}

#[test]
fn after_a_restart_what_was_live_may_still_be() {
    let mut bench = connected(&Setting::default());
    bench.act("connected").unwrap();
    bench.until("prove_open");
    bench.world.s7 = true;
    bench.until("clear");
    bench.act("clear").unwrap();
    bench.world.supply = true;
    bench.act("live").unwrap();
    bench.run(3);
    bench.resume("boot-1", super::bench::DAY);
    assert_eq!(bench.state(), "may_be_live");
    bench.run(30);
    assert_eq!(leak_values(&bench), 0, "windows are void");
    let note = bench.ask(&Command::Capture { expect: None });
    assert_eq!(note.unwrap_err().key, "refusal.not_live");
    bench.world.supply = false;
    bench.act("dead").unwrap();
    assert_eq!(bench.state(), "connect");
    bench.world.s7 = false;
    bench.leak_declared();
    assert_eq!(bench.verdict("leak").0, Word::Pass, "{:?}", bench.verdict("leak"));
}

/// The last polarity is captured; nobody watched what became of the leads since.
fn captured_and_unwatched(dead_first: bool) -> Bench {
    let mut bench = connected(&Setting::default());
    bench.act("connected").unwrap();
    bench.until("prove_open");
    bench.world.s7 = true;
    bench.live_declared(false);
    bench.until("clear");
    bench.set(true, true, false);
    bench.act("clear").unwrap();
    bench.world.supply = true;
    bench.act("live").unwrap();
    bench.until("dead");
    if dead_first {
        bench.world.supply = false;
        bench.act("dead").unwrap();
        assert_eq!(bench.state(), "prove_open");
    }
    bench.resume("boot-1", super::bench::DAY);
    bench
}

#[test]
fn a_value_whose_leads_nobody_watched_is_measured_again() {
    for dead_first in [false, true] {
        let mut bench = captured_and_unwatched(dead_first);
        if !dead_first {
            assert_eq!(bench.state(), "may_be_live");
            bench.world.supply = false;
            bench.act("dead").unwrap();
        }
        assert_eq!((bench.active().as_str(), bench.state()), ("leak/2", "connect"));
        bench.set(true, false, false);
        bench.act("connected").unwrap();
        assert_eq!(bench.state(), "prove_closed", "the path before is shown again as well");
        bench.until("prove_open");
        bench.world.s7 = true;
        bench.live_declared(true);
        bench.until("reprove");
        bench.world.s7 = false;
        bench.run(12);
        assert_eq!(leak_values(&bench), 3, "dead first: {dead_first}");
        let (word, reasons) = bench.verdict("leak");
        assert_eq!(word, Word::Undecided, "the first polarity was not proved afterwards");
        assert!(reasons.contains(&"path_not_proved".to_string()), "{reasons:?}");
        bench.ask(&Command::Repeat { step: "leak/1".into() }).unwrap();
        bench.leak_again();
        assert_eq!(bench.verdict("leak").0, Word::Pass, "{:?}", bench.verdict("leak"));
    }
}

#[test]
fn leads_that_were_laid_anew_prove_nothing_about_the_value_before() {
    let mut bench = captured_and_unwatched(true);
    bench.set(true, false, false);
    bench.act("connected").unwrap();
    bench.run(30);
    assert_eq!(bench.active(), "leak/2", "a proof of the new leads ends no step of the old ones");
    bench.ask(&Command::Skip { reason: "no time".into() }).unwrap();
    let (word, reasons) = bench.verdict("leak");
    assert_eq!(word, Word::Undecided, "{reasons:?}");
}

#[test]
fn a_proved_earth_of_another_day_proves_nothing() {
    let mut bench = connected(&Setting::default());
    assert_eq!(bench.state(), "connect");
    bench.resume("boot-1", "2026-11-25");
    assert_eq!(bench.active(), "", "nor is it tried");
    assert_eq!(bench.verdict("leak"), (Word::Undecided, vec!["gate_closed".to_string()]));
    let repeat = Command::Repeat { step: "leak".into() };
    assert_eq!(bench.ask(&repeat).unwrap_err().code, "gate_closed");
}

#[test]
fn a_gate_closes_again_when_its_value_is_set_aside() {
    let mut bench = connected(&Setting::default());
    assert_eq!(bench.state(), "connect");
    let seq = bench.inspection.record().values[1].line.seq;
    let cause = "wrong_point".into();
    bench.ask(&Command::Discard { seq, cause, second: None }).unwrap();
    assert_eq!(bench.active(), "pe/2", "to be measured again, before anything is energised");
    bench.ask(&Command::Skip { reason: "no time".into() }).unwrap();
    assert_eq!(bench.verdict("pe").0, Word::Undecided);
    assert_eq!(bench.verdict("leak"), (Word::Undecided, vec!["gate_closed".to_string()]));
}

#[test]
fn another_boot_makes_nulls_void() {
    let mut bench = Bench::open(&Setting::default());
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.answer("pass").unwrap();
    bench.resume("boot-2", super::bench::DAY);
    assert_eq!(bench.inspection.prompt().missing, ["lead_not_nulled"]);
}

#[test]
fn a_lost_link_makes_window_and_contact_void() {
    let mut bench = Bench::open(&Setting::default());
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.answer("pass").unwrap();
    bench.world.ohms = "0.182 Ohm".into();
    bench.run(4);
    assert_eq!(bench.state(), "measure");
    let down = LinkFact { link: "ohm".into(), state: "down".into(), why: None, identity: None };
    bench.put(vec![Fact::Link(down)], None);
    bench.run(30);
    assert_eq!((bench.state(), bench.values().len()), ("arm", 0));
}

#[test]
fn contacts_that_are_gone_witness_nothing() {
    let mut bench = connected(&witnessed());
    bench.act("connected").unwrap();
    bench.until("prove_open");
    bench.set(false, true, false);
    bench.until("clear");
    bench.act("clear").unwrap();
    bench.set(false, true, true);
    let down = LinkFact { link: "box".into(), state: "down".into(), why: None, identity: None };
    bench.put(vec![Fact::Link(down)], None);
    bench.run(20);
    assert_eq!((bench.state(), leak_values(&bench)), ("may_be_live", 0));
    bench.act("dead").unwrap();
}

#[test]
fn contacts_that_nobody_could_read_witness_nothing_until_they_speak_again() {
    let mut bench = connected(&witnessed());
    bench.act("connected").unwrap();
    bench.until("prove_open");
    assert!(bench.inspection.sees("box"));
    let unread = LinkFact { link: "box".into(), state: "unread".into(), why: None, identity: None };
    bench.put(vec![Fact::Link(unread)], None);
    assert!(!bench.inspection.sees("box") && !bench.inspection.sees("ohm"));
    bench.set(false, true, false);
    assert!(bench.inspection.sees("box"));
}

#[test]
fn class_two_has_no_earth_to_prove_and_reads_the_network_before_and_after() {
    let mut bench = connected(&Setting { asset: "P-0118", ..Setting::default() });
    assert_eq!((bench.active().as_str(), bench.state()), ("leak_case/1", "connect"));
    bench.world.network[0] = "11.012 kOhm".into();
    bench.world.leak = ["38 mV".into(), "41 mV".into()];
    bench.act("connected").unwrap();
    for reversed in [false, true] {
        bench.until("clear");
        bench.set(reversed, false, false);
        bench.act("clear").unwrap();
        bench.world.supply = true;
        bench.act("live").unwrap();
        bench.until("dead");
        bench.world.supply = false;
        bench.act("dead").unwrap();
    }
    assert_eq!(bench.state(), "prove_open");
    bench.run(12);
    assert_eq!(bench.verdict("leak_case"), (Word::Pass, vec!["conditions_declared".to_string()]));
}

#[test]
fn a_link_that_is_not_isolated_closes_the_step() {
    let mut bench = Bench::open(&Setting { isolation_volts: 250, ..Setting::default() });
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.answer("pass").unwrap();
    bench.touch("0.182 Ohm");
    bench.touch("-0.190 Ohm");
    assert_eq!(bench.verdict("leak"), (Word::Undecided, vec!["link_not_isolated".to_string()]));
}

#[test]
fn a_skipped_step_leaves_the_whole_undecided_and_wants_a_tag() {
    let mut bench = connected(&Setting::default());
    bench.ask(&Command::Skip { reason: "no time".into() }).unwrap();
    bench.ask(&Command::Skip { reason: "no time".into() }).unwrap();
    bench.answer("pass").unwrap();
    let outcome = bench.inspection.outcome();
    assert_eq!((outcome.word, outcome.open), (Word::Undecided, vec!["leak".to_string()]));
    bench.scan("P-0110");
    assert_eq!(bench.state(), "close_scan", "that was the neighbour");
    bench.scan("P-0109");
    assert_eq!(bench.sign(None).unwrap_err().key, "refusal.tag_needed");
    bench.sign(Some("attached")).unwrap();
}

#[test]
fn the_record_is_the_fold_of_its_facts() {
    let mut bench = connected(&Setting::default());
    bench.leak_declared();
    let mut folded = crate::inspection::Inspection::new();
    for line in &bench.lines {
        folded.apply(line.seq, line.at, &line.fact, line.by.as_deref());
    }
    assert_eq!(folded.record(), bench.inspection.record());
    assert!(folded.follow(Now(bench.now)).is_empty(), "a fold interprets nothing");
    let values: Vec<_> = bench.values().iter().map(|value| value.step.clone()).collect();
    assert_eq!(values, ["pe/1", "pe/2", "leak/1", "leak/2"]);
}
