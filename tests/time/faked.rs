//! The real program under `libfaketime`, which stands between it and the C library's clocks.
//!
//! What this can show: the program reads its wall clock anew for every line, orders nothing by
//! it, and names days by it. What it can't: the kernel's clock is not set, so the kernel cancels
//! no timer and tells nothing (`src/clock/kernel.rs`); the change is seen with the next event,
//! and the meter here talks all the time. The boot-time clock is read past the C library and is
//! never faked; the monotonic clock is, unless told otherwise, and a monotonic clock that falls
//! behind the boot-time clock is what a sleep looks like. Nothing really stops meanwhile: ports
//! stay open and no byte is lost.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};

use super::support::book::{self, Book};
use super::support::feed::Feed;
use super::support::meter::{Meter, Scene};
use super::support::station::{Builder, Output, Station};
use super::support::technician::{Bench, Hand, Technician};
use super::support::wait;

const DAY_S: i64 = 86_400;

/// The wall clock of a station.
struct Clock {
    file: PathBuf,
    offset_s: i64,
}

impl Clock {
    /// Wires the library in. `all`: the monotonic clock is faked, too.
    fn of(wiring: &mut Builder, all: bool) -> Clock {
        let file = wiring.folder().join("clock");
        let keep = if all { "0" } else { "1" };
        for (name, value) in [
            ("LD_PRELOAD", library().to_str().unwrap()),
            ("FAKETIME_TIMESTAMP_FILE", file.to_str().unwrap()),
            ("FAKETIME_NO_CACHE", "1"),
            ("DONT_FAKE_MONOTONIC", keep),
            ("FAKETIME_DONT_FAKE_MONOTONIC", keep),
        ] {
            wiring.env(name, value);
        }
        let clock = Clock { file, offset_s: 0 };
        clock.write();
        clock
    }

    /// In one piece: the program reads the file whenever it likes.
    fn write(&self) {
        let new = self.file.with_extension("new");
        fs::write(&new, format!("{:+}\n", self.offset_s)).unwrap();
        fs::rename(&new, &self.file).unwrap();
    }

    fn step(&mut self, seconds: i64) {
        self.offset_s += seconds;
        self.write();
    }

    /// Steps so that it shows this many seconds of a UTC day; says by how many it did.
    fn step_to(&mut self, second_of_day: i64) -> i64 {
        let now = tapline::clock::now().wall_us / 1_000_000 + self.offset_s;
        let by = second_of_day - now.rem_euclid(DAY_S);
        self.step(by);
        by
    }
}

#[track_caller]
fn library() -> PathBuf {
    let folders = fs::read_dir("/usr/lib").unwrap().map(|entry| entry.unwrap().path());
    let found = folders.map(|folder| folder.join("faketime/libfaketimeMT.so.1"));
    let found = found.chain(["/usr/lib/faketime/libfaketimeMT.so.1".into()]).find(|p| p.is_file());
    found.expect("this test needs libfaketime: apt-get install faketime")
}

struct Hands(Scene);

impl Bench for Hands {
    fn supply(&mut self, on: bool) {
        self.0.supply(on);
    }

    fn knob(&mut self, function: &str) {
        self.0.knob(function);
    }
}

/// Clock facts of a book: by how many seconds, rounded.
fn steps(book: &Book) -> Vec<i64> {
    let of = |fact: &Value| (fact["step_us"].as_i64().unwrap() + 500_000).div_euclid(1_000_000);
    book.facts().iter().filter(|fact| fact["k"] == "clock").map(of).collect()
}

/// The books of all years as one.
fn station_book(station: &Station) -> Book {
    let all = book::all(&station.data());
    let own = all.into_iter().filter(|(path, _)| path.parent().unwrap().ends_with("station"));
    let lines = own.flat_map(|(_, book)| book.lines).collect();
    Book { lines, unbelieved: 0 }
}

/// The station has told of so many steps.
fn told(station: &Station, count: usize) {
    let seen = || steps(&station_book(station)).len();
    wait::until_true("the step is told", || seen() >= count);
    assert_eq!(seen(), count);
}

