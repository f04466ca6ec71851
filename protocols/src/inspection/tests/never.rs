//! Ways to a pass that were open once: each is played and must stay closed.

use alloc::string::ToString;
use alloc::vec;

use tapline_drivers::Function;

use super::bench::{Bench, DAY, Setting};
use crate::fact::{Fact, LinkFact, Policy, Word};
use crate::inspection::Command;
use crate::plan::Switch;
use crate::register::Known;

const NEXT_DAY: &str = "2026-11-25";

fn to_the_leakage(bench: &mut Bench) {
    bench.set(false, false, false);
    bench.supply("226", "0.3", "225.8").unwrap();
    bench.supply("226", "0.3", "225.8").unwrap();
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.answer("pass").unwrap();
    bench.touch("0.243 Ohm");
    bench.touch("-0.275 Ohm");
}

fn skip(bench: &mut Bench, reason: &str) {
    bench.ask(&Command::Skip { reason: reason.into() }).unwrap();
}

fn repeat(bench: &mut Bench, step: &str) {
    bench.ask(&Command::Repeat { step: step.into() }).unwrap();
}

#[test]
fn a_step_left_out_with_the_makers_word_is_left_out_all_the_same() {
    let mut bench = Bench::open(&Setting::default());
    to_the_leakage(&mut bench);
    skip(&mut bench, "excluded");
    skip(&mut bench, "excluded");
    bench.answer("pass").unwrap();
    let outcome = bench.inspection.outcome();
    assert_eq!((outcome.word, outcome.open), (Word::Undecided, vec!["leak".to_string()]));
    assert_eq!(bench.verdict("leak").0, Word::Undecided);
}

/// 451 and 462 uA: little for the part of type BF (5000 uA), far too much for CF (50 uA; both
/// limits from memory).
#[test]
fn a_part_of_another_type_is_judged_by_its_own_limit() {
    let fixed = Setting::default();
    let source =
        "[[fixture]]\nid = \"IS-1\"\nwhat = \"isolated_source\"\ninspection_due = 2027-05-31\n";
    let text = crate::plan::builtin(fixed.plan).unwrap();
    let both = text.replacen("[\"BF\"]", "[\"BF\", \"CF\"]", 1);
    let both = both.split_once("# Type CF").map(|(before, _)| before.to_string()).unwrap();
    let mut bench = Bench::open(&Setting {
        asset: "P-0111",
        text: Some(both),
        fixtures: alloc::format!("{}\n{source}", fixed.fixtures),
        confirmed: vec![
            "iec62353-2014.part.direct.bf".to_string(),
            "iec62353-2014.part.direct.cf".to_string(),
        ],
        ..fixed
    });
    to_the_leakage(&mut bench);
    bench.leak_declared();
    bench.world.network[0] = "11.012 kOhm".into();
    for _ in 0..2 {
        bench.act("connected").unwrap();
        bench.run(10);
        bench.live_declared(false);
        bench.live_declared(true);
        bench.run(12);
    }
    let part = &bench.inspection.record().verdicts["part"].fact.judged;
    assert_eq!(part.verdict, Word::Fail);
    let limit = part.limit.as_ref().map(|limit| limit.id.as_str());
    assert_eq!(limit, Some("iec62353-2014.part.direct.cf"));
}

/// The zero key of the voltmeter takes a part of the leakage away.
#[test]
fn a_leakage_that_the_meter_subtracted_from_proves_nothing() {
    let mut bench = Bench::open(&Setting::default());
    to_the_leakage(&mut bench);
    bench.zeroed = Some("DM-01");
    bench.act("connected").unwrap();
    bench.run(20);
    assert_eq!(bench.state(), "prove_closed", "no proof rests on it either");
    bench.zeroed = None;
    bench.until("prove_open");
    bench.world.s7 = true;
    bench.until("clear");
    bench.zeroed = Some("DM-01");
    bench.live_declared(false);
    bench.live_declared(true);
    bench.zeroed = None;
    bench.until("reprove");
    bench.world.s7 = false;
    bench.run(12);
    let (word, reasons) = bench.verdict("leak");
    assert_eq!(word, Word::Undecided);
    assert!(reasons.contains(&"method_not_valid".to_string()), "{reasons:?}");
}

