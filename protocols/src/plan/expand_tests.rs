//! Expansion as tables: what one plan becomes for one asset on one bench.

use alloc::string::{String, ToString};
use alloc::vec::Vec;
use alloc::{format, vec};

use super::*;
use crate::fact::LinkGiven;
use crate::limits::Table;
use crate::plan::fit::{Fit, fits};
use crate::plan::steps::{Direction, Switch};
use crate::plan::{builtin, parse};
use crate::register::{Fixture, Instrument, Lead, Setup};
use crate::register::{read_assets, read_fixtures, read_instruments};

const ASSETS: &str = include_str!("../../../contrib/example/assets.csv");
const INSTRUMENTS: &str = include_str!("../../../contrib/example/instruments.toml");
const FIXTURES: &str = include_str!("../../../contrib/example/fixtures.toml");

/// The example workshop.
struct Bench {
    plan: String,
    instruments: Vec<Instrument>,
    setups: Vec<Setup>,
    fixtures: Vec<Fixture>,
    leads: Vec<Lead>,
    links: Vec<LinkGiven>,
    tables: Vec<Table>,
    today: &'static str,
    asked: Vec<String>,
    blocks: bool,
    on_paper: bool,
}

impl Bench {
    fn new() -> Bench {
        let (instruments, setups) = read_instruments(INSTRUMENTS).unwrap();
        let (fixtures, leads) = read_fixtures(FIXTURES).unwrap();
        let link = |i: &Instrument| LinkGiven {
            link: i.id.to_lowercase(),
            driver: "val-unit-line".into(),
            instrument: Some(i.id.clone()),
            isolation_volts: i.isolation.volts,
            polled: false,
            period_ms: None,
        };
        Bench {
            plan: builtin("iec62353-recurrent-direct").unwrap().into(),
            links: instruments.iter().map(link).collect(),
            instruments,
            setups,
            fixtures,
            leads,
            tables: vec![Table::parse(Table::builtin("IEC 62353", "2014").unwrap()).unwrap()],
            today: "2026-11-24",
            asked: Vec::new(),
            blocks: true,
            on_paper: false,
        }
    }

    fn expand(&self, asset: &Asset) -> Result<Vec<Expanded>, Vec<Fault>> {
        expand(
            &parse(&self.plan).unwrap(),
            asset,
            &BenchGiven {
                instruments: &self.instruments,
                setups: &self.setups,
                fixtures: &self.fixtures,
                leads: &self.leads,
                links: &self.links,
                limits: &self.tables,
                today: self.today,
                asked: &self.asked,
                calibration_blocks: self.blocks,
                on_paper: self.on_paper,
            },
        )
    }

    fn names(&self, asset: &Asset) -> Vec<String> {
        self.expand(asset).unwrap().into_iter().map(|step| step.step).collect()
    }

    /// Why the first expanded step of a step is closed.
    fn closed(&self, asset: &Asset, of: &str) -> Option<String> {
        let list = self.expand(asset).unwrap();
        list.into_iter().find(|step| step.of == of).unwrap().closed
    }

    fn unswitch(&mut self, switch: &str) {
        self.fixture("SB-1").switches.remove(switch);
    }

    fn fixture(&mut self, id: &str) -> &mut Fixture {
        self.fixtures.iter_mut().find(|fixture| fixture.id == id).unwrap()
    }
}

fn asset(id: &str) -> Asset {
    read_assets(ASSETS).unwrap().into_iter().find(|asset| asset.id == id).unwrap()
}

#[test]
fn class_one_with_a_fixed_cord() {
    let names = Bench::new().names(&asset("P-0107"));
    let wanted =
        ["look", "pe/1", "pe/2", "leak/1", "leak/2", "part_single/1", "part_single/2", "try"];
    assert_eq!(names, wanted);
}

