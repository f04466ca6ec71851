//! `tapline validate`, as the real binary does it: a record that the station's key signs, that
//! `openssl` checks, and that says what came of each part. About half a minute with `--release`.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;
use support::station::{Builder, Output, TAPLINE};

/// What `contrib/verify.sh` says: its exit code.
fn verified(record: &Path, key: &Path) -> i32 {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/contrib/verify.sh");
    Output::of(Command::new("sh").arg(script).arg(record).arg(key)).code
}

fn key(data: &Path) -> PathBuf {
    let files = fs::read_dir(data.join("keys")).unwrap().map(|entry| entry.unwrap().path());
    files.into_iter().find(|path| path.to_string_lossy().ends_with(".pub.pem")).unwrap()
}

#[test]
fn it_gives_a_record_that_openssl_verifies_and_that_says_what_came_of_each_part() {
    let mut station = Builder::new().start();
    station.stop();
    let out = station.folder().join("paper");
    fs::create_dir(&out).unwrap();
    let mut validate = Command::new(TAPLINE);
    validate.args(["validate", "--config"]).arg(station.config()).arg("--out").arg(&out);
    let said = Output::of(&mut validate);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.stdout.contains("all of it came as it should"), "{}", said.stdout);
    assert!(said.stderr.contains("verify.sh"), "{}", said.stderr);
    let files = fs::read_dir(&out).unwrap().map(|entry| entry.unwrap().path());
    let record = files.into_iter().find(|path| path.extension().unwrap() == "jsonl").unwrap();
    let key = key(&station.data());
    assert_eq!(verified(&record, &key), 0);
    let text = fs::read_to_string(&record).unwrap();
    let lines: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let of = |kind: &str| lines.iter().filter(|line| line["k"] == kind).collect::<Vec<_>>();
    assert!(of("limits").len() > 10);
    assert!(of("limits").iter().all(|table| table["judged"].as_u64() > Some(0)));
    assert_eq!(of("reference").len(), 12);
    let campaign = of("campaign")[0];
    assert!(campaign["faulty"].as_u64() >= Some(24) && campaign["mistakes"].as_u64() >= Some(40));
    assert_eq!(campaign["wrong"].as_array().unwrap().len(), 0);
    let passed: usize =
        of("not_caught").iter().map(|line| line["passed"].as_array().unwrap().len()).sum();
    assert_eq!(campaign["pass"].as_u64(), Some(passed as u64), "each false pass is named");
    assert_eq!(lines.last().unwrap()["as_it_should_be"], true);
    fs::write(&record, text.replace("\"wrong\":[]", "\"wrong\":[ ]")).unwrap();
    assert_eq!(verified(&record, &key), 1, "a changed record is found");
}

#[test]
fn without_a_key_or_a_folder_it_says_what_to_do_and_makes_nothing() {
    let mut station = Builder::new().start();
    station.stop();
    for entry in fs::read_dir(station.data().join("keys")).unwrap() {
        fs::remove_file(entry.unwrap().path()).unwrap();
    }
    let mut validate = Command::new(TAPLINE);
    validate.args(["validate", "--config"]).arg(station.config());
    let said = Output::of(validate.arg("--out").arg(station.folder()));
    assert_eq!(said.code, 2, "{said:?}");
    assert!(said.stderr.contains("start the station once"), "{}", said.stderr);
    assert_eq!(fs::read_dir(station.data().join("keys")).unwrap().count(), 0);
}