/// A fail stays a fail when the machine is started anew, which makes its null void for others.
#[test]
fn a_fail_of_another_boot_still_counts() {
    let mut bench = Bench::open(&Setting::default());
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.answer("pass").unwrap();
    bench.touch("0.400 Ohm");
    assert_eq!(bench.verdict("pe").0, Word::Fail);
    bench.resume("boot-2", DAY);
    bench.null("0.061 Ohm", "-0.061 Ohm");
    repeat(&mut bench, "pe/1");
    bench.touch("0.182 Ohm");
    bench.touch("-0.190 Ohm");
    assert_eq!(bench.verdict("pe").0, Word::Fail);
}

/// A check at 253 V would scale 530 uA down to 481; the clocks of two boots tell no age.
#[test]
fn a_supply_check_of_another_boot_scales_nothing() {
    let mut bench = Bench::open(&Setting::default());
    bench.supply("253", "0.3", "252.8").unwrap();
    bench.supply("253", "0.3", "252.8").unwrap();
    bench.now = 500_000;
    bench.resume("boot-2", DAY);
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.answer("pass").unwrap();
    bench.touch("0.243 Ohm");
    bench.touch("-0.275 Ohm");
    bench.world.leak = ["530 mV".into(), "520 mV".into()];
    bench.leak_declared();
    let (word, reasons) = bench.verdict("leak");
    assert_eq!(word, Word::Undecided);
    assert!(reasons.contains(&"no_mains_value".to_string()), "{reasons:?}");
}

#[test]
fn an_earth_measured_in_part_today_does_not_open_the_gate() {
    let mut bench = Bench::open(&Setting::default());
    to_the_leakage(&mut bench);
    bench.resume("boot-1", NEXT_DAY);
    assert_eq!(bench.verdict("leak").1, ["gate_closed"]);
    repeat(&mut bench, "pe/1");
    bench.touch("0.243 Ohm");
    assert_eq!(bench.verdict("pe").0, Word::Pass, "one direction of today, one of yesterday");
    assert_eq!(bench.active(), "", "the other direction was not measured today");
    repeat(&mut bench, "pe/2");
    bench.touch("-0.275 Ohm");
    assert_eq!(bench.active(), "leak/1");
}

#[test]
fn a_value_set_aside_today_does_not_renew_the_earth_of_yesterday() {
    let mut bench = Bench::open(&Setting::default());
    to_the_leakage(&mut bench);
    repeat(&mut bench, "pe/2");
    bench.touch("-0.275 Ohm");
    bench.resume("boot-1", NEXT_DAY);
    let seq = bench.inspection.record().values[1].line.seq;
    let cause = "wrong_point".into();
    bench.ask(&Command::Discard { seq, cause, second: None }).unwrap();
    assert_eq!(bench.verdict("pe").0, Word::Pass);
    assert_eq!(bench.state(), "close_scan", "nothing is energised today");
}

#[test]
fn a_gate_opened_by_competence_yesterday_is_closed_today() {
    let mut bench = Bench::open(&Setting::default());
    bench.answer("pass").unwrap();
    bench.touch("0.182 Ohm");
    bench.touch("-0.190 Ohm");
    let over = Command::Override { step: "leak".into(), reason: "ward waits".into() };
    bench.ask(&over).unwrap();
    assert_eq!(bench.active(), "leak/1");
    bench.resume("boot-1", NEXT_DAY);
    assert_eq!(bench.verdict("leak").1, ["gate_closed"]);
    bench.ask(&over).unwrap();
    assert_eq!(bench.active(), "leak/1", "said once more, today");
}

#[test]
fn what_was_energised_on_a_word_is_said_when_the_earth_is_proved_later() {
    let mut bench = Bench::open(&Setting::default());
    bench.answer("pass").unwrap();
    bench.touch("0.182 Ohm");
    bench.touch("-0.190 Ohm");
    bench.ask(&Command::Override { step: "leak".into(), reason: "ward waits".into() }).unwrap();
    bench.null("0.061 Ohm", "-0.061 Ohm");
    repeat(&mut bench, "pe");
    bench.touch("0.182 Ohm");
    bench.touch("-0.190 Ohm");
    assert_eq!(bench.verdict("pe").0, Word::Pass);
    assert!(bench.inspection.outcome().words.contains(&"overridden".to_string()));
}

