//! What makes a value doubtful, through the JSON door, and what holds for any doubt.

use proptest::prelude::*;
use proptest::sample::select;

use super::laws::{object_of, rank};
use super::*;

fn with(more: Value) -> Value {
    merged(earth(json!({"value":"0.285","rule":"guard_band_zones"})), more)
}

/// 1 % of 0.285 and 5 counts: a = 0.00785; over 2 instead of sqrt 3 (GUM 4.3.3, from memory;
/// arithmetic).
#[test]
fn a_stated_coverage_is_used() {
    let accuracy = json!({"reading_percent":"1","digits":5,"resolution":"0.001","coverage":"k2"});
    let found = judged(&with(json!({"accuracy":accuracy}))).uncertainty.unwrap();
    assert_eq!(
        (found.u.as_str(), found.k.as_str(), found.expanded.as_str()),
        ("0.003925", "2", "0.007850")
    );
    assert_eq!(found.freedom, None);
    let parts: Vec<_> = found.parts.iter().map(|p| (p.of.as_str(), p.u.as_str())).collect();
    assert_eq!(parts, [("accuracy", "0.003925")]);
}

/// Five readings of 0.001 scatter, nothing else: t of 95.45 % for 4 degrees of freedom is 2.87
/// (GUM Table G.2, from memory), so that U = 0.00287 for s = 0.001 (arithmetic).
#[test]
fn repeats_widen_the_doubt_and_are_not_judged() {
    let accuracy = json!({"reading_percent":"0","digits":0});
    let repeats = json!(["0.284", "0.286", "0.285", "0.284", "0.286"]);
    let found = judged(&with(json!({"accuracy":accuracy,"repeats":repeats})));
    let doubt = found.uncertainty.unwrap();
    assert_eq!((doubt.u.as_str(), doubt.k.as_str()), ("0.001000", "2.87"));
    assert_eq!((doubt.freedom.as_deref(), doubt.expanded.as_str()), (Some("4.000"), "0.002869"));
    assert_eq!((found.value.as_deref(), found.verdict), (Some("0.285"), Word::Pass));
    // Student's distribution has the longer tail: 15 s from the limit, and yet not certain.
    assert_eq!(found.probability.as_deref(), Some("0.9999"));
}

#[test]
fn the_network_has_its_own_doubt() {
    let accuracy = json!({"reading_percent":"1","digits":0,"network_percent":"1"});
    let object = leak(json!({"value":"300","accuracy":accuracy}));
    let doubt = judged(&object).uncertainty.unwrap();
    // 3 / sqrt 3, twice (arithmetic).
    assert_eq!(doubt.u, "2.449");
    let parts: Vec<_> = doubt.parts.iter().map(|p| (p.of.as_str(), p.u.as_str())).collect();
    assert_eq!(parts, [("accuracy", "1.732"), ("network", "1.732")]);
}

/// 0.300 is shown halfway between both points: 0.010 too much. Leads that show 0.060 lie below
/// them: 0.001 too much. 0.290 less 0.059 (arithmetic). u: 0.004 / 2, for the value and the null.
#[test]
fn a_certificate_corrects_value_and_null_and_stays_in_the_doubt() {
    let points = json!([{"at":"0.1","error":"0.001","expanded":"0.001"},
        {"at":"0.5","error":"0.019","expanded":"0.004"}]);
    let accuracy = json!({"reading_percent":"0","digits":0});
    let object = with(json!({"value":"-0.300","lead_null":"0.060","certificate":points,
        "accuracy":accuracy}));
    let found = judged(&object);
    assert_eq!((found.value.as_deref(), found.verdict), (Some("0.231"), Word::Pass));
    let link = &found.chain[0];
    assert_eq!((link.what.as_str(), &link.of[..]), ("certificate", &["-0.300".to_string()][..]));
    assert_eq!(
        (&link.minus[..], &link.gives[..]),
        (&["-0.01".to_string()][..], &["-0.29".to_string()][..])
    );
    assert_eq!(found.chain[1].minus, ["0.059"]);
    let doubt = found.uncertainty.unwrap();
    assert_eq!(doubt.u, "0.002828");
    assert_eq!(doubt.parts.last().unwrap().of, "certificate");
}

#[test]
fn a_faulty_certificate_is_refused() {
    let accuracy = json!({"reading_percent":"0","digits":0});
    let of = |points: Value| fault(&with(json!({"certificate":points,"accuracy":accuracy})));
    assert_eq!(of(json!([])), "`certificate` needs 1 to 64 points");
    let text = of(json!([{"at":"0,1","error":"0","expanded":"0"}]));
    assert!(text.starts_with("`certificate.at` `0,1`"), "{text}");
    let alone = with(json!({"certificate":[{"at":"1","error":"0","expanded":"0"}]}));
    assert!(fault(&alone).starts_with("`certificate` stands beside"));
}

#[test]
fn a_faulty_doubt_names_its_key() {
    let accuracy = |more: Value| {
        let base = json!({"reading_percent":"1","digits":5});
        fault(&with(json!({"accuracy":merged(base, more)})))
    };
    assert_eq!(
        accuracy(json!({"coverage":"k4"})),
        "`accuracy.coverage` has no word `k4`: one of none, k2, k3, p95"
    );
    for (text, key) in
        [("-0.1", "null_correlation"), ("1.1", "null_correlation"), ("x", "network_percent")]
    {
        assert!(accuracy(json!({key:text})).starts_with(&format!("`accuracy.{key}` `{text}` ")));
    }
    let stated = json!({"reading_percent":"1","digits":5});
    assert!(
        fault(&with(json!({"repeats":["0.1","0.2"]}))).starts_with("`repeats` add to a stated")
    );
    for repeats in [json!([]), json!(["0.1"]), json!(["0.1", "x"])] {
        let object = with(json!({"accuracy":stated,"repeats":repeats}));
        assert!(fault(&object).starts_with("`repeats` "), "{repeats}");
    }
}

