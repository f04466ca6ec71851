//! What a wire can do wrong, to each driver in turn: many frames in one read, each frame twice, an
//! answer that comes too late, a line without an end, and what instruments send for no value.
//! Flipped bits and noise have tests of their own.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod samples;

use samples::{SAMPLES, Sample};
use tapline_drivers::{
    AnyDriver, Driver, Function, Indication, Input, Now, Output, Reading, Want, by_name, catalogue,
};

/// A driver on a line, and everything it said that is no message.
struct Wire {
    driver: AnyDriver,
    now: u64,
    fed: u64,
    said: Vec<Output<tapline_drivers::Message>>,
}

impl Wire {
    /// Opened, a resistance wanted, and past the frame that is not believed for being the first.
    fn new(name: &str) -> Wire {
        let mut wire = Wire { driver: by_name(name).unwrap(), now: 0, fed: 0, said: Vec::new() };
        if wire.driver.sends() {
            let want = Want { function: Function::Resistance2w, live: false };
            wire.driver.handle(Now(0), Input::Open);
            wire.driver.handle(Now(0), Input::Want(Some(want)));
        }
        wire
    }

    fn feed(&mut self, bytes: &[u8]) -> Option<Vec<u8>> {
        self.fed += bytes.len() as u64;
        self.driver.handle(Now(self.now), Input::Bytes(bytes));
        self.drain()
    }

    /// What was asked last, if anything.
    fn drain(&mut self) -> Option<Vec<u8>> {
        let mut asked = None;
        while let Some(output) = self.driver.poll() {
            match output {
                Output::Send(message) => asked = Some(message.bytes().to_vec()),
                other => self.said.push(other),
            }
        }
        asked
    }

    /// Every deadline up to a moment.
    fn until(&mut self, then: u64) -> Option<Vec<u8>> {
        let mut asked = None;
        while let Some(due) = self.driver.deadline().filter(|due| due.0 <= then) {
            self.now = self.now.max(due.0);
            self.driver.handle(Now(self.now), Input::Tick);
            asked = self.drain().or(asked);
        }
        self.now = then;
        asked
    }

    /// Politely on until a reading is asked for; so many seconds at most.
    fn until_asked(&mut self, sample: &Sample, seconds: u64) -> bool {
        let mut asked = self.drain();
        let end = self.now + seconds * 1_000_000;
        loop {
            if asked.as_deref().is_some_and(samples::is_reading) {
                return true;
            }
            let answer = asked.as_deref().and_then(|question| sample.answer(question));
            asked = match (answer, self.driver.deadline()) {
                (Some(answer), _) => {
                    self.now += 5_000;
                    self.feed(answer)
                }
                (None, Some(due)) if due.0 <= end => self.until(due.0.max(self.now)),
                (None, _) => return false,
            };
        }
    }

    fn readings(&self) -> impl Iterator<Item = &Reading> {
        self.said.iter().filter_map(|output| match output {
            Output::Reading(reading) => Some(reading),
            _ => None,
        })
    }

    /// Readings that would be judged.
    fn judged(&self) -> impl Iterator<Item = &Reading> {
        self.readings().filter(|reading| reading.why.is_none())
    }
}

fn talkers() -> impl Iterator<Item = &'static Sample> {
    SAMPLES.iter().filter(|sample| !by_name(sample.driver).unwrap().sends())
}

/// Polled ones; `scpi-auto` is told to talk and then talks.
fn polled() -> impl Iterator<Item = &'static Sample> {
    let polls =
        |sample: &&Sample| by_name(sample.driver).unwrap().sends() && sample.driver != "scpi-auto";
    SAMPLES.iter().filter(polls)
}

/// Two hundred frames in one read: as many readings in their order, all with the read's stamp.
#[test]
fn two_hundred_glued_frames_are_two_hundred_readings() {
    for sample in talkers() {
        let mut wire = Wire::new(sample.driver);
        wire.now = 7_000_000;
        wire.feed(&sample.frame.repeat(200));
        wire.until(8_000_000);
        let mut spans = Vec::new();
        for output in &wire.said {
            let (span, at) = match output {
                Output::Reading(reading) => {
                    assert_eq!(reading.first, reading.last);
                    (reading.span, reading.first)
                }
                Output::Contacts(contacts) => (contacts.span, contacts.at),
                Output::Scan(scan) => (scan.span, scan.at),
                // The same code within a second is one scan.
                Output::Note(note) if note.word == "duplicate" => (note.span, note.at),
                _ => continue,
            };
            assert_eq!(at, Now(7_000_000), "{}", sample.driver);
            spans.push(span);
        }
        assert_eq!(spans.len(), 200, "{}", sample.driver);
        assert!(spans.is_sorted_by(|a, b| a.to <= b.from), "{}", sample.driver);
        let same =
            wire.readings().all(|one| one.indication == wire.readings().next().unwrap().indication);
        assert!(same, "{}", sample.driver);
    }
}

