//! Every plan that comes with the program, from the scan of the asset to the sealed book: the
//! station's core, its drivers and a solved circuit in virtual time, on a bench that lacks nothing.
//! A sound asset passes; each fault fails, in its own step.
//!
//! Sizes of the circuits are ours; that a current is U w C and a limit is what its table says
//! needs no source.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "whole/ammeter.rs"]
mod ammeter;
#[path = "whole/bench.rs"]
mod bench;
#[path = "whole/circuit.rs"]
mod circuit;
#[path = "whole/figure4.rs"]
mod figure4;
#[path = "whole/station.rs"]
mod station;
#[path = "whole/touch.rs"]
mod touch;

use ammeter::{Around, stands};
use bench::{Bench, Came};
use circuit::Thing;
use tapline_demo::circuit::Kind;
use tapline_protocols::limits::Table;
use tapline_protocols::plan::{self, Plan, reached};
use tapline_protocols::register::read_assets;

const ASSETS: &str = include_str!("whole/assets.csv");

/// What is wrong with an asset.
type Fault = (Kind, &'static str, &'static str);

#[derive(Clone, Copy)]
struct Case {
    plan: &'static str,
    asset: &'static str,
    /// Steps by reason that are asked for.
    with: &'static [&'static str],
    volts: f64,
}

const fn case(plan: &'static str, asset: &'static str) -> Case {
    Case { plan, asset, with: &[], volts: 230.0 }
}

fn plan_of(id: &str) -> Plan {
    plan::parse(plan::builtin(id).unwrap()).unwrap()
}

/// Rows from memory that the plan can come to: this workshop has read them.
fn unconfirmed(id: &str) -> Vec<String> {
    let table = |(s, e)| Table::parse(Table::builtin(s, e).unwrap()).unwrap();
    let tables: Vec<Table> = Table::all().map(table).collect();
    let plan = plan_of(id);
    let rows = reached(&plan, &tables);
    let mut ids: Vec<String> =
        rows.iter().filter(|one| one.is_unconfirmed()).map(|one| one.row.id.clone()).collect();
    ids.sort();
    ids.dedup();
    ids
}

fn bench(case: &Case, earth_ohm: f64, faults: &[Fault]) -> Bench {
    let asset = read_assets(ASSETS).unwrap().into_iter().find(|one| one.id == case.asset).unwrap();
    let thing = Thing { asset, faults: faults.to_vec(), earth_ohm, volts: case.volts };
    Bench::new(ASSETS, thing)
}

fn inspect(case: &Case, earth_ohm: f64, faults: &[Fault]) -> Came {
    let mut bench = bench(case, earth_ohm, faults);
    bench.confirm(&unconfirmed(case.plan));
    bench.inspect(case.plan, case.with)
}

/// A sound asset passes, and nothing of the plan is left out.
fn passes(case: &Case) {
    let came = inspect(case, 0.08, &[]);
    let planned: Vec<String> = plan_of(case.plan).steps.into_iter().map(|step| step.id).collect();
    assert_eq!(came.outcome, "pass", "{}: {:?}", case.plan, came);
    assert!(came.sealed);
    assert!(came.steps.keys().all(|step| planned.contains(step)));
}

/// A faulty one fails in the step that its fault is about.
fn fails(case: &Case, step: &str, earth_ohm: f64, faults: &[Fault]) {
    let came = inspect(case, earth_ohm, faults);
    assert_eq!(came.outcome, "fail", "{} {faults:?}: {came:?}", case.plan);
    assert!(came.sealed);
    assert_eq!(came.steps[step].0, "fail", "{} {faults:?}: {came:?}", case.plan);
}

/// 20 kohm from a pole to the case.
const TO_CASE: Fault = (Kind::R(20e3), "N", "case");
/// A part that should be apart from the mains part.
const TO_LEAD: Fault = (Kind::R(20e3), "L2", "lead.1");
const TO_CUFF: Fault = (Kind::R(10e3), "cuff.1", "case");

