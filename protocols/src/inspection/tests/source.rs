//! Steps that an isolated source drives: off it reads as good as the best insulation.

use alloc::string::ToString;
use alloc::vec;
use alloc::vec::Vec;

use super::bench::{Bench, Setting};
use crate::fact::{Fact, Policy, Word};
use crate::inspection::Command;
use crate::register::Known;

const SOURCE: &str =
    "\n[[fixture]]\nid = \"IS-1\"\nwhat = \"isolated_source\"\ninspection_due = 2027-05-31\n";

fn setting(plan: &'static str, asset: &'static str) -> Setting {
    let fixed = Setting::default();
    let rows = ["part.direct.bf", "equipment.alternative.i", "part.alternative.bf"];
    let rows = rows.map(|row| alloc::format!("iec62353-2014.{row}"));
    let fixtures = alloc::format!("{}{SOURCE}", fixed.fixtures);
    Setting { asset, plan, fixtures, confirmed: rows.to_vec(), ..fixed }
}

/// Protective earth is proved, the supply checked: the first energised step comes.
fn to_live(setting: &Setting) -> Bench {
    let mut bench = Bench::open(setting);
    bench.set(false, false, false);
    bench.reach_the_first_leakage();
    bench
}

/// The applied part of the pad is next, on a declared box.
fn to_the_part(policy: Policy) -> Bench {
    let mut bench = to_live(&Setting { policy, ..setting("iec62353-recurrent-direct", "P-0110") });
    bench.leak_declared();
    assert_eq!(bench.active(), "part/1");
    bench.world.network[0] = "11.012 kOhm".into();
    bench.world.leak = ["38.0 mV".into(), "41.0 mV".into()];
    bench.act("connected").unwrap();
    bench.until("clear");
    bench
}

fn energise(bench: &mut Bench) {
    bench.set(false, false, false);
    bench.act("clear").unwrap();
    bench.world.supply = true;
    bench.act("live").unwrap();
}

fn values(bench: &Bench, step: &str) -> usize {
    bench.values().iter().filter(|value| value.step.starts_with(step)).count()
}

#[test]
fn nothing_is_captured_before_the_source_was_read() {
    let mut bench = to_the_part(Policy::default());
    energise(&mut bench);
    bench.run(30);
    assert_eq!((bench.state(), values(&bench, "part")), ("source", 0));
    // Once is not twice, and where two differ both count for nothing.
    for figure in ["226", "227", "227"] {
        bench.source(figure).unwrap();
    }
    bench.run(30);
    assert_eq!((bench.state(), values(&bench, "part")), ("source", 0));
    bench.source("227").unwrap();
    bench.until("dead");
    assert_eq!(values(&bench, "part"), 1);
}

/// At mains voltage: within a tenth of what the asset is rated for (common practice, no source).
#[test]
fn a_source_that_is_off_or_elsewhere_gives_no_value() {
    for (volts, shown) in
        [("0", false), ("206.9", false), ("207", true), ("253", true), ("253.1", false)]
    {
        let mut bench = to_the_part(Policy::default());
        energise(&mut bench);
        bench.source(volts).unwrap();
        bench.source(volts).unwrap();
        bench.run(30);
        assert_eq!(values(&bench, "part"), usize::from(shown), "{volts} V");
        let last = bench.inspection.record().proofs.last().unwrap();
        assert_eq!(last.fact.why.as_deref(), (!shown).then_some("source_not_shown"), "{volts} V");
        bench.world.supply = false;
        bench.act("dead").unwrap();
        if !shown {
            bench.ask(&Command::Skip { reason: "no source".into() }).unwrap();
            bench.ask(&Command::Skip { reason: "no source".into() }).unwrap();
            assert_eq!(bench.verdict("part").0, Word::Undecided);
        }
    }
}

