//! What is not said of how a value was measured, and would make a false pass.

use super::*;

fn of(standard: &str, edition: &str, object: &Value) -> String {
    let table = Table::parse(Table::builtin(standard, edition).unwrap()).unwrap();
    let object = merged(object.clone(), json!({"standard":standard,"edition":edition}));
    let input: JudgeInput = serde_json::from_value(object).unwrap();
    let judged = judge(&input, &table).unwrap();
    let verdict = serde_json::to_value(judged.verdict).unwrap();
    let words = core::iter::once(verdict.as_str().unwrap());
    words.chain(judged.reasons.iter().map(String::as_str)).collect::<Vec<_>>().join(" ")
}

/// IEC 62353:2014 5.3.3 (from memory): 500 V dc. An ohm range measures at a few volts, where a
/// filter or a creepage path reads as none.
#[test]
fn an_insulation_without_its_test_voltage_is_not_judged() {
    let with = |gives: Value| {
        let more = json!({"value":"200","proved":true,"gives":gives});
        says(&merged(earth_to_insulation(), more))
    };
    assert_eq!(with(json!({"test_voltage":"500 V"})), "pass");
    assert_eq!(with(json!({"test_voltage":"499 V"})), "undecided method_not_valid");
    assert_eq!(with(json!({"test_current":"1 mA"})), "undecided method_not_valid");
    assert_eq!(with(Value::Null), "undecided method_not_valid");
    let dguv = json!({"measurand":"insulation_resistance","method":"live_to_case","class":"I",
        "kind":"dc","value":"200","unit":"MOhm","proved":true,"rule":"simple"});
    let table = ("DGUV Information 203-071", "2016-era table");
    assert_eq!(of(table.0, table.1, &dguv), "undecided method_not_valid");
    let said = merged(dguv, json!({"gives":{"test_voltage":"250 V"}}));
    assert_eq!(of(table.0, table.1, &said), "pass");
}

/// IEC 60601-1:2005 8.7.3 e) (from memory): at most 10 mA whatever the frequency. 9.6 mV over the
/// network at 100 kHz are 9.6 uA weighted and 1 mA as it flows (Figure 12, corrigendum of 2014,
/// excerpt seen).
#[test]
fn a_limit_of_the_plain_current_takes_no_weighted_value() {
    let with = |more: Value| {
        let object = json!({"measurand":"any_leakage","method":"direct","condition":"normal",
            "kind":"ac","value":"9600","unit":"uA","proved":true,"confirmed":true,"rule":"simple",
            "mains":{"measured":"264 V","reference":"240 V"}});
        of("IEC 60601-1", "2005+A1:2012+A2:2020", &merged(object, more))
    };
    assert_eq!(with(json!({"network":"none"})), "pass near_limit");
    assert_eq!(with(json!({"network":"none","value":"10001"})), "fail");
    let held = "undecided method_not_valid";
    assert_eq!(with(json!({"network":"iec60601_fig12","unit":"mV"})), held);
    assert_eq!(with(json!({"network":"iec60601_fig12"})), held);
    assert_eq!(with(json!({})), held);
}

/// IEC 60065 Annex D after IEC 60990 Figure 4, as two makers print it (excerpts seen): 0.35 V over
/// 500 ohm are 0.7 mA. Taken over the 1 kohm of IEC 60601-1 they would be half of it.
#[test]
fn volts_over_another_network_are_no_current() {
    for (method, kind) in
        [("u2_over_500", "peak"), ("u1_over_500", "dc"), ("u1_above_100_khz", "peak")]
    {
        let object = json!({"measurand":"touch_current","method":method,"condition":"normal",
            "kind":kind,"value":"1","unit":"mV","network":"iec60601_fig12","proved":true,
            "rule":"simple"});
        let found = of("IEC 60065", "7th edition", &object);
        assert_eq!(found, "undecided method_not_valid", "{method}");
        let current = merged(object, json!({"value":"0.001","unit":"mA","network":null}));
        assert_eq!(of("IEC 60065", "7th edition", &current), "pass", "{method}");
    }
}