const DIRECT: Case = case("iec62353-recurrent-direct", "W-01");

#[test]
fn the_recurrent_test_by_the_direct_method() {
    passes(&DIRECT);
    fails(&DIRECT, "pe", 0.4, &[]);
    fails(&DIRECT, "leak", 0.08, &[TO_CASE]);
    fails(&DIRECT, "part_single", 0.08, &[TO_LEAD]);
    fails(&DIRECT, "part", 0.08, &[TO_CUFF]);
    let second = Case { asset: "W-02", ..DIRECT };
    passes(&second);
    fails(&second, "leak_case", 0.08, &[TO_CASE]);
}

#[test]
fn the_recurrent_test_by_the_alternative_method() {
    let alternative = case("iec62353-recurrent-alternative", "W-01");
    passes(&alternative);
    fails(&alternative, "leak", 0.08, &[TO_CASE]);
    fails(&alternative, "part_single", 0.08, &[TO_LEAD]);
    let second = Case { asset: "W-02", ..alternative };
    passes(&second);
    fails(&second, "leak_case", 0.08, &[TO_CASE]);
}

const INSULATION: &[&str] = &["insulation", "insulation_parts"];

#[test]
fn insulation_where_there_is_a_reason() {
    let direct = Case { with: INSULATION, ..DIRECT };
    passes(&direct);
    fails(&direct, "insulation", 0.08, &[(Kind::R(1e6), "L", "case")]);
    fails(&direct, "insulation_parts", 0.08, &[(Kind::R(6e6), "L", "knob shaft")]);
}

#[test]
fn acceptance_and_after_repair() {
    let acceptance = Case { with: INSULATION, ..case("iec62353-acceptance", "W-01") };
    passes(&acceptance);
    fails(&acceptance, "leak", 0.08, &[TO_CASE]);
    let repair = case("iec62353-after-repair", "W-02");
    passes(&repair);
    fails(&repair, "part", 0.08, &[(Kind::R(20e3), "L2", "cuff.1")]);
}

#[test]
fn systems_and_installed_assets() {
    let system = case("iec62353-system", "W-03");
    passes(&system);
    fails(&system, "pe", 0.6, &[]);
    let installed = case("iec62353-installed", "W-04");
    passes(&installed);
    fails(&installed, "pe", 0.4, &[]);
    fails(&installed, "touch", 0.08, &[(Kind::R(1e6), "L2", "armrest screw")]);
}

#[test]
fn the_general_standard_third_edition() {
    let third = Case { volts: 253.0, ..case("iec60601-1-leakage", "W-01") };
    passes(&third);
    let small = Case { asset: "W-09", ..third };
    fails(&small, "touch", 0.08, &[(Kind::R(1e6), "N", "knob shaft")]);
    fails(&small, "mains_single", 0.08, &[(Kind::R(1e6), "lead.1", "case")]);
}

#[test]
fn the_general_standard_with_functional_earth() {
    let second = Case { asset: "W-07", volts: 253.0, ..case("iec60601-1-leakage", "W-01") };
    passes(&second);
}

#[test]
fn the_general_standard_second_edition() {
    let second = Case { volts: 253.0, ..case("iec60601-1-leakage-1988", "W-06") };
    passes(&second);
    fails(&second, "pe", 0.3, &[]);
    fails(&second, "earth", 0.08, &[(Kind::R(200e3), "N", "case")]);
}

#[test]
fn rules_of_other_countries() {
    let nfpa = case("nfpa99-2012", "W-01");
    passes(&nfpa);
    fails(&nfpa, "touch_open", 0.08, &[(Kind::R(200e3), "N", "knob shaft")]);
    let asnzs = case("asnzs3551-2012", "W-01");
    passes(&asnzs);
    fails(&asnzs, "mains_contact_single", 0.08, &[(Kind::R(1e6), "lead.2", "case")]);
}

