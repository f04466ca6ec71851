//! Scanners and meters at one bench on real ptys: who scanned last, and what came before a scan.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::fs::{self, File};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use rustix::io::ioctl_fionread;
use serde_json::Value;
use support::feed::Feed;
use support::station::{Builder, Station};
use support::{book, wait};

/// The later scan selects, whichever scanner it came from. Who scans another asset in an inspection
/// is told, the inspection stays, and what the meter says belongs to it as before.
#[test]
fn two_scanners_at_one_bench_never_move_a_reading() {
    let mut wiring = Builder::new();
    let meter = wiring.pty("dmm", "val-unit-line", Some("TM-01"));
    let one = wiring.pty("one", "scan", None);
    let two = wiring.pty("two", "scan", None);
    let station = wiring.start();
    let assets = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/support/register/assets.csv");
    let assets = fs::read_to_string(assets).unwrap();
    for other in ["T-0202", "T-0203"] {
        let file = station.folder().join("other.csv");
        fs::write(&file, assets.replace("T-0201", other)).unwrap();
        station.done(&["asset", "import", file.to_str().unwrap()]);
    }
    for link in ["dmm", "one", "two"] {
        wait::until_true("the links are up", || station.link(link)["state"] == "up");
    }
    let feed = Feed::open(&station.socket(), Some(0));

    two.say(b"T-0202\r\n");
    let first = feed.find("the first code", |seen| seen.kind == "scan").json();
    assert_eq!((first["link"].as_str(), first["raw"].as_str()), (Some("two"), Some("T-0202")));
    one.say(b"T-0201\r\n");
    wait::until_true("the later scan is the asset", || {
        station.bench()["selected"].to_string().contains("T-0201")
    });
    let id = station.done(&["begin"]).trim().to_owned();

    two.say(b"T-0203\r\n");
    let refused =
        feed.find("the refusal", |seen| seen.kind == "scan" && seen.json()["refused"].is_string());
    assert_eq!(refused.json()["refused"], "other_asset");
    assert_eq!(station.bench()["inspection"]["id"], id.as_str(), "it goes on");
    meter.say(b"ACV +0.0001 V\r\n");
    let read = feed.find("a reading", |seen| {
        seen.kind == "in" && seen.json()["link"] == "dmm" && seen.json()["read"].is_array()
    });
    assert_eq!(
        read.json()["book"],
        id.as_str(),
        "it lies in the book of the inspection that is open"
    );
}

/// A hospital's own number, a type with a serial number: each names its asset. What names none, or
/// a patient, or may be a PIN, selects nothing, and of the last two no digit is stored.
#[test]
fn labels_select_their_asset_and_nobody_elses() {
    let mut wiring = Builder::new();
    let scanner = wiring.pty("one", "scan", None);
    let mut station = wiring.start();
    let assets = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/support/register/assets.csv");
    let assets = fs::read_to_string(assets).unwrap();
    let marked = |asset: &str, serial: &str, giai: &str| {
        let rows = assets.replace("T-0201", asset).replace("20201", serial);
        let row = rows.lines().find(|line| line.starts_with(asset)).unwrap().to_owned();
        let head = assets.lines().next().unwrap();
        format!("udi_di,giai,{head}\n05102222233336,{giai},{row}\n")
    };
    for (asset, serial, giai) in
        [("T-0301", "1234", "061414132a/b"), ("T-0302", "1235", ""), ("T-0303", "1235", "")]
    {
        let file = station.folder().join("marked.csv");
        fs::write(&file, marked(asset, serial, giai)).unwrap();
        station.done(&["asset", "import", file.to_str().unwrap()]);
    }
    wait::until_true("the link is up", || station.link("one")["state"] == "up");
    let feed = Feed::open(&station.socket(), Some(0));
    let say = |code: &str| {
        scanner.say(format!("{code}\r\n").as_bytes());
        let scan = feed.find("the scan", |seen| seen.kind == "scan").json();
        let text = |key: &str| scan[key].as_str().unwrap_or("-").to_owned();
        (text("kind"), text("asset"), text("refused"))
    };
    let is = |kind: &str, asset: &str, refused: &str| (kind.into(), asset.into(), refused.into());
    assert_eq!(say("]C18004061414132a/b"), is("gs1", "T-0301", "-"));
    assert_eq!(say("]C0T-0302"), is("text", "T-0302", "-"));
    assert_eq!(say("]d20105102222233336211234"), is("gs1", "T-0301", "-"));
    assert_eq!(say("]d20105102222233336211235"), is("gs1", "-", "several_assets"));
    assert_eq!(say("]d20105102222233336"), is("gs1", "-", "-"));
    assert_eq!(say("]C18018950110153123456781"), is("gs1", "-", "patient_identifier"));
    assert_eq!(say("482913"), is("text", "-", "may_be_a_pin"));
    assert_eq!(say("]d20105102222233337211234"), is("gs1", "-", "check_digit"));
    assert_eq!(
        station.bench()["selected"],
        Value::Null,
        "what names no asset leaves none selected"
    );
    assert_eq!(say("]C18004061414132a/b"), is("gs1", "T-0301", "-"));
    wait::until_true("it is selected", || {
        station.bench()["selected"].to_string().contains("T-0301")
    });
    station.stop();
    for (name, book) in book::all(&station.data()) {
        for secret in ["950110153123456781", "482913", "05102222233337"] {
            assert!(
                !book.facts().iter().any(|line| line.to_string().contains(secret)),
                "{}: {secret}",
                name.display()
            );
        }
    }
}

