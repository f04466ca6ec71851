//! The tables of limits against the list that they were made from, and every limit judged around
//! its value.
//!
//! `limits/rows.csv` was gathered standard by standard, row by row, as its sources print it; the
//! tables say in their own files where each row was read.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::collections::{BTreeMap, BTreeSet};

use tapline_drivers::{Indication, Number, Quantity, Unit};
use tapline_protocols::amount::Amount;
use tapline_protocols::exact::Ratio;
use tapline_protocols::fact::Word;
use tapline_protocols::judge::{Confirmed, Measured, Question, ask, trial};
use tapline_protocols::limits::{Direction, Row, Table};
use tapline_protocols::read::csv;

const ROWS: &str = include_str!("limits/rows.csv");

fn tables() -> Vec<Table> {
    Table::all().map(|(s, e)| Table::parse(Table::builtin(s, e).unwrap()).unwrap()).collect()
}

/// One row of the list, by column.
type Listed = BTreeMap<String, String>;

fn listed() -> Vec<Listed> {
    let mut rows = csv::rows(ROWS).unwrap().into_iter();
    let head: Vec<String> = rows.next().unwrap().into_iter().map(|f| f.text).collect();
    let row = |fields: Vec<csv::Field>| {
        head.iter().cloned().zip(fields.into_iter().map(|f| f.text)).collect()
    };
    rows.map(row).collect()
}

/// How the list names a standard whose table is named shorter.
fn names(listed: &Listed) -> (&str, &str) {
    match (listed["standard"].as_str(), listed["edition"].as_str()) {
        (standard, edition) if standard.starts_with("DGUV") => {
            ("DGUV Information 203-071", edition)
        }
        ("UL 60601-1 / ES 60601-1 (US deviation)", "2nd-ed. era") => ("UL 60601-1", "2nd edition"),
        ("IEC 60601-1", "1988+A1+A2 (2nd)") => ("IEC 60601-1", "1988+A1+A2"),
        ("IEC 60065", "7th ed. era") => ("IEC 60065", "7th edition"),
        same => same,
    }
}

fn unit(listed: &Listed) -> &str {
    match listed["unit"].as_str() {
        "ohm" => "Ohm",
        "Mohm" => "MOhm",
        "mA rms" | "mA peak" => "mA",
        "V rms" => "V",
        same => same,
    }
}

fn kinds(listed: &Listed) -> Vec<&str> {
    match (listed["unit"].ends_with("peak"), listed["kind"].as_str()) {
        (true, _) => vec!["peak"],
        (_, "ac or dc") => vec!["ac", "dc"],
        (_, kind) => vec![kind],
    }
}

fn classes(listed: &Listed) -> Vec<&str> {
    match listed["class"].as_str() {
        // Of an ME system the register says that it is one.
        "I" if listed["method"].starts_with("ME system") => vec!["I", "system"],
        "I" => vec!["I"],
        "II" => vec!["II"],
        "III" => vec!["III"],
        "system" => vec!["system"],
        "I or II" => vec!["I", "II"],
        "I or II or IP" => vec!["I", "II", "internal"],
        // What the asset is used for, or that it is none: said by method and condition.
        _ => vec![],
    }
}

/// The condition that the list names in prose.
fn conditions(listed: &Listed) -> Vec<&str> {
    let quantity = listed["quantity"].as_str();
    match (listed["standard"].as_str(), listed["condition"].as_str()) {
        (_, "mobile X-ray; mineral insulation") => vec!["mobile_xray"],
        (_, "nursing bed") => vec!["nursing_bed"],
        ("NFPA 99", "ground intact" | "ground wire intact") if quantity != "chassis_leakage" => {
            vec!["earth_intact"]
        }
        ("NFPA 99", "ground open" | "ground wire disconnected" | "ungrounded") => {
            vec!["earth_open"]
        }
        ("IEC 60601-1", "PE interrupted") => vec!["earth_open"],
        (_, "NC" | "normal") => vec!["normal"],
        (_, "SFC" | "single fault (neutral or earth open)") => vec!["single_fault"],
        (_, "NC or SFC") => vec!["normal", "single_fault"],
        (_, "special test condition") => vec!["special"],
        // Of IEC 62353 and others: what a method always does, so that it selects nothing.
        _ => vec![],
    }
}

