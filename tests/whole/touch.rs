//! Touch current over the network of IEC 60990 Figure 4: its parts, and that its current is its
//! volts over 500 ohm, as two makers print Annex D of IEC 60065 (excerpts seen); the resistances
//! that its terminals then have are reckoned.

use serde_json::json;
use tapline_demo::circuit::{EARTH, Kind};
use tapline_drivers::Function;

use super::circuit::{HARMONIC_HERTZ, HERTZ, HIGH_HERTZ};
use super::figure4::{Dial, Person, Plug, Tap, as_asked};
use super::{Came, Case, Fault, bench, case, fails, inspect, passes, unconfirmed};

const TOUCH: Case = case("iec60065-touch", "W-08");

/// So much flows from earth into the part, ampere r.m.s.
const fn flows(ampere: f64, hertz: f64) -> Fault {
    (Kind::I(ampere, hertz), EARTH, "plug shell")
}

#[test]
fn a_sound_charger_passes() {
    passes(&TOUCH);
    let came = inspect(&TOUCH, 0.0, &[]);
    for step in ["touch_weighted", "touch_dc", "touch_hf"] {
        assert_eq!(came.steps[step].1, ["conditions_declared"], "{step}: {came:?}");
    }
}

/// 0.7 mA peak are 0.495 mA of a sine; at 1 kHz the network leaves 0.567 of it; above 100 kHz the
/// limit is 70 mA of the peak, at U1.
#[test]
fn what_is_above_its_limit_fails_in_its_step() {
    fails(&TOUCH, "touch_weighted", 0.0, &[(Kind::R(200e3), "L2", "plug shell")]);
    fails(&TOUCH, "touch_weighted", 0.0, &[flows(0.53e-3, HERTZ)]);
    fails(&TOUCH, "touch_weighted", 0.0, &[flows(0.95e-3, HARMONIC_HERTZ)]);
    fails(&TOUCH, "touch_dc", 0.0, &[(Kind::I(2.2e-3, 0.0), EARTH, "plug shell")]);
    fails(&TOUCH, "touch_hf", 0.0, &[flows(56e-3, HIGH_HERTZ)]);
}

#[test]
fn what_is_below_its_limit_passes() {
    for faults in [
        [flows(0.46e-3, HERTZ)],
        [flows(0.80e-3, HARMONIC_HERTZ)],
        [flows(44e-3, HIGH_HERTZ)],
        [(Kind::I(0.6e-3, 0.0), EARTH, "plug shell")],
    ] {
        let came = inspect(&TOUCH, 0.0, &faults);
        assert_eq!(came.outcome, "pass", "{faults:?}: {came:?}");
    }
}

/// What leaks a milliampere: an asset that must not pass.
const LEAKS: Fault = (Kind::R(230e3), "L2", "plug shell");

/// The state of the prompt where it does not go on, with a sound asset and with one that leaks.
fn stops(person: Person, faults: &[Fault]) -> [Option<String>; 2] {
    [&[][..], &[LEAKS]].map(|bad| {
        let mut bench = bench(&TOUCH, 0.0, &[faults, bad].concat());
        bench.person = person;
        let stopped = bench.walk(TOUCH.plan, &[]).err();
        stopped.map(|prompt| prompt["state"].as_str().unwrap().to_string())
    })
}

fn at(tap: Plug) -> Person {
    Person { tap, ..Person::default() }
}

/// Other terminals, another network, and one that is broken: none of them reads as its own.
#[test]
fn another_network_is_never_measured_with() {
    let swaps: [(&str, Plug); 5] = [
        ("U1 for U2", |_, _| Tap::U1),
        ("U1 and U2 swapped", |step, _| match as_asked(step, "") {
            Tap::U1 => Tap::U2,
            _ => Tap::U1,
        }),
        ("the box of 1 kohm", |_, _| Tap::Fig12),
        ("1.5 kohm that is open", |_, _| Tap::Broken),
        ("1.5 kohm with 300 ohm beside it", |_, _| Tap::Bridged),
    ];
    for (name, tap) in swaps {
        let found = stops(at(tap), &[]);
        assert_eq!(found, [Some("probe_earth".into()), Some("probe_earth".into())], "{name}");
    }
    let mut bench = bench(&TOUCH, 0.0, &[]);
    bench.person = at(|_, _| Tap::U2);
    let stopped = bench.walk(TOUCH.plan, &[]).unwrap_err();
    assert_eq!((&stopped["of"], &stopped["state"]), (&json!("touch_dc"), &json!("probe_earth")));
}

/// The meter is put elsewhere when the network has been read: it is read once more after the value.
#[test]
fn who_swaps_while_it_is_live_does_not_get_on() {
    let swaps: [Plug; 3] = [
        |step, state| match (step, state) {
            ("touch_hf", "clear") => Tap::U2,
            _ => as_asked(step, state),
        },
        |step, state| match (step, state) {
            ("touch_weighted", "clear") => Tap::Fig12,
            _ => as_asked(step, state),
        },
        |step, state| match (step, state) {
            ("touch_weighted", "clear") => Tap::U1,
            _ => as_asked(step, state),
        },
    ];
    for swap in swaps {
        assert_eq!(stops(at(swap), &[])[0].as_deref(), Some("probe_part"));
    }
}

/// The network of IEC 60990 in place of that of IEC 60601-1.
#[test]
fn nor_is_this_one_in_place_of_the_other() {
    for tap in [(|_, _| Tap::U2) as Plug, |_, _| Tap::U1] {
        let direct = case("iec62353-recurrent-direct", "W-02");
        let mut bench = bench(&direct, 0.0, &[]);
        bench.confirm(&unconfirmed(direct.plan));
        bench.person = at(tap);
        let stopped = bench.walk(direct.plan, &[]).unwrap_err();
        assert_eq!(stopped["state"], "prove_open", "{stopped}");
    }
}

