//! `replay --all`: what differs is listed, with why, and nothing else.

use std::path::Path;

use super::forge::{self, seal, sealed, tapline};
use super::house::Made;
use super::world;

const ALL: [&str; 2] = ["replay", "--all"];

/// A record that was written otherwise, and sealed so.
fn edit(path: &Path, change: impl Fn(&str) -> String) {
    forge::edit(path, change);
    seal(path, &world::key());
}

#[test]
fn a_folder_that_agrees_says_nothing_but_its_summary() {
    let folder = Made::few().copy();
    let said = tapline(&ALL, folder.path());
    assert_eq!((said.code, said.stdout.as_str()), (0, ""), "{said:?}");
    assert!(said.stderr.starts_with("records: 4 in ") && said.stderr.contains("the same: 4, "));
    let said = tapline(&["replay", "--all", "--json", "--from", "2026-11-25"], folder.path());
    let (lines, summary) = said.json();
    assert_eq!((lines.len(), &summary["records"], &summary["same"]), (0, &3.into(), &3.into()));
    for (option, value, records) in
        [("--to", "2026-11-25", 1), ("--asset", "P-0107", 0), ("--asset", "P-0109", 4)]
    {
        let said = tapline(&["replay", "--all", "--json", option, value], folder.path());
        assert_eq!(said.json().1["records"], records, "{option} {value}");
    }
}

#[test]
fn a_verdict_that_would_be_another_is_told_with_old_new_and_version() {
    let folder = Made::few().copy();
    let id = &Made::few().cases[0].id;
    let turn = |line: &str| {
        let pe = line.contains(r#""k":"verdict","step":"pe""#);
        if pe { line.replace(r#""verdict":"pass""#, r#""verdict":"fail""#) } else { line.into() }
    };
    edit(&sealed(folder.path(), id), turn);
    let said = tapline(&ALL, folder.path());
    assert_eq!(said.code, 1, "{said:?}");
    let first = said.stdout.lines().next().unwrap();
    assert!(first.starts_with(&format!("{id}  P-0109  pe (line ")), "{first}");
    assert!(first.contains("FAIL would be PASS: 0.214 Ohm"), "{first}");
    assert!(said.stdout.lines().all(|line| line.starts_with(id)), "{said:?}");
    edit(&sealed(folder.path(), id), |line| line.replace(r#""judge":1"#, r#""judge":0"#));
    let said = tapline(&ALL, folder.path());
    assert_eq!(said.code, 3, "the record was judged by another version: {said:?}");
    assert!(said.stdout.contains("version of judge: recorded 0, here 1"), "{said:?}");
    let (lines, summary) = tapline(&["replay", "--all", "--json"], folder.path()).json();
    assert_eq!((lines.len(), &summary["differ"]), (1, &1.into()));
    let verdict = &lines[0]["verdicts"][0];
    assert_eq!((&verdict["changes"], &verdict["step"]), (&true.into(), &"pe".into()));
    assert_eq!(verdict["recorded"]["verdict"], "fail");
    assert_eq!(verdict["replayed"]["verdict"], "pass");
}

/// The bytes say 0.543 ohm where the record says 0.243: as if the driver of then had read them so.
#[test]
fn a_driver_that_reads_otherwise_changes_the_verdict_that_rests_on_it() {
    let folder = Made::few().copy();
    let id = &Made::few().cases[0].id;
    let raw = |line: &str| line.replace(r#""raw":"R4 +0.243 Ohm"#, r#""raw":"R4 +0.543 Ohm"#);
    edit(&sealed(folder.path(), id), raw);
    let said = tapline(&ALL, folder.path());
    assert_eq!(said.code, 1, "{said:?}");
    assert!(said.stdout.contains("PASS would be FAIL: 0.214 Ohm becomes 0.482 Ohm"), "{said:?}");
    assert!(said.stdout.contains(r#"recorded [{"b":[0,15],"f":"resistance_4w","v":"0.243""#));
}

/// 0.291 ohm with an expanded uncertainty of 0.01 ohm: the record knew of none worth a word.
#[test]
fn a_verdict_that_comes_within_its_doubt_is_told() {
    let folder = Made::few().copy();
    let id = &Made::few().cases[1].id;
    let sure = |line: &str| match line.contains(r#""step":"pe","measurand""#) {
        true => {
            let (before, rest) = line.split_once(r#""expanded":""#).unwrap();
            format!(r#"{before}"expanded":"0.0001{}"#, &rest[rest.find('"').unwrap()..])
        }
        false => line.into(),
    };
    edit(&sealed(folder.path(), id), sure);
    let said = tapline(&ALL, folder.path());
    let first = said.stdout.lines().next().unwrap();
    assert!(first.contains("PASS as recorded, but 0.291 Ohm lies within its doubt"), "{first}");
    assert!(
        said.stderr.contains("would change: 0; that come within their doubt of the limit: 1"),
        "{said:?}"
    );
}

#[test]
fn a_damaged_record_is_trouble_and_the_others_are_replayed() {
    let folder = Made::few().copy();
    let path = sealed(folder.path(), &Made::few().cases[0].id);
    let text = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, text.replacen("pass", "fail", 1)).unwrap();
    let said = tapline(&ALL, folder.path());
    assert_eq!((said.code, said.stdout.as_str()), (2, ""), "{said:?}");
    assert!(
        said.stderr.contains("the same: 3,") && said.stderr.contains("not replayed: 1."),
        "{said:?}"
    );
    let none = tempfile::tempdir().unwrap();
    let said = tapline(&ALL, none.path());
    assert_eq!(said.code, 2);
    assert!(said.stderr.contains("no data folder") && !none.path().join("open").exists());
}
