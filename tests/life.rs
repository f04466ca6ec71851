//! The life of a record after its seal, with the real program: it is reviewed, amended, reattached
//! and released, and never changes by that.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use data_encoding::HEXLOWER;
use serde_json::Value;
use sha2::{Digest, Sha256};
use support::look::{self, book, inspected};
use support::station::{Builder, Output, Station, TAPLINE};

fn station(policy: &str) -> Station {
    look::station(Builder::new().policy(policy))
}

fn record(station: &Station, id: &str) -> Value {
    station.get(&format!("/v1/inspections/{id}"))
}

/// All sealed files with their bytes.
fn sealed(station: &Station, id: &str) -> BTreeMap<PathBuf, Vec<u8>> {
    let folder = book(station, id).parent().unwrap().to_owned();
    let files = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    files.map(|path| (path.clone(), fs::read(path).unwrap())).collect()
}

#[track_caller]
fn refused(said: &Output, why: &str) {
    assert_eq!(said.code, 2, "{said:?}");
    assert!(said.stderr.contains(why), "{why}: {said:?}");
}

fn verify(station: &Station) -> Output {
    Output::of(Command::new(TAPLINE).arg("verify").arg(station.data()))
}

#[test]
fn a_review_is_made_by_somebody_else_and_adds_a_book() {
    let station = station("review = \"all\"");
    let id = inspected(&station, "T-0201", ["pass", "pass"]);
    let before = sealed(&station, &id);
    assert!(station.done(&["review"]).contains(&id), "it waits");
    assert_eq!(record(&station, &id)["waits"], true);
    refused(&station.run(&["release", &id]), "waits for its review");
    refused(&station.run(&["review", &id]), "took part in");
    refused(&station.run(&["review", &id, "--by", "op-4"]), "may be one person");
    refused(&station.run(&["review", &id, "--by", "op-3", "--reject", "bad"]), "10 to 500");
    let said = station.run(&["review", &id, "--by", "op-3", "--remark", "seen"]);
    assert_eq!((said.code, said.stdout.trim()), (0, id.as_str()), "{said:?}");
    assert_eq!(station.done(&["review"]), "", "nothing waits");
    let now = record(&station, &id);
    assert_eq!((&now["state"], &now["waits"]), (&"reviewed".into(), &false.into()));
    assert_eq!(now["addenda"][0]["id"], format!("{id}+1"));
    assert_eq!(now["addenda"][0]["name"], "Anna Berg");
    assert_eq!(now["addenda"][0]["as"], "reviewed");
    let shown = station.done(&["show", &id]);
    assert!(shown.contains(&format!("{id}+1")) && shown.contains("Anna Berg"), "{shown}");
    station.done(&["release", &id, "--by", "op-3"]);
    assert_eq!(record(&station, &id)["state"], "released");
    refused(&station.run(&["release", &id, "--by", "op-3"]), "released already");
    let after = sealed(&station, &id);
    assert_eq!(after.len(), before.len() + 6, "two books of three files were added");
    assert!(before.iter().all(|(path, bytes)| after[path] == *bytes), "nothing was changed");
    let said = verify(&station);
    assert_eq!(said.code, 0, "{said:?}");
}

