//! Two scanners at one bench, in the middle of a step, on real ptys.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::fs;
use std::path::Path;

use support::feed::Feed;
use support::station::Builder;
use support::wait;

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