/// Words of the method by what the list says of it; `None` where the list says nothing that
/// would tell methods apart, so that the word only names how it is usually done.
fn methods(listed: &Listed) -> Option<Vec<&str>> {
    const SAID: [(&str, &str, &[&str]); 32] = [
        ("protective_earth_resistance", "non-detachable cord", &["fixed_cord"]),
        ("protective_earth_resistance", "detachable cord:", &["inlet"]),
        ("protective_earth_resistance", "detachable power cord alone", &["cord_alone"]),
        ("protective_earth_resistance", "detachable cord and eq", &["cord_and_equipment"]),
        ("protective_earth_resistance", "permanently installed", &["installed"]),
        ("protective_earth_resistance", "ME system", &["system"]),
        ("protective_earth_impedance", "PE terminal / inlet", &["inlet"]),
        ("protective_earth_impedance", "non-detachable cord", &["fixed_cord"]),
        ("insulation_resistance", "mains part (L+N) to protective", &["mains_to_earth"]),
        ("insulation_resistance", "mains part to accessible", &["mains_to_accessible"]),
        ("insulation_resistance", "mains part to F-type", &["mains_to_applied_part"]),
        ("insulation_resistance", "F-type applied part to PE", &["applied_part_to_earth"]),
        ("insulation_resistance", "proof of safe separation", &["safe_separation"]),
        ("insulation_resistance", "with heating elements", &["live_to_case_heater"]),
        ("equipment_leakage", "direct or differential", &["direct", "differential"]),
        ("equipment_leakage", "direct", &["direct"]),
        ("equipment_leakage", "differential", &["differential"]),
        ("equipment_leakage", "alternative", &["alternative"]),
        ("applied_part_leakage", "direct", &["direct"]),
        ("applied_part_leakage", "alternative", &["alternative"]),
        ("applied_part_leakage", "not stated", &["not_stated"]),
        ("touch_current", "direct", &["direct"]),
        ("touch_current", "permanently wired, before", &["before_installation"]),
        ("touch_current", "IEC 60990 Figure 4 network U2/500", &["u2_over_500"]),
        ("touch_current", "U1/500 above 100 kHz", &["u1_above_100_khz"]),
        ("touch_current", "U1/500", &["u1_over_500"]),
        ("touch_current", "", &["direct"]),
        ("lead_leakage", "lead to ground, non-isolated", &["lead_not_isolated"]),
        ("lead_leakage", "lead to ground, isolated", &["lead_isolated"]),
        ("protective_conductor_current", "", &["direct", "differential"]),
        ("ground_resistance", "plug ground pin", &["plug_to_chassis"]),
        ("insulation_resistance", "", &["live_to_case"]),
    ];
    let of = |(quantity, begin, _): &&(&str, &str, &[&str])| {
        listed["quantity"] == *quantity && listed["method"].starts_with(begin)
    };
    SAID.iter().find(of).map(|(.., words)| words.to_vec())
}

/// Rows that no source of the list has: from memory alone, so that they decide nothing before a
/// workshop has confirmed them. Plans need them as gates.
const FROM_MEMORY_ALONE: [&str; 3] =
    ["asnzs3551-2012.pe.inlet", "iec60601-1-1988.pe.fixed_cord", "iec60601-1-1988.pe.inlet"];