#[test]
fn a_detachable_cord_is_measured_alone_and_the_inlet_too() {
    let list = Bench::new().expand(&asset("P-0112")).unwrap();
    let line = |s: &Expanded| {
        let direction = s.direction.map(|d| format!("{d:?}")).unwrap_or_default();
        let (method, limit) = (s.method.clone().unwrap(), s.limit.clone().unwrap());
        format!("{} {} {direction} {method} {limit}", s.step, s.point.clone().unwrap_or_default())
    };
    let earth: Vec<String> =
        list.iter().filter(|s| s.of == "pe" || s.of == "cord").map(line).collect();
    assert_eq!(
        earth,
        [
            "pe/1 equalisation bolt Plus inlet iec62353-2014.pe.inlet",
            "pe/2 equalisation bolt Minus inlet iec62353-2014.pe.inlet",
            "pe/3 rear panel Plus inlet iec62353-2014.pe.inlet",
            "pe/4 rear panel Minus inlet iec62353-2014.pe.inlet",
            "cord/1 C-0112A Plus cord_alone iec62353-2014.pe.cord_alone",
            "cord/2 C-0112A Minus cord_alone iec62353-2014.pe.cord_alone",
            "cord/3 C-0112B Plus cord_alone iec62353-2014.pe.cord_alone",
            "cord/4 C-0112B Minus cord_alone iec62353-2014.pe.cord_alone",
        ]
    );
    let parts: Vec<_> = list.iter().filter(|s| s.of.starts_with("part")).collect();
    let named: Vec<&str> = parts.iter().map(|s| s.part.as_deref().unwrap()).collect();
    assert_eq!(named[..2], ["cuff", "cuff"], "joined");
    assert_eq!(named[2..], ["ECG"; 10], "each of five connections singly, in both polarities");
    assert_eq!(parts[0].limit.as_deref(), Some("iec62353-2014.part.direct.bf"));
    assert_eq!(parts[2].limit.as_deref(), Some("iec62353-2014.part.direct.cf"));
}

#[test]
fn cords_without_identity_count_once() {
    let mut one = asset("P-0112");
    one.cords.clear();
    let list = Bench::new().expand(&one).unwrap();
    let cords: Vec<_> =
        list.iter().filter(|s| s.of == "cord").map(|s| s.point.as_deref()).collect();
    assert_eq!(cords, [Some("with the asset"); 2]);
}

#[test]
fn class_two_has_no_earth_step_and_no_s7() {
    let list = Bench::new().expand(&Asset { states: Vec::new(), ..asset("P-0118") }).unwrap();
    let of: Vec<&str> = list.iter().map(|s| s.step.as_str()).collect();
    assert_eq!(of, ["look", "leak_case/1", "leak_case/2", "part/1", "part/2", "try"]);
    let words = |s: &Expanded| s.set.values().cloned().collect::<Vec<_>>();
    assert_eq!(words(&list[1]), ["normal"]);
    assert_eq!(words(&list[2]), ["reversed"]);
    assert_eq!(list[1].limit.as_deref(), Some("iec62353-2014.equipment.direct.ii"));
}

/// Energised steps are repeated for each operating state, the leads as they lie.
#[test]
fn an_asset_with_several_states_leaks_in_each_of_them() {
    let list = Bench::new().expand(&asset("P-0118")).unwrap();
    let live = list.iter().filter(|step| !step.set.is_empty());
    let said =
        live.map(|s| format!("{} {} {}", s.step, s.state.as_deref().unwrap(), s.set[&Switch::S5]));
    assert_eq!(
        said.take(4).collect::<Vec<_>>(),
        [
            "leak_case/1 standby normal",
            "leak_case/2 standby reversed",
            "leak_case/3 operating normal",
            "leak_case/4 operating reversed"
        ]
    );
    assert!(list.iter().filter(|step| step.set.is_empty()).all(|step| step.state.is_none()));
    let one = Asset { states: vec!["operating".into()], ..asset("P-0118") };
    let none = Asset { states: Vec::new(), ..asset("P-0118") };
    assert_eq!(Bench::new().expand(&one).unwrap(), Bench::new().expand(&none).unwrap());
}

