//! What holds for every input.

use proptest::prelude::*;
use proptest::sample::select;

use super::*;
use crate::limits::Bound;
use crate::terms;

/// An object that the row judges and that passes with a good value, without its value.
pub(super) fn object_of(row: &Row) -> Value {
    let first = |list: &[String]| list.first().cloned();
    let mut object = json!({"standard":"IEC 62353","edition":"2014","measurand":row.measurand,
        "method":row.method,"class":first(&row.class),"kind":first(&row.kind),
        "unit":row.bound.amount.unit.ucum(),"rule":"simple","proved":true,"confirmed":true,
        "gives":{"test_current":"0.2 A","open_circuit":"6 V","test_voltage":"500 V"}});
    if let Some(part) = first(&row.applied_part) {
        object = merged(object, json!({"applied_part":part}));
    }
    if row.basis.is_some() {
        let mains = json!({"mains":{"measured":"230 V","reference":"230 V"}});
        object = merged(object, mains);
    }
    object
}

/// Just inside, at, and just outside the limit, in its own unit.
fn around(bound: &Bound) -> [(String, &'static str); 3] {
    let limit = bound.ratio(bound.amount.unit.prefix.exponent()).unwrap();
    let step = Ratio::new(1, 1_000_000_000).unwrap();
    let less = limit.minus(step).unwrap().text();
    let more = limit.minus(Ratio::new(0, 1).unwrap().minus(step).unwrap());
    let at = bound.amount.number.text();
    match bound.direction {
        Direction::Max => [(less, "pass"), (at, "pass"), (more.unwrap().text(), "fail")],
        Direction::Min => [(more.unwrap().text(), "pass"), (at, "pass"), (less, "fail")],
    }
}

/// Each row of IEC 62353:2014 (sources in the table), inclusive: below, at and above it.
#[test]
fn every_row_just_inside_at_and_just_outside() {
    for row in &table().rows {
        for (value, word) in around(&row.bound) {
            let object = merged(object_of(row), json!({"value":value}));
            let near = if word == "pass" { " near_limit" } else { "" };
            assert_eq!(says(&object), format!("{word}{near}"), "{} {value}", row.id);
            assert_eq!(judged(&object).limit.unwrap().id, row.id);
        }
    }
}

#[test]
fn every_row_without_a_reading_or_beyond_an_unknown_range() {
    for row in &table().rows {
        for (indication, reason) in [("none", "no_reading"), ("overload", "overload")] {
            let object = merged(object_of(row), json!({"indication":indication}));
            let says = says(&object);
            assert_eq!(says, format!("undecided {reason}"), "{}", row.id);
        }
    }
}

#[test]
fn verdicts_speak_the_closed_vocabulary() {
    for row in &table().rows {
        for proved in [true, false] {
            let object = merged(object_of(row), json!({"value":"1","proved":proved}));
            let found = judged(&object);
            assert!(found.reasons.iter().all(|r| terms::known("reason", r)));
            assert!(found.chain.iter().all(|l| terms::known("chain", &l.what)));
            assert!(found.rule.is_none_or(|rule| terms::known("rule", &rule)));
        }
    }
}

/// The same value in another prefix.
fn prefixed(value: u64, exponent: i8, unit: &str) -> (String, &str) {
    let number = tapline_drivers::Number { negative: false, digits: value, exponent };
    (number.text(), unit)
}

pub(super) fn rank(object: &Value) -> u8 {
    match judged(object).verdict {
        Word::Pass => 0,
        Word::ConditionalPass => 1,
        Word::ConditionalFail => 2,
        Word::Fail => 3,
        Word::Undecided => panic!("undecided: {object}"),
    }
}

fn without(object: &Value, key: &str) -> Value {
    merged(object.clone(), json!({ key: null }))
}

proptest! {
    #[test]
    fn a_prefix_never_changes_a_verdict(
        row in select(table().rows.as_slice()),
        micro in 1..10_u64.pow(10),
    ) {
        let ohm = row.bound.quantity() == tapline_drivers::Quantity::Ohm;
        let units = match (ohm, row.bound.direction) {
            (true, Direction::Max) => [("uOhm", 0), ("mOhm", -3), ("Ohm", -6)],
            (true, Direction::Min) => [("Ohm", 0), ("kOhm", -3), ("MOhm", -6)],
            _ => [("nA", 0), ("uA", -3), ("mA", -6)],
        };
        let words = units.map(|(unit, exponent)| {
            let (value, unit) = prefixed(micro, exponent, unit);
            says(&merged(object_of(&row), json!({"value":value,"unit":unit})))
        });
        prop_assert_eq!(&words[0], &words[1]);
        prop_assert_eq!(&words[0], &words[2]);
    }

    #[test]
    fn the_order_of_values_never_changes_a_verdict(
        row in select(table().rows.as_slice()),
        mut values in proptest::collection::vec(-6000_i32..6000, 1..6),
    ) {
        let of = |values: &[i32]| {
            let text = |v: &i32| format!("{}.{}", v / 10, v.abs() % 10);
            let texts: Vec<_> = values.iter().map(text).collect();
            let object = merged(object_of(&row), json!({"values":texts}));
            let found = judged(&object);
            (found.verdict, found.reasons, found.value)
        };
        let before = of(&values);
        values.reverse();
        prop_assert_eq!(&before, &of(&values));
        values.rotate_left(1);
        prop_assert_eq!(&before, &of(&values));
    }

    #[test]
    fn a_better_value_never_gives_a_worse_verdict(
        row in select(table().rows.as_slice()),
        rule in select(Vec::from(["simple", "guard_band", "guard_band_zones"])),
        a in 0..10_000_u32,
        b in 0..10_000_u32,
    ) {
        let (better, worse) = match row.bound.direction {
            Direction::Max => (a.min(b), a.max(b)),
            Direction::Min => (a.max(b), a.min(b)),
        };
        // Thousandths of three limits, so that both sides are met often.
        let limit = row.bound.ratio(row.bound.amount.unit.prefix.exponent()).unwrap();
        let of = |value: u32| {
            let part = Ratio::new(i128::from(value), 5000).unwrap();
            let value = limit.times(part).unwrap().text();
            let accuracy = json!({"reading_percent":"5","digits":2,"resolution":"0.01"});
            let more = json!({"value":value,"rule":rule,"accuracy":accuracy});
            rank(&merged(object_of(&row), more))
        };
        prop_assert!(of(better) <= of(worse));
    }

    #[test]
    fn what_is_missing_never_gives_a_pass(
        row in select(table().rows.as_slice()),
        value in 0..100_000_u32,
        key in select(Vec::from(["standard", "edition", "measurand", "method", "class", "kind",
            "applied_part", "unit", "value", "proved", "confirmed", "gives", "mains", "rule"])),
    ) {
        let whole = merged(object_of(&row), json!({"value":format!("{value}")}));
        let less = without(&whole, key);
        let input: JudgeInput = serde_json::from_value(less).unwrap();
        let Ok(found) = judge(&input, table()) else { return Ok(()) };
        let passes = matches!(found.verdict, Word::Pass | Word::ConditionalPass);
        // It may still pass only where the whole object passes.
        prop_assert!(!passes || rank(&whole) <= 1);
        let decides = match key {
            "proved" => row.measurand != "protective_earth_resistance",
            "confirmed" => row.confidence == Confidence::Memory,
            "gives" => row.bound.quantity() == tapline_drivers::Quantity::Ohm,
            "rule" => true,
            _ => false,
        };
        prop_assert!(!(passes && decides), "{} without {key} passes", row.id);
    }

    #[test]
    fn an_unproved_path_never_passes(
        row in select(table().rows.as_slice()),
        value in 0..1_000_000_u32,
    ) {
        let more = json!({"value":format!("{value}"),"proved":false});
        let object = merged(object_of(&row), more);
        let passes = judged(&object).verdict == Word::Pass;
        prop_assert!(!passes || row.measurand == "protective_earth_resistance");
    }
}