/// Contacts see the supply off while the source is still on: no indicator was seen by that supply.
#[test]
fn an_indicator_is_not_seen_while_the_contacts_see_the_supply_off() {
    let fixed = setting("iec62353-recurrent-direct", "P-0110");
    let mut bench = to_live(&Setting { witnessed: true, ..fixed });
    bench.ask(&Command::Skip { reason: "later".into() }).unwrap();
    bench.ask(&Command::Skip { reason: "later".into() }).unwrap();
    assert_eq!(bench.active(), "part/1");
    bench.world.network[0] = "11.012 kOhm".into();
    bench.act("connected").unwrap();
    bench.until("clear");
    bench.act("clear").unwrap();
    bench.set(false, false, true);
    assert_eq!(bench.state(), "alive");
    bench.set(false, false, false);
    assert_eq!(bench.state(), "dead", "the source is still on");
    let refused = bench.prove("alive").unwrap_err();
    assert_eq!(refused.key, "refusal.supply_is_off");
    assert!(bench.inspection.record().proofs.iter().all(|line| line.fact.what != "alive"));
    bench.act("dead").unwrap();
}

/// It was on, and its fuse blew: what is read of it last holds.
#[test]
fn a_source_that_went_out_takes_its_value_along() {
    let mut bench = to_the_part(Policy::default());
    bench.live_declared(false);
    bench.until("clear");
    bench.set(true, false, false);
    bench.act("clear").unwrap();
    bench.world.supply = true;
    bench.act("live").unwrap();
    bench.source("226").unwrap();
    bench.source("226").unwrap();
    bench.until("dead");
    bench.source("0").unwrap();
    bench.source("0").unwrap();
    bench.world.supply = false;
    bench.act("dead").unwrap();
    bench.run(12);
    let (word, reasons) = bench.verdict("part");
    assert_eq!(word, Word::Undecided);
    assert!(reasons.contains(&"source_not_shown".to_string()), "{reasons:?}");
}

/// The lowest of all voltages scales: 41.0 uA at 220 V are 42.9 at 230 (arithmetic).
#[test]
fn a_value_is_scaled_by_the_lower_of_supply_and_source() {
    let mut bench = to_the_part(Policy::default());
    for reversed in [false, true] {
        bench.until("clear");
        bench.set(reversed, false, false);
        bench.act("clear").unwrap();
        bench.world.supply = true;
        bench.act("live").unwrap();
        bench.source("220").unwrap();
        bench.source("220").unwrap();
        bench.until("dead");
        bench.world.supply = false;
        bench.act("dead").unwrap();
    }
    bench.run(12);
    let judged = &bench.inspection.record().verdicts["part"].fact.judged;
    assert_eq!((judged.verdict, judged.shown.as_deref()), (Word::Pass, Some("42.9")));
    assert!(judged.reasons.contains(&"conditions_declared".to_string()), "{:?}", judged.reasons);
}

/// Contacts see the box's own supply, never the source: dead is what a person says.
#[test]
fn contacts_do_not_say_that_a_source_is_off() {
    let mut bench =
        to_live(&Setting { witnessed: true, ..setting("iec62353-recurrent-direct", "P-0110") });
    bench.set(false, false, false);
    bench.act("connected").unwrap();
    bench.until("prove_open");
    for reversed in [false, true] {
        bench.set(reversed, true, false);
        bench.until("clear");
        bench.act("clear").unwrap();
        bench.set(reversed, true, true);
        bench.prove("alive").unwrap();
        bench.until("dead");
        bench.set(reversed, true, false);
    }
    bench.until("reprove");
    bench.set(false, false, false);
    bench.until("connect");
    assert_eq!(bench.active(), "part/1");
    bench.world.network[0] = "11.012 kOhm".into();
    bench.act("connected").unwrap();
    bench.until("clear");
    bench.act("clear").unwrap();
    bench.set(false, false, true);
    bench.prove("alive").unwrap();
    assert_eq!(bench.state(), "source");
    bench.source("230").unwrap();
    bench.source("230").unwrap();
    bench.until("dead");
    bench.set(false, false, false);
    assert_eq!(bench.state(), "dead", "the source may still be on");
    assert_eq!(
        bench.ask(&Command::Skip { reason: "x".into() }).unwrap_err().key,
        "refusal.may_be_live"
    );
    bench.act("dead").unwrap();
    assert_eq!((bench.active().as_str(), bench.state()), ("part/2", "clear"));
}

