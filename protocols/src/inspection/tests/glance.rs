//! What a screen shows of a reading is what its value would come to.

use alloc::string::ToString;
use alloc::vec::Vec;

use tapline_drivers::{Function, Now, Unit};

use super::bench::{Bench, Setting};
use super::worked::to_the_leakage;
use crate::fact::Read;
use crate::judge::Seen;

fn read(function: Function, value: &str, unit: &str) -> Read {
    Read {
        b: (0, 9),
        f: function,
        i: None,
        v: Some(value.to_string()),
        u: Unit::from_ucum(unit),
        x: Vec::new(),
        s: None,
        why: None,
    }
}

fn see(bench: &Bench, read: &Read) -> Option<Seen> {
    bench.inspection.glance(Now(bench.now))?.see(read)
}

fn shown(seen: &Seen) -> (&str, &str) {
    (seen.shown.as_deref().unwrap_or_default(), seen.unit.ucum())
}

/// 0.243 less 0.061 ohm is 0.182 (arithmetic), as the verdict of that value has it.
#[test]
fn a_resistance_is_shown_less_its_leads_once_they_were_nulled() {
    let mut bench = Bench::open(&Setting::default());
    bench.supply("226", "0.3", "225.8").unwrap();
    bench.supply("226", "0.3", "225.8").unwrap();
    bench.answer("pass").unwrap();
    let indication = read(Function::Resistance4w, "243", "mOhm");
    let bare = see(&bench, &indication).unwrap();
    assert_eq!(
        (shown(&bare), bare.lacks.as_slice()),
        (("0.243", "Ohm"), ["lead_not_nulled"].as_slice())
    );
    bench.null("0.061 Ohm", "-0.061 Ohm");
    let seen = see(&bench, &indication).unwrap();
    assert_eq!((shown(&seen), seen.lacks.len()), (("0.182", "Ohm"), 0));
    assert_eq!(seen.chain[0].what, "lead_null");
    // An old null is none: half an hour, unless the policy says otherwise.
    bench.now += 3_600_000_000;
    assert_eq!(see(&bench, &indication).unwrap().lacks, ["lead_not_nulled"]);
}

/// 462 mV over 1 kohm at 226 V are 470 uA at 230 V: 462 * 230 / 226 (arithmetic). Before anybody
/// measured the supply it may have been as low as 0.9 of 230 V: 462 / 0.9 is 513.
#[test]
fn a_voltage_over_the_network_is_shown_as_the_current_that_is_judged() {
    let mut bench = Bench::open(&Setting::default());
    to_the_leakage(&mut bench);
    assert_eq!(bench.active(), "leak/1");
    let indication = read(Function::VoltageAc, "0.462", "V");
    let seen = see(&bench, &indication).unwrap();
    assert_eq!(shown(&seen), ("470", "uA"));
    let whats: Vec<&str> = seen.chain.iter().map(|link| link.what.as_str()).collect();
    assert_eq!(whats, ["network", "mains_scaling"]);
    assert_eq!(seen.chain[1].assumed.as_deref(), Some("no_direct_current"));
    // The supply check is older than ten minutes.
    bench.now += 601_000_000;
    let seen = see(&bench, &indication).unwrap();
    assert_eq!(shown(&seen), ("513", "uA"));
    assert_eq!(seen.chain[1].assumed.as_deref(), Some("mains_at_90_percent"));
}

#[test]
fn what_is_no_reading_of_the_step_comes_to_nothing() {
    let mut bench = Bench::open(&Setting::default());
    to_the_leakage(&mut bench);
    let proof = read(Function::Resistance2w, "11012", "Ohm");
    assert!(see(&bench, &proof).is_none(), "another function");
    let strange = read(Function::VoltageAc, "11012", "Ohm");
    assert!(see(&bench, &strange).is_none(), "another quantity");
    let mut other = read(Function::VoltageAc, "0.462", "V");
    other.s = Some("pe/1".to_string());
    assert!(see(&bench, &other).is_none(), "another step");
    other.s = Some("leak/1".to_string());
    assert!(see(&bench, &other).is_some());
    other.i = Some("overload".to_string());
    assert!(see(&bench, &other).is_none(), "no number");
}

/// Of every captured value: what it comes to by itself is what the verdict of its step, or of the
/// worse of its values, rests on.
#[test]
fn a_captured_value_comes_to_what_its_verdict_says() {
    let mut bench = Bench::open(&Setting::default());
    to_the_leakage(&mut bench);
    bench.leak_declared();
    let record = bench.inspection.record();
    let mut met = 0;
    for valued in &record.values {
        let seen = bench.inspection.came_to(&valued.line).unwrap();
        let of = valued.line.fact.step.split('/').next().unwrap();
        let judged = &record.verdicts[of].fact.judged;
        let limit = judged.limit.as_ref().unwrap();
        assert_eq!(seen.unit, limit.unit);
        met += usize::from(seen.shown == judged.shown);
    }
    assert_eq!((record.values.len(), met), (4, 2), "two directions, two polarities");
}
