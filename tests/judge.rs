//! Verdicts against another program's arithmetic.
//!
//! `outside/judge.py` makes decimals at, just inside and just outside every limit, through null
//! and mains scaling, and says with Python's `fractions` what each must give. It reads the table
//! of limits with Python's own TOML parser. Without `python3` this fails.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};
use std::{env, fs};

use serde_json::Value;
use tapline::cli::judge::judge_line;
use tapline_protocols::exact::Ratio;
use tapline_protocols::limits::Table;

/// So many without `SOAK=1` (a million: 1103 s of a debug build on two cores, once) or
/// `JUDGED=5000` (so many).
const COUNT: usize = 40_000;
const SEED: &str = "20261124";

#[test]
fn exact_fractions_of_another_program_agree() {
    let root = env!("CARGO_MANIFEST_DIR");
    let count = match env::var("JUDGED") {
        Ok(count) => count.parse().expect("JUDGED is a number"),
        Err(_) if env::var_os("SOAK").is_some() => 1_000_000,
        Err(_) => COUNT,
    };
    let tables = fs::read_dir(format!("{root}/protocols/limits")).unwrap();
    let mut tables: Vec<_> = tables.map(|entry| entry.unwrap().path()).collect();
    tables.sort();
    assert_eq!(tables.len(), Table::all().count(), "a table that the program does not know");
    let mut python = Command::new("python3")
        .arg(format!("{root}/tests/outside/judge.py"))
        .args([count.to_string().as_str(), SEED])
        .args(tables)
        .stdout(Stdio::piped())
        .spawn()
        .expect("this test needs `python3` 3.11 or later");
    let mut seen = Seen::default();
    for line in BufReader::new(python.stdout.take().unwrap()).lines() {
        seen.compare(&line.unwrap());
    }
    assert!(python.wait().unwrap().success(), "the other program failed");
    seen.check(count);
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

    fn check(&self, count: usize) {
        assert_eq!(self.lines, count);
        let table = |(s, e)| Table::parse(Table::builtin(s, e).unwrap()).unwrap();
        let rows: usize = Table::all().map(|known| table(known).rows.len()).sum();
        assert_eq!(self.rows.len(), rows);
        for (row, sides) in &self.rows {
            assert!(sides.iter().all(|seen| *seen > count / 4000), "{row} {sides:?}");
        }
    }
}
