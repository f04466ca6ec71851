use alloc::string::String;

use super::*;
use crate::plan::{builtin, read};

fn plan() -> String {
    builtin("iec62353-recurrent-direct").unwrap().into()
}

fn tables() -> Vec<Table> {
    alloc::vec![Table::parse(Table::builtin("IEC 62353", "2014").unwrap()).unwrap()]
}

fn checked(text: &str) -> Vec<Fault> {
    let (plan, lines) = read(text).unwrap();
    check(&plan, &lines, &tables())
}

#[test]
fn the_built_in_plan_has_no_fault() {
    assert_eq!(checked(&plan()), []);
}

/// What stands from memory in the table is what a workshop must confirm for this plan.
#[test]
fn a_plan_lists_its_limits_and_the_unconfirmed_ones() {
    let text = plan();
    let (plan, _) = read(&text).unwrap();
    let tables = tables();
    let found = reached(&plan, &tables);
    let ids = |step: &str| -> Vec<&str> {
        let own = found.iter().filter(|r| r.step.id == step);
        own.map(|r| r.row.id.as_str()).collect()
    };
    assert_eq!(ids("pe").len(), 2);
    assert_eq!(ids("cord"), ["iec62353-2014.pe.cord_alone"]);
    assert_eq!(ids("part"), ["iec62353-2014.part.direct.bf"]);
    assert_eq!(ids("part_single"), ["iec62353-2014.part.direct.cf"]);
    let open: Vec<&str> =
        found.iter().filter(|r| r.is_unconfirmed()).map(|r| r.step.id.as_str()).collect();
    assert_eq!(open, ["insulation", "insulation_parts", "insulation_parts", "part", "part_single"]);
}

/// The plan with the first of some words after `id = "STEP"` replaced.
fn changed(step: &str, from: &str, to: &str) -> String {
    let text = plan();
    let names = text.match_indices("[[step]]").map(|(at, _)| at);
    let own = |at: &usize| {
        let line = text[*at..].lines().nth(1).unwrap_or_default();
        line.ends_with(&format!("\"{step}\""))
    };
    let at = names.into_iter().find(own).expect("the plan has the step");
    let (before, after) = text.split_at(at);
    assert!(after.contains(from), "{step} has no {from}");
    format!("{before}{}", after.replacen(from, to, 1))
}

macro_rules! faults {
    ($(
        $name:ident: $step:literal, $from:literal => $to:literal
            : $key:literal, $said:literal;
    )*) => {$(
        #[test]
        fn $name() {
            let text = changed($step, $from, $to);
            let faults = checked(&text);
            assert!(!faults.is_empty(), "nothing found");
            let place = format!("step.{}", $step);
            let field = if $key.is_empty() { place } else { format!("{place}.{}", $key) };
            let said = |f: &&Fault| f.field == field && f.text.contains($said);
            let fault = faults.iter().find(said).unwrap_or_else(|| panic!("{faults:?}"));
            let lines: Vec<&str> = text.lines().collect();
            let line = lines[fault.line as usize - 1];
            assert!(line.starts_with($key.split('.').next().unwrap()) || line == "[[step]]",
                "line {}: {line}", fault.line);
        }
    )*};
}