#[test]
fn class_one_opens_s7_in_both_polarities() {
    let list = Bench::new().expand(&asset("P-0109")).unwrap();
    let leak: Vec<&Expanded> = list.iter().filter(|s| s.of == "leak").collect();
    assert_eq!(leak.len(), 2);
    for (step, polarity) in leak.iter().zip(["normal", "reversed"]) {
        assert_eq!(step.set[&Switch::S7], "open");
        assert_eq!(step.set[&Switch::S5], polarity);
        assert_eq!(step.instrument.as_deref(), Some("LK-1"));
        assert_eq!((step.leads.as_deref(), step.closed.as_deref()), (None, None));
    }
}

/// Conditions of IEC 60601-1 for touch current, as combinations of S1, S5, S7 with S1 and S7
/// never open together: class I six, class II four, twice that with S10 (JIS T 0601-1:2012,
/// Figures 13 to 15, which a plan gets as two steps: `S1` walked, then `S7` open).
#[test]
fn conditions_count_as_in_the_general_standard() {
    let sweep = |set: &str, walked: &str| {
        let text = Bench::new().plan.replace("set        = { S7 = \"open\" }", set);
        let text = text.replace("sweep      = [\"S5\"]\ncontact    = \"plug\"", walked);
        parse(&text).unwrap().steps.into_iter().find(|step| step.id == "leak").unwrap()
    };
    let walk = "sweep = [\"S1\", \"S5\", \"S10\"]\ncontact = \"plug\"";
    let first = sweep("set = { S7 = \"closed\" }", walk);
    let walk = "sweep = [\"S5\", \"S10\"]\ncontact = \"plug\"";
    let second = sweep("set = { S1 = \"closed\", S7 = \"open\" }", walk);
    let count = |class, earth| {
        let mut all = conditions(&first, class, earth);
        all.extend(conditions(&second, class, earth));
        all.iter_mut().for_each(|set| set.retain(|_, word| word != "closed"));
        all.sort();
        all.dedup();
        all.len()
    };
    use crate::register::Class;
    assert_eq!(count(Class::I, false), 6);
    assert_eq!(count(Class::II, false), 4);
    // S10 open is told from closed; the settings of rest were taken out above.
    assert_eq!(count(Class::I, true), 12);
    assert_eq!(count(Class::II, true), 8);
}

#[test]
fn an_ac_meter_has_no_direction() {
    let mut bench = Bench::new();
    let range = &mut bench.instruments[0].ranges[0];
    range.gives.as_mut().unwrap().kind = Kind::Ac;
    let list = bench.expand(&asset("P-0107")).unwrap();
    let pe: Vec<_> = list.iter().filter(|s| s.of == "pe").collect();
    assert_eq!(pe.len(), 1);
    assert_eq!((pe[0].step.as_str(), pe[0].direction), ("pe/1", Some(Direction::None)));
    assert_eq!(pe[0].leads.as_deref(), Some("L-1"));
}

#[test]
fn steps_by_reason_come_when_asked_for_and_the_maker_may_exclude_them() {
    let mut bench = Bench::new();
    bench.asked = vec!["insulation".into(), "insulation_parts".into()];
    assert_eq!(bench.closed(&asset("P-0107"), "insulation").as_deref(), Some("excluded"));
    assert_eq!(bench.closed(&asset("P-0109"), "insulation"), None);
    let names = bench.names(&asset("P-0118"));
    assert!(names.contains(&"insulation_parts/1".into()), "{names:?}");
}

#[test]
fn an_isolated_source_is_missing_on_the_example_bench() {
    let closed = Bench::new().closed(&asset("P-0107"), "part_single");
    assert_eq!(closed.as_deref(), Some("fixture_missing"));
}

