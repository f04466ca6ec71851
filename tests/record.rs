//! The real program and the ends of a cable that are no port: standard input.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::fs::{self, File};
use std::io::Write;
use std::process::{Command, Stdio};

use serde_json::Value;
use support::station::{Builder, Output, TAPLINE};
use support::{book, wait};

/// The link of a station, as its status tells it.
fn link(station: &support::station::Station, id: &str) -> Value {
    let status = station.get("/v1/status");
    let links = status["benches"][0]["links"].as_array().unwrap().clone();
    links.into_iter().find(|link| link["id"] == id).unwrap()
}

#[test]
fn what_is_piped_in_is_heard_and_its_end_is_told() {
    let mut wiring = Builder::new();
    let mut meter = wiring.stdin("dmm", "val-unit-line", Some("TM-01"));
    let station = wiring.start();
    wait::until_true("the pipe is open", || link(&station, "dmm")["state"] == "up");
    meter.write_all(b"R4 +0.182 Ohm\r\n").unwrap();
    wait::until_true("the reading is stored", || {
        let books = book::all(&station.data());
        let facts = books.values().flat_map(book::Book::facts);
        facts.into_iter().any(|fact| fact["raw"] == "R4 +0.182 Ohm\r\n")
    });
    drop(meter);
    wait::until_true("its end is told", || link(&station, "dmm")["state"] == "down");
    let why = link(&station, "dmm")["why"].as_str().unwrap().to_owned();
    assert_eq!(why, "standard input has ended: start the station and the program before it");
}

/// Bytes of another day must not be taken for what an instrument says now.
#[test]
fn a_file_is_no_instrument() {
    let mut wiring = Builder::new();
    let meter = wiring.stdin("dmm", "val-unit-line", Some("TM-01"));
    let mut station = wiring.start();
    station.stop();
    drop(meter);
    let file = station.folder().join("stdin");
    fs::remove_file(&file).unwrap();
    fs::write(&file, "R4 +0.182 Ohm\r\n").unwrap();
    station.restart();
    wait::until_true("it is refused", || link(&station, "dmm")["state"] == "down");
    let why = link(&station, "dmm")["why"].as_str().unwrap().to_owned();
    assert!(why.contains("bytes of another day are no instrument"), "{why}");
}

#[test]
fn a_check_says_what_was_never_run_on_the_real_thing() {
    let wiring = Builder::new();
    let folder = wiring.folder().to_owned();
    let mut station = wiring.start();
    station.stop();
    let config = folder.join("tapline.toml");
    let mut file = File::options().append(true).open(&config).unwrap();
    let link = "[[link]]\nid = \"box\"\nbench = \"b1\"\ninputs = \"/dev/ttyS9\"\n\
                driver = \"contacts\"\n";
    file.write_all(link.as_bytes()).unwrap();
    let mut check = Command::new(TAPLINE);
    check.args(["serve", "--check", "--config"]).arg(&config).stdin(Stdio::null());
    let said = Output::of(&mut check);
    assert_eq!(said.code, 0, "{said:?}");
    let mut lines = said.stderr.lines();
    assert!(lines.next().unwrap().ends_with("no fault found"));
    let second = lines.next().unwrap();
    assert!(second.starts_with("tapline: link `box`: modem inputs of a serial port"), "{second}");
    assert!(second.contains("never run on such hardware"), "{second}");
}