faults! {
    a_step_that_nobody_reaches: "pe",
        "when      = { class = [\"I\"] }" =>
        "when = { class = [\"internal\"] }"
        : "when", "ever comes to this step";
    a_step_for_a_cord_that_never_comes: "cord",
        "cord = [\"detachable\"]" =>
        "cord = [\"installed\"]"
        : "when", "ever comes to this step";
    no_potential: "pe", "potential = \"extra_low\"" => ""
        : "potential", "every measure step names it";
    no_contact: "leak", "contact    = \"plug\"" => ""
        : "contact", "every measure step names it";
    no_capture: "pe", "capture   = { rule = \"worst_over\", seconds = 5, while = \"flexed\" }" => ""
        : "capture", "every measure step names it";
    no_lead: "pe", "lead      = \"pe.earth_contact_to_part\"" => ""
        : "lead", "every measure step names it";
    no_needs: "insulation",
        "needs     = { function = [\"insulation_resistance\"], test_voltage = \">= 500 V\" }" =>
        ""
        : "needs", "every measure step names it";
    an_unknown_measurand: "leak", "\"equipment_leakage\"" => "\"equipment_leak\""
        : "measurand", "did you mean `equipment_leakage`";
    an_unknown_method: "leak", "\"direct\"" => "\"indirect\""
        : "method", "unknown term `indirect`";
    a_method_of_another_measurand: "leak", "\"direct\"" => "\"inlet\""
        : "method", "unknown term `inlet`";
    no_limit_for_the_method: "part", "\"direct\"" => "\"differential\""
        : "", "no limit for applied_part_leakage";
    no_limit_for_type_b: "part", "[\"BF\"]" => "[\"B\", \"BF\"]"
        : "", "2014; there is one for applied part BF, CF";
    no_limit_for_the_class: "cord", "class = [\"I\"], " => ""
        : "", "2014; there is one for class I";
    no_word_for_a_cord: "pe", ", detachable = \"inlet\"" => ""
        : "method", "`detachable`";
    a_word_for_a_cord_that_never_comes: "pe",
        "detachable = \"inlet\"" =>
        "detachable = \"inlet\", installed = \"installed\""
        : "method", "`installed` comes here";
    a_window_without_length: "pe", "seconds = 5, " => ""
        : "capture", "needs `seconds`";
    a_length_without_window: "leak", "\"worst_over\"" => "\"settled\""
        : "capture", "leave `seconds` out";
    flexed_while_settled: "pe", "\"worst_over\"" => "\"after_seconds\""
        : "capture", "only `worst_over`";
    two_kinds_of_point: "pe", "\"dc_direction\"]" => "\"accessible_part\"]"
        : "each", "split it";
    connections_without_their_part: "part", "[\"applied_part\", " => "[\"connection\", "
        : "each", "within `applied_part`";
    a_switch_fixed_and_walked: "leak", "[\"S5\"]" => "[\"S5\", \"S7\"]"
        : "sweep", "`S7` stands in `set`";
    a_walk_through_the_test_current: "leak", "[\"S5\"]" => "[\"S5\", \"test\"]"
        : "sweep", "own proof alone";
    a_test_current_that_is_set: "leak", "set        = { S7" => "set        = { test = \"plus\", S7"
        : "set", "own proof alone";
    a_test_current_beside_a_network: "leak", "\"alive\", " => "\"alive\", \"test_current\", "
        : "prove", "around the conductors";
    a_test_current_of_another_method: "leak", "\"alive\", " => "\"alive\", \"test_current\", "
        : "method", "`differential`";
    a_walk_through_the_probe: "leak", "[\"S5\"]" => "[\"S5\", \"probe\"]"
        : "sweep", "for the proof alone";
    a_probe_that_is_set: "leak", "set        = { S7" => "set        = { probe = \"earth\", S7"
        : "set", "for the proof alone";
    a_network_of_another_standard: "leak", "\"iec60601_fig12\"" => "\"iec60990_u2\""
        : "needs", "other terminals";
    a_walk_through_the_supply: "leak", "[\"S5\"]" => "[\"supply\"]"
        : "sweep", "never walked through";
    switches_without_a_box: "leak", "\"supply_box\", " => ""
        : "fixtures", "supply_box";
    live_without_proof: "leak", "prove      = [\"network_resistance\", \"alive\", \"supply\"]" => ""
        : "prove", "`alive` and `supply`";
    live_without_the_network_shown: "leak", "\"network_resistance\", " => ""
        : "prove", "proves nothing without";
    live_without_the_supply_checked: "leak", ", \"supply\"]" => "]"
        : "prove", "`alive` and `supply`";
    live_at_extra_low_voltage: "leak", "\"mains\"\nfixtures" => "\"extra_low\"\nfixtures"
        : "potential", "may come to `mains`";
    mains_without_hazard: "leak", "hazard     = \"live\"" => ""
        : "hazard", "says its `hazard`";
    a_test_voltage_without_closed_path: "insulation", "prove     = [\"closed_path\"]" => ""
        : "prove", "closed_path";
    a_test_voltage_at_mains: "insulation", "\"dc_500\"" => "\"mains\""
        : "potential", "dc_500";
    a_network_without_its_correction: "leak",
        "[\"network\", \"mains_scaling\"]" =>
        "[\"mains_scaling\"]"
        : "correct", "becomes a current";
    a_network_that_is_no_fixture: "leak", ", \"network_fig12\"" => ""
        : "fixtures", "network_fig12";
    a_correction_without_its_network: "pe", "[\"lead_null\"]" => "[\"lead_null\", \"network\"]"
        : "correct", "name it in `needs`";
    scaling_without_voltage: "leak", ", mains = \"measured_or_worst_case\"" => ""
        : "needs", "a mains voltage";
    scaling_to_110_percent: "leak", "measured_or_worst_case" => "at_110_percent"
        : "correct", "never scaled";
    an_alternative_method_without_its_source: "leak", "\"direct\"" => "\"alternative\""
        : "fixtures", "isolated_source";
    a_correction_that_is_not_built: "pe", "[\"lead_null\"]" => "[\"lead_null\", \"rms\"]"
        : "correct", "not built yet";
    a_temperature_of_copper: "pe", "[\"lead_null\"]" => "[\"lead_null\", \"temperature\"]"
        : "correct", "only an insulation";
    a_temperature_and_no_reference: "insulation", "combine   = \"smallest\"\n"
        => "combine   = \"smallest\"\ncorrect   = [\"temperature\"]\n"
        : "correct", "celsius";
    a_reference_that_nothing_needs: "insulation", "combine   = \"smallest\"\n"
        => "combine   = \"smallest\"\ncelsius   = \"40\"\n"
        : "celsius", "does not name";
    a_reference_that_is_none: "insulation", "combine   = \"smallest\"\n"
        => "combine   = \"smallest\"\ncorrect = [\"temperature\"]\ncelsius   = \"104 F\"\n"
        : "celsius", "degrees Celsius";
    several_values_and_no_choice: "leak", "combine    = \"largest_magnitude\"" => ""
        : "combine", "which one is judged";
    the_better_of_several: "leak", "\"largest_magnitude\"" => "\"smallest\""
        : "combine", "keeps the better";
    nothing_to_answer: "try", "items = [\"function\", \"alarms\", \"indicators\"]" => ""
        : "items", "at least one item";
    a_measurand_to_answer: "look", "items = " => "measurand = \"touch_current\"\nitems = "
        : "measurand", "leave it out";
    a_live_step_of_class_one_without_a_gate: "leak", "needs_gate = \"protective_earth\"\n" => ""
        : "needs_gate", "class I comes to";
    a_leakage_that_nothing_drives: "leak", "hazard     = \"live\"" => ""
        : "hazard", "nothing flows";
    a_leakage_that_is_not_scaled: "leak", ", \"mains_scaling\"]" => "]"
        : "correct", "to nominal mains";
    a_leakage_in_one_polarity: "leak", "sweep      = [\"S5\"]" => ""
        : "sweep", "one polarity";
    an_insulation_without_its_hazard: "insulation", "hazard    = \"test_voltage\"" => ""
        : "hazard", "with a test voltage";
    an_insulation_at_the_volts_of_an_ohm_range: "insulation", ", test_voltage = \">= 500 V\"" => ""
        : "needs", "with a test voltage";
    a_dc_current_in_one_direction: "pe", ", \"dc_direction\"]" => "]"
        : "each", "is turned round";
    a_computed_step: "try", "kind  = \"try\"" => "kind = \"compute\""
        : "kind", "not built yet";
}