/// r.m.s. for a peak is 0.707 of it, and dc of a sine is nothing: before it is live, and from then
/// on.
#[test]
fn a_dial_that_stands_elsewhere_gives_no_value() {
    let dials: [(Dial, &str); 5] = [
        (|_, asked| instead(asked, Function::VoltagePeak, Function::VoltageAc), "clear"),
        (|_, asked| instead(asked, Function::VoltagePeak, Function::VoltageDc), "clear"),
        (|_, asked| instead(asked, Function::VoltageDc, Function::VoltagePeak), "probe_part"),
        (|state, asked| if state == "capture" { Function::VoltageAc } else { asked }, "capture"),
        (|state, asked| if state == "capture" { Function::VoltageDc } else { asked }, "capture"),
    ];
    for (at, (dial, state)) in dials.into_iter().enumerate() {
        let found = stops(Person { dial, ..Person::default() }, &[]);
        assert_eq!(found, [Some(state.into()), Some(state.into())], "{at}");
    }
}

fn instead(asked: Function, of: Function, other: Function) -> Function {
    if asked == of { other } else { asked }
}

/// An aerial or a data cable: what it takes away is read. 60 kohm take 3 % (reckoned).
#[test]
fn a_second_earth_is_seen_down_to_a_thirtieth_of_the_current() {
    for (ohm, state) in [(1.0, "probe_part"), (4e3, "probe_part"), (50e3, "probe_part")] {
        let cable = (Kind::R(ohm), "plug shell", EARTH);
        let found = stops(Person::default(), &[cable]);
        assert_eq!(found, [Some(state.into()), Some(state.into())], "{ohm}");
    }
    let cable = (Kind::R(300e3), "plug shell", EARTH);
    let came = inspect(&TOUCH, 0.0, &[cable, flows(0.53e-3, HERTZ)]);
    assert_eq!(came.outcome, "fail", "what it hides is less than the rest: {came:?}");
}

/// Who does not lay the probe on earth, and who leaves it there.
#[test]
fn a_probe_that_lies_elsewhere_proves_nothing() {
    for (person, state) in [
        (Person { lays: false, ..Person::default() }, "probe_earth"),
        (Person { forgets: true, ..Person::default() }, "probe_part"),
    ] {
        assert_eq!(stops(person, &[]), [Some(state.into()), Some(state.into())]);
    }
}

/// Nothing moves the meter there: neither peak has its path. As dc there may be nothing.
#[test]
fn a_probe_in_the_air_passes_nothing() {
    for faults in [&[][..], &[LEAKS]] {
        let mut bench = bench(&TOUCH, 0.0, faults);
        bench.person.in_the_air = true;
        let came = bench.inspect(TOUCH.plan, &[]);
        assert_eq!(came.outcome, "undecided", "{came:?}");
        for step in ["touch_weighted", "touch_hf"] {
            assert!(came.steps[step].1.contains(&"path_not_proved".to_string()), "{came:?}");
        }
    }
}

fn on(register: (&str, &str), fixtures: (&str, &str)) -> Came {
    let mut bench = bench(&TOUCH, 0.0, &[]);
    if !register.0.is_empty() {
        bench.instruments(register.0, register.1);
    }
    if !fixtures.0.is_empty() {
        bench.fixtures(fixtures.0, fixtures.1);
    }
    bench.inspect(TOUCH.plan, &[])
}

/// A meter of which nobody says that it reads to 1 MHz; a network that is not here, has run out, or
/// is another one in the register; setups that have each other's terminals.
#[test]
fn a_bench_that_lacks_something_passes_nothing() {
    let none = ("", "");
    let due = "141\"\ninspection_due = 2027-03-31";
    let fig4 = "id = \"NW-4\"\nwhat = \"network_fig4\"\nr1 = \"10.02 kOhm\"\nrs = \"1.498 kOhm\"\n\
                rb = \"499.5 Ohm\"\n";
    let fig12 =
        "id = \"NW-4\"\nwhat = \"network_fig12\"\nr1 = \"10.02 kOhm\"\nr2 = \"999.5 Ohm\"\n";
    for (register, fixtures, step, reason) in [
        (("bandwidth = \"1 MHz\"\n", ""), none, "touch_weighted", "bandwidth_unknown"),
        (("\"1 MHz\"", "\"100 kHz\""), none, "touch_hf", "bandwidth_unknown"),
        (
            ("network = \"NW-4\"", "network = \"NW-9\""),
            none,
            "touch_weighted",
            "unknown_instrument",
        ),
        (none, (due, "141\"\ninspection_due = 2026-03-31"), "touch_weighted", "fixture_missing"),
        (none, (fig4, fig12), "touch_weighted", "fixture_missing"),
    ] {
        let came = on(register, fixtures);
        assert_eq!(came.outcome, "undecided", "{register:?} {fixtures:?}: {came:?}");
        let reasons = &came.steps[step].1;
        assert!(reasons.contains(&reason.to_string()), "{register:?} {fixtures:?}: {came:?}");
    }
    let mut bench = bench(&TOUCH, 0.0, &[LEAKS]);
    bench.instruments("output = \"u2\"", "output = \"u1\"");
    let came = bench.inspect(TOUCH.plan, &[]);
    assert_eq!(came.outcome, "undecided", "no setup is at U2: {came:?}");
}