macro_rules! closed {
    ($($name:ident: $asset:literal, $of:literal, $change:expr => $why:expr;)*) => {$(
        #[test]
        fn $name() {
            let mut bench = Bench::new();
            let change: fn(&mut Bench) = $change;
            change(&mut bench);
            let why: Option<&str> = $why;
            assert_eq!(bench.closed(&asset($asset), $of).as_deref(), why);
        }
    )*};
}

closed! {
    nothing_missing: "P-0107", "leak", |_| {} => None;
    no_box: "P-0107", "leak", |b| b.fixtures.retain(|f| f.id != "SB-1") => Some("fixture_missing");
    no_foil: "P-0118", "leak_case", |b| b.fixtures.retain(|f| f.id != "FO-1")
        => Some("fixture_missing");
    a_box_out_of_date: "P-0107", "leak", |b| b.fixture("SB-1").inspection_due = "2026-11-23".into()
        => Some("fixture_missing");
    a_box_on_its_last_day: "P-0107", "leak",
        |b| b.fixture("SB-1").inspection_due = "2026-11-24".into() => None;
    a_box_without_s5: "P-0107", "leak", |b| b.unswitch("S5")
        => Some("fixture_missing");
    a_box_without_s7: "P-0107", "leak", |b| b.unswitch("S7")
        => Some("fixture_missing");
    class_two_needs_no_s7: "P-0118", "leak_case",
        |b| b.unswitch("S7") => None;
    a_box_without_supply_switch: "P-0107", "leak",
        |b| b.unswitch("supply") => Some("fixture_missing");
    a_box_that_opens_one_pole: "P-0107", "leak", |b| b.fixture("SB-1").poles = Some("one".into())
        => Some("fixture_missing");
    a_box_of_unknown_poles: "P-0107", "leak", |b| b.fixture("SB-1").poles = None
        => Some("fixture_missing");
    a_network_out_of_date: "P-0107", "leak",
        |b| b.fixture("NW-1").inspection_due = "2026-01-01".into() => Some("fixture_missing");
    a_setup_of_another_network: "P-0107", "leak", |b| b.setups[0].network = "NW-2".into()
        => Some("fixture_missing");
    no_setup: "P-0107", "leak", |b| b.setups.clear() => Some("unknown_instrument");
    no_setup_on_paper: "P-0107", "leak", |b| { b.setups.clear(); b.on_paper = true; } => None;
    no_leads: "P-0107", "pe", |b| b.leads.clear() => Some("fixture_missing");
    no_meter: "P-0107", "pe", |b| b.instruments.clear() => Some("unknown_instrument");
    a_meter_without_link: "P-0107", "pe", |b| b.links.clear() => Some("unknown_instrument");
    a_weak_test_current: "P-0107", "pe",
        |b| b.instruments[0].ranges[0].gives = None => Some("unknown_instrument");
    a_meter_out_of_calibration: "P-0107", "pe",
        |b| b.instruments[0].calibration_due = "2026-11-23".into() => Some("out_of_calibration");
    a_setup_out_of_calibration: "P-0107", "leak",
        |b| b.setups[0].calibration_due = "2026-11-23".into() => Some("out_of_calibration");
    a_voltmeter_out_of_calibration: "P-0107", "leak",
        |b| b.instruments[2].calibration_due = "2026-11-23".into() => Some("out_of_calibration");
    out_of_calibration_by_policy: "P-0107", "pe", |b| {
        b.instruments[0].calibration_due = "2026-11-23".into();
        b.blocks = false;
    } => None;
    mains_over_299_volts: "P-0107", "leak", |b| b.links[2].isolation_volts = 299
        => Some("link_not_isolated");
    mains_over_300_volts: "P-0107", "leak", |b| b.links[2].isolation_volts = 300 => None;
    extra_low_needs_no_isolation: "P-0107", "pe", |b| b.links[0].isolation_volts = 0 => None;
    test_voltage_over_599_volts: "P-0109", "insulation", |b| {
        b.asked = vec!["insulation".into()];
        b.links[1].isolation_volts = 599;
    } => Some("link_not_isolated");
    test_voltage_over_600_volts: "P-0109", "insulation", |b| {
        b.asked = vec!["insulation".into()];
        b.links[1].isolation_volts = 600;
    } => None;
    no_table: "P-0107", "pe", |b| b.tables.clear() => Some("no_limit");
    looking_needs_nothing: "P-0107", "look", |b| { b.instruments.clear(); b.tables.clear(); }
        => None;
}