/// Only the steps named `gate` prove it; without them nothing energised ever opens.
#[test]
fn a_gate_that_nobody_proves() {
    let faults = checked(&plan().replace("gate      = \"protective_earth\"\n", ""));
    let waits = faults.iter().filter(|f| f.field.ends_with("needs_gate"));
    let found: Vec<&str> = waits.map(|f| f.field.as_str()).collect();
    assert_eq!(
        found,
        ["insulation", "insulation_parts", "leak", "part", "part_single"]
            .map(|id| format!("step.{id}.needs_gate")),
        "{faults:?}"
    );
}

#[test]
fn a_limit_that_stands_twice_is_said_with_both_names() {
    let text = plan();
    let (plan, lines) = read(&text).unwrap();
    let mut tables = tables();
    let row = tables[0].rows.iter().find(|row| row.id.ends_with("pe.cord_alone")).unwrap();
    let twin = crate::limits::Row { id: "site.cord".into(), ..row.clone() };
    tables[0].rows.push(twin);
    let faults = check(&plan, &lines, &tables);
    assert_eq!(faults.len(), 2, "ac and dc: {faults:?}");
    assert!(faults[0].text.contains("iec62353-2014.pe.cord_alone, site.cord"));
}

#[test]
fn another_edition_has_no_limits() {
    let faults = checked(&plan().replace("\"2014\"", "\"1999\""));
    let said = "edition 1999; no table of that edition is here: 2014, 2007";
    assert!(faults.iter().any(|f| f.text.ends_with(said)), "{faults:?}");
    let faults = checked(&plan().replace("\"IEC 62353\"", "\"IEC 1\""));
    let said = "no table of that standard is here: IEC 62353, DIN VDE 0751-1, ";
    assert!(faults.iter().any(|f| f.text.contains(said)), "{faults:?}");
}

