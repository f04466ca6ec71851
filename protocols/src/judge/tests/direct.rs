//! A direct share does not grow with the mains voltage (IEC 62353:2014 5.3.4.1 scales linearly,
//! from memory; from a tenth on, common practice, no source).

use proptest::prelude::*;
use proptest::sample::select;

use super::*;

fn at(volts: &str, more: Value) -> Value {
    let mains = json!({"mains":{"measured":volts,"reference":"230 V"}});
    leak(merged(merged(json!({"class":"II"}), mains), more))
}

/// 15 uA direct and 80 uA alternating are 81.4 uA together (arithmetic): raw where the supply was
/// at the reference or above, where it can't be better than it would be there, else undecided.
#[test]
fn a_leakage_with_a_direct_share_is_not_scaled() {
    assert_eq!(15 * 15 + 80 * 80, 6625, "81.4 squared is 6625.96");
    let with = |volts: &str, value: &str| at(volts, json!({"value":value,"direct":"15"}));
    for value in ["80.0", "81.4"] {
        assert_eq!(says(&with("226 V", value)), "undecided direct_share");
        for volts in ["230 V", "240 V"] {
            let found = judged(&with(volts, value));
            assert_eq!((found.verdict, found.shown.as_deref()), (Word::Pass, Some(value)));
        }
    }
    let plain = judged(&at("226 V", json!({"value":"81.4"})));
    assert_eq!((plain.verdict, plain.shown.as_deref()), (Word::Pass, Some("82.8")));
    // 104 are 99.7 at 230 V, were it in proportion.
    assert_eq!(says(&at("240 V", json!({"value":"104.0"}))), "pass near_limit");
    assert_eq!(says(&with("240 V", "104.0")), "fail");
    assert_eq!(says(&with("226 V", "100.1")), "fail");
    let unknown = merged(with("230 V", "80"), json!({"mains":null}));
    assert_eq!(says(&unknown), "undecided no_mains_value direct_share");
}

#[test]
fn up_to_a_tenth_it_is_scaled_and_the_record_says_what_was_read() {
    let with = |direct: Value| judged(&at("226 V", json!({"value":"80.0","direct":direct})));
    for direct in ["8.0", "-8.0", "0"] {
        let found = with(json!(direct));
        assert_eq!((found.verdict, found.shown.as_deref()), (Word::Pass, Some("81.4")));
        assert_eq!(found.chain[0].direct, [format!("{direct} uA")]);
        assert_eq!(found.chain[0].assumed, None);
    }
    for direct in ["8.1", "-8.1"] {
        assert_eq!(with(json!(direct)).verdict, Word::Undecided);
    }
    let unread = with(Value::Null);
    assert_eq!(unread.chain[0].assumed.as_deref(), Some("no_direct_current"));
    let same = judged(&at("230 V", json!({"value":"80.0"})));
    assert_eq!(same.chain[0].assumed, None, "nothing is scaled");
}

/// One value with a direct share leaves all of its question unscaled.
#[test]
fn the_largest_share_decides_for_all() {
    let with = |direct: Value| says(&at("226 V", json!({"values":["80","60"],"direct":direct})));
    assert_eq!(with(json!(["1", "2"])), "pass");
    assert_eq!(with(json!(["1", "7"])), "undecided direct_share");
    let fault = |more: Value| fault(&at("226 V", more));
    let two = json!({"values":["80","60"],"direct":["1"]});
    assert_eq!(fault(two), "`direct` has 1 texts for 2 values: one, or one each");
    let word = json!({"value":"80","direct":"a little"});
    assert_eq!(fault(word), "`direct` `a little` is no decimal of at most 15 digits");
    let dc = json!({"value":"80","direct":"1","kind":"dc"});
    assert_eq!(fault(dc), "`direct` goes with an alternating current only: `kind` ac");
}

proptest! {
    /// Whatever is read as dc takes a pass away, and never gives one.
    #[test]
    fn a_stated_direct_share_never_makes_a_pass(
        values in proptest::collection::vec((0..1200_u32, -1200..1200_i32), 1..4),
        volts in select(Vec::from(["none", "190 V", "196 V", "207 V", "229 V", "230 V", "231 V",
            "241 V", "253 V", "260 V"])),
        rule in select(Vec::from(["simple", "guard_band", "guard_band_zones"])),
        percent in 0..20_u32,
    ) {
        let tenths = |n: &i64| format!("{}{}.{}", if *n < 0 { "-" } else { "" }, n.abs() / 10, n.abs() % 10);
        let texts: Vec<_> = values.iter().map(|(v, _)| tenths(&i64::from(*v))).collect();
        let direct: Vec<_> = values.iter().map(|(_, d)| tenths(&i64::from(*d))).collect();
        let accuracy = json!({"reading_percent":format!("{percent}"),"digits":3});
        let plain = at(volts, json!({"values":texts,"rule":rule,"accuracy":accuracy}));
        let plain = match volts {
            "none" => merged(plain, json!({"mains":null})),
            _ => plain,
        };
        let (without, with) = (judged(&plain), judged(&merged(plain, json!({"direct":direct}))));
        let passes = |word| match word {
            Word::Pass => 0,
            Word::ConditionalPass => 1,
            _ => 2,
        };
        prop_assert!(
            passes(without.verdict) <= passes(with.verdict),
            "{:?} {:?}", without, with
        );
    }
}