/// 138 of the 141 rows of the list are limits. The other three say how much operating uncertainty
/// an instrument may have (IEC 61557-2, -4, -16): no limits of an asset.
#[test]
fn the_tables_are_the_list_row_by_row() {
    let tables = tables();
    let mut seen: BTreeSet<&str> = BTreeSet::new();
    let (listed, mut none, mut ceilings) = (listed(), 0, 0);
    assert_eq!(listed.len(), 141);
    for listed in &listed {
        if listed["id"] == "-" {
            assert!(listed["quantity"].starts_with("operating_uncertainty_"), "{listed:?}");
            none += 1;
            continue;
        }
        let (standard, edition) = names(listed);
        let table = tables.iter().find(|t| t.standard == standard && t.edition == edition).unwrap();
        if let Some(id) = listed["id"].strip_suffix("#up_to") {
            let plus = table.row(id).unwrap().plus.clone().unwrap();
            assert_eq!(plus.up_to.to_string(), format!("{} {}", listed["limit"], unit(listed)));
            ceilings += 1;
            continue;
        }
        let rows: Vec<&Row> = listed["id"].split(';').map(|id| table.row(id).unwrap()).collect();
        let found: Vec<&str> = rows.iter().map(|row| row.method.as_str()).collect();
        match methods(listed) {
            Some(words) => assert_eq!(found, words, "{listed:?}"),
            None => assert_eq!(found.len(), 1, "{listed:?}"),
        }
        for row in rows {
            assert!(seen.insert(&row.id), "{} stands in the list twice", row.id);
            same(row, listed);
        }
    }
    assert_eq!((none, ceilings), (3, 1));
    let rows = tables.iter().flat_map(|table| &table.rows);
    let mut more: Vec<&str> = rows.map(|r| r.id.as_str()).filter(|id| !seen.contains(id)).collect();
    more.sort_unstable();
    assert_eq!(more, FROM_MEMORY_ALONE);
}

#[track_caller]
fn same(row: &Row, listed: &Listed) {
    let clause = if listed["clause"].is_empty() { "not stated" } else { &listed["clause"] };
    let parts: Vec<&str> =
        ["B", "BF", "CF"].into_iter().filter(|part| *part == listed["applied_part"]).collect();
    let id = &row.id;
    assert_eq!(row.clause, clause, "{id}");
    assert_eq!(row.measurand, listed["quantity"], "{id}");
    assert_eq!(row.class, classes(listed), "{id}");
    assert_eq!(row.applied_part, parts, "{id}");
    assert_eq!(row.condition, conditions(listed), "{id}");
    assert_eq!(row.kind, kinds(listed), "{id}");
    assert_eq!(row.bound.direction.word(), listed["direction"], "{id}");
    assert_eq!(row.bound.inclusive, listed["comparison"] == "inclusive", "{id}");
    assert_eq!(row.confidence.word().replace('_', "-"), listed["confidence"], "{id}");
    let wanted = Amount::parse(&format!("{} {}", listed["limit"], unit(listed))).unwrap();
    assert_eq!(row.bound.amount.unit, wanted.unit, "{id}");
    let values = [row.bound.amount, wanted].map(|a| Ratio::of(a.number).unwrap());
    assert_eq!(values[0].compare(values[1]), Ok(std::cmp::Ordering::Equal), "{id}");
}

/// Limits that their sources print as "less than": a nursing-bed maker's manual p. 52 and a trade
/// journal on NFPA 99:2005, excerpts seen.
#[test]
fn strict_limits_are_those_that_say_less_than() {
    let strict: Vec<String> = tables()
        .into_iter()
        .flat_map(|table| table.rows)
        .filter(|row| !row.bound.inclusive)
        .map(|row| row.id)
        .collect();
    assert_eq!(
        strict,
        [
            "din-vde-0751-1-2001.equipment.nursing_bed.direct",
            "din-vde-0751-1-2001.equipment.nursing_bed.differential",
            "nfpa99-2005.ground",
        ]
    );
}

/// The limit itself and one part in a thousand of its last digit on both sides.
fn around(limit: Number) -> [(Number, i32); 3] {
    let fine = |more: i64| Number {
        negative: false,
        digits: (limit.digits * 1000).checked_add_signed(more).unwrap(),
        exponent: limit.exponent - 3,
    };
    [(fine(-1), -1), (limit, 0), (fine(1), 1)]
}

/// A value in another prefix of its unit.
fn moved(number: Number, from: Unit, to: Unit) -> Number {
    let exponent = number.exponent + from.prefix.exponent() - to.prefix.exponent();
    Number { exponent, ..number }
}

fn verdict(table: &Table, row: &Row, number: Number, unit: Unit) -> Word {
    let judged = ask(&trial(row, number, unit), table);
    assert_eq!(judged.limit.unwrap().id, row.id);
    judged.verdict
}

