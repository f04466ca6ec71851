//! Uncertainty and distributions against programs of other makes, and the guides' worked examples.
//!
//! `outside/doubt.py` holds what comes out here against GTC (PyPI), a library of a metrology
//! institute, and against scipy (PyPI). Cases are made at random, the same each time. The worked
//! examples stand here with their source and with the rounding that their printed digits rest on.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "doubt/nist.rs"]
mod nist;
#[path = "support/python.rs"]
mod python;

use std::io::{BufWriter, Read, Write};
use std::process::{Command, Stdio};

use serde_json::{Value, json};
use tapline::cli::judge::judge_line;
use tapline_drivers::{Number, Unit};
use tapline_protocols::doubt::budget::Budget;
use tapline_protocols::doubt::slope::theil_sen;
use tapline_protocols::doubt::{risk, scatter, spread};

/// Sends cases, returns what the other program counted. Panics at a disagreement.
fn held_against(cases: &[Value]) -> String {
    let mut child = Command::new(python::interpreter())
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/doubt.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut pipe = BufWriter::new(child.stdin.take().unwrap());
    for case in cases {
        writeln!(pipe, "{case}").unwrap();
    }
    drop(pipe);
    let mut told = String::new();
    child.stdout.take().unwrap().read_to_string(&mut told).unwrap();
    assert!(child.wait().unwrap().success(), "the other program failed: {told}");
    assert!(!told.contains("differs"), "{told}");
    told
}

/// A small generator (xorshift, Marsaglia 2003): the same cases on every machine.
struct Random(u64);

impl Random {
    fn below(&mut self, n: u32) -> u32 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        u32::try_from((self.0 >> 11) % u64::from(n)).unwrap()
    }

    /// From `low` up to `high`.
    fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * f64::from(self.below(1 << 30)) / f64::from(1 << 30)
    }
}

fn distributions(random: &mut Random) -> Vec<Value> {
    let (z, p) = (random.within(-8.0, 8.0), random.within(0.0005, 0.9995));
    let freedom = match random.below(4) {
        0 => f64::from(1 + random.below(40)),
        1 => random.within(100.0, 1e5),
        _ => random.within(1.0, 60.0),
    };
    let t = random.within(-30.0, 30.0);
    Vec::from([
        json!({"kind":"normal","z":z,"got":spread::normal(z)}),
        json!({"kind":"normal_at","p":p,"got":spread::normal_at(p)}),
        json!({"kind":"student","t":t,"freedom":freedom,"got":spread::student(t, freedom)}),
        json!({"kind":"student_at","p":p,"freedom":freedom,"got":spread::student_at(p, freedom)}),
    ])
}

/// A budget of up to six parts; every other one with a pair that goes together.
fn made_budget(random: &mut Random) -> Value {
    let count = 2 + random.below(5);
    let tied = random.below(2) == 0;
    let mut budget = Budget::default();
    let parts: Vec<(f64, Option<f64>)> = (0..count)
        .map(|at| {
            let limited = random.below(2) == 0 && !(tied && at < 2);
            let freedom = limited.then(|| f64::from(1 + random.below(30)));
            (random.within(-5.0, 5.0), freedom)
        })
        .collect();
    parts.iter().for_each(|(share, freedom)| {
        budget.add(*share, *freedom);
    });
    let mut ties = Vec::new();
    if tied {
        let r = random.within(-0.99, 0.99);
        budget.tie(0, 1, r);
        ties.push((0, 1, r));
    }
    json!({"kind":"budget","parts":parts,"ties":ties,"u":budget.combined(),
        "freedom":budget.freedom(),"k":budget.coverage()})
}

#[test]
fn distributions_of_another_program_agree() {
    let mut random = Random(20_261_126);
    let cases: Vec<_> = (0..2_000).flat_map(|_| distributions(&mut random)).collect();
    let told = held_against(&cases);
    assert!(told.contains("normal=2000 normal_at=2000 student=2000 student_at=2000"), "{told}");
}

#[test]
fn budgets_of_another_program_agree() {
    let mut random = Random(20_261_127);
    let cases: Vec<_> = (0..1_000).map(|_| made_budget(&mut random)).collect();
    assert!(held_against(&cases).contains("budget=1000"));
}

