//! `verify FOLDER`: each thing that can be wrong in a folder is found, with its place.

use std::fs;
use std::path::Path;

use tapline::books::Key;

use super::forge::{edit, seal, sealed, tapline};
use super::house::{Made, files};
use super::world;

/// Spoils a copy; the codes that are found then, each with its file.
#[track_caller]
fn found(spoil: impl Fn(&Path, &str)) -> Vec<(String, String)> {
    let folder = Made::few().copy();
    spoil(folder.path(), &Made::few().cases[0].id);
    let before = files(folder.path());
    let said = tapline(&["verify", "--json"], folder.path());
    assert_eq!(files(folder.path()), before, "nothing is written");
    let (lines, summary) = said.json();
    assert_eq!(said.code, i32::from(!lines.is_empty()), "{said:?}");
    assert_eq!(summary["faults"], lines.len());
    let pair = |line: &serde_json::Value| {
        assert!(!line["text"].as_str().unwrap().is_empty(), "{line}");
        (line["code"].as_str().unwrap().into(), line["file"].as_str().unwrap().into())
    };
    lines.iter().map(pair).collect()
}

#[track_caller]
fn finds(code: &str, file: &str, spoil: impl Fn(&Path, &str)) {
    let id = &Made::few().cases[0].id;
    let file = file.replace("ID", id);
    assert_eq!(found(spoil), [(code.to_string(), file)]);
}

const SEALED: &str = "inspections/2026/11/ID.jsonl";

#[test]
fn a_whole_folder_is_in_order_and_names_its_key() {
    let folder = Made::few().copy();
    let said = tapline(&["verify"], folder.path());
    assert_eq!(said.code, 0, "{said:?}");
    let begin = format!("OK {}: 3 sealed records, 1 in work, 2 days", folder.path().display());
    assert!(said.stdout.starts_with(&begin), "{said:?}");
    let key = format!("key {}; records: 3.", world::key().public().fingerprint());
    assert!(said.stderr.contains(&key), "{said:?}");
}

#[test]
fn a_changed_byte_is_told_with_file_line_byte_and_commit() {
    let folder = Made::few().copy();
    let id = &Made::few().cases[0].id;
    let path = sealed(folder.path(), id);
    let text = fs::read_to_string(&path).unwrap();
    let at = text.find("\"k\":\"value\"").unwrap();
    let commits = text[..at].matches("{\"mark\"").count() + 1;
    fs::write(&path, text.replacen("\"k\":\"value\"", "\"k\":\"valve\"", 1)).unwrap();
    let said = tapline(&["verify"], folder.path());
    let first = said.stdout.lines().next().unwrap();
    assert!(first.starts_with(&format!("FAILED inspections/2026/11/{id}.jsonl: line ")), "{first}");
    assert!(first.contains(&format!(", commit {commits}: the mark on line ")), "{first}");
    assert_eq!(said.code, 1);
}

#[test]
fn what_was_sealed_and_is_gone_is_missed() {
    finds("missing", SEALED, |folder, id| {
        for end in ["jsonl", "head", "sig"] {
            fs::remove_file(sealed(folder, id).with_extension(end)).unwrap();
        }
    });
}

#[test]
fn a_record_that_nobody_sealed_is_found_although_its_signature_is_right() {
    let all = found(|folder, id| {
        let to = sealed(folder, "K3-20261124-0009");
        fs::copy(sealed(folder, id), &to).unwrap();
        edit(&to, |line| line.replace(id, "K3-20261124-0009"));
        seal(&to, &world::key());
    });
    // The signature of who signed was made over the other record, too.
    let place = |code: &str| (code.into(), "inspections/2026/11/K3-20261124-0009.jsonl".into());
    assert_eq!(all, ["line_signature", "nobody_sealed"].map(place));
}

#[test]
fn a_record_that_was_renamed_is_found_although_it_was_signed_anew() {
    let all = found(|folder, id| {
        let to = sealed(folder, "K3-20261124-0009");
        fs::rename(sealed(folder, id), &to).unwrap();
        for end in ["head", "sig"] {
            fs::remove_file(sealed(folder, id).with_extension(end)).unwrap();
        }
        seal(&to, &world::key());
    });
    let codes: Vec<&str> = all.iter().map(|(code, _)| code.as_str()).collect();
    assert_eq!(codes, ["renamed", "nobody_sealed", "missing"]);
}

