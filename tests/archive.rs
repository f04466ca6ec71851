//! Archives: copies of all that is sealed, what they are good for, and what may go because of them.
//!
//! Peers nobody here wrote: `sha256sum -c`, `openssl`, `diff -r`, and `verify.sh` of the archive
//! itself, which needs a shell and those two. What an archive must do: write, sync, read back from
//! the target, verify there, and only then a receipt (ISO/IEC 17025:2017, 8.4.2, controls for
//! storage, protection, back-up, archive, retrieval, retention time and disposal of records).
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "archive/store.rs"]
mod store;
mod support;

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;
use store::{Store, files, tree};

fn sh(folder: &Path, script: &str) -> (bool, String) {
    let output = Command::new("sh").arg("-c").arg(script).current_dir(folder).output().unwrap();
    let text = [output.stdout, output.stderr].concat();
    (output.status.success(), String::from_utf8(text).unwrap())
}

#[test]
fn archived_wiped_brought_back_and_archived_again_it_is_the_same() {
    let store = Store::new(3);
    let said = store.tapline(&["archive", "first"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.out.contains("3 records"), "{said:?}");
    let before = tree(&store.data(), &["inspections", "station"]);
    fs::remove_dir_all(store.data()).unwrap();
    let said = store.tapline(&["import", "first"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert_eq!(tree(&store.data(), &["inspections", "station"]), before);
    assert_eq!(store.tapline(&["verify", "data"]).code, 0);
    assert_eq!(store.tapline(&["archive", "second"]).code, 0);
    let (same, text) = sh(store.folder(), "diff -r first second");
    assert!(same, "{text}");
    let said = store.tapline(&["archive", "second", "--json"]);
    let json: Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!((&json["copied"], &json["receipt"]), (&0.into(), &Value::Null));
    assert!(said.err.contains("private key is not here"), "{said:?}");
}

#[test]
fn an_archive_is_checked_without_this_program() {
    let store = Store::new(2);
    store.tapline(&["archive", "first"]);
    let archive = store.folder().join("first");
    let (right, text) = sh(&archive, "sha256sum -c --strict --quiet SHA256SUMS");
    assert!(right, "{text}");
    let each =
        "for r in inspections/*/*/*.jsonl; do sh verify.sh $r keys/K3-1.pub.pem || exit 1; done";
    let (right, text) = sh(&archive, each);
    assert!(right && text.matches("OK: ").count() == 2, "{text}");
    // Every file but the sums themselves is in the sums.
    let listed = fs::read_to_string(archive.join("SHA256SUMS")).unwrap().lines().count();
    assert_eq!(listed, files(&archive).len() - 1);
    let table = fs::read_to_string(archive.join("tables/2026-11.csv")).unwrap();
    let row = table.lines().nth(1).unwrap();
    assert!(row.contains("P-0102") && row.contains("LR-01") && row.contains("0417"), "{row}");
    let (page, text) = sh(&archive, "qpdf --check paper/2026/11/K3-20261126-0001.pdf");
    assert!(page, "{text}");
    let meters =
        "grep -h '\"k\":\"given\",\"what\":\"instruments\"' inspections/*/*/*.jsonl | wc -l";
    assert_eq!(sh(&archive, meters).1.trim(), "2", "who measured with what is text");
    assert_eq!(store.tapline(&["verify", "first"]).code, 0);
    let receipt = "f=$(ls receipts/*.json) && openssl pkeyutl -verify -pubin -inkey \
        keys/K3-1.pub.pem -rawin -in $f -sigfile ${f%.json}.sig";
    let (signed, text) = sh(&store.data(), receipt);
    assert!(signed, "{text}");
}

#[test]
fn an_archive_that_was_changed_is_not_brought_in() {
    let store = Store::new(1);
    store.tapline(&["archive", "first"]);
    let archive = store.folder().join("first");
    fs::remove_dir_all(store.data()).unwrap();
    for file in files(&archive) {
        let path = archive.join(&file);
        let good = fs::read(&path).unwrap();
        let mut bad = good.clone();
        let middle = bad.len() / 2;
        bad[middle] ^= 1;
        fs::write(&path, &bad).unwrap();
        let said = store.tapline(&["import", "first"]);
        assert_eq!(said.code, 2, "{file}: {said:?}");
        fs::remove_file(&path).unwrap();
        let said = store.tapline(&["import", "first"]);
        assert_eq!(said.code, 2, "{file}: {said:?}");
        let there = files(&store.data());
        assert!(there.iter().all(|name| name == "lock"), "{file}: {there:?}");
        fs::write(&path, &good).unwrap();
    }
    assert_eq!(store.tapline(&["import", "first"]).code, 0);
    let said = store.tapline(&["import", "first"]);
    assert!(said.code == 2 && said.err.contains("holds something already"), "{said:?}");
}

#[test]
fn an_import_that_was_cut_off_starts_no_station_and_is_done_again() {
    let store = Store::new(2);
    store.tapline(&["archive", "first"]);
    let before = tree(&store.data(), &["inspections", "station"]);
    fs::remove_dir_all(store.data()).unwrap();
    // As a kill between two renames leaves it: the station's book has not got its name.
    store.tapline(&["import", "first"]);
    let part = store.data().join("import.part");
    fs::create_dir_all(&part).unwrap();
    fs::rename(store.data().join("station"), part.join("station")).unwrap();
    let config = store.config();
    let said = store.tapline(&["serve", "--config", &config]);
    assert!(said.code == 2 && said.err.contains("cut off"), "{said:?}");
    assert_eq!(store.tapline(&["import", "first"]).code, 0);
    assert_eq!(tree(&store.data(), &["inspections", "station"]), before);
}

#[test]
fn a_folder_that_holds_other_things_takes_nothing() {
    let store = Store::new(1);
    let other = store.folder().join("other");
    fs::create_dir(&other).unwrap();
    fs::write(other.join("letter.txt"), "mine").unwrap();
    let said = store.tapline(&["archive", "other"]);
    assert!(said.code == 2 && said.err.contains("not empty"), "{said:?}");
    assert_eq!(files(&other), ["letter.txt"]);
    store.tapline(&["archive", "first"]);
    let page = store.folder().join("first/README.txt");
    let text = fs::read_to_string(&page).unwrap().replacen("station K3", "station K4", 1);
    fs::write(&page, text).unwrap();
    let said = store.tapline(&["archive", "first"]);
    assert!(said.code == 2 && said.err.contains("another station"), "{said:?}");
    let said = store.tapline(&["archive", "data/inside"]);
    assert!(said.code == 2 && said.err.contains("within the data folder"), "{said:?}");
}

#[test]
fn what_rotted_in_the_archive_is_written_anew_and_what_rotted_here_is_not_taken() {
    let store = Store::new(2);
    store.tapline(&["archive", "first"]);
    let record = "inspections/2026/11/K3-20261126-0002.jsonl";
    let flip = |path: &Path| {
        let mut bytes = fs::read(path).unwrap();
        bytes[1000] ^= 1;
        fs::write(path, bytes).unwrap();
    };
    let there = store.folder().join("first").join(record);
    let good = fs::read(&there).unwrap();
    flip(&there);
    assert_eq!(store.tapline(&["archive", "first"]).code, 0);
    assert_eq!(fs::read(&there).unwrap(), good);
    flip(&store.data().join(record));
    let said = store.tapline(&["archive", "first"]);
    assert!(said.code == 2 && said.err.contains("another file in the archive"), "{said:?}");
    assert_eq!(fs::read(&there).unwrap(), good);
    let said = store.tapline(&["archive", "second"]);
    assert!(said.code == 1 && said.err.contains("0002.jsonl"), "{said:?}");
    let receipt = fs::read_to_string(store.folder().join("second/SHA256SUMS")).unwrap();
    assert!(!receipt.contains("0002.jsonl") && receipt.contains("0001.jsonl"));
}

#[test]
fn only_what_a_receipt_and_the_archive_hold_may_go() {
    let store = Store::new(2);
    let said = store.tapline(&["prune", "first", "--remove"]);
    assert!(said.code == 2 && said.err.contains("stay for ever"), "{said:?}");
    let store = store.keeping("P1D");
    store.tapline(&["archive", "first"]);
    // P-0102 is in use: nothing may go.
    let said = store.tapline(&["prune", "first", "--json"]);
    assert_eq!(store::json(&said)["records"], serde_json::json!([]), "{said:?}");
    store.retire("2026-11-26");
    let receipts = store.data().join("receipts");
    fs::rename(&receipts, store.folder().join("away")).unwrap();
    let said = store.tapline(&["prune", "first", "--json"]);
    assert_eq!(store::json(&said)["stays"][0]["why"], "no_receipt", "{said:?}");
    fs::rename(store.folder().join("away"), &receipts).unwrap();
    // A receipt that nobody signed is none.
    let mut named = fs::read_dir(&receipts).unwrap().map(|one| one.unwrap().path());
    let json = named.find(|path| path.extension().is_some_and(|end| end == "json")).unwrap();
    let text = fs::read_to_string(&json).unwrap();
    fs::write(&json, text.replace("\"records\":2", "\"records\":3")).unwrap();
    let said = store.tapline(&["prune", "first", "--json"]);
    assert_eq!(store::json(&said)["stays"][0]["why"], "no_receipt", "{said:?}");
    fs::write(&json, text).unwrap();
    let held = store.folder().join("first/inspections/2026/11/K3-20261126-0001.sig");
    let signature = fs::read(&held).unwrap();
    fs::write(&held, b"another").unwrap();
    let said = store.tapline(&["prune", "first", "--json"]);
    assert_eq!(store::json(&said)["stays"][0]["why"], "not_in_archive", "{said:?}");
    fs::write(&held, signature).unwrap();
    let said = store.tapline(&["prune", "first", "--json"]);
    assert_eq!(store::json(&said)["records"].as_array().unwrap().len(), 2, "{said:?}");
    assert_eq!(files(&store.data().join("inspections")).len(), 6, "it was only asked");
}

#[test]
fn what_went_is_named_and_nothing_else_is_missing() {
    let store = Store::new(2).keeping("P1D");
    store.retire("2026-11-26");
    store.tapline(&["archive", "first"]);
    let said = store.tapline(&["prune", "first", "--remove"]);
    assert_eq!((said.code, said.out.lines().count()), (0, 2), "{said:?}");
    assert_eq!(files(&store.data().join("inspections")), [""; 0]);
    assert_eq!(store.tapline(&["verify", "data"]).code, 0);
    assert_eq!(store.tapline(&["verify", "first"]).code, 0);
    // The archive goes on holding it, and the station's book with what went.
    assert_eq!(store.tapline(&["archive", "first"]).code, 0);
    fs::remove_dir_all(store.data()).unwrap();
    assert_eq!(store.tapline(&["import", "first"]).code, 0);
    assert_eq!(files(&store.data().join("inspections")).len(), 6);
    assert_eq!(store.tapline(&["verify", "data"]).code, 0);
}

#[test]
fn a_removal_that_was_cut_off_is_told_and_ended() {
    let store = Store::new(2).keeping("P1D");
    store.retire("2026-11-26");
    store.tapline(&["archive", "first"]);
    let record = store.data().join("inspections/2026/11/K3-20261126-0001.jsonl");
    let text = fs::read(&record).unwrap();
    store.tapline(&["prune", "first", "--remove"]);
    fs::write(&record, text).unwrap();
    let said = store.tapline(&["verify", "data"]);
    assert!(said.code == 1 && said.out.contains("tapline prune"), "{said:?}");
    assert_eq!(store.tapline(&["prune", "first", "--remove"]).code, 0);
    assert_eq!(store.tapline(&["verify", "data"]).code, 0);
    assert!(!record.exists());
}

#[test]
fn a_drill_says_what_an_archive_would_give_back() {
    let store = Store::new(2);
    store.tapline(&["archive", "first"]);
    let said = store.tapline(&["drill", "first"]);
    assert!(said.code == 0 && said.out.contains("2 records"), "{said:?}");
    let noted = fs::read_dir(store.data().join("receipts")).unwrap();
    assert_eq!(noted.count(), 3 + 3, "the archive's and the drill's");
    // A sum that fits, made anew over a changed verdict: the signature does not.
    let archive = store.folder().join("first");
    let record = "inspections/2026/11/K3-20261126-0002.jsonl";
    let text = fs::read_to_string(archive.join(record)).unwrap();
    let other = text.replacen("\"verdict\":\"pass\"", "\"verdict\":\"fail\"", 1);
    assert_ne!(other, text);
    fs::write(archive.join(record), other).unwrap();
    let (done, _) = sh(&archive, "sha256sum $(cut -c67- SHA256SUMS) > new; mv new SHA256SUMS");
    assert!(done);
    let said = store.tapline(&["drill", "first"]);
    assert!(said.code == 2 && said.err.contains("0002.jsonl"), "{said:?}");
}

#[test]
fn what_was_reattached_to_an_asset_in_use_stays() {
    let store = Store::new(2).keeping("P1D");
    store.retire("2026-11-26");
    store.reattached("K3-20261126-0001", "P-0101");
    store.tapline(&["archive", "first"]);
    let said = store.tapline(&["prune", "first", "--json"]);
    let going = store::json(&said)["records"].clone();
    assert_eq!(going, serde_json::json!(["K3-20261126-0002"]), "{said:?}");
}
