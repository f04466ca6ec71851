//! Records whose bytes were read by a driver that a file describes: the file itself stands in them,
//! and they are read again without it.

use std::fs;
use std::path::Path;

use serde_json::Value;

use super::forge::{edit, hash, seal, sealed, tapline};
use super::house::Made;
use super::world;

const TEXT: &str = include_str!("../../contrib/drivers/bench-ohm-line.toml");

fn taps(book: &Path) -> Vec<Value> {
    let text = fs::read_to_string(book).unwrap();
    let lines = text.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    lines.filter(|line| line["k"] == "tap").collect()
}

#[test]
fn a_record_holds_the_text_that_its_bytes_were_read_by() {
    let made = Made::described();
    let folder = made.copy();
    for case in &made.cases {
        let taps = taps(&sealed(folder.path(), &case.id));
        let (ohm, others): (Vec<_>, Vec<_>) = taps.into_iter().partition(|t| t["link"] == "ohm");
        assert_eq!(ohm[0]["driver"], "bench-ohm-line");
        assert_eq!(ohm[0]["driver_text"], TEXT);
        assert!(ohm.iter().all(|tap| tap["driver_sha256"] == hash(TEXT.as_bytes())));
        assert!(ohm[1..].iter().all(|tap| tap["driver_text"].is_null()), "it is told once");
        let none = |tap: &Value| tap["driver_sha256"].is_null() && tap["driver_text"].is_null();
        assert!(!others.is_empty() && others.iter().all(none));
    }
    let days: Vec<_> = fs::read_dir(folder.path().join("idle")).unwrap().collect();
    assert!(!days.is_empty());
    for day in days {
        let taps = taps(&day.unwrap().path());
        let first = taps.iter().find(|tap| tap["link"] == "ohm").unwrap();
        assert_eq!(first["driver_text"], TEXT);
    }
}

/// Verdicts: (243 - 61) and (275 - 61) milliohm, (520 - 61) milliohm; the limit is 300 milliohm
/// (IEC 62353:2014, 5.3.2 a), excerpt seen).
#[test]
fn it_is_replayed_from_the_record_alone() {
    let made = Made::described();
    let folder = made.copy();
    let said = tapline(&["replay", "--all"], folder.path());
    assert_eq!((said.code, said.stdout.as_str()), (0, ""), "{said:?}");
    assert!(said.stderr.contains("the same: 2, "), "{said:?}");
    for day in fs::read_dir(folder.path().join("idle")).unwrap() {
        let said = tapline(&["replay"], &day.unwrap().path());
        assert_eq!(said.code, 0, "{said:?}");
    }
    let by = |what: &str| tapline(&["find", "--json", "--driver", what], folder.path()).json().0;
    let sum = hash(TEXT.as_bytes());
    assert_eq!(by("bench-ohm-line").len(), 2);
    assert_eq!(by(&format!("bench-ohm-line@{}", &sum[..12])).len(), 2);
    assert_eq!(by("bench-ohm-line@000000000000").len(), 0);
}

#[test]
fn a_text_that_was_changed_or_taken_out_is_told() {
    let made = Made::described();
    let id = &made.cases[0].id;
    let changes: [&dyn Fn(&str) -> String; 3] = [
        &|line| line.replace(r#"\"R4\" = \"resistance_4w\""#, r#"\"R4\" = \"resistance_2w\""#),
        &|line| line.replace("tapline-driver-1", "tapline-driver-9"),
        &|line| match line.find(",\"driver_text\"") {
            Some(from) => {
                let to = from + line[from..].find("note  = \\\"malformed\\\"\\n\"").unwrap();
                format!("{}{}", &line[..from], &line[to + "note  = \\\"malformed\\\"\\n\"".len()..])
            }
            None => line.into(),
        },
    ];
    for change in changes {
        let folder = made.copy();
        let book = sealed(folder.path(), id);
        edit(&book, change);
        seal(&book, &world::key());
        let said = tapline(&["replay", "--all"], folder.path());
        assert!(matches!(said.code, 1 | 3), "{said:?}");
        assert!(said.stdout.contains(id), "{said:?}");
    }
}

#[test]
fn a_described_line_that_reads_otherwise_changes_the_verdict_that_rests_on_it() {
    let made = Made::described();
    let folder = made.copy();
    let book = sealed(folder.path(), &made.cases[0].id);
    edit(&book, |line| line.replace(r#""raw":"R4 +0.243 Ohm"#, r#""raw":"R4 +0.543 Ohm"#));
    seal(&book, &world::key());
    let said = tapline(&["replay", "--all"], folder.path());
    assert!(said.stdout.contains("PASS would be FAIL: 0.214 Ohm becomes 0.482 Ohm"), "{said:?}");
}
