//! `find`: what it lists is what a model says, which knows what stood on the bench and reads no
//! book. Fifty inspections, a meter that turned out wrong.

use std::collections::BTreeSet;
use std::path::Path;

use super::forge::{Said, tapline};
use super::house::{Case, Made};

/// Leads that were nulled, milliohm.
const NULL: f64 = 61.0;
/// IEC 62353:2014, 5.3.2 a): 300 mohm; 5.3.4, Table 3: 500 uA (both as in the table of limits).
const OHMS_MAX: f64 = 300.0;
const LEAK_MAX: f64 = 500.0;
/// Supply as measured and rated, V.
const MAINS: f64 = 230.0 / 226.0;

fn find(args: &[&str], folder: &Path) -> Said {
    tapline(&[&["find"], args].concat(), folder)
}

/// Steps of inspections, of all lines or of those that are `so`.
fn listed(said: &Said, so: impl Fn(&serde_json::Value) -> bool) -> BTreeSet<(String, String)> {
    let text = |value: &serde_json::Value| value.as_str().unwrap().to_owned();
    let (lines, _) = said.json();
    lines.iter().filter(|line| so(line)).map(|l| (text(&l["id"]), text(&l["step"]))).collect()
}

/// What the model says of one step: pass or fail, and within doubt of the limit.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Says {
    pass: bool,
    doubt: bool,
}

/// `width` of a reading: percent of it and counts of its last digit, a rectangle (GUM 4.3.7, from
/// memory), two of them independent, U = 2 u.
fn says(value: f64, limit: f64, widths: &[f64]) -> Says {
    let expanded = 2.0 * (widths.iter().map(|w| w * w).sum::<f64>() / 3.0).sqrt();
    let off = (value - limit).abs();
    assert!((off - expanded).abs() > 0.002, "too near the edge of doubt for a model in floats");
    assert!(off > 1e-6 || value == limit, "too near the limit for a model in floats");
    Says { pass: value <= limit, doubt: off <= expanded }
}

/// Protective earth: LR-01 states 1 % and 5 counts of 1 mohm (contrib/example/instruments.toml).
fn earth(case: &Case, percent: f64) -> Says {
    let right = 100.0 / (100.0 + percent);
    let worst = case.ohms.into_iter().max().unwrap();
    let shown = f64::from(i32::try_from(worst).unwrap());
    let width = |reading: f64| (0.01 * reading + 5.0) * right;
    says((shown - NULL) * right, OHMS_MAX, &[width(shown), width(NULL)])
}

/// Leakage: the setup LK-1 states 3 % and 10 counts of 1 uV, which is 1 nA over 1 kohm.
fn leakage(case: &Case, percent: f64) -> Says {
    let right = 100.0 / (100.0 + percent);
    let worst = case.leak.into_iter().max().unwrap();
    let shown = f64::from(i32::try_from(worst).unwrap()) / 100.0 * MAINS;
    says(shown * right, LEAK_MAX, &[(0.03 * shown + 10.0 * 0.001 * MAINS) * right])
}

/// The asset was energised only where protective earth had passed.
fn energised(case: &&Case) -> bool {
    earth(case, 0.0).pass
}

fn ids<'a>(cases: impl Iterator<Item = &'a Case>, step: &str) -> BTreeSet<(String, String)> {
    cases.map(|case| (case.id.clone(), step.into())).collect()
}

#[test]
fn all_that_rests_on_a_meter_since_a_day() {
    let made = Made::fifty();
    let folder = made.copy();
    assert_eq!(made.cases.len(), 50);
    let since = |day: &'static str| made.cases.iter().filter(move |case| day <= case.day.as_str());
    let all = |_: &serde_json::Value| true;
    for day in ["2026-11-26", "2026-11-28"] {
        let said = find(&["--instrument", "LR-01", "--from", day, "--json"], folder.path());
        assert_eq!((said.code, listed(&said, all)), (0, ids(since(day), "pe")), "{day}");
        let said = find(&["--instrument", "DM-01", "--from", day, "--json"], folder.path());
        assert_eq!(listed(&said, all), ids(since(day).filter(energised), "leak"), "{day}");
    }
    let live = || ids(made.cases.iter().filter(energised), "leak");
    let earths = || ids(made.cases.iter(), "pe");
    let version = tapline_drivers::by_name("val-unit-line").unwrap().version();
    let [this, next] = [version, version + 1].map(|v| format!("val-unit-line@{v}"));
    for (args, want) in [
        (["--instrument", "LK-1"], live()),
        (["--fixture", "L-1"], earths()),
        (["--driver", "scpi"], live()),
        (["--driver", &this], earths()),
        (["--driver", &next], BTreeSet::new()),
        (["--limit-table", "IEC 62353/2014"], earths().into_iter().chain(live()).collect()),
    ] {
        let said = find(&[&args[..], &["--json"]].concat(), folder.path());
        assert_eq!((said.code, listed(&said, all)), (0, want), "{args:?}");
    }
}

