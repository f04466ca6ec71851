//! Each bit of each frame flipped in turn.
//!
//! A good stream is played with one of its frames damaged by one bit. The reading of that frame
//! is the same, or there is none, or it is another: then it must not be judged, or the style is
//! one of text lines that are sent once and have nothing to check them by: there a value rests on
//! the worse of at least two readings, and the tests of the inspection hold that
//! (`a_digit_that_flipped_in_one_reading_makes_no_value_better`). Four of the 64 flips of a line of
//! contacts are another state: what comes of each in a whole run is in the tests of the inspection
//! (`a_flipped_contact_passes_nothing`). `flips.expect` is the list of all
//! that changed; `UPDATE_EXPECT=1` writes it anew. Read the difference.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod samples;

use std::collections::BTreeMap;
use std::fmt::Write as _;

use samples::{SAMPLES, Sample, is_reading};
use tapline_drivers::{
    AnyDriver, Driver, Function, Indication, Input, Now, Output, Reading, Want, by_name, catalogue,
};

/// Drivers whose frames give no reading.
const WITHOUT: &[&str] = &["prompt-echo"];

/// Text sent once: a changed digit can't be told. Everything else must not be judged.
const TEXT: &[&str] = &["val-unit-line", "csv-line", "report", "contacts", "scan"];

fn is_text(driver: &str) -> bool {
    TEXT.contains(&driver) || (driver.starts_with("scpi") && !driver.ends_with("twice"))
}

/// Frames in a run; that in the middle is damaged.
const FRAMES: usize = 9;

/// What a driver said: where it ends in the stream, what, and why it is not judged.
struct Told {
    to: u64,
    says: String,
    why: Option<&'static str>,
}

/// A run of one driver.
struct Run {
    driver: AnyDriver,
    told: Vec<Told>,
    /// Where in the stream each frame began.
    starts: Vec<u64>,
    now: u64,
    fed: u64,
}

impl Run {
    /// Takes what the driver says; the last message that it sent.
    fn drain(&mut self) -> Option<Vec<u8>> {
        let mut asked = None;
        while let Some(output) = self.driver.poll() {
            match output {
                Output::Reading(reading) => self.told.push(Told {
                    to: reading.span.to,
                    says: says(&reading),
                    why: reading.why,
                }),
                Output::Contacts(contacts) => self.told.push(Told {
                    to: contacts.span.to,
                    says: format!("{:?}", contacts.closed),
                    why: None,
                }),
                Output::Scan(scan) if scan.refused.is_none() => self.told.push(Told {
                    to: scan.span.to,
                    says: format!("{:?} {}", scan.kind, scan.payload().escape_ascii()),
                    why: None,
                }),
                Output::Send(message) => asked = Some(message.bytes().to_vec()),
                _ => {}
            }
        }
        asked
    }

    /// Every deadline up to now.
    fn ticks(&mut self) {
        while let Some(due) = self.driver.deadline().filter(|due| due.0 <= self.now) {
            self.driver.handle(due, Input::Tick);
            self.drain();
        }
    }

    fn feed(&mut self, bytes: &[u8]) {
        self.fed += bytes.len() as u64;
        self.driver.handle(Now(self.now), Input::Bytes(bytes));
    }

    fn frame(&mut self, sample: &Sample, damaged: &[u8]) {
        let sent = self.starts.len();
        self.starts.push(self.fed);
        self.feed(if sent == FRAMES / 2 { damaged } else { sample.frame });
    }
}

/// What a run said, each with the number of the frame that its last byte came in.
fn play(sample: &Sample, damaged: &[u8]) -> Vec<(usize, Told)> {
    let driver = by_name(sample.driver).unwrap();
    let mut run = Run { driver, told: vec![], starts: vec![], now: 0, fed: 0 };
    run.driver.handle(Now(0), Input::Want(None));
    if run.driver.sends() {
        let want = Want { function: Function::Resistance2w, live: false };
        run.driver.handle(Now(0), Input::Open);
        run.driver.handle(Now(0), Input::Want(Some(want)));
    }
    loop {
        let over = run.starts.len() == FRAMES;
        match (run.drain(), run.driver.deadline()) {
            (Some(question), _) if over && is_reading(&question) => break,
            (Some(question), _) => polled(&mut run, sample, damaged, &question),
            (None, Some(due)) if run.driver.sends() => {
                run.now = run.now.max(due.0);
                run.driver.handle(Now(run.now), Input::Tick);
            }
            (None, _) if over => break,
            (None, _) => {
                let copy = sample.copies == 2 && run.starts.len() % 2 == 1;
                run.now += if copy { 46_000 } else { sample.every_ms * 1_000 };
                run.ticks();
                run.frame(sample, damaged);
            }
        }
    }
    run.drain();
    run.now += 200_000;
    run.ticks();
    let Run { told, starts, .. } = run;
    // A frame begins behind its lead: the last start at or before the last byte.
    let number = |to| starts.iter().filter(|start| **start < to).count() - 1;
    told.into_iter().map(|told| (number(told.to), told)).collect()
}

