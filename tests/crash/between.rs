//! Killed between two inspections of one bench: the next one has what the books say.

use std::fs;
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

use serde_json::Value;

use super::support::book;
use super::support::port::Port;
use super::support::station::{Builder, Station};
use super::support::wait;

const ASSET: &str = "P-0109";

/// A low-resistance meter that prints what it shows, again and again.
#[derive(Clone)]
struct Ohms(Arc<Mutex<&'static str>>);

impl Ohms {
    fn talking(port: &Port) -> Ohms {
        let shows = Ohms(Arc::new(Mutex::new("OL")));
        let (port, shown) = (port.clone(), shows.clone());
        // It goes on until the test ends.
        thread::spawn(move || {
            loop {
                let text = *shown.0.lock().unwrap();
                port.say(format!("R4 {text} Ohm\r\n").as_bytes());
                let (_stop, stopped) = std::sync::mpsc::channel::<()>();
                let _ = stopped.recv_timeout(Duration::from_millis(20));
            }
        });
        shows
    }

    fn show(&self, text: &'static str) {
        *self.0.lock().unwrap() = text;
    }
}

/// A station with the register of the example: a low-resistance meter, its leads, a lamp.
fn station() -> (Station, Ohms) {
    let mut wiring = Builder::new();
    let port = wiring.pty("ohm", "val-unit-line", Some("LR-01"));
    let ohms = Ohms::talking(&port);
    let mut station = wiring.start();
    let example = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib/example");
    for (what, file) in
        [("instrument", "instruments.toml"), ("fixture", "fixtures.toml"), ("asset", "assets.csv")]
    {
        station.done(&[what, "import", example.join(file).to_str().unwrap()]);
    }
    station.stop();
    change(&station, "\"FO-1\"]", "\"FO-1\", \"L-1\"]");
    station.restart();
    heard(&station);
    (station, ohms)
}

/// Changes its configuration.
fn change(station: &Station, from: &str, to: &str) {
    let config = fs::read_to_string(station.config()).unwrap();
    assert!(config.contains(from), "{config}");
    fs::write(station.config(), config.replace(from, to)).unwrap();
}

fn heard(station: &Station) {
    wait::until_true("the meter is heard", || station.link("ohm")["state"] == "up");
}

/// Opens an inspection of the lamp; its name.
fn begin(station: &Station) -> String {
    station.done(&["scan", ASSET]);
    station.done(&["begin"]).trim().to_owned()
}

fn facts(station: &Station, id: &str, kind: &str) -> Vec<Value> {
    let books = book::all(&station.data());
    let of = books.iter().filter(|(path, _)| path.to_string_lossy().contains(id));
    let facts = of.flat_map(|(_, book)| book.facts());
    facts.filter(|fact| fact["k"] == kind).collect()
}

/// Joins the clips in both directions, and checks the supply.
fn know(station: &Station, ohms: &Ohms, id: &str) {
    // An act is refused within a second of the last step: it is said again until it counts.
    wait::until_true("a null is begun", || station.run(&["null", "L-1"]).code == 0);
    let nulls = |n| move || facts(station, id, "null").len() == n;
    ohms.show("+0.061");
    wait::until_true("one direction is nulled", nulls(1));
    ohms.show("OL");
    wait::until_true("the clips are seen apart", || {
        let prompt = station.prompt();
        prompt["state"] == "null" && prompt["direction"] == "minus"
    });
    ohms.show("-0.061");
    wait::until_true("the other direction is nulled", nulls(2));
    ohms.show("OL");
    let volts = ["prove", "supply", "--ln", "230", "--npe", "0.2", "--lpe", "229.9"];
    station.done(&volts);
    station.done(&volts);
}

fn end(station: &Station, id: &str) {
    let end = ["end", "--outcome", "given_up", "--reason", "called away"];
    wait::until_true("it is ended", || station.run(&end).code == 0);
    let told = || {
        let books = book::all(&station.data());
        let mut lines = books.values().flat_map(|book| &book.lines);
        lines.any(|(_, line)| line.contains(r#""k":"sealed""#) && line.contains(id))
    };
    wait::until_true("it is sealed", told);
}

/// How many nulls and supply checks an inspection began with, all of them made in `from`.
fn carried(station: &Station, id: &str, from: &str) -> (usize, usize) {
    let of = |kind| {
        let facts = facts(station, id, kind);
        assert!(facts.iter().all(|fact| fact["carried"]["book"] == from), "{facts:#?}");
        facts.len()
    };
    (of("null"), of("prove"))
}

#[test]
fn killed_between_two_inspections_it_asks_for_no_null_that_the_books_have() {
    let (mut station, ohms) = station();
    let first = begin(&station);
    know(&station, &ohms, &first);
    end(&station, &first);
    station.kill9();
    station.restart();
    heard(&station);
    let second = begin(&station);
    assert_eq!(carried(&station, &second, &first), (2, 1));
    end(&station, &second);
    let file = station.data().join(format!("inspections/{}/{}", &second[3..7], &second[7..9]));
    let file = file.join(format!("{second}.jsonl"));
    for command in ["verify", "replay"] {
        let done = station.run(&[command, file.to_str().unwrap()]);
        assert_eq!(done.code, 0, "{command}: {done:?}");
    }
    // Another setting of the port is another line.
    station.kill9();
    change(&station, "baud = 9600", "baud = 19200");
    station.restart();
    heard(&station);
    let third = begin(&station);
    assert_eq!(carried(&station, &third, &first), (0, 0));
    station.kill9();
}