#[test]
fn a_fail_is_not_amended_into_a_pass_by_one_person() {
    let station = station("review = \"fails\"");
    let id = inspected(&station, "T-0201", ["pass", "fail"]);
    assert_eq!(record(&station, &id)["outcome"], "fail");
    assert!(station.done(&["review"]).contains(&id), "a fail waits");
    let amend = |words: &[&str]| {
        let reason = ["--reason", "wrong_answer", "--text", "the wrong row was ticked"];
        station.run(&[&["amend", &id][..], words, &reason[..]].concat())
    };
    let better = "answer/look/housing=pass";
    refused(&amend(&[better]), "takes two persons");
    refused(&amend(&[better, "--second", "op-7"]), "are one person");
    refused(&amend(&[better, "--second", "op-4"]), "are one person");
    refused(&amend(&["answer/look/lamp=pass"]), "no answer `look/lamp`");
    refused(&amend(&["class=II"]), "can't be put right");
    refused(&amend(&["owner=clinic", "--second", "op-9"]), "no operator `op-9`");
    assert_eq!(record(&station, &id)["addenda"].as_array().unwrap().len(), 0, "nothing was added");
    let said = amend(&[better, "--second", "op-3"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.stderr.contains("Print the label of"), "{said:?}");
    let now = record(&station, &id);
    assert_eq!((&now["outcome"], &now["first"]["outcome"]), (&"pass".into(), &"fail".into()));
    assert_eq!(now["waits"], true, "what was amended waits for a review");
    refused(&station.run(&["release", &id, "--by", "op-3"]), "waits for its review");
    let facts = now["addenda"][0]["facts"].to_string();
    for said in ["\"before\":\"fail\"", "\"after\":\"pass\"", "\"second\":\"op-3\""] {
        assert!(facts.contains(said), "{said}: {facts}");
    }
    refused(&station.run(&["review", &id, "--by", "op-7"]), "took part in");
    let worse = amend(&["answer/look/fuses=fail"]);
    assert_eq!(worse.code, 0, "what comes out worse takes one person: {worse:?}");
    assert_eq!(record(&station, &id)["outcome"], "fail");
    assert_eq!(verify(&station).code, 0);
}

#[test]
fn the_inspection_of_a_wrong_asset_moves_and_both_dates_come_right() {
    let station = station("review = \"none\"");
    more_assets(&station);
    let due = |asset: &str| {
        let list = station.get(&format!("/v1/due?asset={asset}"));
        list["items"][0]["due"].as_str().unwrap().to_owned()
    };
    let offline = |asset: &str| {
        let mut due = Command::new(TAPLINE);
        let said = Output::of(due.args(["due", "--json", "--asset", asset]).arg(station.data()));
        serde_json::from_str::<Value>(said.stdout.lines().next().unwrap()).unwrap()["due"].clone()
    };
    let id = inspected(&station, "T-0202", ["pass", "pass"]);
    let moved = due("T-0202");
    assert!(*moved < *"2030-06-30", "the date moved: {moved}");
    let reattach = |to: &str, more: &[&str]| {
        let words = ["reattach", &id, "--to", to, "--text", "the labels were mixed up"];
        station.run(&[&words[..], more].concat())
    };
    refused(&reattach("T-0202", &[]), "about `T-0202` already");
    refused(&reattach("T-0999", &[]), "no asset `T-0999`");
    let said = reattach("T-0203", &["--second", "op-3"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.stderr.contains("Take the labels off T-0202 and T-0203"), "{said:?}");
    assert!(said.stderr.contains("differs in: cord"), "{said:?}");
    assert_eq!((due("T-0202"), due("T-0203")), ("2030-06-30".into(), "2030-06-30".into()));
    assert_eq!(record(&station, &id)["outcome"], "undecided");
    let said = reattach("T-0204", &[]);
    assert!(said.stderr.contains("once somebody else has reviewed it"), "{said:?}");
    assert_eq!(due("T-0204"), "2030-06-30");
    station.done(&["review", &id, "--by", "op-3"]);
    assert_eq!(due("T-0204"), moved, "reviewed, it counts");
    for asset in ["T-0202", "T-0203", "T-0204"] {
        assert_eq!(offline(asset), due(asset).as_str(), "{asset}: the books say the same");
    }
    let list =
        |asset: &str| station.get(&format!("/v1/inspections?asset={asset}"))["items"].clone();
    for asset in ["T-0202", "T-0204"] {
        assert_eq!(list(asset)[0]["later"]["asset"], "T-0204", "{asset}: noted at both");
    }
    let now = record(&station, &id);
    assert_eq!((&now["asset"], &now["first"]["asset"]), (&"T-0204".into(), &"T-0202".into()));
    assert_eq!(verify(&station).code, 0);
}

fn stranger(station: &Station, id: &str) -> Output {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/contrib/verify.sh");
    let key = station.data().join("keys/T1-1.pub.pem");
    Output::of(Command::new("sh").arg(script).arg(book(station, id)).arg(key))
}

fn own(station: &Station, id: &str) -> Output {
    Output::of(Command::new(TAPLINE).arg("verify").arg(book(station, id)))
}

/// One book is taken away, put in another's place, or cut off at the end: whoever looks is told.
#[test]
fn an_addendum_that_is_missing_or_swapped_is_told() {
    let station = station("review = \"none\"");
    let id = inspected(&station, "T-0201", ["pass", "pass"]);
    let twin = inspected(&station, "T-0201", ["pass", "pass"]);
    for id in [&id, &twin] {
        station.done(&["review", id, "--by", "op-3"]);
        station.done(&["release", id, "--by", "op-3"]);
    }
    let whole = sealed(&station, &id);
    let back = || whole.iter().for_each(|(path, bytes)| fs::write(path, bytes).unwrap());
    for id in [&id, &twin] {
        assert_eq!((own(&station, id).code, stranger(&station, id).code), (0, 0));
    }
    let added = "Added since: 2 addenda";
    assert!(stranger(&station, &id).stdout.contains(added));
    let path =
        |id: &str, n: &str, end: &str| book(&station, &format!("{id}{n}")).with_extension(end);
    let ends = ["jsonl", "head", "sig"];
    // Taken away from between.
    ends.iter().for_each(|end| fs::remove_file(path(&id, "+1", end)).unwrap());
    assert!(stranger(&station, &id).stdout.contains("+1 is missing"));
    assert!(own(&station, &id).stdout.contains("+1 is missing"), "{:?}", own(&station, &id));
    refused(
        &station.run(&["amend", &id, "owner=x y", "--reason", "other", "--text", "0123456789"]),
        "in doubt",
    );
    back();
    // Taken away from the end: only the station knows.
    ends.iter().for_each(|end| fs::remove_file(path(&id, "+2", end)).unwrap());
    assert!(own(&station, &id).stdout.contains("+2 was sealed and is missing"));
    assert_eq!(verify(&station).code, 1);
    back();
    // Another record's, with its head and signature, named for this one.
    for end in ends {
        let bytes = fs::read(path(&twin, "+1", end)).unwrap();
        fs::write(path(&id, "+1", end), bytes).unwrap();
    }
    assert_eq!((own(&station, &id).code, stranger(&station, &id).code), (1, 1));
    back();
    // The second in the place of the first, signed anew with the station's own key.
    let key = fs::read_to_string(station.data().join("keys/T1-1.pem")).unwrap();
    fs::copy(path(&id, "+2", "jsonl"), path(&id, "+1", "jsonl")).unwrap();
    sign(&path(&id, "+1", "jsonl"), &key);
    let said = [own(&station, &id), stranger(&station, &id)];
    assert!(said[0].stdout.contains("+1: it follows"), "{said:?}");
    assert!(said[1].stdout.contains("was not made to this record"), "{said:?}");
    back();
    assert_eq!(verify(&station).code, 0);
}

/// Head and signature of a book as it lies there, made with `openssl`.
fn sign(book: &Path, key: &str) {
    let sum = hash(&fs::read(book).unwrap());
    let head = book.with_extension("head");
    fs::write(&head, format!("{sum}  {}\n", book.file_name().unwrap().to_str().unwrap())).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let pem = folder.path().join("key.pem");
    fs::write(&pem, key).unwrap();
    let mut openssl = Command::new("openssl");
    openssl.args(["pkeyutl", "-sign", "-rawin", "-inkey"]).arg(pem);
    let done = openssl.arg("-in").arg(head).arg("-out").arg(book.with_extension("sig")).status();
    assert!(done.unwrap().success(), "openssl 3.0 signs");
}

fn hash(bytes: &[u8]) -> String {
    HEXLOWER.encode(&Sha256::digest(bytes))
}

/// Moves the line of a signature into another record, and makes marks, head and signature of that
/// one anew with the station's own key: its own signature still says whose it is.
#[test]
fn a_signature_that_was_moved_to_another_record_is_found() {
    let station = station("review = \"none\"");
    let [good, bad] = [["pass", "pass"], ["pass", "fail"]];
    let id = inspected(&station, "T-0201", good);
    let other = inspected(&station, "T-0201", bad);
    let text = |id: &str| fs::read_to_string(book(&station, id)).unwrap();
    let signs = |text: &str| {
        let line = text.lines().find(|line| line.contains("\"k\":\"sign\"")).unwrap();
        line.to_owned()
    };
    let moved = signs(&text(&id));
    assert!(moved.contains("\"outcome\":\"pass\"") && moved.contains("\"sig\":\""));
    let own = signs(&text(&other));
    let seq = |line: &str| line.split(',').next().unwrap().to_owned();
    let key = fs::read_to_string(station.data().join("keys/T1-1.pem")).unwrap();
    let said = |line: &str| {
        let mut forged = String::new();
        for old in text(&other).lines() {
            if old.starts_with("{\"mark\"") {
                forged += &format!("{{\"mark\":\"{}\"}}", hash(forged.as_bytes()));
            } else {
                forged += if old == own { line } else { old };
            }
            forged.push('\n');
        }
        let folder = tempfile::tempdir().unwrap();
        let copy = folder.path().join(format!("{other}.jsonl"));
        fs::write(&copy, forged).unwrap();
        sign(&copy, &key);
        fs::copy(station.data().join("keys/T1-1.pub.pem"), folder.path().join("k.pub.pem"))
            .unwrap();
        Output::of(Command::new(TAPLINE).arg("verify").arg(copy))
    };
    assert_eq!(said(&own).code, 0, "as it was: {:?}", said(&own));
    for line in [moved.clone(), moved.replacen(&seq(&moved), &seq(&own), 1)] {
        let said = said(&line);
        assert!(said.stdout.contains("was not made over this record"), "{said:?}");
    }
    let better = own.replace("\"outcome\":\"fail\"", "\"outcome\":\"pass\"");
    assert!(said(&better).stdout.contains("was not made over this record"));
}

/// Lists and dates follow what the station book says of an addendum. It is no record, and who
/// changes it is found.
#[test]
fn a_station_book_that_says_better_of_an_addendum_is_told() {
    let mut station = station("review = \"none\"");
    let id = inspected(&station, "T-0201", ["pass", "fail"]);
    station.done(&["review", &id, "--by", "op-3", "--reject", "the lamp was broken"]);
    station.stop();
    assert_eq!(verify(&station).code, 0);
    let folder = station.data().join("station");
    let path = fs::read_dir(folder).unwrap().next().unwrap().unwrap().path();
    let (mut forged, mut changed) = (String::new(), 0);
    for line in fs::read_to_string(&path).unwrap().lines() {
        let better =
            line.replace("\"rejected\",\"outcome\":\"fail\"", "\"released\",\"outcome\":\"pass\"");
        changed += usize::from(better != line);
        match line.starts_with("{\"mark\"") {
            true => forged += &format!("{{\"mark\":\"{}\"}}", hash(forged.as_bytes())),
            false => forged += &better,
        }
        forged.push('\n');
    }
    assert_eq!(changed, 1);
    fs::write(&path, forged).unwrap();
    let said = verify(&station);
    assert_eq!(said.code, 1, "{said:?}");
    assert!(said.stdout.contains("says something else of this addendum"), "{said:?}");
}

/// ISO/IEC 17025:2017, 7.8.8 (from memory): an amended report identifies the change, gives the
/// reason where that is of use, has a number of its own and refers to the one that it replaces.
#[test]
fn an_amended_report_has_a_number_of_its_own_and_names_the_one_it_replaces() {
    let station = station("review = \"none\"");
    more_assets(&station);
    let id = inspected(&station, "T-0202", ["pass", "fail"]);
    let printed =
        |what: &str, of: &str, more: &[&str]| printed(&station, &[&[what, of], more].concat());
    let report = |of: &str, more: &[&str]| printed("report", of, more);
    let first = report(&id, &[]);
    for said in [&format!("Inspection report {id}"), "FAIL", "Housing and mechanical parts: fail"] {
        assert!(first.contains(said), "{said}: {first}");
    }
    assert!(!first.contains("replaces") && !first.contains("Amended"), "{first}");
    assert!(printed("label", &id, &[]).contains("FAIL"));

    let text = "the wrong row was ticked";
    let better = "answer/look/housing=pass";
    let amend = ["amend", &id, better, "owner=Clinic two", "--reason", "wrong_answer"];
    station.done(&[&amend[..], &["--text", text, "--second", "op-3"]].concat());
    let amended = report(&id, &[]);
    for said in [
        "Amended inspection report",
        &format!("{id}+1, replaces {id}"),
        "signed as FAIL",
        "Why: wrong answer: the wrong row was ticked",
        "look, Housing and mechanical parts: fail → pass",
        "→ Clinic two",
        "Anna Berg (op-3)",
        "Housing and mechanical parts: pass",
        &format!("End of report {id}+1"),
        &code_of(&station, &format!("{id}+1")),
        &format!("sha256sum {id}+1.jsonl"),
    ] {
        assert!(amended.contains(said), "{said}: {amended}");
    }
    let label = printed("label", &id, &[]);
    assert!(!label.contains("FAIL") && label.contains("T-0202"), "{label}");
    assert!(label.contains(&code_of(&station, &format!("{id}+1"))), "{label}");

    let moved = "the labels were mixed up";
    station.done(&["reattach", &id, "--to", "T-0204", "--text", moved, "--second", "op-3"]);
    station.done(&["release", &id, "--by", "op-3"]);
    let now = report(&id, &[]);
    for said in [
        &format!("{id}+3, replaces {id}+2"),
        &format!("{id}+2 replaces {id}+1: reattached to another asset"),
        "Asset: T-0202 → T-0204",
        "signed for asset T-0202",
        &format!("{id}+3 replaces {id}+2: released"),
        &code_of(&station, &format!("{id}+3")),
    ] {
        assert!(now.contains(said), "{said}: {now}");
    }
    let label = printed("label", &id, &[]);
    assert!(label.contains("T-0204") && !label.contains("T-0202"), "{label}");
    let german = report(&id, &["--language", "de"]);
    for said in ["Geänderter Prüfbericht", &format!("{id}+3, ersetzt {id}+2"), "falsche Antwort"]
    {
        assert!(german.contains(said), "{said}: {german}");
    }

    // An earlier report is printed as it was, but for the day of the next inspection.
    assert_eq!(but_next(&report(&id, &["--as-of", "0"])), but_next(&first));
    let second = report(&format!("{id}+1"), &[]);
    assert_eq!(but_next(&second), but_next(&amended));
    assert!(second.contains("not told: this is the"), "{second}");
}

/// The code that is printed of a book's head, by coreutils' rules: base 32 of its first ten bytes.
fn code_of(station: &Station, id: &str) -> String {
    let head = fs::read_to_string(book(station, id).with_extension("head")).unwrap();
    let head = HEXLOWER.decode(&head.as_bytes()[..64]).unwrap();
    let code = data_encoding::BASE32.encode(&head[..10]);
    (0..4).map(|n| &code[4 * n..4 * n + 4]).collect::<Vec<_>>().join(" ")
}

/// Like the lamp: T-0202, T-0204, and T-0203 with another cord.
fn more_assets(station: &Station) {
    let list = station.done(&["asset", "export"]);
    let (head, lamp) = (list.lines().next().unwrap(), list.lines().nth(1).unwrap());
    let named = |id: &str| lamp.replace("T-0201", id).replace("2099-12-31", "2030-06-30");
    let rows =
        [named("T-0202"), named("T-0203").replace(",fixed,", ",detachable,"), named("T-0204")];
    let plan = "iec62353-recurrent-direct";
    let list = format!("{head}\n{}\n", rows.join("\n").replace(plan, "look-only"));
    let file = station.folder().join("more.csv");
    fs::write(&file, list).unwrap();
    station.done(&["asset", "import", file.to_str().unwrap()]);
}

/// What stands on a sheet that the program prints.
fn printed(station: &Station, words: &[&str]) -> String {
    let file = station.folder().join("printed.pdf");
    let mut print = Command::new(TAPLINE);
    print.args(words).arg("--config").arg(station.folder().join("tapline.toml"));
    let said = Output::of(print.arg("--folder").arg(station.data()).arg("--write").arg(&file));
    assert_eq!(said.code, 0, "{said:?}");
    let text = Command::new("pdftotext").arg("-layout").arg(&file).arg("-").output().unwrap();
    String::from_utf8(text.stdout).unwrap()
}

/// Its lines but for those that the day of the next inspection shares.
fn but_next(text: &str) -> Vec<String> {
    let next = ["simple acceptance", "itself meets"];
    let own = |line: &&str| !next.iter().any(|of| line.contains(of));
    text.lines().filter(own).map(|line| line.trim_end().to_owned()).collect()
}
