//! Work orders of other programs, with the real program and its folder: taken once and for all,
//! offered where their asset is inspected, closed by what came of it.
//!
//! CSV is RFC 4180, JSON RFC 8259; what the kernel tells of a folder is inotify(7).
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::fs::{self, File};
use std::io::Write;
use std::path::PathBuf;

use serde_json::{Value, json};
use support::station::{Builder, Station};
use support::wait;

const HEAD: &str = "order;asset;reason;wanted_by;remark\n";

fn inbox(station: &Station) -> PathBuf {
    station.data().join("inbox")
}

/// Puts a file there as its last act, as one is moved in.
fn drop_in(station: &Station, name: &str, text: &str) {
    let made = station.folder().join("made");
    fs::write(&made, text).unwrap();
    fs::rename(made, inbox(station).join(name)).unwrap();
}

#[track_caller]
fn gone(station: &Station, shelf: &str, name: &str) {
    let put = inbox(station).join(shelf).join(name);
    wait::until_true(&format!("{name} is {shelf}"), || put.exists());
    assert!(!inbox(station).join(name).exists());
}

fn order(station: &Station, order: &str) -> Value {
    station.get(&format!("/v1/orders/{order}"))
}

fn book(station: &Station) -> String {
    let folder = fs::read_dir(station.data().join("station")).unwrap();
    folder.map(|file| fs::read_to_string(file.unwrap().path()).unwrap()).collect()
}