#[test]
fn of_two_meters_the_one_that_can_start_is_chosen() {
    let mut bench = Bench::new();
    let mut old = bench.instruments[0].clone();
    old.id = "LR-00".into();
    old.calibration_due = "2020-01-01".into();
    bench.instruments.insert(0, old);
    let list = bench.expand(&asset("P-0107")).unwrap();
    assert_eq!(list[1].instrument.as_deref(), Some("LR-01"));
}

#[test]
fn a_plan_for_other_assets_says_so() {
    let faults = Bench::new().expand(&asset("P-0121")).unwrap_err();
    let fields: Vec<&str> = faults.iter().map(|f| f.field.as_str()).collect();
    assert_eq!(fields, ["class", "cord"]);
    assert!(faults[0].text.contains("is for class I, II; asset `P-0121` is internal"));
    let mut bench = Bench::new();
    bench.today = "today";
    assert_eq!(bench.expand(&asset("P-0107")).unwrap_err()[0].field, "today");
}

#[test]
fn more_than_512_values_are_refused() {
    let mut many = asset("P-0112");
    many.cords = (0..64).map(|n| n.to_string()).collect();
    many.earthed_points = (0..64).map(|n| n.to_string()).collect();
    many.applied_parts = vec![many.applied_parts[1].clone(); 64];
    assert_eq!(Bench::new().expand(&many).unwrap().len(), 388);
    let mut bench = Bench::new();
    bench.plan = bench.plan.replace(
        "each      = [\"earthed_point\", \"dc_direction\"]",
        "each = [\"earthed_point\", \"operating_state\", \"dc_direction\"]",
    );
    many.states = (0..5).map(|n| n.to_string()).collect();
    let faults = bench.expand(&many).unwrap_err();
    assert!(faults[0].text.contains("more than 512"), "{faults:?}");
}

#[test]
fn connections_run_within_their_part() {
    let list = Bench::new().expand(&asset("P-0112")).unwrap();
    let spot = |s: &Expanded| format!("{} {}", s.part.clone().unwrap(), s.point.clone().unwrap());
    let spots: Vec<String> = list.iter().filter(|s| s.of == "part_single").map(spot).collect();
    assert_eq!(spots.len(), 10);
    assert_eq!((spots[0].as_str(), spots[9].as_str()), ("ECG 1", "ECG 5"));
}

#[test]
fn an_asset_goes_by_its_own_plan_or_by_class_and_cord() {
    let mut plan = parse(&Bench::new().plan).unwrap();
    let plans = vec![plan.clone()];
    assert_eq!(fits(&asset("P-0107"), &plans), Fit::Own(&plans[0]));
    assert_eq!(fits(&asset("P-0118"), &plans), Fit::Follows(&plans[0]));
    assert_eq!(fits(&asset("P-0121"), &plans), Fit::None);
    let mut other = asset("P-0121");
    other.plan = Some(plan.id.clone());
    assert_eq!(fits(&other, &plans), Fit::NotForIt(&plans[0]));
    other.plan = Some("mine".into());
    assert_eq!(fits(&other, &plans), Fit::Unknown("mine".into()));
    plan.id = "twin".into();
    let two = vec![plans[0].clone(), plan];
    assert_eq!(fits(&asset("P-0118"), &two), Fit::Several(vec![&two[0], &two[1]]));
    assert_eq!(fits(&asset("P-0118"), &two).plan(), None);
    assert_eq!(fits(&asset("P-0118"), &plans).plan(), Some(&plans[0]));
}