/// The instrument answers.
fn polled(run: &mut Run, sample: &Sample, damaged: &[u8], question: &[u8]) {
    run.now += 100_000;
    if is_reading(question) {
        return run.frame(sample, damaged);
    }
    if let Some(answer) = sample.answer(question) {
        run.feed(answer);
    }
}

fn says(reading: &Reading) -> String {
    let value = match reading.indication {
        Indication::Value(number) => number.text(),
        Indication::Above(number) => format!(">{}", number.text()),
        Indication::Below(number) => format!("<{}", number.text()),
        other => format!("{other:?}"),
    };
    let flags: String = reading.flags.iter().map(|flag| format!(" {flag:?}")).collect();
    format!("{:?} {value} {}{flags}", reading.function, reading.unit.ucum())
}

/// What became of one flip: nothing changed, no reading, or what it says instead.
fn flip(sample: &Sample, at: usize, bit: u8, want: &str) -> Option<String> {
    let mut damaged = sample.frame.to_vec();
    damaged[at] ^= 1 << bit;
    let told = play(sample, &damaged);
    let mut changed: Vec<String> = Vec::new();
    for (frame, Told { says, why, .. }) in &told {
        if says == want {
            continue;
        }
        let place = format!("{} byte {at} bit {bit}", sample.driver);
        assert!(why.is_some() || is_text(sample.driver), "{place} judged: {says}");
        assert_eq!(*frame, FRAMES / 2, "{place}: another frame says {says}");
        let why = why.unwrap_or("JUDGED");
        changed.push(format!("{says} ({why})"));
        // An end in the middle makes two codes of one.
        assert!(changed.len() < 2 || sample.driver == "scan", "{place}: two readings");
    }
    let whole = told.iter().filter(|(frame, _)| *frame == FRAMES / 2).count();
    (whole == 0 || !changed.is_empty()).then(|| changed.join(" and "))
}

#[test]
fn a_flipped_bit_gives_the_same_value_or_none_or_one_that_is_not_judged() {
    let mut told = String::new();
    for sample in SAMPLES {
        let good = play(sample, sample.frame);
        assert_eq!(good.len(), FRAMES, "{}: every frame is a reading", sample.driver);
        let want = good[0].1.says.clone();
        assert!(good.iter().any(|(_, told)| told.why.is_none()), "{}", sample.driver);
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        let mut lines = String::new();
        for (at, bit) in (0..sample.frame.len()).flat_map(|at| (0..8).map(move |bit| (at, bit))) {
            match flip(sample, at, bit, &want) {
                None => *counts.entry("same").or_default() += 1,
                Some(said) if said.is_empty() => *counts.entry("rejected").or_default() += 1,
                Some(said) => {
                    *counts.entry("changed").or_default() += 1;
                    writeln!(lines, "  byte {at} bit {bit}: {said}").unwrap();
                }
            }
        }
        writeln!(told, "{}: {want}: {counts:?}\n{lines}", sample.driver).unwrap();
    }
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/flips.expect");
    if std::env::var_os("UPDATE_EXPECT").is_some() {
        std::fs::write(file, &told).unwrap();
    }
    let want = std::fs::read_to_string(file).unwrap_or_default();
    assert_eq!(told, want, "{file} says otherwise: UPDATE_EXPECT=1, then read the difference");
}

#[test]
fn every_driver_that_reads_frames_has_its_bits_flipped() {
    for name in catalogue::names() {
        let there = SAMPLES.iter().any(|sample| sample.driver == name);
        let without = WITHOUT.contains(&name);
        assert!(there != without, "{name}: put a good frame of it into SAMPLES");
    }
}