fn taken(station: &Station, order: &str) -> usize {
    book(station).matches(&format!(r#""k":"order","order":"{order}""#)).count()
}

#[test]
fn an_order_is_offered_and_what_came_of_it_closes_it() {
    let station = Builder::new().start();
    let text = format!("{HEAD}WO-7;T-0201;after_repair;2026-12-01;new cord, see \"7\"\n");
    drop_in(&station, "wo.csv", &text);
    gone(&station, "taken", "wo.csv");
    let due = station.get("/v1/due?ordered=1");
    let mark = json!({ "order": "WO-7", "reason": "after_repair", "wanted_by": "2026-12-01",
        "remark": "new cord, see \"7\"" });
    assert_eq!(due["items"][0]["orders"], json!([mark]));
    let listed = station.done(&["due", "--ordered"]);
    assert!(
        listed.contains("T-0201") && listed.contains("ORDER WO-7 (after repair) by 2026-12-01")
    );
    let data = station.data();
    assert_eq!(station.done(&["due", data.to_str().unwrap(), "--ordered"]), listed);
    // Offered at the scan, taken with begin and said there; not where somebody says no.
    let scanned = station.run(&["scan", "T-0201"]);
    assert!(scanned.stderr.contains("Order WO-7 asks for it (after_repair), by 2026-12-01"));
    station.done(&["begin", "--order", "none"]);
    let open = |station: &Station| {
        let id = station.bench()["inspection"]["id"].as_str().unwrap().to_owned();
        let facts = station.get(&format!("/v1/inspections/{id}/facts?limit=1"));
        let first = &facts["facts"][0];
        (id, first["reason"].clone(), first["order"].clone())
    };
    let (_, reason, made_for) = open(&station);
    assert_eq!((reason, made_for), (json!("scheduled"), Value::Null));
    station.done(&["end", "--outcome", "given_up", "--reason", "it is for the order"]);
    let begun = station.run(&["begin", "--asset", "T-0201"]);
    assert!(begun.stderr.contains("for order WO-7, which gives the reason"), "{begun:?}");
    let (first, reason, made_for) = open(&station);
    assert_eq!((reason, made_for), (json!("after_repair"), json!("WO-7")));
    // Not measured through: it waits on.
    station.done(&["end", "--outcome", "in_use", "--reason", "needed at once"]);
    assert_eq!(order(&station, "WO-7")["state"], "open");
    let wrong = station.run(&["begin", "--asset", "T-0201", "--order", "WO-8"]);
    assert!(wrong.code == 2 && wrong.stderr.contains("no order `WO-8`"), "{wrong:?}");
    station.done(&["scan", "T-0201"]);
    station.done(&["begin", "--order", "WO-7", "--reason", "other"]);
    let (second, reason, _) = open(&station);
    assert_eq!(reason, "other", "a reason that is named goes before");
    station.done(&["answer", "fail", "--reason", "cracked"]);
    station.done(&["scan", "T-0201"]);
    assert_eq!(station.run(&["sign", "--as", "performed", "--tag", "attached"]).code, 1);
    let chain = order(&station, "WO-7");
    assert_eq!(chain["state"], "closed");
    let tried: Vec<_> = chain["tried"].as_array().unwrap().iter().collect();
    let of = |at: usize| (&tried[at]["inspection"], &tried[at]["outcome"]);
    assert_eq!(of(0), (&json!(first), &json!("in_use")));
    assert_eq!(of(1), (&json!(second), &json!("fail")));
    let told = station.done(&["order", "show", "WO-7"]);
    assert!(told.contains(&first) && told.contains(&second), "{told}");
    assert_eq!(station.get("/v1/due?ordered=1")["items"], json!([]));
    assert_eq!(station.done(&["order", "list"]), "");
    assert!(station.done(&["order", "list", "--all"]).contains("closed, fail"));
}

#[test]
fn the_same_order_is_taken_once_and_another_of_its_number_is_refused() {
    let station = Builder::new().start();
    let csv = format!("{HEAD}A-1;T-0201;scheduled;;\n");
    let json = r#"[{"order":"A-1","asset":"T-0201","reason":"scheduled"}]"#;
    for (name, text) in [("a.csv", csv.as_str()), ("a.json", json), ("a.csv", &csv)] {
        drop_in(&station, name, text);
        wait::until_true("it is taken", || !inbox(&station).join(name).exists());
    }
    gone(&station, "taken", "2.a.csv");
    assert_eq!(taken(&station, "A-1"), 1);
    drop_in(
        &station,
        "b.csv",
        &format!("{HEAD}B-1;T-0201;other;;\nA-1;T-0201;other;;\nB-2;X;other;;\n"),
    );
    gone(&station, "refused", "b.csv");
    let why = fs::read_to_string(inbox(&station).join("refused/b.csv.why")).unwrap();
    assert!(why.contains("line 3, `order`: `A-1` was taken already"), "{why}");
    assert!(why.contains("line 4, `asset`: the register has no `X`"), "{why}");
    assert_eq!(taken(&station, "B-1"), 0, "all of a file or nothing");
    let lone = station.run(&["order", "withdraw", "A-1", "--reason", "typed wrong"]);
    assert!(lone.stderr.contains("A-1 is withdrawn"), "{lone:?}");
    drop_in(&station, "c.csv", &csv);
    gone(&station, "taken", "c.csv");
    assert_eq!(order(&station, "A-1")["state"], "closed", "it is not asked for again");
}

#[test]
fn a_file_that_is_being_written_is_left_alone() {
    let station = Builder::new().start();
    let mut slow = File::create(inbox(&station).join("slow.csv")).unwrap();
    writeln!(slow, "{HEAD}S-1;T-0201;other;;").unwrap();
    // What comes after it is taken, so the one before had its time.
    drop_in(&station, "quick.csv", &format!("{HEAD}Q-1;T-0201;other;;\n"));
    gone(&station, "taken", "quick.csv");
    drop_in(&station, "next.csv", &format!("{HEAD}Q-2;T-0201;other;;\n"));
    gone(&station, "taken", "next.csv");
    assert_eq!(taken(&station, "S-1"), 0);
    writeln!(slow, "S-2;T-0201;other;;").unwrap();
    drop(slow);
    gone(&station, "taken", "slow.csv");
    assert_eq!((taken(&station, "S-1"), taken(&station, "S-2")), (1, 1));
}

/// Hostile names and kinds of files: see `src/orders/folder.rs`, too.
#[test]
fn hostile_files_are_refused_with_why_and_do_nothing() {
    let station = Builder::new().start();
    let remark = "\u{202e}<script>alert(1)</script>=HYPERLINK(1)";
    drop_in(&station, "x.csv", &format!("{HEAD}X-1;T-0201;other;;{remark}\n"));
    gone(&station, "taken", "x.csv");
    assert_eq!(order(&station, "X-1")["remark"], remark, "text is text");
    let listed = station.done(&["order", "list"]);
    assert!(listed.contains("\\u202e<script>"), "{listed}");
    for (name, text) in [
        ("controls.csv", format!("{HEAD}X-2;T-0201;other;;\u{1b}[2J\n")),
        ("deep.json", "[".repeat(50_000)),
        ("code.csv", format!("{HEAD}.TL-SIGN;T-0201;other;;\n")),
        ("long.csv", "x".repeat((1 << 20) + 1)),
    ] {
        drop_in(&station, name, &text);
        gone(&station, "refused", name);
        let why = fs::read_to_string(inbox(&station).join("refused").join(format!("{name}.why")));
        let why = why.unwrap();
        assert!(!why.trim().is_empty() && !why.contains('\u{1b}'), "{name}: {why}");
    }
    assert_eq!(station.get("/v1/orders")["items"].as_array().unwrap().len(), 1);
}

/// The kill comes when a line of the book is seen, never at a time: between that line and the move
/// of its file lies what a kill can part.
#[test]
fn a_kill_loses_no_order_and_takes_none_twice() {
    let kills = std::env::var("KILLS").ok().and_then(|text| text.parse().ok()).unwrap_or(4);
    let mut station = Builder::new().start();
    for n in 0..kills {
        let [early, late] = [format!("E-{n}"), format!("L-{n}")];
        drop_in(&station, &format!("e{n}.csv"), &format!("{HEAD}{early};T-0201;other;;\n"));
        drop_in(&station, &format!("l{n}.csv"), &format!("{HEAD}{late};T-0201;other;;\n"));
        wait::until_true("the first is in the book", || taken(&station, &early) == 1);
        station.kill9();
        station.restart();
    }
    for n in 0..kills {
        gone(&station, "taken", &format!("e{n}.csv"));
        gone(&station, "taken", &format!("l{n}.csv"));
        assert_eq!(
            (taken(&station, &format!("E-{n}")), taken(&station, &format!("L-{n}"))),
            (1, 1)
        );
    }
    // Known before it was moved: the file of a life that ended in between.
    station.kill9();
    fs::rename(inbox(&station).join("taken/e0.csv"), inbox(&station).join("e0.csv")).unwrap();
    station.restart();
    gone(&station, "taken", "e0.csv");
    assert_eq!(taken(&station, "E-0"), 1);
}

/// A power cut between the seal and the line that tells of it: the book of the station ends with
/// the commit before.
#[test]
fn an_order_whose_inspection_was_sealed_just_then_is_closed_by_the_next_life() {
    let mut station = Builder::new().start();
    drop_in(&station, "k.csv", &format!("{HEAD}K-1;T-0201;other;;\n"));
    gone(&station, "taken", "k.csv");
    station.done(&["scan", "T-0201"]);
    let id = station.done(&["begin"]).trim().to_owned();
    station.done(&["answer", "fail", "--reason", "cracked"]);
    station.done(&["scan", "T-0201"]);
    assert_eq!(station.run(&["sign", "--as", "performed", "--tag", "attached"]).code, 1);
    assert_eq!(order(&station, "K-1")["state"], "closed");
    station.kill9();
    let file =
        fs::read_dir(station.data().join("station")).unwrap().next().unwrap().unwrap().path();
    let text = fs::read_to_string(&file).unwrap();
    let sealed = text.lines().find(|line| line.contains(r#""k":"sealed""#)).unwrap();
    let cut = text.find(sealed).unwrap();
    File::options().write(true).open(&file).unwrap().set_len(cut as u64).unwrap();
    station.restart();
    let chain = order(&station, "K-1");
    let tried = &chain["tried"][0];
    assert_eq!((&chain["state"], &tried["outcome"]), (&json!("closed"), &json!("fail")));
    assert_eq!(tried["inspection"], json!(id));
}

#[test]
fn what_goes_back_and_what_is_new_stands_in_the_worklist() {
    let station = Builder::new().start();
    let list = station.folder().join("list.csv");
    fs::write(
        &list,
        "asset,description,ownership,return_by,class,functional_earth,cord,switching_supply,\
         earthed_points,accessible_parts,applied_parts,maker,model,serial,owner\n\
         N-1,pump,loaner,2027-01-31,II,no,fixed,no,,case,,,,,\n\
         N-2,lamp,hospital,,II,no,fixed,no,,case,,Quellhof Works,Helle 2,7,clinic\n",
    )
    .unwrap();
    station.done(&["asset", "import", list.to_str().unwrap()]);
    let back = station.done(&["due", "--back"]);
    assert!(back.contains("N-1") && back.contains("goes back on 2027-01-31 (loaner)"), "{back}");
    assert!(!back.contains("N-2"));
    let data = station.data();
    assert_eq!(station.done(&["due", data.to_str().unwrap(), "--back"]), back);
    let item = station.get("/v1/due?back=1")["items"][0].take();
    assert_eq!((&item["ownership"], &item["return_by"]), (&json!("loaner"), &json!("2027-01-31")));
    wait::until_true("the index is level", || {
        station.run(&["scan", "N-2"]).stderr.contains("begin with the reason acceptance")
    });
    let begun = station.run(&["begin", "iec62353-recurrent-direct"]);
    assert!(begun.stderr.contains("This is the first inspection of N-2 here"), "{begun:?}");
    station.done(&["end", "--outcome", "given_up", "--reason", "it is its acceptance"]);
    station.done(&["scan", "N-2"]);
    let begun = station.run(&["begin", "iec62353-recurrent-direct", "--reason", "acceptance"]);
    assert!(begun.code == 0 && !begun.stderr.contains("first inspection of"), "{begun:?}");
    station.done(&["answer", "fail", "--reason", "cracked"]);
    station.done(&["scan", "N-2"]);
    assert_eq!(station.run(&["sign", "--as", "performed", "--tag", "attached"]).code, 1);
    wait::until_true("it is no new one any more", || {
        !station.run(&["scan", "N-2"]).stderr.contains("acceptance")
    });
    let known = station.run(&["scan", "T-0201"]);
    assert!(!known.stderr.contains("acceptance"), "the register has its day: {known:?}");
}

#[test]
fn an_inspection_that_ends_as_retired_retires_the_asset_and_its_orders() {
    let station = Builder::new().start();
    let two = format!("{HEAD}R-1;T-0201;other;;\nR-2;T-0201;scheduled;;\n");
    drop_in(&station, "r.csv", &two);
    gone(&station, "taken", "r.csv");
    station.done(&["scan", "T-0201"]);
    let id = station.done(&["begin", "--order", "R-2"]).trim().to_owned();
    station.done(&["end", "--outcome", "retired", "--reason", "housing broken"]);
    let lines = book(&station);
    let asset = lines.lines().rfind(|line| line.contains(r#""k":"asset""#)).unwrap();
    assert!(asset.contains(r#""retired":"#) && asset.contains(r#""by":"op-7""#), "{asset}");
    assert!(lines.contains(r#""k":"visit","asset":"T-0201","outcome":"retired""#), "its own fact");
    assert_eq!(station.run(&["begin", "--asset", "T-0201"]).code, 2);
    assert_eq!(station.done(&["due"]), "");
    assert_eq!(order(&station, "R-1")["tried"][0]["outcome"], "retired");
    assert_eq!(order(&station, "R-2")["tried"][0]["inspection"], json!(id));
    drop_in(&station, "late.csv", &format!("{HEAD}R-3;T-0201;other;;\n"));
    gone(&station, "refused", "late.csv");
}
