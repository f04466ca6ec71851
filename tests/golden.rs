//! Every capture in `captures/` through its driver, compared with its `.expect` file.
//!
//! Each is played whole, byte by byte and in random cuts of a fixed seed: what comes out must be
//! the same. What the driver sends must be what the capture says was sent, in that order.
//!
//! What a capture is stands in `src/capture.rs`; `driver` is one of the headers that are needed.
//!
//! `UPDATE_EXPECT=1 cargo test --test golden` writes the `.expect` files anew, but only where the
//! driver's version rose; a file that is not there yet is written. To change a capture itself,
//! delete its `.expect` file.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use tapline::capture::{self, Deed, Happened};
use tapline::cli::decode::decode_capture;
use tapline::config::drivers;
use tapline::told::reading::render;
use tapline_drivers::{AnyDriver, Driver, Input, Now, Output, by_name};

#[derive(Debug, Clone)]
enum Event {
    In(Vec<u8>),
    Done(Deed),
}

struct Capture {
    head: BTreeMap<String, String>,
    events: Vec<(u64, Event)>,
    sent: Vec<Vec<u8>>,
}

/// The header lines that each capture has.
const HEAD: [&str; 4] = ["kind", "driver", "link", "source"];

fn read(path: &Path) -> Capture {
    let name = path.file_name().unwrap().to_string_lossy().into_owned();
    let text = fs::read_to_string(path).unwrap();
    let found = capture::Capture::read(&text).unwrap_or_else(|fault| panic!("{name}: {fault}"));
    let head = found.head.into_iter().collect();
    let mut capture = Capture { head, events: Vec::new(), sent: Vec::new() };
    for (at, happened) in found.events {
        match happened {
            Happened::In(bytes) => capture.events.push((at, Event::In(bytes))),
            Happened::Sent(bytes) => capture.sent.push(bytes),
            Happened::Station(text) => {
                let deed = Deed::parse(&text);
                let deed = deed.unwrap_or_else(|why| panic!("{name}: `{text}`: {why}"));
                capture.events.push((at, Event::Done(deed)));
            }
        }
    }
    for key in HEAD {
        let there = capture.head.get(key).is_some_and(|text| !text.is_empty());
        assert!(there, "{name}: begin with lines `# key: text` for {}", HEAD.join(", "));
    }
    let driver = &capture.head["driver"];
    let known: Vec<_> = tapline_drivers::catalogue::names().collect();
    let there = by_name(driver).is_some() || drivers::is_path(driver);
    assert!(there, "{name}: no driver `{driver}` in catalogue.rs, only {}", known.join(", "));
    capture
}

/// The driver of a capture: a built-in one, or a file that describes one.
fn driver_of(capture: &Capture) -> AnyDriver {
    let name = &capture.head["driver"];
    if !drivers::is_path(name) {
        return by_name(name).expect("a built-in driver");
    }
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
    let described = drivers::load(&file).unwrap_or_else(|faults| panic!("{}", faults.join("\n")));
    AnyDriver::described(&described.description)
}

/// One run through a driver: what it said as JSON lines, and what it sent.
struct Run {
    driver: AnyDriver,
    stream: Vec<u8>,
    said: Vec<String>,
    sent: Vec<Vec<u8>>,
    /// The bytes of each reading, contact state and scan that was taken.
    believed: Vec<Vec<u8>>,
}

impl Run {
    fn play(capture: &Capture, cuts: &mut dyn FnMut() -> usize) -> Run {
        let driver = driver_of(capture);
        let mut run = Run { driver, stream: vec![], said: vec![], sent: vec![], believed: vec![] };
        for (at, event) in &capture.events {
            run.ticks(*at);
            match event {
                Event::In(bytes) => {
                    let mut rest = bytes.as_slice();
                    while !rest.is_empty() {
                        let (read, after) = rest.split_at(cuts().clamp(1, rest.len()));
                        run.stream.extend(read);
                        run.handle(*at, Input::Bytes(read));
                        rest = after;
                    }
                }
                Event::Done(Deed::Open) => {
                    run.handle(*at, Input::Open);
                    run.stream.clear();
                }
                Event::Done(Deed::Want(want)) => run.handle(*at, Input::Want(*want)),
                Event::Done(Deed::Wait) => {}
            }
        }
        run
    }

    /// Every deadline up to a moment.
    fn ticks(&mut self, until: u64) {
        while let Some(Now(deadline)) = self.driver.deadline().filter(|at| at.0 <= until) {
            self.handle(deadline, Input::Tick);
        }
    }

    fn handle(&mut self, at: u64, input: Input<'_>) {
        self.driver.handle(Now(at), input);
        while let Some(output) = self.driver.poll() {
            if let Output::Send(message) = &output {
                self.sent.push(message.bytes().to_vec());
            }
            let span = match &output {
                Output::Reading(reading) => Some(reading.span),
                Output::Contacts(contacts) => Some(contacts.span),
                Output::Scan(scan) if scan.refused.is_none() => Some(scan.span),
                _ => None,
            };
            if let Some(span) = span {
                let [from, to] = [span.from, span.to].map(|place| usize::try_from(place).unwrap());
                self.believed.push(self.stream[from..to].to_vec());
            }
            self.said.push(render(self.driver.name(), &output, &self.stream));
        }
    }

