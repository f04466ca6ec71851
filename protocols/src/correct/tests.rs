//! Each correction, with its link.

use super::*;
use alloc::vec;

fn values(texts: &[&str], unit: &str) -> Items {
    let unit = Unit::from_ucum(unit).unwrap();
    let values: Vec<_> =
        texts.iter().map(|t| (Indication::Value(Number::parse(t).unwrap()), unit)).collect();
    Items::new(&values, None).unwrap().unwrap()
}

fn null(text: &str) -> Null {
    Null { amount: Amount::parse(text).unwrap(), seq: None }
}

/// IEC 62353:2014 5.3.2 (excerpt seen): both directions of a dc current, the highest is
/// documented. Magnitude first, then the null: arithmetic.
#[test]
fn magnitude_comes_before_the_null() {
    let mut items = values(&["+0.243", "-0.275"], "Ohm");
    items.lead_null(&[null("0.061 Ohm"), null("-61 mOhm")]).unwrap();
    items.largest_magnitude();
    assert_eq!(items.texts(), ["0.182", "0.214"]);
    let link = &items.chain[0];
    assert_eq!(link.of, ["0.243", "-0.275"]);
    assert_eq!(link.minus, ["0.061", "0.061"]);
    assert_eq!(items.chain[1].of, ["0.182", "0.214"]);
    assert!(items.chain[1].gives.is_empty());
}

/// IEC 60601-1 Figure 12: 1 kohm. 0.1 V is 0.1 mA, also at 100 kHz where 10.4 mA flow
/// (national examination for clinical-engineering technologists, Japan, published answers).
#[test]
fn a_voltage_over_the_network_is_a_current_at_every_frequency() {
    for (volt, unit, text, ampere) in [
        ("0.1", "V", "0.1", "mA"),
        ("462", "mV", "462", "uA"),
        ("12", "uV", "12", "nA"),
        ("12000", "nV", "12.000", "nA"),
        ("0.23", "kV", "0.23", "A"),
    ] {
        let mut items = values(&[volt], unit);
        items.network(Network::Fig12).unwrap();
        assert_eq!((items.texts(), items.unit.ucum()), (vec![text.into()], ampere));
    }
    assert!(values(&["1"], "Ohm").network(Network::Fig12).is_err());
}

#[test]
fn mixed_prefixes_meet_in_the_first_unit() {
    let ohm = Unit::from_ucum("Ohm").unwrap();
    let milli = Unit::from_ucum("mOhm").unwrap();
    let volt = Unit::from_ucum("V").unwrap();
    let n = |t: &str| Indication::Value(Number::parse(t).unwrap());
    let items = Items::new(&[(n("0.18"), ohm), (n("214"), milli)], None).unwrap().unwrap();
    assert_eq!(items.texts(), ["0.18", "0.214"]);
    assert_eq!(items.list[1].places, -3);
    assert!(Items::new(&[(n("1"), ohm), (n("1"), volt)], None).unwrap().is_none());
}

#[test]
fn bounds_keep_their_side() {
    let unit = Unit::from_ucum("Ohm").unwrap();
    let two = Number::parse("2").unwrap();
    let minus = Number { negative: true, ..two };
    let all = [
        (Indication::Above(two), "above(1.9)"),
        (Indication::Below(minus), "above(1.9)"),
        (Indication::Above(minus), "overload"),
        (Indication::Overload, "overload"),
    ];
    for (indication, want) in all {
        let mut items = Items::new(&[(indication, unit)], None).unwrap().unwrap();
        items.lead_null(&[null("0.1 Ohm")]).unwrap();
        assert_eq!(items.texts(), [want]);
    }
}
