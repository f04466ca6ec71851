//! `tapline explain`: verdicts from their bytes on. What is told of many kinds of verdict is kept
//! in `explain/`; Python's fractions come to the same word from the printed text alone.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::{env, fs};

use tapline::books::Line;
use tapline::station::event::{BookId, Stored};
use tapline::told::verdict::told;
use tapline::validate::assets::{FAULTY, GOOD};
use tapline::validate::case::{Case, lines};
use tapline::validate::mistakes;
use tapline_protocols::fact::Policy;

fn here(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn explain(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tapline")).arg("explain").args(args).output().unwrap()
}

/// Compares with `tests/explain/NAME.expect`; `UPDATE_EXPECT=1` writes it.
#[track_caller]
fn expect(name: &str, said: &str) {
    let path = here("tests/explain").join(format!("{name}.expect"));
    if env::var_os("UPDATE_EXPECT").is_some() {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, said).unwrap();
    }
    assert_eq!(said, fs::read_to_string(&path).unwrap_or_default(), "{}", path.display());
}

/// An asset of the false-pass campaign, a mistake or none, a rule, and the steps that are told.
struct Told {
    name: &'static str,
    asset: &'static str,
    mistake: Option<&'static str>,
    rule: &'static str,
    steps: &'static [(&'static str, &'static str)],
}

const fn case(
    name: &'static str,
    (asset, mistake): (&'static str, Option<&'static str>),
    rule: &'static str,
    steps: &'static [(&'static str, &'static str)],
) -> Told {
    Told { name, asset, mistake, rule, steps }
}

const CASES: &[Told] = &[
    case(
        "good",
        ("class I", None),
        "simple",
        &[("look", "pass"), ("pe", "pass"), ("leak", "pass"), ("try", "pass")],
    ),
    case("cord", ("class I, loose", None), "simple", &[("pe", "pass"), ("cord", "pass")]),
    case("foil", ("class II", None), "simple", &[("leak_case", "pass")]),
    case("parts", ("class I, CF", None), "simple", &[("part_single", "pass")]),
    case("open", ("pe open", None), "simple", &[("pe", "fail"), ("leak", "undecided")]),
    case("just-above", ("pe .31", None), "simple", &[("pe", "fail")]),
    case("one-polarity", ("N 20k", None), "simple", &[("leak", "fail")]),
    case("scaled", ("212 V", None), "simple", &[("leak", "fail")]),
    case("guarded", ("pe .31", None), "guard_band", &[("pe", "fail")]),
    case("guarded-good", ("class I", None), "guard_band", &[("leak", "pass")]),
    case("zones", ("pe .31", None), "guard_band_zones", &[("pe", "fail")]),
    case("zones-leak", ("1 kHz", None), "guard_band_zones", &[("leak", "conditional fail")]),
    case(
        "zones-high",
        ("212 V", Some("supply-from-memory")),
        "guard_band_zones",
        &[("leak", "conditional pass")],
    ),
    case("not-nulled", ("class I", Some("not-nulled")), "simple", &[("pe", "undecided")]),
    case("cable", ("class I", Some("data-cable")), "simple", &[("leak", "undecided")]),
    case("declared", ("N 20k", Some("s5-left-declared")), "simple", &[("leak", "pass")]),
    case("set-aside", ("pe .35", Some("discard-by-two")), "simple", &[("pe", "fail")]),
];

fn play(told: &Told) -> Vec<Line> {
    let asset = FAULTY.iter().chain(&GOOD).find(|asset| asset.id == told.asset).unwrap();
    let all = mistakes::all();
    let mistake = told.mistake.map(|id| all.iter().find(|one| one.id == id).unwrap());
    let Case { scene, mut register } = asset.case();
    register.policy = Policy { decision_rule: told.rule.into(), ..register.policy };
    let of_inspection = |line: &Stored| matches!(line.book, BookId::Inspection(_));
    let stored = lines(Case { scene, register }, mistake).into_iter().filter(of_inspection);
    let line = |Stored { seq, at, fact, by, .. }| Line { seq, at, fact, by, sig: None };
    stored.map(line).collect()
}

/// What Python's fractions make of the text; its own words on standard output.
fn reckoned(text: &str) -> (bool, String) {
    let mut python = Command::new("python3")
        .arg(here("tests/outside/explain.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("python3 is there");
    python.stdin.take().unwrap().write_all(text.as_bytes()).unwrap();
    let said = python.wait_with_output().unwrap();
    (said.status.success(), String::from_utf8(said.stdout).unwrap())
}

#[test]
fn verdicts_of_every_kind_are_told_and_their_sums_come_out() {
    let mut wrong = Vec::new();
    for case in CASES {
        let lines = play(case);
        for (step, word) in case.steps {
            let text = told(&lines, step).unwrap_or_default().join("\n") + "\n";
            let (name, verdict) = (format!("{}.{step}", case.name), format!("{word}: "));
            let (right, said) = reckoned(&text);
            if !right || !said.starts_with(&verdict) {
                wrong.push(format!("{name}, {word} is wanted: {said}"));
            }
            expect(&name, &text);
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A digit that is changed in the text is found by the sums, or it is one that they do not need.
#[test]
fn a_sum_that_does_not_come_out_is_found() {
    let text = told(&play(&CASES[0]), "pe").unwrap().join("\n") + "\n";
    assert!(reckoned(&text).0);
    for (was, is) in [(" - 0.05", " - 0.04"), ("verdict: pass", "verdict: fail")] {
        let changed = text.replacen(was, is, 1).replace("verdict: PASS", "verdict: FAIL");
        assert_ne!(changed, text);
        assert!(!reckoned(&changed).0, "{was}");
    }
}

/// Signed and sealed by an earlier program.
const RECORD: &str = "tests/journals/v1/inspections/2026/11/DEMO-20261126-0001.jsonl";

#[test]
fn the_program_tells_a_stored_record_as_text_and_as_json() {
    let record = here(RECORD).display().to_string();
    let whole = explain(&[&record, "pe"]);
    assert_eq!(whole.status.code(), Some(1), "its word is a fail");
    assert_eq!(explain(&[&record, "pe/1"]).stdout, whole.stdout, "a value by its step");
    let text = String::from_utf8(whole.stdout).unwrap();
    expect("stored.pe", &text);
    let said = explain(&[&record, "pe", "--json"]);
    let object: serde_json::Value = serde_json::from_slice(&said.stdout).unwrap();
    for link in object["verdict"]["chain"].as_array().unwrap() {
        for gives in link["gives"].as_array().into_iter().flatten() {
            assert!(text.contains(gives.as_str().unwrap()), "{gives}");
        }
    }
    let readings = object["readings"].as_array().unwrap();
    assert!(!readings.is_empty());
    for reading in readings {
        let Some(value) = reading["read"]["v"].as_str() else { continue };
        let raw = reading["raw"].as_str().unwrap();
        assert!(raw.contains(value.trim_start_matches('-')), "{raw} was read as {value}");
    }
}

#[test]
fn what_is_not_there_is_said_with_what_is() {
    let said = explain(&[&here(RECORD).display().to_string(), "lunch"]);
    let text = String::from_utf8_lossy(&said.stderr);
    assert_eq!(said.status.code(), Some(2));
    assert!(text.contains("lunch") && text.contains("leak, look, pe, try"), "{text}");
    let said = explain(&["K3-20200101-0001", "pe", "--folder", "tests/journals"]);
    assert_eq!(said.status.code(), Some(2));
}