/// An object of a row with a value of so many thousandths of five limits, and with doubt.
fn doubtful(row: &Row, value: u32, rule: &str, accuracy: &Value, repeats: &[u32]) -> Value {
    let limit = row.bound.ratio(row.bound.amount.unit.prefix.exponent()).unwrap();
    let of = |part: u32| limit.times(Ratio::new(i128::from(part), 5000).unwrap()).unwrap().text();
    let mut more = json!({"value":of(value),"rule":rule,"accuracy":accuracy});
    if repeats.len() > 1 {
        let texts: Vec<_> = repeats.iter().map(|part| of(*part)).collect();
        more = merged(more, json!({"repeats":texts}));
    }
    merged(object_of(row), more)
}

/// A certificate with a point every two fifths of the limit, and none without errors.
fn certificate(row: &Row, errors: &[i32]) -> Option<Value> {
    let limit = row.bound.ratio(row.bound.amount.unit.prefix.exponent()).unwrap();
    let of = |part: i128| limit.times(Ratio::new(part, 10_000).unwrap()).unwrap().text();
    let point = |(at, error): (usize, &i32)| {
        json!({"at":of(i128::try_from(at).unwrap() * 4_000),"error":of(i128::from(*error) * 2),
            "expanded":of(i128::from(error.abs()))})
    };
    let points: Vec<_> = errors.iter().enumerate().map(point).collect();
    (!points.is_empty()).then_some(Value::Array(points))
}

proptest! {
    /// Also where few readings scatter: the coverage factor is that at the limit.
    #[test]
    fn a_better_value_never_gives_a_worse_verdict_in_any_doubt(
        row in select(table().rows.as_slice()),
        rule in select(Vec::from(["simple", "guard_band", "guard_band_zones"])),
        coverage in select(Vec::from(["none", "k2", "k3", "p95"])),
        percent in 0..20_u32,
        repeats in proptest::collection::vec(4000..6000_u32, 0..6),
        errors in proptest::collection::vec(-200..200_i32, 0..5),
        a in 0..10_000_u32,
        b in 0..10_000_u32,
    ) {
        let (better, worse) = match row.bound.direction {
            Direction::Max => (a.min(b), a.max(b)),
            Direction::Min => (a.max(b), a.min(b)),
        };
        let accuracy = json!({"reading_percent":format!("{percent}"),"digits":2,
            "resolution":"0.01","coverage":coverage,"network_percent":"1"});
        let points = certificate(&row, &errors);
        let of = |value| {
            let object = doubtful(&row, value, rule, &accuracy, &repeats);
            rank(&merged(object, json!({"certificate":points})))
        };
        prop_assert!(of(better) <= of(worse));
    }

    /// A wider doubt never makes a pass of a conditional one, under any rule: neither a worse
    /// accuracy, nor more scatter, nor an unsure network.
    #[test]
    fn a_wider_doubt_never_makes_a_pass(
        row in select(table().rows.as_slice()),
        rule in select(Vec::from(["guard_band", "guard_band_zones"])),
        value in 3000..7000_u32,
        percent in 0..10_u32,
        more in 0..10_u32,
        repeats in proptest::collection::vec(4900..5100_u32, 2..8),
        wider in select(Vec::from(["accuracy", "digits", "network", "coverage", "scatter"])),
    ) {
        // The same readings twice as far from their middle, which only whole limits matter to.
        let apart: Vec<u32> = repeats.iter().map(|part| 2 * part - 5000).collect();
        let scattering = |repeats: &[u32]| {
            let accuracy = json!({"reading_percent":format!("{percent}"),"digits":1,
                "resolution":"0.01","network_percent":"1","coverage":"k2"});
            rank(&doubtful(&row, value, rule, &accuracy, repeats))
        };
        let of = |percent: u32, digits: u32, network: u32, coverage: &str| {
            let accuracy = json!({"reading_percent":format!("{percent}"),"digits":digits,
                "resolution":"0.01","network_percent":format!("{network}"),"coverage":coverage});
            rank(&doubtful(&row, value, rule, &accuracy, &[]))
        };
        let narrow = match wider {
            "scatter" => scattering(&repeats),
            _ => of(percent, 1, 1, "k2"),
        };
        let wide = match wider {
            "accuracy" => of(percent + more, 1, 1, "k2"),
            "digits" => of(percent, 1 + more, 1, "k2"),
            "network" => of(percent, 1, 1 + more, "k2"),
            "scatter" => scattering(&apart),
            _ => of(percent, 1, 1, "none"),
        };
        prop_assert!(wide > 0 || narrow == 0, "{} becomes {}", narrow, wide);
    }

    #[test]
    fn the_order_of_repeats_and_their_unit_change_nothing(
        row in select(table().rows.as_slice()),
        value in 0..10_000_u32,
        mut repeats in proptest::collection::vec(4000..6000_u32, 2..8),
    ) {
        let accuracy = json!({"reading_percent":"3","digits":2,"resolution":"0.01"});
        let of = |repeats: &[u32]| {
            let found = judged(&doubtful(&row, value, "guard_band_zones", &accuracy, repeats));
            (found.verdict, found.uncertainty, found.probability)
        };
        let before = of(&repeats);
        repeats.reverse();
        prop_assert_eq!(before, of(&repeats));
    }
}
