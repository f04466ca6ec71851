//! Each bit of each frame flipped in turn.
//!
//! A good stream is played with one of its frames damaged by one bit. The reading of that frame
//! is the same, or there is none, or it is another: then it must not be judged, or the style is
//! one of text lines that are sent once and have nothing to check them by. `flips.expect` is the
//! list of all that changed; `UPDATE_EXPECT=1` writes it anew. Read the difference.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::collections::BTreeMap;
use std::fmt::Write as _;

use tapline_drivers::{
    Driver, Function, Indication, Input, Now, Output, Reading, Want, by_name, catalogue,
};

/// A driver, what is sent before each of its frames counts, one good frame, its conversion in
/// milliseconds, and how often each conversion is sent.
struct Sample {
    driver: &'static str,
    frame: &'static [u8],
    every_ms: u64,
    copies: usize,
    /// What a polled instrument answers to other questions than that for a reading.
    else_says: &'static [u8],
}

const fn sample(driver: &'static str, frame: &'static [u8], every_ms: u64) -> Sample {
    Sample { driver, frame, every_ms, copies: 1, else_says: b"" }
}

const SAMPLES: &[Sample] = &[
    sample("val-unit-line", b"R4 +0.182 Ohm\r\n", 400),
    sample("csv-line", b"2026-11-24,09:14:03,0.198,OHM,PE\r\n", 400),
    sample("report", b"resistance: 0.198 Ohm\r\n\x0c", 400),
    sample("seg14", b"\x17\x27\x3d\x48\x55\x63\x7f\x87\x9f\xa0\xb0\xc4\xd0\xe0", 400),
    Sample { copies: 2, ..sample("range11", b"10198300:\r\n", 400) },
    sample("range14", b"001980300020\r\n", 400),
    sample("ascii14", b"+0198 4 \0\0 \x04\r\n", 400),
    sample("nib11", b"019801401\r\n", 400),
    sample("stx16", b"\x0241380300000198\r", 1000),
    sample("envelope", b"\xab\xcd\x10\x061 0.198100000\x02\x88", 400),
    sample("fixed14", b"OH 0.198  Ohm\r", 400),
    sample("fixed14-poll", b"OH 0.198  Ohm\r", 400),
    Sample { else_says: b"305\r", ..sample("letter-poll", b"R1       0.198  OHM  \r", 400) },
    Sample {
        else_says: b"0\rMETER,V1.0,1\r",
        ..sample("ack-code", b"0\r1.987E-1,OHM,NORMAL,NONE\r", 400)
    },
];

/// Drivers whose frames give no reading, or are held to this by another test.
const WITHOUT: &[&str] = &["contacts", "scan", "scpi", "prompt-echo"];

/// Styles of text sent once: a changed digit can't be told. Everything else must not be judged.
const TEXT: &[&str] = &["val-unit-line", "csv-line", "report"];

/// Frames in a run; that in the middle is damaged.
const FRAMES: usize = 9;

/// The readings of a run, each with the number of the frame that its first byte came in.
fn play(sample: &Sample, damaged: &[u8]) -> Vec<(usize, Reading)> {
    let mut driver = by_name(sample.driver).unwrap();
    let mut readings = Vec::new();
    let mut starts: Vec<u64> = Vec::new();
    let (mut now, mut fed, mut sent) = (0, 0, 0);
    driver.handle(Now(0), Input::Want(None));
    if driver.sends() {
        driver.handle(Now(0), Input::Open);
        driver.handle(Now(0), Input::Want(Some(Want { function: Function::Resistance2w })));
    }
    while sent < FRAMES {
        let mut asked = None;
        while let Some(output) = driver.poll() {
            match output {
                Output::Reading(reading) => readings.push(reading),
                Output::Send(message) => asked = Some(message.bytes().to_vec()),
                _ => {}
            }
        }
        let identity = asked.as_ref().is_some_and(|b| !matches!(&b[..], b"D" | b"QM\r"));
        if driver.sends() && asked.is_none() {
            now = driver.deadline().unwrap().0;
            driver.handle(Now(now), Input::Tick);
            continue;
        }
        now += if sample.copies == 2 && sent % 2 == 1 { 46_000 } else { sample.every_ms * 1_000 };
        let bytes = match sent {
            _ if identity => sample.else_says,
            sent if sent == FRAMES / 2 => damaged,
            _ => sample.frame,
        };
        if !identity {
            sent += 1;
            starts.push(fed);
        }
        while let Some(due) = driver.deadline().filter(|due| !driver.sends() && due.0 <= now) {
            driver.handle(due, Input::Tick);
            readings.extend(std::iter::from_fn(|| driver.poll()).filter_map(reading));
        }
        fed += bytes.len() as u64;
        driver.handle(Now(now), Input::Bytes(bytes));
    }
    for _ in 0..2 {
        readings.extend(std::iter::from_fn(|| driver.poll()).filter_map(reading));
        if let Some(due) = driver.deadline() {
            driver.handle(due, Input::Tick);
        }
    }
    let number = |reading: Reading| {
        // A frame begins behind its lead: the last start at or before the last byte.
        let frame = starts.iter().filter(|start| **start < reading.span.to).count();
        (frame - 1, reading)
    };
    readings.into_iter().map(number).collect()
}

fn reading(output: Output<tapline_drivers::Message>) -> Option<Reading> {
    match output {
        Output::Reading(reading) => Some(reading),
        _ => None,
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
    let readings = play(sample, &damaged);
    let mut changed = None;
    for (frame, reading) in &readings {
        let said = says(reading);
        if said == want {
            continue;
        }
        let place = format!("{} byte {at} bit {bit}", sample.driver);
        assert!(reading.why.is_some() || TEXT.contains(&sample.driver), "{place} judged: {said}");
        assert_eq!(*frame, FRAMES / 2, "{place}: another frame says {said}");
        let why = reading.why.unwrap_or("JUDGED");
        assert!(changed.replace(format!("{said} ({why})")).is_none(), "{place}: two readings");
    }
    let whole = readings.iter().filter(|(frame, _)| *frame == FRAMES / 2).count();
    changed.or_else(|| (whole == 0).then(String::new))
}

#[test]
fn a_flipped_bit_gives_the_same_value_or_none_or_one_that_is_not_judged() {
    let mut told = String::new();
    for sample in SAMPLES {
        let good = play(sample, sample.frame);
        assert_eq!(good.len(), FRAMES, "{}: every frame is a reading", sample.driver);
        let want = says(&good[0].1);
        assert!(good.iter().any(|(_, reading)| reading.why.is_none()), "{}", sample.driver);
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
        let without = WITHOUT.contains(&name) || name.starts_with("scpi");
        assert!(there != without, "{name}: put a good frame of it into SAMPLES");
    }
}