#[test]
fn equipment_that_is_not_medical() {
    let urn = Case { with: &["insulation_heater"], ..case("non-medical", "W-05") };
    passes(&urn);
    fails(&urn, "pe", 0.5, &[]);
    fails(&urn, "conductor", 0.08, &[(Kind::R(30e3), "N", "case")]);
    let charger = case("non-medical", "W-08");
    passes(&charger);
    fails(&charger, "touch", 0.08, &[(Kind::R(200e3), "L2", "plug shell")]);
}

#[test]
fn a_spot_check() {
    let spot = case("spot-check", "W-01");
    passes(&spot);
    fails(&spot, "pe", 0.4, &[]);
}

const DIFFERENTIAL: Case = case("iec62353-recurrent-differential", "W-01");

/// Forgotten data cable: a second earth, which the differential current includes.
const CABLE: Fault = (Kind::R(0.02), "case", "earth");
/// 100 kohm from a pole to the case: 2.3 mA, of which the limit is 0.5 mA.
const LEAKS: Fault = (Kind::R(100e3), "N", "case");
/// Where the lever really stands when it is asked for a position, for the nth time.
type Lever = fn(&str, usize) -> &'static str;
const AS_ASKED: Lever = |word, _| stands(word);

fn differential(faults: &[Fault], around: Around, lever: Lever) -> Came {
    let mut bench = bench(&DIFFERENTIAL, 0.08, faults);
    bench.confirm(&unconfirmed(DIFFERENTIAL.plan));
    bench.ammeter(around, lever);
    bench.inspect(DIFFERENTIAL.plan, &[])
}

/// In both polarities, with a second earth and with the clamp turned round, too; what a person says
/// of the lever stands beside the pass.
#[test]
fn the_recurrent_test_by_the_differential_method() {
    passes(&DIFFERENTIAL);
    second_class();
    for around in [Around::Both, Around::Turned] {
        let came = differential(&[CABLE], around, AS_ASKED);
        assert_eq!(came.outcome, "pass", "{around:?}: {came:?}");
        assert_eq!(came.steps["leak"].1, ["conditions_declared"], "{came:?}");
    }
    fails(&DIFFERENTIAL, "pe", 0.4, &[]);
}

/// A pump that leaks 0.03 mA to earth from either pole; without that, the ammeter can't tell it
/// from one that hangs in the wall.
fn second_class() {
    let second = Case { asset: "W-02", ..DIFFERENTIAL };
    let strays = [(Kind::C(0.4e-9), "L2", "earth"), (Kind::C(0.4e-9), "N2", "earth")];
    for (faults, word) in [(&strays[..], "pass"), (&[], "undecided")] {
        let came = inspect(&second, 0.08, faults);
        assert_eq!(came.outcome, word, "{came:?}");
    }
}

/// What such an ammeter shows above the limit is not weighted: undecided, and never a pass.
#[test]
fn what_leaks_never_passes_by_the_differential_method() {
    let filter = (Kind::C(10e-9), "L", "case");
    for faults in [&[LEAKS][..], &[LEAKS, CABLE], &[filter]] {
        let came = differential(faults, Around::Both, AS_ASKED);
        assert_eq!(came.outcome, "undecided", "{faults:?}: {came:?}");
        assert!(came.steps["leak"].1.contains(&"unweighted".to_string()), "{came:?}");
    }
}

/// Wherever the ammeter is that does not see all of it: the leaking asset does not pass, nor does a
/// sound one.
#[test]
fn an_ammeter_that_does_not_see_all_passes_nothing() {
    for around in [
        Around::Share(0.31),
        Around::Share(0.85),
        Around::Nowhere,
        Around::One,
        Around::Cord,
        Around::Earth,
    ] {
        for faults in [&[][..], &[LEAKS, CABLE]] {
            let came = differential(faults, around, AS_ASKED);
            assert_eq!(came.outcome, "undecided", "{around:?} {faults:?}: {came:?}");
        }
    }
    let came = differential(&[LEAKS], Around::Share(0.2), AS_ASKED);
    assert_eq!(came.steps["leak"].1, ["path_not_proved", "conditions_declared"], "{came:?}");
}