/// Order by number holds in every book and over the station; no number is given twice.
fn in_order(station: &Station) {
    let mut all = Vec::new();
    for (path, book) in book::all(&station.data()) {
        let numbers: Vec<u64> = book.lines.iter().map(|(seq, _)| *seq).collect();
        assert!(numbers.is_sorted_by(|a, b| a < b), "{}", path.display());
        assert_eq!(book.unbelieved, 0, "{}", path.display());
        let stamp = |fact: Value| fact["t"].as_str().unwrap().to_owned() + "\n";
        let stamps: String = book.facts().into_iter().map(stamp).collect();
        let read = super::stamps::python("stamps.py", &stamps);
        assert_eq!(read.len(), numbers.len(), "Python reads every stamp");
        all.extend(numbers);
    }
    let count = all.len();
    all.sort_unstable();
    all.dedup();
    assert_eq!(all.len(), count);
}

fn checked(station: &Station, file: &Path) {
    let name = file.to_str().unwrap();
    for command in ["verify", "replay"] {
        let output = station.run(&[command, name]);
        assert_eq!((output.code, output.stderr.as_str()), (0, ""), "{command}: {output:?}");
    }
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib/verify.sh");
    let key = station.data().join("keys/T1-1.pub.pem");
    let output = Output::of(Command::new("sh").arg(script).arg(file).arg(key));
    assert_eq!(output.code, 0, "{output:?}");
}

