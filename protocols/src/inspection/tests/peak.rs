//! Peaks: a function of its own, and no reading of a step that does not ask for it.

use alloc::string::String;

use tapline_drivers::{Flag, Function, Now};

use super::bench::{Bench, reading};
use super::direct::ready;

/// Where a reading of the voltmeter went, live, in a step that captures r.m.s. values.
fn went(bench: &mut Bench, function: Function, flags: &[Flag]) -> Result<String, &'static str> {
    bench.now += 100_000;
    let mut reading = reading(function, "0.451 V");
    (reading.first, reading.last) = (Now(bench.now), Now(bench.now));
    reading.flags.extend(flags);
    let (at, _) = bench.inspection.reading((9_000, 0), "DM-01", &reading);
    at.why.map_or_else(|| Ok(at.step.unwrap()), Err)
}

#[test]
fn a_peak_belongs_to_no_step_of_another_kind() {
    let mut bench = ready("230", 4);
    bench.until("clear");
    bench.set(false, true, false);
    bench.act("clear").unwrap();
    bench.world.supply = true;
    bench.act("live").unwrap();
    bench.run(2);
    let mut went = |function, flags: &[Flag]| went(&mut bench, function, flags);
    assert_eq!(went(Function::VoltageAc, &[]), Ok("leak/1".into()));
    assert_eq!(went(Function::VoltagePeak, &[]), Err("wrong_function"));
    assert_eq!(went(Function::VoltagePeak, &[Flag::Peak]), Err("wrong_function"));
    assert_eq!(went(Function::VoltageAc, &[Flag::Peak]), Err("wrong_function"));
    assert_eq!(went(Function::VoltageAc, &[]), Ok("leak/1".into()));
}

/// Nor to a proof: while leads are laid it shows neither that nothing is live nor the network.
#[test]
fn a_peak_proves_nothing() {
    let mut bench = ready("230", 4);
    assert_eq!(bench.state(), "prove_open");
    assert_eq!(went(&mut bench, Function::VoltagePeak, &[]), Err("wrong_function"));
    assert_eq!(bench.state(), "prove_open");
}