/// Whatever becomes of the lever: 0.92 mA, which the known current of 1.53 mA takes away in part.
#[test]
fn a_lever_that_stands_elsewhere_passes_nothing() {
    let levers: [(&str, Lever); 7] = [
        ("never", |_, _| "off"),
        ("always minus", |_, _| "minus"),
        ("minus for off", |word, _| if word == "off" { "minus" } else { stands(word) }),
        ("minus at first", |word, nth| if nth == 0 { "minus" } else { stands(word) }),
        ("minus is off", |word, _| if word == "minus" { "off" } else { stands(word) }),
        ("one late", |_, nth| ["off", "off", "plus", "minus"][nth.min(3)]),
        ("plus twice", |word, _| if word == "off" { "off" } else { "plus" }),
    ];
    for (name, lever) in levers {
        let came = differential(&[(Kind::R(250e3), "L", "case")], Around::Both, lever);
        assert_eq!(came.outcome, "undecided", "{name}: {came:?}");
    }
    for (name, lever) in &levers[..1] {
        let came = differential(&[], Around::Both, *lever);
        assert_eq!(came.steps["leak"].1[0], "path_not_proved", "{name}: {came:?}");
    }
}

/// The box has no test current, one that is too small for the limit, or one with another resistor
/// than the register has.
#[test]
fn without_its_test_current_nothing_passes() {
    let test = ", test = \"declared\" }\ntest_resistance = \"150 kOhm\"\n\
                test_tolerance_percent = \"1\"";
    for (from, to, reason) in [
        (test, " }", "fixture_missing"),
        ("150 kOhm", "230 kOhm", "path_not_proved"),
        ("150 kOhm", "100 kOhm", "path_not_proved"),
    ] {
        let mut bench = bench(&DIFFERENTIAL, 0.08, &[]);
        bench.confirm(&unconfirmed(DIFFERENTIAL.plan));
        bench.fixtures(from, to);
        let came = bench.inspect(DIFFERENTIAL.plan, &[]);
        assert_eq!(came.outcome, "undecided", "{to}: {came:?}");
        assert!(came.steps["leak"].1.contains(&reason.to_string()), "{to}: {came:?}");
    }
}

/// It is alive there, and the ammeter sees the known current.
#[test]
fn an_asset_in_the_wall_beside_the_box_does_not_pass() {
    let mut bench = bench(&DIFFERENTIAL, 0.08, &[LEAKS]);
    bench.confirm(&unconfirmed(DIFFERENTIAL.plan));
    bench.wall();
    let came = bench.inspect(DIFFERENTIAL.plan, &[]);
    assert_eq!(came.steps["leak"].1, ["path_not_proved", "conditions_declared"], "{came:?}");
}

#[test]
fn who_may_not_inspect_does_not_begin() {
    let people = include_str!("../demo/scenes/operators.toml");
    for (from, to) in [
        (", { what = \"inspect\", until = 2027-12-31 }]", "]"),
        ("\"inspect\", until = 2027-12-31", "\"inspect\", until = 2026-11-23"),
    ] {
        let mut bench = bench(&DIRECT, 0.08, &[]);
        assert!(people.contains(from));
        bench.people(&people.replacen(from, to, 1));
        let (said, refused) = bench.begin(DIRECT.plan);
        assert_eq!(said, Vec::<String>::new());
        assert!(refused[0].contains("competence `inspect`"), "{refused:?}");
    }
}

#[test]
fn an_asset_without_an_earthed_point_is_said_to_be_so() {
    for (asset, key) in [("W-01", "begin.open"), ("W-10", "begin.unproved")] {
        let (said, refused) = bench(&Case { asset, ..DIRECT }, 0.08, &[]).begin(DIRECT.plan);
        assert_eq!((said.as_slice(), refused.len()), ([key.to_string()].as_slice(), 0));
    }
}