/// An hour back, over midnight, a day forward, an hour back in the middle of a window: the
/// inspection passes, each step is told once in each open book, and the record verifies.
#[test]
fn whatever_its_clock_shows_the_program_measures_and_seals() {
    let mut wiring = Builder::new();
    let port = wiring.pty("dmm", "val-unit-line", Some("TM-01"));
    let mut clock = Clock::of(&mut wiring, false);
    clock.step_to(DAY_S / 2);
    clock.step(DAY_S);
    let scene = Scene::default();
    let _meter = Meter::talking(&port, &scene, 50);
    let mut station = wiring.start();
    let feed = Feed::open(&station.socket(), Some(0));
    let hands = Hands(scene);
    let mut technician =
        Technician { station: &station, asset: "T-0201", hand: Hand::Typed, bench: hands };
    let id = technician.begin();
    let book = station.data().join(format!("open/{id}.jsonl"));
    clock.step(-3_600);
    told(&station, 1);
    let to_midnight = clock.step_to(DAY_S - 2);
    told(&station, 2);
    feed.find("midnight passes", |seen| seen.json()["after"] == "midnight");
    clock.step(DAY_S);
    told(&station, 3);
    feed.find("a day is skipped", |seen| seen.json()["after"] == "midnight");
    let to_noon = clock.step_to(DAY_S / 2);
    told(&station, 4);
    technician.work_until("connect");
    technician.prove_supply();
    technician.work_until("capture");
    clock.step(-3_600);
    told(&station, 5);
    technician.work_until("dead");
    let value = feed.find("a captured value", |seen| seen.kind == "value").json();
    assert_eq!(value["step"], "leak_case/1");
    technician.work_until("sign");
    let by = [-3_600, to_midnight, DAY_S, to_noon, -3_600];
    assert_eq!(steps(&Book::read(&book)), by);
    let signed = station.done(&["sign", "--as", "performed"]);
    assert_eq!(signed, format!("{id}\nPASS\n"));
    let page = station.run(&["show", &id]).stdout;
    assert_eq!(page.matches("the wall clock was set").count(), 5, "{page}");
    let (year, month) = (&id[3..7], &id[7..9]);
    let sealed = station.data().join(format!("inspections/{year}/{month}/{id}.jsonl"));
    checked(&station, &sealed);
    // Idle, over one more midnight, and back before the last: the later day's book goes on.
    let last = clock.step_to(DAY_S - 1);
    told(&station, 6);
    wait::until_true("a day begins", || idle_days(&station) >= 2);
    clock.step(-3 * DAY_S);
    told(&station, 7);
    assert_eq!(steps(&station_book(&station))[5..], [last, -3 * DAY_S]);
    refused_for_its_clock(&station);
    station.stop();
    in_order(&station);
    let idle: Vec<PathBuf> = fs::read_dir(station.data().join("idle"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    for file in idle {
        let again = station.run(&["replay", file.to_str().unwrap()]);
        assert_eq!(again.code, 0, "{again:?}");
    }
}

fn idle_days(station: &Station) -> usize {
    fs::read_dir(station.data().join("idle")).unwrap().count()
}

/// Three days before its own last line nothing is opened, unless a time service says that this
/// is the time: then the machine of this test has one.
fn refused_for_its_clock(station: &Station) {
    station.done(&["scan", "T-0201"]);
    let output = station.run(&["begin"]);
    if super::stamps::python("adjtimex.py", "")[0] == "synced" {
        assert_eq!(output.code, 0, "{output:?}");
        return;
    }
    assert_eq!(output.code, 2, "{output:?}");
    assert!(output.stderr.contains("the wall clock shows"), "{output:?}");
    assert!(output.stderr.contains("Set the clock of this machine"), "{output:?}");
}

/// A clock that is set while the program does not run is told at its next start.
#[test]
fn a_clock_set_between_two_starts_is_told_once() {
    let mut wiring = Builder::new();
    let mut clock = Clock::of(&mut wiring, false);
    let mut station = wiring.start();
    station.done(&["scan", "T-0201"]);
    let id = station.done(&["begin"]).trim().to_owned();
    station.kill9();
    clock.step(600);
    station.restart();
    told(&station, 1);
    station.stop();
    station.restart();
    assert_eq!(steps(&station_book(&station)), [600]);
    assert_eq!(steps(&Book::read(&station.data().join(format!("open/{id}.jsonl")))), [600]);
    station.stop();
    in_order(&station);
}

/// The monotonic clock falls two seconds behind the boot-time clock: the program takes it for a
/// sleep, asks the meter anew who it is, and calls what was live live.
#[test]
fn a_clock_that_stood_still_is_a_sleep() {
    let mut wiring = Builder::new();
    let port = wiring.pty("dmm", "val-unit-line", Some("TM-01"));
    let mut clock = Clock::of(&mut wiring, true);
    clock.step(100);
    let scene = Scene::default();
    let _meter = Meter::talking(&port, &scene, 50);
    let mut station = wiring.start();
    let feed = Feed::open(&station.socket(), Some(0));
    let mut technician =
        Technician { station: &station, asset: "T-0201", hand: Hand::Typed, bench: Hands(scene) };
    let id = technician.begin();
    technician.work_until("capture");
    clock.step(-2);
    told(&station, 1);
    let resumed = feed.find("it goes on", |seen| seen.kind == "resume").json();
    assert_eq!(resumed["after"], "suspend");
    assert_eq!(station.prompt()["state"], "may_be_live");
    let book = Book::read(&station.data().join(format!("open/{id}.jsonl")));
    let facts = book.facts();
    let clock: Vec<&Value> = facts.iter().filter(|fact| fact["k"] == "clock").collect();
    assert_eq!(clock.len(), 1);
    let slept = clock[0]["slept_us"].as_u64().unwrap();
    assert!((1_900_000..2_100_000).contains(&slept), "as far as the library set it: {slept}");
    let taps = facts.iter().skip_while(|fact| fact["k"] != "clock").filter(|f| f["k"] == "tap");
    assert_eq!(taps.count(), 1, "a fresh stream");
    assert_eq!(json!(steps(&book)), json!([-2]), "this library sets both");
    technician.work_until("clear");
    station.stop();
    let file = station.data().join(format!("open/{id}.jsonl"));
    let again = station.run(&["replay", file.to_str().unwrap()]);
    assert_eq!(again.code, 0, "{again:?}");
}
