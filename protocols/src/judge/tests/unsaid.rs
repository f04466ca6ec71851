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

/// IEC 60065 Annex D (two makers print it, excerpts seen): U2 0.35 V peak, U1 1.0 V dc, U1 35 V
/// peak over 500 ohm are 0.7 mA peak, 2.0 mA dc, 70 mA peak, and those are the limits.
const TAPS: [(&str, &str, &str, [&str; 3], f64); 3] = [
    ("u2_over_500", "iec60990_u2", "peak", ["0.3499", "0.35", "0.3501"], 0.7),
    ("u1_over_500", "iec60990_u1", "dc", ["0.9999", "1.0", "1.0001"], 2.0),
    ("u1_above_100_khz", "iec60990_u1", "peak", ["34.99", "35", "35.01"], 70.0),
];

fn tap(method: &str, network: &str, kind: &str, value: &str) -> Value {
    json!({"measurand":"touch_current","method":method,"condition":"normal","kind":kind,
        "value":value,"unit":"V","network":network,"proved":true,"rule":"simple"})
}

#[test]
fn volts_over_500_ohm_below_at_and_above() {
    for (method, network, kind, values, current) in TAPS {
        for (value, want) in values.iter().zip(["pass near_limit", "pass near_limit", "fail"]) {
            let found = of("IEC 60065", "7th edition", &tap(method, network, kind, value));
            assert_eq!(found, want, "{method} {value}");
        }
        let mut items = Items::new(
            &[(
                Indication::Value(tapline_drivers::Number::parse(values[1]).unwrap()),
                Unit::from_ucum("V").unwrap(),
            )],
            None,
        )
        .unwrap()
        .unwrap();
        items.network(Network::of(network).unwrap()).unwrap();
        assert_eq!(items.unit.ucum(), "mA");
        let shown: f64 = items.list[0].shape.text().parse().unwrap();
        assert!((shown - current).abs() < 1e-9, "{method}: {shown}");
        assert_eq!(items.chain[0].times.as_deref(), Some("1/500"));
    }
}

fn fault(object: &Value, standard: &str, edition: &str) -> String {
    let table = Table::parse(Table::builtin(standard, edition).unwrap()).unwrap();
    let object = merged(object.clone(), json!({"standard":standard,"edition":edition}));
    let input: JudgeInput = serde_json::from_value(object).unwrap();
    judge(&input, &table).unwrap_err().to_string()
}

/// Read at other terminals, over another network, or as what is no peak, it is never judged.
#[test]
fn terminals_and_kinds_never_stand_for_each_other() {
    let held = "undecided method_not_valid";
    let at = |object: &Value| of("IEC 60065", "7th edition", object);
    for (method, network, kind, _, _) in TAPS {
        for other in ["iec60990_u1", "iec60990_u2", "iec60601_fig12"] {
            let want = if other == network { "pass" } else { held };
            assert_eq!(at(&tap(method, other, kind, "0.01")), want, "{method} {other}");
            let current = json!({"unit":"mA"});
            let said = merged(tap(method, other, kind, "0.01"), current);
            assert_eq!(at(&said), want, "{method} {other}, as a current");
        }
        assert_eq!(at(&tap(method, network, "ac", "0.01")), "undecided no_limit", "{method}");
        let unsaid = merged(tap(method, network, kind, "0.01"), json!({"kind":null}));
        assert!(fault(&unsaid, "IEC 60065", "7th edition").starts_with("`kind` is missing"));
    }
    // Over 500 ohm nothing of another standard is judged.
    for network in ["iec60990_u1", "iec60990_u2"] {
        assert_eq!(says(&leak(json!({"value":"1","unit":"mV","network":network}))), held);
        assert_eq!(says(&leak(json!({"value":"1","network":network}))), held);
    }
}
