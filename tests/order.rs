//! In which order things happen, told by the kernel: the station runs under `strace`.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::json;
use support::feed::Feed;
use support::meter::{IDENTITY, Meter, Scene};
use support::port::Port;
use support::station::{Builder, Station};
use support::technician::{Bench, Hand, Technician};
use support::trace::{Call, calls, numbers};
use support::wait;

impl Bench for Scene {
    fn supply(&mut self, on: bool) {
        Scene::supply(self, on);
    }

    fn knob(&mut self, function: &str) {
        Scene::knob(self, function);
    }
}

fn technician(station: &Station, bench: Scene) -> Technician<'_, Scene> {
    Technician { station, asset: "T-0201", hand: Hand::Typed, bench }
}

/// Where a line came to be written, synced and shown.
#[derive(Debug, Default)]
struct Way {
    book: String,
    written: usize,
    synced: Option<usize>,
    shown: Option<usize>,
}

/// The way of every line of an inspection or a day, by its number.
fn ways(calls: &[Call]) -> BTreeMap<u64, Way> {
    let mut ways: BTreeMap<u64, Way> = BTreeMap::new();
    for call in calls {
        let book = call.file.ends_with(".jsonl");
        match call.name.as_str() {
            "write" | "writev" | "pwrite64" if book => {
                for seq in numbers(&call.text, r#"{\"seq\":"#) {
                    let (book, written) = (call.file.clone(), call.ended);
                    ways.insert(seq, Way { book, written, ..Way::default() });
                }
            }
            "fdatasync" if book => {
                assert_eq!(call.result, "0", "{call:?}");
                for way in ways.values_mut() {
                    if way.book == call.file && way.synced.is_none() && way.written < call.began {
                        way.synced = Some(call.ended);
                    }
                }
            }
            "write" | "writev" | "sendto" | "sendmsg" => {
                for seq in numbers(&call.text, r"id: ") {
                    if let Some(way) = ways.get_mut(&seq) {
                        way.shown.get_or_insert(call.began);
                    }
                }
            }
            _ => {}
        }
    }
    ways
}

/// The law: durable before visible. For every line that the client saw, its bytes were written to
/// its book, `fdatasync` of that book returned, and only then was it put on the socket.
#[test]
fn every_line_is_on_disk_before_it_is_in_the_feed() {
    let mut wiring = Builder::new().traced();
    let port = wiring.pty("dmm", "val-unit-line", Some("TM-01"));
    let scene = Scene::default();
    let _meter = Meter::talking(&port, &scene, 50);
    let mut station = wiring.start();
    let feed = Feed::open(&station.socket(), None);
    let mut technician = technician(&station, scene);
    technician.begin();
    technician.work_until("dead");
    let value = feed.find("a captured value", |seen| seen.kind == "value");
    technician.work_until("clear");
    station.stop();
    let trace = calls(&station.trace());
    let ways = ways(&trace);
    let shown = ways.values().filter(|way| way.shown.is_some()).count();
    assert!(shown >= 100, "only {shown} lines were seen on a socket");
    for (seq, way) in &ways {
        let Some(shown) = way.shown else { continue };
        let synced = way.synced.unwrap_or(usize::MAX);
        assert!(way.written < synced && synced < shown, "line {seq}: {way:?}");
    }
    assert!(ways[&value.seq].shown.is_some(), "the captured value is among them");
}

/// Reads of a terminal that found it hung up: end of file, or the kernel's EIO.
fn reads_after_hang_up(station: &Station) -> usize {
    let hung = |call: &&Call| {
        let result = call.result.as_str();
        call.name == "read"
            && call.file.starts_with("/dev/pts/")
            && (result == "0" || result.starts_with("-1 EIO"))
    };
    calls(&station.trace()).iter().filter(hung).count()
}

fn plug(name: &Path, scene: &Scene, identity: &'static str) -> (Port, Meter) {
    let port = Port::plug(name);
    let meter = Meter::asked(&port, scene, identity);
    (port, meter)
}

/// A cable comes out and goes in again, and then another meter hangs on it.
#[test]
fn an_unplugged_meter_is_missed_found_again_and_not_mistaken_for_another() {
    let mut wiring = Builder::new().traced();
    let name = wiring.folder().join("ttydmm");
    wiring.serial("dmm", &name, "scpi", Some("DM-01"));
    let scene = Scene::default();
    let meter = plug(&name, &scene, IDENTITY);
    let station = wiring.start();
    let mut technician = technician(&station, scene.clone());
    technician.begin();
    technician.work_until("clear");

    drop(meter);
    let state = |state: &str| station.link("dmm")["state"] == state;
    wait::until_true("the link is down", || state("down"));
    assert_eq!(station.link("dmm")["why"], "unplugged or switched off");
    let reads = reads_after_hang_up(&station);
    assert!((1..=2).contains(&reads), "{reads} reads after the hang-up");

    // Another pty, the same name: the inspection goes on and captures.
    let meter = plug(&name, &scene, IDENTITY);
    wait::until_true("the link is up again", || state("up"));
    technician.work_until("dead");
    let feed = Feed::open(&station.socket(), Some(0));
    let value = feed.find("a captured value", |seen| seen.kind == "value").json();
    assert_eq!(value["step"], "leak_case/1");
    technician.work_until("clear");

    // Another meter under the same name: nothing that it says belongs to the step.
    drop(meter);
    wait::until_true("the link is down", || state("down"));
    let other = plug(&name, &scene, "GENERIC,BENCH-DMM,0099,1.0");
    wait::until_true("the other meter is known for another", || state("changed"));
    let sentence = "another instrument answered: `GENERIC,BENCH-DMM,0099,1.0`";
    assert_eq!(station.link("dmm")["why"], sentence);
    let page = station.done(&["status"]);
    assert!(page.contains(sentence), "{page}");
    let seen = feed.find("a reading of the other meter", |seen| {
        let whose = &seen.json()["read"][0]["why"];
        seen.kind == "in" && *whose == json!("unknown_instrument")
    });
    assert_eq!(seen.json()["read"][0]["s"], json!(null));
    let refused = wait::until("an act is refused for want of the meter", || {
        let output = station.run(&["act", "clear"]);
        output.stderr.contains("DM-01").then_some(output)
    });
    assert_eq!(refused.code, 2, "{refused:?}");

    drop(other);
    let _meter = plug(&name, &scene, IDENTITY);
    wait::until_true("the right meter answers again", || state("up"));
    technician.work_until("sign");
    let id = station.bench()["inspection"]["id"].take();
    let book = station.data().join(format!("open/{}.jsonl", id.as_str().unwrap()));
    let again = station.run(&["replay", book.to_str().unwrap()]);
    assert_eq!(again.code, 0, "the bytes give the same facts: {again:?}");
    let reads = reads_after_hang_up(&station);
    // At most two each. A write may have told of one before: then none is left to read.
    assert!((1..=6).contains(&reads), "{reads} reads after three hang-ups");
}
