//! Verdicts against published limits and arithmetic, through the JSON door.

use alloc::string::String;
use alloc::vec::Vec;

use serde_json::{Value, json};

use super::*;

fn table() -> Table {
    let text = Table::builtin("IEC 62353", "2014").unwrap();
    Table::parse(text).unwrap().with_hash("ab12")
}

/// A protective-earth object that is judged, changed by `more`.
fn earth(more: Value) -> Value {
    merged(
        json!({"standard":"IEC 62353","edition":"2014","measurand":"protective_earth_resistance",
        "method":"fixed_cord","class":"I","kind":"dc","unit":"Ohm","rule":"simple",
        "gives":{"test_current":"0.2 A","open_circuit":"6 V"}}),
        more,
    )
}

/// A leakage object that is judged, changed by `more`.
fn leak(more: Value) -> Value {
    merged(
        json!({"standard":"IEC 62353","edition":"2014","measurand":"equipment_leakage",
        "method":"direct","class":"I","kind":"ac","unit":"uA","proved":true,"rule":"simple",
        "mains":{"measured":"230 V","reference":"230 V"}}),
        more,
    )
}

/// Null takes a key away.
fn merged(mut base: Value, more: Value) -> Value {
    for (key, value) in more.as_object().unwrap() {
        match value.is_null() {
            true => base.as_object_mut().unwrap().remove(key),
            false => base.as_object_mut().unwrap().insert(key.clone(), value.clone()),
        };
    }
    base
}

fn judged(object: &Value) -> Judged {
    let input: JudgeInput = serde_json::from_value(object.clone()).unwrap();
    judge(&input, &table()).unwrap_or_else(|fault| panic!("{object}: {fault}"))
}

/// Verdict and reasons as one text: `pass near_limit`.
fn says(object: &Value) -> String {
    let judged = judged(object);
    let verdict = serde_json::to_value(judged.verdict).unwrap();
    let words = core::iter::once(verdict.as_str().unwrap());
    words.chain(judged.reasons.iter().map(String::as_str)).collect::<Vec<_>>().join(" ")
}

fn fault(object: &Value) -> String {
    let input: JudgeInput = serde_json::from_value(object.clone()).unwrap();
    judge(&input, &table()).map(|j| j.verdict).unwrap_err().to_string()
}

/// IEC 62353:2014 5.3.2 (excerpt seen): both directions, the highest is documented.
#[test]
fn a_dc_pair_with_its_lead_null() {
    let object = earth(json!({"values":["0.243","-0.275"],"lead_null":["0.061","0.061"]}));
    let found = serde_json::to_value(judged(&object)).unwrap();
    let want = json!({"measurand":"protective_earth_resistance","method":"fixed_cord",
        "value":"0.214","unit":"Ohm","shown":"0.214",
        "chain":[
            {"do":"lead_null","of":["0.243","-0.275"],"minus":["0.061","0.061"],
             "gives":["0.182","0.214"]},
            {"do":"largest_magnitude","of":["0.182","0.214"]}],
        "limit":{"id":"iec62353-2014.pe.fixed_cord","value":"0.300","unit":"Ohm",
            "direction":"max","inclusive":true,"standard":"IEC 62353","edition":"2014",
            "clause":"5.3.2 a)","confidence":"two_sources","layer":"standard","table":"ab12"},
        "rule":"simple","share":"71.3","uncertainty":null,"probability":null,
        "verdict":"pass","reasons":[]});
    assert_eq!(found, want);
    let inlet = merged(object, json!({"method":"inlet"}));
    assert_eq!(says(&inlet), "fail");
}

/// 462 uA at 226 V is 470.2 uA at 230 V (arithmetic; IEC 62353:2014 5.3.4.1, from memory).
#[test]
fn a_leakage_is_scaled_exactly() {
    let judged =
        judged(&leak(json!({"value":"462","mains":{"measured":"226 V","reference":"230 V"}})));
    assert_eq!(judged.value.as_deref(), Some("106260/226"));
    assert_eq!(judged.shown.as_deref(), Some("470"));
    assert_eq!(judged.share.as_deref(), Some("94.0"));
    assert_eq!(judged.chain[0].times.as_deref(), Some("230/226"));
    assert_eq!((judged.verdict, judged.reasons), (Word::Pass, Vec::from(["near_limit".into()])));
}

/// IEC 62353:2014 5.3.2 a) and b) (excerpt seen): 0.300, 0.200, 0.100, 0.300, each inclusive.
#[test]
fn protective_earth_at_and_just_above_its_limits() {
    for (method, at, above) in [
        ("fixed_cord", "0.300", "0.301"),
        ("inlet", "0.200", "0.201"),
        ("cord_alone", "0.100", "0.101"),
        ("cord_and_equipment", "0.300", "0.301"),
    ] {
        let with = |value: &str| says(&earth(json!({"method":method,"value":value})));
        assert_eq!(with(at), "pass near_limit", "{method}");
        assert_eq!(with(above), "fail", "{method}");
    }
}

#[test]
fn a_fault_names_its_key_and_the_words_to_choose_from() {
    let earth = |more| fault(&earth(merged(json!({"value":"0.1"}), more)));
    assert_eq!(
        earth(json!({"method":null})),
        "`method` is missing: one of fixed_cord, inlet, cord_alone, cord_and_equipment, \
         installed, system"
    );
    assert_eq!(
        earth(json!({"class":"III"})),
        "`class` has no word `III`: one of I, II, internal, system"
    );
}