/// Faults of another shipped plan with one text replaced everywhere.
fn of_plan(id: &str, from: &str, to: &str) -> Vec<String> {
    let text = builtin(id).unwrap();
    assert!(text.contains(from), "{id} has no {from}");
    let (plan, lines) = read(&text.replace(from, to)).unwrap();
    let table = |(s, e)| Table::parse(Table::builtin(s, e).unwrap()).unwrap();
    let tables: Vec<Table> = Table::all().map(table).collect();
    let faults = check(&plan, &lines, &tables);
    faults.iter().map(|fault| format!("{} {}", fault.field, fault.text)).collect()
}

/// IEC 60601-1:2005 8.7.3 (excerpts seen): 10 mA of earth leakage and 500 uA of touch current are
/// for a fault; 5 mA and 100 uA for none. A plan that says the word measures the fault.
#[test]
fn the_larger_limit_of_a_fault_is_for_a_fault() {
    let said = "its larger limit is for a fault";
    let found = of_plan("iec60601-1-leakage", "S1 = \"open\", ", "");
    assert!(found.iter().any(|f| f.starts_with("step.earth_open.condition") && f.contains(said)));
    let walked = "sweep      = [\"S1\", \"S5\", \"S7\", \"S10\"]";
    let found =
        of_plan("iec60601-1-leakage", walked, &format!("condition = \"single_fault\"\n{walked}"));
    assert!(found.iter().any(|f| f.starts_with("step.touch.condition")), "{found:?}");
    let closed = of_plan("nfpa99-2012", "{ S7 = \"open\" }", "{ S7 = \"closed\" }");
    assert!(closed.iter().any(|f| f.starts_with("step.touch_open.condition")), "{closed:?}");
    // A class II asset has no protective earth to open.
    let class = of_plan(
        "nfpa99-2012",
        "when       = { class = [\"I\"] }\neach       = [\"acc",
        "each       = [\"acc",
    );
    assert!(class.iter().any(|f| f.starts_with("step.touch_open.condition")), "{class:?}");
}