/// The lines of all books in the order of their numbers.
fn stored(station: &Station) -> Vec<Value> {
    let books = book::all(&station.data());
    let mut lines: Vec<Value> = books.values().flat_map(book::Book::facts).collect();
    lines.sort_by_key(|line| line["seq"].as_u64());
    lines
}

fn said_by<'a>(lines: &'a [Value], link: &'a str) -> impl Iterator<Item = &'a Value> {
    lines.iter().filter(move |line| line["k"] == "in" && line["link"] == link)
}

/// Bytes of no inspection wait for company. A scan, the beginning of an inspection and everything
/// else that is not to wait comes behind them all the same, and none is lost or said twice.
#[test]
fn what_was_said_before_a_scan_or_a_beginning_stands_before_it() {
    const SCANS: u64 = 25;
    let mut wiring = Builder::new();
    let meter = wiring.pty("dmm", "val-unit-line", Some("TM-01"));
    let scanner = wiring.pty("one", "scan", None);
    let mut station = wiring.start();
    for link in ["dmm", "one"] {
        wait::until_true("the links are up", || station.link(link)["state"] == "up");
    }
    let feed = Feed::open(&station.socket(), Some(0));
    let round = Arc::new(AtomicU64::new(0));
    let (rounds, mouth) = (round.clone(), meter.clone());
    let talker = std::thread::spawn(move || {
        let mut number = 0;
        while rounds.load(Ordering::SeqCst) <= SCANS {
            mouth.say(format!("ACV +{number:07}E-6 V\r\n").as_bytes());
            number += 1;
            wait::within(1, || None::<()>);
        }
        number
    });
    for number in 0..SCANS {
        // The same code twice in a row is one scan.
        let code: &[u8] = if number % 2 == 0 { b"T-0201\r\n" } else { b"OP-0007\r\n" };
        scanner.say(code);
        feed.find("the scan", |seen| seen.kind == "scan");
        round.fetch_add(1, Ordering::SeqCst);
    }
    let id = station.done(&["begin"]).trim().to_owned();
    round.fetch_add(1, Ordering::SeqCst);
    let said = talker.join().unwrap();
    let last = format!("ACV +{:07}E-6 V", said - 1);
    feed.find("the last that was said", |seen| seen.data.contains(&last));
    station.stop();

    let lines = stored(&station);
    let heard: String = said_by(&lines, "dmm").map(|line| line["raw"].as_str().unwrap()).collect();
    let all: String = (0..said).map(|number| format!("ACV +{number:07}E-6 V\r\n")).collect();
    assert_eq!(heard, all, "all of it, once, in order");
    assert!(said_by(&lines, "dmm").count() > 20, "it was no single line");
    let moments = |line: &&Value| line["k"] == "scan" || line["k"] == "in" || line["k"] == "tap";
    let moments: Vec<_> = lines.iter().filter(moments).map(|line| line["m"].as_u64()).collect();
    assert!(moments.is_sorted(), "numbers follow the moments: {moments:?}");
    let begun = lines.iter().position(|line| line["k"] == "open" && line["id"] == id.as_str());
    assert!(said_by(&lines[..begun.unwrap()], "dmm").count() > 10, "much was said before it");
}

/// What was read a moment before an orderly end is kept, although nobody waited for it.
#[test]
fn what_was_read_last_before_an_end_is_kept() {
    let mut wiring = Builder::new();
    let meter = wiring.pty("dmm", "val-unit-line", None);
    let path = wiring.folder().join("ttydmm");
    // Opened before the station makes the port its own; only asked how much is unread.
    let asked = File::open(path).unwrap();
    let mut station = wiring.start();
    let mut all = String::new();
    for round in 0..8 {
        wait::until_true("the link is up", || station.link("dmm")["state"] == "up");
        let said = format!("R4 +0.{round}82 Ohm\r\n");
        all += &said;
        meter.say(said.as_bytes());
        // What is written reaches the reader's side a moment later.
        let mut looks = 0;
        wait::until_true("it was read", || {
            looks = if ioctl_fionread(&asked).unwrap() == 0 { looks + 1 } else { 0 };
            looks == 4
        });
        station.stop();
        let heard: String =
            said_by(&stored(&station), "dmm").map(|line| line["raw"].as_str().unwrap()).collect();
        assert_eq!(heard, all, "round {round}");
        station.restart();
    }
}