/// A protective-earth value with every source of doubt, as it was judged.
fn made_verdict(random: &mut Random) -> Value {
    let thousandths = |n: u32| format!("{}.{:03}", n / 1000, n % 1000);
    let middle = 50 + random.below(300);
    let repeats: Vec<_> =
        (0..2 + random.below(7)).map(|_| thousandths(middle + random.below(6))).collect();
    let coverage = ["none", "k2", "k3", "p95"][random.below(4) as usize];
    let point = |at: &str, random: &mut Random| {
        json!({"at":at,"error":thousandths(random.below(10)),
            "expanded":thousandths(1 + random.below(5))})
    };
    let certificate = ["0.050", "0.200", "0.350"].map(|at| point(at, random));
    let given = json!({"standard":"IEC 62353","edition":"2014",
        "measurand":"protective_earth_resistance","method":"fixed_cord","class":"I","kind":"dc",
        "value":thousandths(60 + random.below(340)),"lead_null":thousandths(random.below(60)),
        "unit":"Ohm","repeats":repeats,
        "certificate":certificate,"gives":{"test_current":"0.2 A","open_circuit":"6 V"},
        "accuracy":{"reading_percent":thousandths(random.below(5_000)),"digits":random.below(6),
            "coverage":coverage,"null_correlation":thousandths(random.below(1_001)),
            "network_percent":thousandths(random.below(1_000))}});
    let line = judge_line(&given.to_string()).unwrap();
    let found: Value = serde_json::from_str(&line.json).unwrap();
    let doubt = &found["uncertainty"];
    json!({"kind":"judged","in":given,"value":found["value"],"u":doubt["u"],"k":doubt["k"],"expanded":doubt["expanded"]})
}

#[test]
fn doubts_of_verdicts_agree() {
    let mut random = Random(20_261_128);
    let cases: Vec<_> = (0..500).map(|_| made_verdict(&mut random)).collect();
    assert!(held_against(&cases).contains("judged=500"));
}

fn made_readings(random: &mut Random) -> Value {
    let middle = random.below(100_000);
    let texts: Vec<_> =
        (0..2 + random.below(40)).map(|_| format!("{}.{:02}", middle, random.below(100))).collect();
    let numbers: Vec<_> = texts.iter().map(|text| Number::parse(text).unwrap()).collect();
    json!({"kind":"deviation","in":texts,"s":scatter::deviation(&numbers).unwrap()})
}

#[test]
fn standard_deviations_of_another_program_agree() {
    let mut random = Random(20_261_129);
    let cases: Vec<_> = (0..500).map(|_| made_readings(&mut random)).collect();
    assert!(held_against(&cases).contains("deviation=500"));
}

/// Readings of three digits behind the point, as whole thousandths.
fn made_noise(random: &mut Random) -> Option<Value> {
    let middle = i128::from(random.below(100_000));
    let count = 4 + random.below(40);
    let counts: Vec<i128> = (0..count).map(|_| middle + i128::from(random.below(50))).collect();
    let scatter = scatter::between(&counts, -3, None, Unit::from_ucum("Ohm").unwrap())?;
    let s: f64 = scatter.deviation.number.text().parse().unwrap();
    Some(json!({"kind":"noise","in":counts,"s":s,"freedom":scatter.freedom}))
}

#[test]
fn scatter_from_one_reading_to_the_next_agrees() {
    let mut random = Random(20_261_131);
    let cases: Vec<_> = (0..500).filter_map(|_| made_noise(&mut random)).collect();
    assert!(cases.len() > 490);
    assert!(held_against(&cases).contains(&format!("noise={}", cases.len())));
}

/// Items that spread as a gamma distribution, decided with a guard band of any width.
fn made_risk(random: &mut Random) -> Value {
    let (shape, rate) = (random.within(1.5, 8.0), random.within(1.0, 6.0));
    let (limit, u) = (random.within(0.5, 3.0), random.within(0.05, 0.5));
    let accept = limit - u * random.within(-1.0, 3.0);
    let density = |x: f64| risk::gamma_density(shape, rate, x);
    let found = risk::of_maximum(density, (0.0, 40.0), (limit, accept), u);
    json!({"kind":"risk","shape":shape,"rate":rate,"limit":limit,"accept":accept,"u":u,
        "accepted":found.false_acceptance,"rejected":found.false_rejection})
}

#[test]
fn risks_of_another_program_agree() {
    let mut random = Random(20_261_132);
    let cases: Vec<_> = (0..200).map(|_| made_risk(&mut random)).collect();
    assert!(held_against(&cases).contains("risk=200"));
}