    fn expect(&self) -> String {
        let head = format!("# driver: {} version {}", self.driver.name(), self.driver.version());
        [&[head][..], &self.said].concat().join("\n") + "\n"
    }
}

/// A small generator (xorshift, Marsaglia 2003): the same cuts on every machine.
fn random_cuts(mut state: u64) -> impl FnMut() -> usize {
    move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        usize::try_from(state % 13 + 1).unwrap()
    }
}

fn captures() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/captures");
    let files = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let mut list: Vec<_> = files.filter(|path| path.extension() == Some("cap".as_ref())).collect();
    list.sort();
    list
}

fn compare(path: &Path, run: &Run) {
    let file = path.with_extension("expect");
    let (got, want) = (run.expect(), fs::read_to_string(&file).unwrap_or_default());
    if got == want {
        return;
    }
    let same_version = got.lines().next() == want.lines().next();
    let name = file.display();
    assert!(
        !same_version,
        "{name}: the driver says something else under the same version. If that is meant, raise \
         its VERSION, then UPDATE_EXPECT=1.\n--- expected\n{want}--- got\n{got}"
    );
    let update = std::env::var_os("UPDATE_EXPECT").is_some();
    assert!(
        update,
        "{name} is missing or of another version. `UPDATE_EXPECT=1 cargo test --test golden` \
         writes it; read it then, it is what the driver claims:\n{got}"
    );
    fs::write(&file, got).unwrap();
}

#[test]
fn captures_say_what_they_said_however_they_are_cut() {
    let list = captures();
    assert!(list.len() >= 8, "the captures are there");
    for path in list {
        let capture = read(&path);
        let name = path.display();
        let whole = Run::play(&capture, &mut || usize::MAX);
        assert_eq!(whole.sent, capture.sent, "{name}: what is sent");
        let bytewise = Run::play(&capture, &mut || 1);
        assert_eq!(bytewise.said, whole.said, "{name}: byte by byte");
        for seed in 1..=20 {
            let cut = Run::play(&capture, &mut random_cuts(seed));
            assert_eq!(cut.said, whole.said, "{name}: cuts of SEED={seed}");
        }
        compare(&path, &whole);
    }
}

/// Whoever decodes a capture is told what the station was told, and last what silence ends.
#[test]
fn decode_says_what_the_station_hears() {
    for path in captures() {
        let text = fs::read_to_string(&path).unwrap();
        let said = Run::play(&read(&path), &mut || usize::MAX).said;
        let decoded =
            decode_capture(driver_of(&read(&path)), &capture::Capture::read(&text).unwrap());
        assert_eq!(decoded[..said.len()], said, "{}", path.display());
    }
}

#[test]
fn two_copies_of_a_capture_say_everything_twice() {
    for path in captures() {
        let capture = read(&path);
        let (last, _) = capture.events.last().unwrap();
        let later =
            capture.events.iter().map(|(at, event)| (last + 60_000_000 + at, event.clone()));
        let events = capture.events.iter().cloned().chain(later).collect();
        let twice = Capture { events, head: capture.head.clone(), sent: vec![] };
        let readings = |capture: &Capture| {
            let said = Run::play(capture, &mut || usize::MAX).said;
            let about = |line: &String| line.contains("\"indication\"") || line.contains("\"aim\"");
            said.into_iter().filter(about).collect::<Vec<_>>()
        };
        let once = readings(&capture);
        assert_eq!(readings(&twice), [&once[..], &once].concat(), "{}", path.display());
    }
}

/// A port with parity gives a damaged byte as FF 00 and the byte (termios(3), PARMRK).
#[test]
fn a_byte_that_came_damaged_is_part_of_no_reading() {
    for path in captures() {
        let capture = read(&path);
        for (place, (_, event)) in capture.events.iter().enumerate() {
            let Event::In(bytes) = event else { continue };
            for at in 0..bytes.len() {
                let mut events = capture.events.clone();
                let marked = [&bytes[..at], &[0xff, 0], &bytes[at..]].concat();
                events[place].1 = Event::In(marked);
                let damaged = Capture { events, head: capture.head.clone(), sent: vec![] };
                for raw in Run::play(&damaged, &mut || usize::MAX).believed {
                    let marked = raw.windows(2).any(|pair| pair == [0xff, 0]);
                    let name = path.display();
                    assert!(!marked, "{name}, byte {at} of event {place}: {raw:x?} was believed");
                }
            }
        }
    }
}

#[test]
fn every_driver_has_a_capture_and_every_capture_says_what_it_is() {
    let heads: Vec<_> = captures().iter().map(|path| read(path).head).collect();
    for name in tapline_drivers::catalogue::names() {
        let there = heads.iter().any(|head| head["driver"] == name);
        assert!(there, "no capture for {name}: put one into tests/captures, see drivers/README.md");
    }
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib/drivers");
    for file in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
        if file.extension() != Some("toml".as_ref()) {
            continue;
        }
        let name = format!("contrib/drivers/{}", file.file_name().unwrap().to_str().unwrap());
        assert!(heads.iter().any(|head| head["driver"] == name), "no capture for {name}");
    }
}
