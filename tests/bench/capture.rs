//! From bytes at the core to a durable line in the feed, beside one bare append and `fdatasync`
//! of the same size on the same disk: `cargo bench --bench capture`.
#![allow(clippy::print_stdout, reason = "a benchmark prints what it measured")]
#![allow(clippy::unwrap_used, reason = "a benchmark may panic")]

mod args;
mod clock;
mod table;

use std::fs::{File, OpenOptions};
use std::hint::black_box;
use std::io::Write;
use std::path::Path;
use std::sync::Arc;

use args::Args;
use sha2::{Digest, Sha256};
use table::{Table, ms, quantile};
use tapline::books::{Books, Folder, Key};
use tapline::clock::{Zone, now};
use tapline::serve::feed::{Feed, Part, Shown};
use tapline::station::event::{Effect, Event};
use tapline::station::{BenchSettings, Context, Core, Found, Library, LinkSettings};
use tapline::station::{StationSettings, Wire};
use tapline_drivers::{Input, Now};

const FRAME: &[u8] = b"R4 +0.182 Ohm\r\n";

fn main() {
    let args = Args::read();
    let pairs = args.number("pairs", 2_000, 20);
    let mut table = Table::new("capture");
    durable(&mut table, pairs);
    pieces(&mut table, args.number("frames", 2_000_000, 2_000));
    table.print();
}

/// Core, books and feed of one station, without its threads.
struct Station {
    core: Core,
    books: Books,
    feed: Arc<Feed>,
}

impl Station {
    fn start(folder: &Path) -> Station {
        let disk = Arc::new(Folder::open(folder).unwrap());
        let key = Arc::new(Key::from_secret("K3-1", &[7; 32]));
        let at = now();
        let (books, _) = Books::open(disk, key, at).unwrap();
        let context = Context {
            version: "0.1.0".into(),
            judge: 1,
            boot: "boot".into(),
            synced: true,
            earliest_us: tapline::clock::EARLIEST_US,
            key: None,
        };
        let mut core = Core::new(settings(), context, Library::builtin().unwrap());
        core.recover(at, Found::default());
        let mut station = Station { core, books, feed: Arc::new(Feed::default()) };
        station.perform();
        station.event(Event::LinkUp { at: now(), link: "ohm".into() });
        station
    }

    fn event(&mut self, event: Event) -> usize {
        self.core.handle(event);
        self.perform()
    }

    /// What the writer does: commit, then show. Returns the bytes that were written.
    fn perform(&mut self) -> usize {
        let mut bytes = 0;
        for effect in self.core.drain() {
            if let Effect::Commit(lines) = effect {
                let texts = self.books.commit(&lines).unwrap();
                bytes += texts.iter().map(|text| text.len() + 1).sum::<usize>() + MARK;
                let shown = lines.iter().zip(&texts).map(|(line, text)| Shown::new(line, text));
                self.feed.show(shown.collect());
            }
        }
        bytes
    }
}

/// Bytes of a mark: `{"mark":"` and 64 digits and `"}` and a line feed.
const MARK: usize = 76;

fn settings() -> StationSettings {
    let link = LinkSettings {
        id: "ohm".into(),
        bench: "b1".into(),
        driver: "val-unit-line".into(),
        described: None,
        instrument: None,
        isolation: None,
    };
    let bench = BenchSettings {
        id: "b1".into(),
        name: "Bench".into(),
        fixtures: vec![],
        witness: std::collections::BTreeMap::default(),
        typed: Vec::new(),
    };
    StationSettings {
        id: "K3".into(),
        name: "Workshop".into(),
        zone: Zone::named("Etc/UTC").unwrap(),
        zone_name: "Etc/UTC".into(),
        commit_ms: 5,
        policy: tapline_protocols::fact::Policy::default(),
        due: tapline_protocols::due::Counting::default(),
        wiring: None,
        benches: vec![bench],
        links: vec![link],
    }
}