#[test]
fn a_record_that_was_changed_and_signed_anew_is_not_the_one_that_was_sealed() {
    let all = found(|folder, id| {
        let path = sealed(folder, id);
        edit(&path, |line| line.replace("\"verdict\":\"pass\"", "\"verdict\":\"fail\""));
        seal(&path, &world::key());
    });
    let file = SEALED.replace("ID", &Made::few().cases[0].id);
    let place = |code: &str| (code.into(), file.clone());
    assert_eq!(all, ["line_signature", "other_head"].map(place));
}

#[test]
fn a_key_that_was_not_announced_signs_nothing() {
    let all = found(|folder, id| {
        let other = Key::from_secret("K3-2", &[9; 32]);
        fs::write(folder.join("keys/K3-2.pub.pem"), other.public().pem().unwrap()).unwrap();
        seal(&sealed(folder, id), &other);
    });
    let codes: Vec<&str> = all.iter().map(|(code, _)| code.as_str()).collect();
    assert_eq!(codes, ["signature", "key_not_announced"]);
}

#[test]
fn a_key_whose_file_is_gone_is_told_and_nothing_is_taken_on_trust() {
    let all = found(|folder, _| fs::remove_file(folder.join("keys/K3-1.pub.pem")).unwrap());
    let codes: Vec<&str> = all.iter().map(|(code, _)| code.as_str()).collect();
    assert_eq!(codes, ["no_key", "no_key", "no_key", "key_missing"]);
}

#[test]
fn marks_of_every_kind_of_book_are_checked() {
    for book in ["idle/2026-11-24.jsonl", "open/K3-20261125-0003.jsonl"] {
        finds("mark", book, |folder, _| {
            let path = folder.join(book);
            let text = fs::read_to_string(&path).unwrap();
            fs::write(&path, text.replacen("\"link\":\"", "\"link\":\"x", 1)).unwrap();
        });
        finds("mark", book, |folder, _| {
            let path = folder.join(book);
            let text = fs::read_to_string(&path).unwrap();
            fs::write(&path, &text[..text.len() - 5]).unwrap();
        });
    }
    // Nothing below the change counts: keys and seals above it do.
    let all = found(|folder, _| {
        let path = folder.join("station/2026.jsonl");
        let text = fs::read_to_string(&path).unwrap();
        fs::write(&path, text.replacen("\"k\":\"sealed\"", "\"k\":\"sealer\"", 1)).unwrap();
    });
    assert!(all.contains(&("mark".into(), "station/2026.jsonl".into())), "{all:?}");
    let nobody = all.iter().filter(|(code, _)| code == "nobody_sealed").count();
    assert_eq!(nobody, 3, "{all:?}");
}

#[test]
fn what_lies_in_the_wrong_place_is_told() {
    finds("misplaced", "inspections/2026/12/ID.jsonl", |folder, id| {
        fs::create_dir_all(folder.join("inspections/2026/12")).unwrap();
        fs::copy(sealed(folder, id), folder.join(format!("inspections/2026/12/{id}.jsonl")))
            .unwrap();
    });
    finds("stray", "inspections/2026/11/notes.txt", |folder, _| {
        fs::write(folder.join("inspections/2026/11/notes.txt"), "x").unwrap();
    });
    finds("twice", "open/ID.jsonl", |folder, id| {
        fs::copy(sealed(folder, id), folder.join(format!("open/{id}.jsonl"))).unwrap();
    });
    finds("torn_unnamed", "idle/2026-11-24.torn-7", |folder, _| {
        fs::write(folder.join("idle/2026-11-24.torn-7"), "x").unwrap();
    });
    finds("no_station_book", "station", |folder, _| {
        fs::remove_dir_all(folder.join("station")).unwrap();
        fs::remove_dir_all(folder.join("inspections")).unwrap();
        fs::remove_dir_all(folder.join("keys")).unwrap();
    });
}