/// The alternative method from its beginning.
pub(super) fn alternatively(witnessed: bool) -> Bench {
    let mut bench =
        Bench::open(&Setting { witnessed, ..setting("iec62353-recurrent-alternative", "P-0109") });
    bench.world.network = ["11.012 kOhm".into(), "11.012 kOhm".into()];
    bench
}

/// Both supply conductors joined at the source; the supply box has no part in it.
fn alternative(witnessed: bool, leak: &str) -> Bench {
    let mut bench =
        to_live(&Setting { witnessed, ..setting("iec62353-recurrent-alternative", "P-0109") });
    assert_eq!(bench.active(), "leak/1");
    bench.world.network = ["11.012 kOhm".into(), "11.012 kOhm".into()];
    bench.world.leak = [leak.into(), leak.into()];
    bench.act("connected").unwrap();
    bench.until("clear");
    bench.act("clear").unwrap();
    bench.world.supply = true;
    bench.act("live").unwrap();
    assert_eq!(bench.state(), "source");
    bench.source("226").unwrap();
    bench.source("226").unwrap();
    bench.until("dead");
    bench.world.supply = false;
    bench.act("dead").unwrap();
    bench.run(12);
    bench
}

/// At most 1000 uA for class I (limit from memory): 900 and 990 at 226 V are 915.9 and 1007.5 at
/// 230 (arithmetic).
#[test]
fn the_alternative_method_passes_and_fails_on_any_box() {
    for witnessed in [false, true] {
        for (leak, word, shown) in [("900 mV", Word::Pass, "916"), ("990 mV", Word::Fail, "1008")] {
            let mut bench = alternative(witnessed, leak);
            let judged = bench.inspection.record().verdicts["leak"].fact.judged.clone();
            assert_eq!(judged.verdict, word, "{leak}: {:?}", judged.reasons);
            assert_eq!(judged.shown.as_deref(), Some(shown));
            let said = |fact: &Fact| match fact {
                Fact::Switch(switch) => switch.known == Known::Declared,
                _ => false,
            };
            assert!(!bench.lines.iter().any(|line| said(&line.fact)), "nobody moved the box");
            bench.answer("pass").unwrap();
            bench.scan("P-0109");
            bench.sign(Some("attached")).unwrap();
            assert_eq!(bench.inspection.outcome().word, word);
        }
    }
}

/// Books that were begun before keep their verdicts.
#[test]
fn an_older_list_of_proofs_asks_for_no_source() {
    let mut bench = to_the_part(Policy { proofs: 2, ..Policy::default() });
    bench.live_declared(false);
    bench.live_declared(true);
    bench.run(12);
    let found: (Word, Vec<_>) = bench.verdict("part");
    assert_eq!(found, (Word::Pass, vec!["conditions_declared".to_string()]));
}

/// S10 was left open by an earlier step; a step that is not about it has it closed first.
#[test]
fn a_switch_that_was_left_is_asked_for_and_no_value_is_captured_meanwhile() {
    use crate::plan::{Settings, Switch};
    let fixed = Setting::default();
    let declared = "S5 = \"declared\"";
    let fixtures = fixed.fixtures.replace(declared, "S10 = \"declared\", S5 = \"declared\"");
    let mut bench = to_live(&Setting { fixtures, ..fixed });
    let open = Settings::from([(Switch::S10, "open".to_string())]);
    bench.ask(&Command::Switch { set: open.clone(), known: Known::Declared }).unwrap();
    bench.act("connected").unwrap();
    bench.until("prove_open");
    bench.world.s7 = true;
    bench.until("clear");
    let set = bench.inspection.prompt().set;
    assert_eq!(set.get(&Switch::S10).map(alloc::string::String::as_str), Some("closed"));
    bench.act("clear").unwrap();
    bench.ask(&Command::Switch { set: open, known: Known::Declared }).unwrap();
    bench.world.supply = true;
    bench.act("live").unwrap();
    bench.run(20);
    assert_eq!((bench.state(), values(&bench, "leak")), ("dead", 0));
    bench.world.supply = false;
    bench.act("dead").unwrap();
    bench.live_declared(false);
    assert_eq!(values(&bench, "leak"), 1);
}