/// Pairs in turn, so that both sides meet the same disk.
fn durable(table: &mut Table, pairs: u64) {
    let folder = tempfile::tempdir().unwrap();
    let mut station = Station::start(&folder.path().join("data"));
    let mut bare =
        OpenOptions::new().append(true).create(true).open(folder.path().join("bare")).unwrap();
    let mut reader = station.feed.read(None);
    let (mut ours, mut floor) = (Vec::new(), Vec::new());
    for _ in 0..pairs {
        // The gap between two commits of an idle bench is over: a lone reading goes at once.
        clock::pause_ms(101);
        let began = clock::now();
        let at = now();
        let written = station.event(Event::Bytes { at, link: "ohm".into(), bytes: FRAME.into() });
        let Some(Part::Lines(lines)) = reader.part() else { panic!("it is in the feed") };
        ours.push(micros(began));
        assert!(lines.last().unwrap().data.contains(r#""raw":"R4 +0.182 Ohm\r\n""#));
        // Disk and processor have rested as long.
        clock::pause_ms(101);
        floor.push(append(&mut bare, &vec![b'x'; written]));
    }
    let (p99, p99_floor) = (quantile(&mut ours, 0.99), quantile(&mut floor, 0.99));
    let (ours, floor) = (quantile(&mut ours, 0.5), quantile(&mut floor, 0.5));
    let beside = |floor, of| format!("bare append + fdatasync {}, ratio {}", ms(floor), of);
    let ratio = |a, b| format!("{:.2}", ratio(a, b));
    table.row(
        "bytes -> durable and in the feed, median",
        ms(ours),
        beside(floor, ratio(ours, floor)),
        "<= 1.5",
    );
    table.row("the same, p99", ms(p99), beside(p99_floor, ratio(p99, p99_floor)), "");
}

fn append(file: &mut File, bytes: &[u8]) -> u64 {
    let began = clock::now();
    file.write_all(bytes).unwrap();
    file.sync_data().unwrap();
    micros(began)
}

fn micros(began: std::time::Instant) -> u64 {
    u64::try_from(began.elapsed().as_micros()).unwrap()
}

#[allow(clippy::cast_precision_loss, reason = "a figure to be read")]
fn ratio(a: u64, b: u64) -> f64 {
    a as f64 / b.max(1) as f64
}

/// What the parts cost by themselves, nanoseconds a frame.
fn pieces(table: &mut Table, frames: u64) {
    let mut wire = Wire::new("val-unit-line").unwrap();
    wire.handle(Now(0), Input::Open);
    let mut readings = 0;
    let began = clock::now();
    for n in 0..frames {
        wire.handle(Now(n), Input::Bytes(black_box(FRAME)));
        while wire.poll().is_some() {
            readings += 1;
        }
    }
    let parse = each(began, frames);
    assert_eq!(readings, frames, "each frame is a reading");
    let began = clock::now();
    let mut copied = 0;
    for _ in 0..frames {
        copied += black_box(FRAME.to_vec()).len();
    }
    let copy = each(began, frames);
    assert_eq!(copied as u64, frames * FRAME.len() as u64);
    table.row("driver, one frame", parse, format!("copying it {copy}"), "");
    hash(table, frames);
}

/// A mark is a SHA-256 that goes on: cloned and finished at every commit.
fn hash(table: &mut Table, frames: u64) {
    let line = vec![b'x'; 200];
    let mut above = Sha256::new();
    let mut marks = Sha256::new();
    let began = clock::now();
    for _ in 0..frames {
        above.update(black_box(&line));
        marks.update(above.clone().finalize());
    }
    let mark = each(began, frames);
    black_box(marks.finalize());
    let began = clock::now();
    for _ in 0..frames {
        above.update(black_box(&line));
    }
    let plain = each(began, frames);
    black_box(above.finalize());
    table.row(
        "SHA-256 of a line of 200 bytes with its mark",
        mark,
        format!("without the mark {plain}"),
        "",
    );
}

#[allow(clippy::cast_precision_loss, reason = "a figure to be read")]
fn each(began: std::time::Instant, count: u64) -> String {
    format!("{:.0} ns", began.elapsed().as_nanos() as f64 / count as f64)
}