/// A polled instrument that answers one question two hundred times has answered it once.
#[test]
fn of_glued_answers_one_is_taken_at_most() {
    for sample in polled() {
        let mut wire = Wire::new(sample.driver);
        assert!(wire.until_asked(sample, 10), "{}", sample.driver);
        wire.now += 100_000;
        wire.feed(&sample.frame.repeat(200));
        assert!(wire.judged().count() <= 1, "{}", sample.driver);
    }
}

/// Every answer comes twice: what is judged is the answer to its own question, and comes once.
/// The copy comes at once or within the gap. `scpi-tcp` leaves none: there a copy that comes after
/// the next question is its answer, which nothing on the wire tells.
#[test]
fn answers_that_come_twice_shift_nothing() {
    let cases = polled().flat_map(|sample| [0, 5_000].map(|us| (sample, us)));
    for (sample, later_us) in cases.filter(|(s, us)| s.driver != "scpi-tcp" || *us == 0) {
        let mut wire = Wire::new(sample.driver);
        let mut from = Vec::new();
        for _ in 0..12 {
            assert!(wire.until_asked(sample, 10), "{}", sample.driver);
            wire.now += 100_000;
            from.push(wire.fed);
            wire.feed(sample.frame);
            wire.until(wire.now + later_us);
            wire.feed(sample.frame);
        }
        for reading in wire.judged() {
            let first =
                from.iter().any(|from| reading.span.from <= *from && *from < reading.span.to);
            assert!(first, "{} {later_us}: a copy was judged: {reading:?}", sample.driver);
        }
    }
}

/// Talk-only instruments that say each frame twice: both are there with their bytes, and where a
/// conversion is known to be sent twice, one of the two counts.
#[test]
fn frames_that_come_twice_are_both_kept() {
    for sample in talkers().filter(|sample| !matches!(sample.driver, "contacts" | "scan")) {
        let mut wire = Wire::new(sample.driver);
        for n in 1..=10 {
            wire.until(n * sample.every_ms * 1_000);
            wire.feed(sample.frame);
            wire.until(n * sample.every_ms * 1_000 + 46_000);
            wire.feed(sample.frame);
        }
        assert_eq!(wire.readings().count(), 20, "{}", sample.driver);
        let judged = wire.judged().count();
        match sample.driver {
            "range11" => assert_eq!(judged, 10),
            _ => assert!(judged >= 19, "{}: {judged}", sample.driver),
        }
    }
}

/// The answer comes when the instrument was given up, after what is asked then, or with it.
#[test]
fn an_answer_after_the_time_out_is_never_judged() {
    for (sample, after_ms) in polled().flat_map(|sample| [1, 500, 1_900].map(|ms| (sample, ms))) {
        let place = format!("{} {after_ms} ms", sample.driver);
        let mut wire = Wire::new(sample.driver);
        assert!(wire.until_asked(sample, 10), "{place}");
        let silent = |wire: &Wire| {
            wire.said.iter().any(|said| matches!(said, Output::Note(note) if note.word == "silent"))
        };
        let mut asked = None;
        while !silent(&wire) {
            let due = wire.driver.deadline().unwrap().0;
            asked = wire.until(due);
        }
        let later = wire.now + after_ms * 1_000;
        // What is asked meanwhile is answered behind the late one: answers keep their order.
        asked = wire.until(later).or(asked);
        let late = wire.fed;
        let mut bytes = sample.frame.to_vec();
        bytes.extend(asked.as_deref().and_then(|question| sample.answer(question)).unwrap_or(b""));
        wire.feed(&bytes);
        for _ in 0..3 {
            assert!(wire.until_asked(sample, 30), "{place}: it goes on");
            wire.now += 100_000;
            wire.feed(sample.frame);
        }
        wire.until_asked(sample, 2);
        assert!(wire.judged().all(|reading| reading.span.from > late), "{place}");
        assert!(wire.judged().count() > 0, "{place}: it counts again");
    }
}

