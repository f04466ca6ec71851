//! Verdicts against another program's arithmetic.
//!
//! `outside/judge.py` makes decimals at, just inside and just outside every limit, through null
//! and mains scaling, and says with Python's `fractions` what each must give. It reads the table
//! of limits with Python's own TOML parser. Without `python3` this fails.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};

use serde_json::Value;
use tapline::cli::judge::judge_line;
use tapline_protocols::exact::Ratio;

const COUNT: &str = "100000";
const SEED: &str = "20261124";

#[test]
fn exact_fractions_of_another_program_agree() {
    let root = env!("CARGO_MANIFEST_DIR");
    let mut python = Command::new("python3")
        .arg(format!("{root}/tests/outside/judge.py"))
        .arg(format!("{root}/protocols/limits/iec62353-2014.toml"))
        .args([COUNT, SEED])
        .stdout(Stdio::piped())
        .spawn()
        .expect("this test needs `python3` 3.11 or later");
    let mut seen = Seen::default();
    for line in BufReader::new(python.stdout.take().unwrap()).lines() {
        seen.compare(&line.unwrap());
    }
    assert!(python.wait().unwrap().success(), "the other program failed");
    seen.check();
}

/// How often each row was met on each side, so that the comparison can't become empty unseen.
#[derive(Default)]
struct Seen {
    lines: usize,
    rows: BTreeMap<String, [usize; 3]>,
}

impl Seen {
    fn compare(&mut self, line: &str) {
        let case: Value = serde_json::from_str(line).unwrap();
        let text = case["in"].to_string();
        let judged = judge_line(&text).unwrap_or_else(|fault| panic!("{text}: {fault}"));
        let found: Value = serde_json::from_str(&judged.json).unwrap();
        for key in ["verdict", "shown", "share"] {
            assert_eq!(found[key], case[key], "{key} of {text}");
        }
        assert_eq!(found["limit"]["id"], case["row"], "{text}");
        let ratio = |value: &Value| Ratio::parse(value.as_str().unwrap()).unwrap();
        let order = ratio(&found["value"]).compare(ratio(&case["value"]));
        assert_eq!(order, Ok(std::cmp::Ordering::Equal), "value of {text}");
        let side = match (case["at"] == true, case["verdict"] == "pass") {
            (true, _) => 0,
            (false, true) => 1,
            (false, false) => 2,
        };
        self.lines += 1;
        self.rows.entry(case["row"].as_str().unwrap().into()).or_default()[side] += 1;
    }

    fn check(&self) {
        assert_eq!(self.lines.to_string(), COUNT);
        assert_eq!(self.rows.len(), 28);
        for (row, sides) in &self.rows {
            assert!(sides.iter().all(|count| *count > 100), "{row} {sides:?}");
        }
    }
}