/// Certified to the 24th, opened on that day, rested, and taken up again on the 25th.
#[test]
fn a_certificate_that_ran_out_while_the_inspection_rested_is_out() {
    let fixed = Setting::default();
    let instruments = fixed.instruments.replacen("2027-03-31", DAY, 1);
    let mut bench = Bench::open(&Setting { instruments, ..fixed });
    bench.answer("pass").unwrap();
    assert_eq!(bench.active(), "pe/1");
    bench.ask(&Command::Park).unwrap();
    bench.resume("boot-1", NEXT_DAY);
    assert_eq!(bench.verdict("pe"), (Word::Undecided, vec!["out_of_calibration".to_string()]));
}

/// A fail is not undone by setting the value of the other direction aside.
#[test]
fn a_fail_does_not_lean_on_the_other_direction() {
    let mut bench = Bench::open(&Setting::default());
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.answer("pass").unwrap();
    bench.touch("-0.150 Ohm");
    repeat(&mut bench, "pe/1");
    bench.touch("0.150 Ohm");
    bench.touch("-0.400 Ohm");
    assert_eq!(bench.verdict("pe").0, Word::Fail);
    let seq = bench.inspection.record().values[1].line.seq;
    let cause = "wrong_point".into();
    bench.ask(&Command::Discard { seq, cause, second: None }).unwrap();
    repeat(&mut bench, "pe/2");
    bench.touch("0.150 Ohm");
    bench.run(4);
    assert_ne!(bench.inspection.outcome().word, Word::Pass);
    assert_ne!(bench.verdict("pe").0, Word::Pass, "{:?}", bench.verdict("pe"));
}

/// 5.3.2: at least five seconds of flexing. Two readings with silence between are no five seconds.
#[test]
fn a_window_with_a_silence_in_it_begins_again() {
    let mut bench = Bench::open(&Setting::default());
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.answer("pass").unwrap();
    bench.run(2);
    for _ in 0..4 {
        bench.now += 400_000;
        bench.feed("LR-01", Function::Resistance4w, "0.182 Ohm");
    }
    assert_eq!(bench.readings.last().unwrap().at.step.as_deref(), Some("pe/1"));
    bench.now += 60_000_000;
    bench.feed("LR-01", Function::Resistance4w, "0.182 Ohm");
    assert!(bench.values().is_empty(), "a minute without a reading");
    bench.world.ohms = "0.182 Ohm".into();
    bench.run(8);
    assert_eq!(bench.values().len(), 1);
}

#[test]
fn an_open_supply_conductor_is_no_normal_condition() {
    let mut bench = Bench::open(&Setting::default());
    to_the_leakage(&mut bench);
    bench.act("connected").unwrap();
    bench.until("prove_open");
    bench.world.s7 = true;
    bench.until("clear");
    let set = crate::plan::Settings::from([(Switch::S1, "open".to_string())]);
    let fixture = "SB-1".to_string();
    let known = Known::Witnessed;
    let open = Fact::Switch(crate::fact::SwitchFact { fixture, set, known });
    bench.put(vec![open], None);
    assert_eq!(bench.act("clear").unwrap_err().code, "condition_not_set");
}

/// Contacts that come back on tell that somebody switched while nobody watched.
#[test]
fn hands_are_called_clear_again_when_the_contacts_were_silent() {
    for back in [false, true] {
        let mut bench = Bench::open(&Setting { witnessed: true, ..Setting::default() });
        to_the_leakage(&mut bench);
        bench.act("connected").unwrap();
        bench.until("prove_open");
        bench.set(false, true, false);
        bench.until("clear");
        bench.act("clear").unwrap();
        let down = LinkFact { link: "box".into(), state: "down".into(), why: None, identity: None };
        bench.put(vec![Fact::Link(down)], None);
        bench.set(false, true, back);
        bench.set(false, true, true);
        bench.run(10);
        assert_eq!(bench.state(), "may_be_live", "back {back}");
        let leak = bench.values().iter().any(|value| value.step.starts_with("leak"));
        assert!(!leak, "back {back}");
    }
}