/// A line that never ends, and then a good one. `SOAK=1`: ten megabytes each.
#[test]
fn after_an_endless_line_the_next_frame_is_read() {
    let chunks = if std::env::var_os("SOAK").is_some() { 2_560 } else { 64 };
    for sample in SAMPLES {
        let mut wire = Wire::new(sample.driver);
        let polls = polled().any(|other| other.driver == sample.driver);
        assert!(!polls || wire.until_asked(sample, 10), "{}", sample.driver);
        for _ in 0..chunks {
            wire.until(wire.now + 1_000);
            wire.feed(&[b'7'; 4096]);
        }
        assert_eq!(wire.readings().count(), 0, "{}", sample.driver);
        let endless = wire.fed;
        wire.feed(b"\r\n");
        for n in 0..6 {
            assert!(wire.until_asked(sample, 30) || !polls, "{}", sample.driver);
            let copy = sample.copies == 2 && n % 2 == 1;
            wire.until(wire.now + if copy { 46_000 } else { 400_000 });
            wire.feed(sample.frame);
        }
        wire.until_asked(sample, 5);
        let after = wire.said.iter().any(|said| match said {
            Output::Reading(reading) => reading.why.is_none() && reading.span.from > endless,
            Output::Contacts(contacts) => contacts.span.from > endless,
            Output::Scan(scan) => scan.span.from > endless,
            _ => false,
        });
        assert!(after, "{}", sample.driver);
    }
}

/// What each instrument sends with open leads, beyond its range or for want of a value; from the
/// sources that the drivers name.
const NO_VALUE: &[(&str, &[&[u8]])] = &[
    ("scpi", SCPI),
    ("scpi-tcp", SCPI),
    ("scpi-remote", SCPI),
    ("scpi-remote-clear", SCPI),
    ("scpi-twice", SCPI),
    ("scpi-remote-twice", SCPI),
    ("scpi-lang", SCPI),
    ("scpi-elements", SCPI),
    ("scpi-list", &[b"+9.9E+37,+0.0E+00\r\n", b"+9.91E+37,+0.0E+00\r\n", b"OL,+0.0E+00\r\n"]),
    ("scpi-low-ohm-8", &[b"1.0000E+8\r\n", b"+1.0000E+9\r\n", b"-100.000E+6\r\n", b"9.9E37\r\n"]),
    ("scpi-low-ohm-9", &[b"10.0000E+8\r\n", b"+10.0000E+9\r\n", b"-1000.00E+6\r\n"]),
    ("scpi-auto", SCPI),
    ("val-unit-line", &[b"R4 OL Ohm\r\n", b"R4 +9.9E37 Ohm\r\n", b"R2 ---- kOhm\r\n"]),
    ("csv-line", &[b"2026-11-24,09:14:03,OL,OHM,PE\r\n"]),
    ("report", &[b"resistance: OL Ohm\r\n\x0c", b"resistance: ---- Ohm\r\n\x0c"]),
    ("seg14", &[b"\x17\x20\x30\x47\x5d\x6e\x78\x80\x90\xa0\xb2\xc4\xd0\xe0"]),
    ("range11", &[b"54000310:\r\n"]),
    ("range14", &[b"622000310020\r\n"]),
    ("ascii14", &[b"+?0:? 4 \0\0 \x04\r\n"]),
    ("nib11", &[b":0<::1401\r\n"]),
    ("envelope", &[b"\xab\xcd\x10\x066  OL   00000\x02\x77"]),
    ("stx16", &[b"\x02413803^^^^^^^^\r"]),
    ("fixed14", &[b"OH   .OL MOhm\r"]),
    ("fixed14-poll", &[b"OH   .OL MOhm\r"]),
    ("letter-poll", &[b"R1          OL  OHM  \r"]),
    ("ack-code", &[b"0\r9.99E37,OHM,OL,NONE\r", b"0\r1.0,OHM,INVALID,NONE\r"]),
];

const SCPI: &[&[u8]] = &[
    b"+9.90000000E+37\r\n",
    b"-9.9E37\r\n",
    b"9.91E37\r\n",
    b"1E38\r\n",
    b"9.9e+37 OHM\r\n",
    b"INF\r\n",
    b"NAN\r\n",
    b"OVLD\r\n",
    b".OL\r\n",
    b"****\r\n",
    b"----\r\n",
];

#[test]
fn what_stands_for_no_value_is_never_one() {
    for (driver, frames) in NO_VALUE {
        let sample = SAMPLES.iter().find(|sample| sample.driver == *driver).unwrap();
        for frame in *frames {
            let place = format!("{driver}: {}", frame.escape_ascii());
            let mut wire = Wire::new(driver);
            for _ in 0..6 {
                wire.until_asked(sample, 10);
                wire.until(wire.now + if sample.copies == 2 { 46_000 } else { 400_000 });
                wire.feed(frame);
            }
            wire.until_asked(sample, 2);
            assert!(wire.readings().count() > 0, "{place} is shown");
            let value = |one: &Reading| matches!(one.indication, Indication::Value(_));
            assert!(!wire.readings().any(value), "{place}");
        }
    }
    for name in catalogue::names() {
        let there = NO_VALUE.iter().any(|(driver, _)| *driver == name);
        let without = ["contacts", "scan", "prompt-echo"].contains(&name);
        assert!(there != without, "{name}: say what it sends for no value");
    }
}