/// Up to thirty points, often of one day and often with one value.
fn made_slope(random: &mut Random) -> Option<Value> {
    let days = [5, 40, 4_000][random.below(3) as usize];
    let points: Vec<(f64, f64)> = (0..2 + random.below(29))
        .map(|_| (f64::from(random.below(days)), f64::from(random.below(50)) / 8.0))
        .collect();
    let covers = [0.8, 0.9, 0.95][random.below(3) as usize];
    let line = theil_sen(&points, covers)?;
    Some(json!({"kind":"slope","in":points,"covers":covers,"got":line.slope,
        "intercept":line.intercept,"low":line.low,"high":line.high}))
}

#[test]
fn slopes_of_another_program_agree() {
    let mut random = Random(20_261_130);
    let cases: Vec<_> = (0..2_000).filter_map(|_| made_slope(&mut random)).collect();
    assert!(cases.len() > 1_900);
    assert!(held_against(&cases).contains(&format!("slope={}", cases.len())));
}

/// A number as printed: rounded half up to so many places.
fn printed(value: f64, places: usize) -> String {
    format!("{value:.places$}")
}

/// JCGM 100:2008 (GUM) H.1, calibration of an end gauge; inputs and printed results from two
/// published copies of the example. Shares in nanometres, nothing rounded on the way.
fn end_gauge() -> Budget {
    let (length, alpha, theta) = (50_000_623.0, 11.5e-6, -0.1);
    let rectangle = |half: f64| half / 3.0_f64.sqrt();
    let mut budget = Budget::default();
    budget.add(25.0, Some(18.0));
    for (u, freedom) in [(5.8, 24.0), (3.9, 5.0), (6.7, 8.0)] {
        budget.add(u, Some(freedom));
    }
    budget.add(-length * theta * rectangle(1e-6), Some(50.0));
    budget.add(-length * alpha * rectangle(0.05), Some(2.0));
    // Sensitivities to the temperature and to the expansion of the standard: both zero.
    budget.add(0.0, None);
    budget
}

/// Printed: u(d) 9.7, shares 25, 9.7, 2.9 and 16.6 nm, `u_c` 32 nm, 16 degrees of freedom. The
/// guide reckons the freedom from rounded shares (16.7 cut to 16), and U = 2.92 x 32 = 93 nm
/// from the rounded `u_c`.
#[test]
fn the_end_gauge_of_the_guide() {
    let comparator = {
        let mut budget = Budget::default();
        for u in [5.8, 3.9, 6.7] {
            budget.add(u, None);
        }
        budget.combined()
    };
    assert_eq!(printed(comparator, 1), "9.7");
    let length = 50_000_623.0_f64;
    let rectangle = |half: f64| half / 3.0_f64.sqrt();
    assert_eq!(printed(length * 0.1 * rectangle(1e-6), 1), "2.9");
    assert_eq!(printed(length * 11.5e-6 * rectangle(0.05), 1), "16.6");
    let budget = end_gauge();
    assert_eq!(printed(budget.combined(), 0), "32");
    let freedom = budget.freedom().unwrap();
    assert_eq!(printed(freedom.floor(), 0), "16");
    let t = spread::student_at(0.995, 16.0);
    assert_eq!(printed(t, 2), "2.92");
    assert_eq!(printed(2.92 * 32.0, 0), "93");
    // 95 %: t is 2.12, and U 68 nm (a published package for R).
    assert_eq!(printed(spread::student_at(0.975, 16.0), 2), "2.12");
    assert_eq!(printed(2.12 * 32.0, 0), "68");
    // Terms of the second order, H.1.7: 11.7 and 1.7 nm make 34 of 32.
    let mut second = end_gauge();
    let (theta, alpha) = ((0.2_f64.powi(2) + 0.5_f64.powi(2) / 2.0).sqrt(), rectangle(2e-6));
    second.add(length * rectangle(1e-6) * theta, None);
    second.add(length * alpha * rectangle(0.05), None);
    assert_eq!(printed(second.combined(), 0), "34");
    let case = json!({"kind":"end_gauge","u":budget.combined(),"freedom":freedom});
    held_against(&[case]);
}