/// The list and the counts against the model, verdict by verdict.
#[track_caller]
fn agrees(args: &[&str], step: &str, was_is: &[(&Case, Says, Says)]) {
    let folder = Made::fifty().copy();
    let said = find(&[args, &["--json"]].concat(), folder.path());
    let model = |so: &dyn Fn(&Says, &Says) -> bool| {
        let of = was_is.iter().filter(|(_, was, is)| so(was, is)).map(|(case, ..)| *case);
        ids(of, step)
    };
    let changes = model(&|was, is| was.pass != is.pass);
    let near = model(&|was, is| was.pass == is.pass && is.doubt);
    assert_eq!(listed(&said, |line| line["changes"] == true), changes, "{args:?}");
    assert_eq!(listed(&said, |line| line["changes"] == false), near, "{args:?}");
    let (_, summary) = said.json();
    let stay = was_is.len() - changes.len() - near.len();
    assert_eq!((&summary["verdicts"], &summary["stay"]), (&was_is.len().into(), &stay.into()));
    let code = if !changes.is_empty() { 1 } else { 3 * i32::from(!near.is_empty()) };
    assert_eq!(said.code, code, "{args:?}");
}

#[test]
fn a_meter_that_read_low_or_high_changes_what_the_model_says() {
    let made = Made::fifty();
    for percent in ["-5", "0", "2.5"] {
        let off: f64 = percent.parse().unwrap();
        let all: Vec<_> =
            made.cases.iter().map(|case| (case, earth(case, 0.0), earth(case, off))).collect();
        agrees(&["--instrument", "LR-01", "--reading-off", percent], "pe", &all);
        let of = |case| (case, leakage(case, 0.0), leakage(case, off));
        let all: Vec<_> = made.cases.iter().filter(energised).map(of).collect();
        let args = ["--instrument", "DM-01", "--reading-off", percent, "--function", "voltage_ac"];
        agrees(&args, "leak", &all);
    }
    let changed = made.cases.iter().filter(|case| earth(case, -5.0) != earth(case, 0.0)).count();
    assert!((5..45).contains(&changed), "the cases tell something: {changed}");
}

#[test]
fn a_limit_that_was_another_changes_what_the_model_says() {
    let made = Made::fifty();
    let other = |case: &Case, limit: f64| {
        let value = f64::from(i32::try_from(*case.ohms.iter().max().unwrap()).unwrap()) - NULL;
        let width = |reading: f64| 0.01 * reading + 5.0;
        says(value, limit, &[width(value + NULL), width(NULL)])
    };
    let of = |case| (case, earth(case, 0.0), other(case, 290.0));
    let all: Vec<_> = made.cases.iter().map(of).collect();
    let args = ["--limit-table", "iec62353-2014.pe.fixed_cord", "--limit", "290 mOhm"];
    agrees(&args, "pe", &all);
}

/// All functions of the multimeter were off: then it did not prove the network either.
#[test]
fn a_path_that_is_no_longer_proved_takes_the_pass_away() {
    let made = Made::fifty();
    let folder = made.copy();
    let said = find(&["--instrument", "DM-01", "--reading-off", "-5", "--json"], folder.path());
    let passed = made.cases.iter().filter(energised).filter(|case| leakage(case, 0.0).pass);
    let changes = |line: &serde_json::Value| line["changes"] == true;
    assert_eq!(listed(&said, changes), ids(passed, "leak"));
    // What fails when it is put right fails all the same: a current needs no proof.
    let fails = |id: &str| {
        let case = made.cases.iter().find(|case| case.id == id).unwrap();
        !leakage(case, -5.0).pass
    };
    for line in said.json().0.iter().filter(|line| changes(line)) {
        let word = if fails(line["id"].as_str().unwrap()) { "fail" } else { "undecided" };
        assert_eq!(line["assumed"]["verdict"], word, "{line}");
        let why = line["assumed"]["reasons"].as_array().unwrap();
        assert_eq!(why.iter().any(|why| why == "path_not_proved"), word == "undecided", "{line}");
    }
}

#[test]
fn a_person_reads_which_and_why_and_slips_are_told() {
    let made = Made::few();
    let folder = made.copy();
    let id = &made.cases[1].id;
    let said = find(&["--instrument", "LR-01", "--reading-off", "-5"], folder.path());
    // (0.352 - 0.061) / 0.95 = 0.306, by hand.
    assert!(said.stdout.starts_with(&format!("{id}  2026-11-25  P-0109  pe (line ")), "{said:?}");
    assert!(said.stdout.contains("PASS would be FAIL: 0.291 Ohm becomes 0.306 Ohm"), "{said:?}");
    assert!(
        said.stderr.contains("would change: 1, lie within their doubt of the limit: 0"),
        "{said:?}"
    );
    let said = find(&["--instrument", "LR-01"], folder.path());
    assert_eq!(said.stdout.lines().count(), 3, "{said:?}");
    for (args, word) in [
        (&["--instrument", "LR-01", "--reading-off", "-100"][..], "-100 %"),
        (&["--instrument", "LR-01", "--reading-off", "x"], "no decimal"),
        (&["--limit-table", "IEC 62353/2014", "--limit", "1 Ohm"], "one row"),
        (&["--limit-table", "iec62353-2014.pe.fixed_cord", "--limit", "1 uA"], "in Ohm"),
        (&["--limit-table", "iec62353-2014.pe.fixed_cord", "--limit", "1Ohm"], "a blank"),
        (&["--driver", "scpi@x"], "version"),
        (&["--reading-off", "5"], "--instrument"),
        (&[], "--instrument"),
    ] {
        let said = find(args, folder.path());
        assert_eq!(said.code, 2, "{args:?}");
        assert!(said.stderr.contains(word), "{args:?}: {said:?}");
    }
}
