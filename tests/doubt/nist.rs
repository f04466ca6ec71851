//! Statistical Reference Datasets, univariate, of the United States' National Institute of
//! Standards and Technology: the certified standard deviations, all printed digits. NumAcc1 to
//! NumAcc4 are made so that single-pass sums lose every digit; Michelso is Michelson's speed of
//! light, Mavro a filter's transmittance (copies of the sets, seen).

use tapline_drivers::Number;
use tapline_protocols::doubt::scatter::deviation;

const MICHELSO: &str = "\
    299.85 299.74 299.90 300.07 299.93 299.85 299.95 299.98 299.98 299.88 300.00 299.98 \
    299.93 299.65 299.76 299.81 300.00 300.00 299.96 299.96 299.96 299.94 299.96 299.94 \
    299.88 299.80 299.85 299.88 299.90 299.84 299.83 299.79 299.81 299.88 299.88 299.83 \
    299.80 299.79 299.76 299.80 299.88 299.88 299.88 299.86 299.72 299.72 299.62 299.86 \
    299.97 299.95 299.88 299.91 299.85 299.87 299.84 299.84 299.85 299.84 299.84 299.84 \
    299.89 299.81 299.81 299.82 299.80 299.77 299.76 299.74 299.75 299.76 299.91 299.92 \
    299.89 299.86 299.88 299.72 299.84 299.85 299.85 299.78 299.89 299.84 299.78 299.81 \
    299.76 299.81 299.79 299.81 299.82 299.85 299.87 299.87 299.81 299.74 299.81 299.94 \
    299.95 299.80 299.81 299.87";

const MAVRO: &str = "\
    2.00180 2.00170 2.00180 2.00190 2.00180 2.00170 2.00150 2.00140 2.00150 2.00150 \
    2.00170 2.00180 2.00180 2.00190 2.00190 2.00210 2.00200 2.00160 2.00140 2.00130 \
    2.00130 2.00150 2.00150 2.00160 2.00150 2.00140 2.00130 2.00140 2.00150 2.00140 \
    2.00150 2.00160 2.00150 2.00160 2.00190 2.00200 2.00200 2.00210 2.00220 2.00230 \
    2.00240 2.00250 2.00270 2.00260 2.00260 2.00260 2.00270 2.00260 2.00250 2.00240";

fn of<'t>(texts: impl Iterator<Item = &'t str>) -> (usize, f64) {
    let numbers: Vec<Number> = texts.map(|text| Number::parse(text).unwrap()).collect();
    (numbers.len(), deviation(&numbers).unwrap())
}

/// First the middle, then both sides of it in turns, 1001 in all.
fn in_turns<'t>(middle: &'t str, low: &'t str, high: &'t str) -> impl Iterator<Item = &'t str> {
    std::iter::once(middle).chain([low, high].into_iter().cycle().take(1000))
}

#[test]
fn standard_deviations_are_those_that_nist_certifies() {
    for (name, (count, found), certified) in [
        ("NumAcc1", of(["10000001", "10000003", "10000002"].into_iter()), (3, 1.0)),
        ("NumAcc2", of(in_turns("1.2", "1.1", "1.3")), (1001, 0.1)),
        ("NumAcc3", of(in_turns("1000000.2", "1000000.1", "1000000.3")), (1001, 0.1)),
        ("NumAcc4", of(in_turns("10000000.2", "10000000.1", "10000000.3")), (1001, 0.1)),
        ("Michelso", of(MICHELSO.split_whitespace()), (100, 0.079_010_547_819_051_8)),
        ("Mavro", of(MAVRO.split_whitespace()), (50, 0.000_429_123_454_003_053)),
    ] {
        assert_eq!(count, certified.0, "{name}");
        let off = (found / certified.1 - 1.0).abs();
        assert!(off < 1e-14, "{name}: {found}, off by {off:e}");
    }
}