/// Sensitivities of R, X and Z to voltage, current and phase, times their uncertainties.
fn impedance() -> [[f64; 3]; 3] {
    let (v, i, phi) = (4.999_f64, 19.661e-3_f64, 1.04446_f64);
    let (u_v, u_i, u_phi) = (0.0032, 9.5e-6, 7.5e-4);
    let z = v / i;
    [
        [phi.cos() / i * u_v, -z * phi.cos() / i * u_i, -z * phi.sin() * u_phi],
        [phi.sin() / i * u_v, -z * phi.sin() / i * u_i, z * phi.cos() * u_phi],
        [u_v / i, -z / i * u_i, 0.0],
    ]
}

fn correlated(shares: [f64; 3]) -> Budget {
    let mut budget = Budget::default();
    for share in shares {
        budget.add(share, Some(4.0));
    }
    budget.tie(0, 1, -0.36);
    budget.tie(0, 2, 0.86);
    budget.tie(1, 2, -0.65);
    budget
}

/// JCGM 100:2008 (GUM) H.2, simultaneous resistance and reactance; inputs as printed there, from a
/// published copy. Printed: R 127.732 (0.071), X 219.847 (0.295), Z 254.260 (0.236) ohm from the
/// five sets of readings; from the rounded inputs 0.0700, 0.2957 and 0.2366 (recomputed with two
/// programs).
#[test]
fn the_impedance_of_the_guide() {
    let u = impedance().map(|shares| correlated(shares).combined());
    let found = [printed(u[0], 4), printed(u[1], 4), printed(u[2], 4)];
    assert_eq!(found, ["0.0700", "0.2957", "0.2366"]);
    assert_eq!(correlated(impedance()[0]).freedom(), Some(4.0));
    let (v, i, phi) = (4.999_f64, 19.661e-3_f64, 1.04446_f64);
    let values = [v / i * phi.cos(), v / i * phi.sin(), v / i].map(|ohm| printed(ohm, 3));
    assert_eq!(values, ["127.732", "219.847", "254.260"]);
    // How R, X and Z go together, from the uncertainty of their sums.
    let together = |a: usize, b: usize| {
        let [one, other] = [impedance()[a], impedance()[b]];
        let sum = correlated(std::array::from_fn(|at| one[at] + other[at])).combined();
        (sum * sum - u[a] * u[a] - u[b] * u[b]) / (2.0 * u[a] * u[b])
    };
    let found = [together(0, 1), together(0, 2), together(1, 2)].map(|r| printed(r, 2));
    assert_eq!(found, ["-0.59", "-0.49", "0.99"]);
    held_against(&[json!({"kind":"impedance","u":u})]);
}

/// JCGM 101:2008 9.2.3 (formula from memory): four rectangular inputs of unit variance. Their sum
/// has u = 2; 95 % lie within 2 sqrt 3 (2 - (3/5)^(1/4)) = 3.88, and not 1.96 u = 3.92. What is
/// expanded here by 2 is 4, and covers it.
#[test]
fn four_rectangles_are_covered() {
    let mut budget = Budget::default();
    for _ in 0..4 {
        budget.add(1.0, None);
    }
    assert_eq!(printed(budget.combined(), 2), "2.00");
    assert_eq!(printed(spread::normal_at(0.975) * budget.combined(), 2), "3.92");
    let exact = 2.0 * 3.0_f64.sqrt() * (2.0 - 0.6_f64.powf(0.25));
    assert_eq!(printed(exact, 6), "3.879407");
    assert!(exact < budget.coverage() * budget.combined());
}

/// Normal items with limits at two of their standard deviations on both sides, decided by a
/// measurement of a quarter and of half of that deviation (worked examples of a published package
/// for R: 0.008 and 0.015; with the limits drawn in to 0.91 of them 0.008 and 0.066; recomputed to
/// six digits with another program). Nothing beyond one limit is taken for beyond the other.
#[test]
fn two_limits_of_normal_items_are_twice_one() {
    let density = |x: f64| (-x * x / 2.0).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let both = |accept: f64, u: f64| {
        let one = |from: f64| risk::of_maximum(density, (from, 10.0), (2.0, accept), u);
        [one(-2.0).false_acceptance, one(-2.0).false_rejection].map(|risk| printed(2.0 * risk, 6))
    };
    assert_eq!(both(2.0, 0.25), ["0.008006", "0.014851"]);
    assert_eq!(both(2.0 * 0.91, 0.5), ["0.008052", "0.066106"]);
}