/// 5 mA where 500 uA hold: the third edition's limits for an asset of the second.
#[test]
fn a_plan_of_a_design_standard_says_what_was_built_to_it() {
    let text = builtin("iec60601-1-leakage").unwrap();
    let (from, rest) = text.split_once(", built_to = [").unwrap();
    let (_, rest) = rest.split_once(']').unwrap();
    let (plan, lines) = read(&alloc::format!("{from}{rest}")).unwrap();
    let table = |(s, e)| Table::parse(Table::builtin(s, e).unwrap()).unwrap();
    let tables: Vec<Table> = Table::all().map(table).collect();
    let faults = check(&plan, &lines, &tables);
    assert_eq!(faults.len(), 1, "{faults:?}");
    assert!(faults[0].field == "for" && faults[0].text.contains("`built_to`"), "{faults:?}");
}

/// Makers' service manuals (excerpts seen): 110 % of the highest rated voltage.
#[test]
fn a_type_test_asks_for_its_voltage() {
    let found = of_plan("iec60601-1-leakage", ", mains = \"at_110_percent\"", "");
    assert!(found.len() > 10 && found[0].contains("at 110 %"), "{found:?}");
}

/// IEC 60601-1:2005 8.7.3 e) (from memory) limits the current as it flows: behind the network
/// 10 mA at 100 kHz read as 0.1 mA.
#[test]
fn a_limit_of_the_plain_current_takes_no_network() {
    let found = of_plan(
        "iec60601-1-leakage",
        "measurand  = \"touch_current\"",
        "measurand  = \"any_leakage\"",
    );
    let said = |f: &String| f.starts_with("step.touch.needs") && f.contains("no network weights");
    assert!(found.iter().any(said), "{found:?}");
}

/// IEC 60990 Figure 4 (two makers print the annex of IEC 60065, excerpts seen): volts over 500
/// ohm. Over the 1 kohm of IEC 60601-1 twice the limit would read as the limit.
#[test]
fn the_network_of_one_standard_is_not_that_of_another() {
    let of = |word: &str| {
        of_plan(
            "iec62353-installed",
            "method     = \"direct\"",
            &format!("method     = \"{word}\""),
        )
    };
    let said = |f: &String| f.starts_with("step.touch.needs") && f.contains("IEC 60990");
    for word in ["u2_over_500", "u1_over_500", "u1_above_100_khz"] {
        assert!(of(word).iter().any(said), "{word}");
    }
    assert!(!of("alternative").iter().any(said));
}

/// Limits over 500 ohm: of each other's terminals, of one of them alone, without their fixture.
#[test]
fn a_plan_over_500_ohm_has_its_own_terminals_and_all_three_limits() {
    let tables: Vec<Table> =
        alloc::vec![Table::parse(Table::builtin("IEC 60065", "7th edition").unwrap()).unwrap()];
    let text = builtin("iec60065-touch").unwrap();
    let faults = |text: &str| {
        let (plan, lines) = read(text).unwrap();
        check(&plan, &lines, &tables)
    };
    assert_eq!(faults(text), []);
    for (from, to, field, said) in [
        ("iec60990_u2", "iec60990_u1", "step.touch_weighted.needs", "`u2_over_500`"),
        ("iec60990_u2", "iec60601_fig12", "step.touch_weighted.needs", "it is half"),
        ("[\"voltage_peak\"]", "[\"voltage_ac\"]", "step.touch_weighted", "for kind peak"),
        (", \"network_fig4\"", "", "step.touch_weighted.fixtures", "`network_fig4`"),
        (", \"network_fig4\"", ", \"network_fig12\"", "step.touch_weighted.fixtures", "_fig4`"),
    ] {
        let faults = faults(&text.replacen(from, to, 1));
        let found = |fault: &&Fault| fault.field == field && fault.text.contains(said);
        assert!(faults.iter().any(|fault| found(&fault)), "{from} {to}: {faults:?}");
    }
    let steps: Vec<&str> = text.split("[[step]]").collect();
    for left_out in 2..5 {
        let less: Vec<&str> =
            steps.iter().enumerate().filter(|(at, _)| *at != left_out).map(|(_, s)| *s).collect();
        let faults = faults(&less.join("[[step]]"));
        assert!(faults[0].text.contains("no step comes to `iec60065.touch"), "{faults:?}");
    }
}