/// 10.5 kohm: a data cable of 1 kohm, plugged in after the network was read.
#[test]
fn a_cable_that_was_plugged_in_after_the_proof_is_seen_before_a_lead_is_moved() {
    let mut bench = Bench::open(&Setting::default());
    to_the_leakage(&mut bench);
    bench.act("connected").unwrap();
    bench.until("prove_open");
    bench.world.s7 = true;
    bench.live_declared(false);
    bench.world.network[1] = "10.512 kOhm".into();
    bench.live_declared(true);
    bench.run(20);
    assert_eq!(bench.state(), "prove_open", "S7 still open, and something else is earth");
    bench.world.s7 = false;
    bench.run(20);
    assert_eq!(bench.state(), "prove_open", "protective earth alone would hide it");
    bench.prove("network_resistance").unwrap();
    assert_eq!(bench.verdict("leak").1[0], "path_not_proved");
}

/// Contacts that have said nothing see nothing: that the supply is off is asked of the person.
#[test]
fn leads_are_laid_on_the_persons_word_while_the_contacts_have_said_nothing() {
    let mut bench = Bench::open(&Setting { witnessed: true, ..Setting::default() });
    bench.reach_the_first_leakage();
    let asks = |bench: &Bench| bench.inspection.prompt().missing.contains(&"supply_unseen");
    assert_eq!((bench.state(), asks(&bench)), ("connect", true));
    bench.set(false, false, true);
    assert_eq!(bench.state(), "may_be_live");
    bench.set(false, false, false);
    assert!(!asks(&bench), "they see it off");
    bench.act("connected").unwrap();
    // Their link is gone, and with it what they saw.
    let down = LinkFact { link: "box".into(), state: "down".into(), why: None, identity: None };
    bench.put(vec![Fact::Link(down)], None);
    assert!(asks(&bench));
    let mut bench = Bench::open(&Setting::default());
    to_the_leakage(&mut bench);
    assert_eq!((bench.state(), asks(&bench)), ("connect", false), "nothing sees this supply");
}

/// Nothing but the person says that it is off: asked as that, and kept as that.
#[test]
fn a_supply_that_went_silent_while_live_is_off_by_the_persons_word_alone() {
    let mut bench = Bench::open(&Setting { witnessed: true, ..Setting::default() });
    bench.reach_the_first_leakage();
    let asks = |bench: &Bench| bench.inspection.prompt().missing.contains(&"supply_silent");
    bench.set(false, false, true);
    assert!(!asks(&bench), "they see it on");
    let down = LinkFact { link: "box".into(), state: "down".into(), why: None, identity: None };
    bench.put(vec![Fact::Link(down)], None);
    assert_eq!((bench.state(), asks(&bench)), ("may_be_live", true));
    bench.act("dead").unwrap();
    let supply = bench.inspection.record().switches[&Switch::Supply].clone();
    assert_eq!((supply.word.as_str(), supply.known), ("off", Known::Declared));
    let missing = bench.inspection.prompt().missing;
    assert!(missing.contains(&"supply_unseen"), "nor have they said so since: {missing:?}");
    bench.set(false, false, true);
    assert_eq!(bench.state(), "may_be_live", "they speak again");
}

/// To the end of the list, with what is left out on the way.
fn skip_to_the_end(bench: &mut Bench) {
    while !bench.active().is_empty() && bench.active() != "try" {
        bench.ask(&Command::Skip { reason: "later".into() }).unwrap();
    }
}

/// IEC 62353:2014, 5.4 tries the asset as it is used: switched on.
#[test]
fn an_asset_is_not_tried_before_its_protective_earth_is_proved() {
    for (touched, word) in [(Some("0.943 Ohm"), Word::Fail), (None, Word::Undecided)] {
        let mut bench = Bench::open(&Setting::default());
        bench.null("0.061 Ohm", "-0.061 Ohm");
        bench.answer("pass").unwrap();
        if let Some(shows) = touched {
            bench.touch(shows);
        }
        skip_to_the_end(&mut bench);
        assert_eq!(bench.verdict("pe").0, word);
        assert_eq!(bench.inspection.record().active().map(|one| &one.expanded.step), None);
        let (tried, reasons) = bench.verdict("try");
        assert_eq!((tried, reasons), (Word::Undecided, vec!["gate_closed".to_string()]));
    }
    // Books that were opened by an older list are told as they were.
    let policy = Policy { proofs: 6, ..Policy::default() };
    let mut bench = Bench::open(&Setting { policy, ..Setting::default() });
    bench.answer("pass").unwrap();
    skip_to_the_end(&mut bench);
    assert_eq!((bench.active().as_str(), bench.state()), ("try", "answer"));
}