/// Each limit inclusive and strict, in every prefix that its unit can be sent with.
#[test]
fn each_limit_is_judged_below_at_and_above_in_both_forms_and_every_prefix() {
    let (mut rows, mut judged) = (0, 0);
    for mut table in tables() {
        for at in 0..table.rows.len() {
            rows += 1;
            for inclusive in [true, false] {
                table.rows[at].bound.inclusive = inclusive;
                let row = table.rows[at].clone();
                let own = row.bound.amount.unit;
                for unit in Unit::all().filter(|unit| unit.quantity == own.quantity) {
                    for (number, side) in around(row.bound.amount.number) {
                        let good = match row.bound.direction {
                            Direction::Max => side < 0,
                            Direction::Min => side > 0,
                        };
                        let wanted = match good || (side == 0 && inclusive) {
                            true => Word::Pass,
                            false => Word::Fail,
                        };
                        let number = moved(number, own, unit);
                        let found = verdict(&table, &row, number, unit);
                        assert_eq!(found, wanted, "{} {side} {inclusive} {}", row.id, unit.ucum());
                        judged += 1;
                    }
                }
            }
        }
    }
    let prefixes = |quantity| Unit::all().filter(|unit| unit.quantity == quantity).count();
    assert!(judged >= rows * 2 * 3 * prefixes(Quantity::Ampere), "{judged} of {rows} rows");
}

/// From memory is from memory: until somebody has read the row in the workshop's own copy, the
/// best value is undecided, and so is the worst.
#[test]
fn no_row_from_memory_decides_anything() {
    let mut seen = 0;
    for table in tables() {
        for row in table.rows.iter().filter(|row| row.confidence.word() == "memory") {
            for number in [
                Number { negative: false, digits: 0, exponent: 0 },
                row.bound.amount.number,
                Number { negative: false, digits: 1, exponent: 9 },
            ] {
                let unit = row.bound.amount.unit;
                let asked = Question { confirmed: Confirmed::No, ..trial(row, number, unit) };
                let judged = ask(&asked, &table);
                assert_eq!(judged.verdict, Word::Undecided, "{}", row.id);
                assert!(judged.reasons.iter().any(|r| r == "limit_unconfirmed"), "{}", row.id);
            }
            seen += 1;
        }
    }
    let memory = |l: &&Listed| l["confidence"] == "memory" && l["id"] != "-";
    assert_eq!(seen, listed().iter().filter(memory).count() + FROM_MEMORY_ALONE.len());
}

/// Every row of every table: what is good because nothing flows is never a pass unless its path
/// was proved, and what fails fails all the same. Nothing at all never passes.
#[test]
fn no_unproved_path_and_no_missing_value_passes_by_any_row() {
    let numbers = |row: &Row| {
        let limit = row.bound.amount.number;
        let best = Number { negative: false, digits: 0, exponent: 0 };
        let most = Number { exponent: limit.exponent + 6, ..limit };
        [best, Number { exponent: limit.exponent - 3, ..limit }, limit, most]
    };
    for table in tables() {
        for row in table.rows.iter().filter(|row| !row.is_low_resistance()) {
            for number in numbers(row) {
                let whole = trial(row, number, row.bound.amount.unit);
                let proved = ask(&whole, &table).verdict;
                let unproved = |value: &Measured| Measured { proved: false, ..value.clone() };
                let values = whole.values.iter().map(unproved).collect();
                let found = ask(&Question { values, ..whole.clone() }, &table).verdict;
                let wanted = if proved == Word::Fail { Word::Fail } else { Word::Undecided };
                assert_eq!(found, wanted, "{} {}", row.id, number.text());
                let none = ask(&Question { values: Vec::new(), ..whole }, &table);
                assert_eq!(none.verdict, Word::Undecided, "{}", row.id);
            }
        }
        for row in &table.rows {
            let unit = row.bound.amount.unit;
            for indication in [Indication::Overload, Indication::NoValue] {
                let mut whole = trial(row, row.bound.amount.number, unit);
                whole.values[0].indication = indication;
                assert_eq!(ask(&whole, &table).verdict, Word::Undecided, "{}", row.id);
            }
        }
    }
}
