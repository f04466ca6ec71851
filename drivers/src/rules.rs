//! The rules of [`crate::driver`], held against every built-in driver.
//!
//! Method: a script of reads, ticks, wants and openings is played twice, once with the reads as
//! they are and once cut to pieces, and every output is checked on the way.

use alloc::vec::Vec;

use proptest::prelude::*;

use crate::catalogue::{AnyDriver, by_name, names};
use crate::described::one_of_each;
use crate::driver::{Driver, Input, Message, Output, Want};
use crate::reading::{Function, Indication, Now, Span};
use crate::unit::Unit;

#[derive(Debug, Clone)]
enum Event {
    Open,
    Bytes(Vec<u8>),
    /// A tick a microsecond before the deadline.
    Early,
    /// A tick at the deadline.
    Due,
    Want(Option<Want>),
    /// Time passes and nothing is heard of it.
    Pass(u64),
}

/// What instruments, scanners and broken cables send: at least one good line of every driver.
const FRAGMENTS: &[&[u8]] = &[
    b"R4 +0.182 Ohm\r\n",
    b"DCV -1.2 mV\n",
    b"R4 OL Ohm\r",
    b"3 REL ON\r\n",
    b"C 1010\r\n",
    b"+1.82E-01\r\n",
    b"9.9E37\n",
    b"0,\"No error\"\r\n",
    b"-113,\"Undefined header\"\n",
    b"GENERIC,METER,1,1.0\r\n",
    b"\"FRES +1.0E+01,+3.0E-06\"\n",
    b"VOLT\n",
    b"]C0P-0107\r\n",
    b".TL-SIGN-T\r",
    b"]C18018950110153123456781\r\n",
    b"P-0107\t",
    b"\r",
    b"\n",
    b"\0",
    b"\x17\x27\x3d\x48\x55\x63\x7f\x87\x9f\xa0\xb0\xc4\xd0\xe0",
    b"10198300:\r\n",
    b"001980300020\r\n",
    b"+0198 4 \0\0 \x04\r\n",
    b"019801401\r\n",
    b"\x0241380300000198\r",
    b"\xab\xcd\x10\x061 0.198100000\x02\x88",
    b"OH 0.198  Ohm\r",
    b"2026-11-24,09:14:03,0.198,OHM,PE\r\n",
    b"resistance: 5 Ohm\r\n\x0c",
    b"T1      -199.9  C    \r",
    b"0042\r",
    b"R1\r\n+0.1987E+0\r\n=>\r\n",
    b"0\r1.987E-1,OHM,NORMAL,NONE\r",
    b"R4 +0.1",
    b"+1.7E-03 VDC\r\n",
    b"+1.8E-01,0,1\r\n",
    b"READ,CHAN,STAT\n",
    b"#15a\n\r\nb\n",
    b"#18ab",
    b"\"a\nb\"\n",
    b"\"a\r\n",
    b"R4 0.00000000000000000000001 mOhm\r\n",
];

fn event() -> impl Strategy<Value = Event> {
    let want = |function, live| Some(Want { function, live });
    let wants = [
        None,
        want(Function::Resistance4w, false),
        want(Function::Resistance4w, true),
        want(Function::VoltageAc, false),
        want(Function::VoltageAc, true),
    ];
    let fragments = prop::collection::vec(prop::sample::select(FRAGMENTS), 0..6);
    prop_oneof![
        1 => Just(Event::Open),
        8 => fragments.prop_map(|list| Event::Bytes(list.concat())),
        1 => prop::collection::vec(any::<u8>(), 0..300).prop_map(Event::Bytes),
        1 => (0..9_000_usize).prop_map(|n| Event::Bytes(alloc::vec![b'x'; n])),
        2 => Just(Event::Early),
        4 => Just(Event::Due),
        1 => prop::sample::select(wants.to_vec()).prop_map(Event::Want),
        2 => (0..400_000_u64).prop_map(Event::Pass),
    ]
}

/// A driver, its clock, and how far its stream is covered.
struct Run {
    driver: AnyDriver,
    now: u64,
    fed: u64,
    covered: u64,
    in_flight: bool,
    out: Vec<Output<Message>>,
}

fn span(output: &Output<Message>) -> Option<Span> {
    match output {
        Output::Reading(reading) => Some(reading.span),
        Output::Scan(scan) => Some(scan.span),
        Output::Contacts(contacts) => Some(contacts.span),
        Output::Note(note) => Some(note.span),
        Output::Identity(identity) => Some(identity.span),
        Output::Ready(_) | Output::Send(_) => None,
    }
}

impl Run {
    fn new(name: &str) -> Run {
        Run::of(by_name(name).unwrap())
    }

    fn of(driver: AnyDriver) -> Run {
        Run { driver, now: 0, fed: 0, covered: 0, in_flight: false, out: Vec::new() }
    }

    fn play(&mut self, event: &Event, cut: usize) {
        self.now += 100;
        match event {
            Event::Open => self.open(),
            Event::Bytes(bytes) => {
                for read in bytes.chunks(cut) {
                    self.fed += read.len() as u64;
                    self.handle(Input::Bytes(read));
                }
            }
            Event::Early => self.early(),
            Event::Pass(time) => self.now += time,
            Event::Due => {
                if let Some(deadline) = self.driver.deadline() {
                    self.now = self.now.max(deadline.0);
                    self.in_flight = false;
                    self.handle(Input::Tick);
                }
            }
            Event::Want(want) => {
                self.handle(Input::Want(*want));
            }
        }
    }

    /// What was held is given up as one note, and the spans begin at zero.
    fn open(&mut self) {
        self.in_flight = false;
        self.driver.handle(Now(self.now), Input::Open);
        if self.covered < self.fed {
            let Some(Output::Note(note)) = self.driver.poll() else { panic!("no note") };
            assert_eq!(note.word, "held");
            assert_eq!((note.span.from, note.span.to), (self.covered, self.fed));
        }
        (self.fed, self.covered) = (0, 0);
        self.drain();
    }

    fn early(&mut self) {
        let before = self.driver.deadline();
        let Some(early) = before.map(|at| at.0 - 1).filter(|at| *at >= self.now) else { return };
        self.driver.handle(Now(early), Input::Tick);
        assert_eq!(self.driver.poll(), None);
        assert_eq!(self.driver.deadline(), before);
    }

    fn handle(&mut self, input: Input<'_>) {
        self.driver.handle(Now(self.now), input);
        self.drain();
    }

    fn drain(&mut self) {
        assert!(self.driver.queued() <= 64);
        while let Some(output) = self.driver.poll() {
            assert!(self.driver.queued() <= 64);
            self.check(&output);
            self.out.push(output);
        }
        assert!(self.covered <= self.fed);
        assert!(self.fed - self.covered <= 4096, "holds {}", self.fed - self.covered);
    }

    fn check(&mut self, output: &Output<Message>) {
        if let Some(span) = span(output) {
            assert_eq!(span.from, self.covered, "a gap or an overlap at {output:?}");
            assert!(span.from <= span.to);
            self.covered = span.to;
            self.in_flight &= span.from == span.to;
        }
        if let Output::Reading(reading) = output {
            let number = reading.indication.number();
            assert!(number.is_none_or(|number| reading.unit.holds(number)), "{reading:?}");
            assert!(Unit::from_ucum(reading.unit.ucum()).is_some(), "{reading:?}");
        }
        if let Output::Send(message) = output {
            assert!(self.driver.sends());
            assert!(!self.in_flight, "two messages in flight: {message:?}");
            // Of the messages of `scpi` only queries are answered.
            let query = message.bytes().contains(&b'?');
            self.in_flight = query || !self.driver.name().starts_with("scpi");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]

    #[test]
    fn spans_tile_whatever_arrives_and_cuts_change_nothing(
        script in prop::collection::vec(event(), 0..40), cut in 1..30_usize,
    ) {
        for name in names() {
            let (mut whole, mut pieces) = (Run::new(name), Run::new(name));
            for event in &script {
                whole.play(event, usize::MAX);
                pieces.play(event, cut);
                prop_assert_eq!(whole.driver.deadline(), pieces.driver.deadline());
            }
            prop_assert_eq!(whole.out, pieces.out, "{}", name);
        }
    }

    /// Events around good frames of the description, so that readings come in between.
    #[test]
    fn described_drivers_keep_the_rules(
        script in prop::collection::vec((event(), 0..3_usize), 0..40), cut in 1..30_usize,
    ) {
        for (about, frame) in one_of_each() {
            let mut whole = Run::of(AnyDriver::described(&about));
            let mut pieces = Run::of(AnyDriver::described(&about));
            for (event, frames) in &script {
                for event in [event.clone(), Event::Bytes(frame.repeat(*frames))] {
                    whole.play(&event, usize::MAX);
                    pieces.play(&event, cut);
                }
                prop_assert_eq!(whole.driver.deadline(), pieces.driver.deadline());
            }
            prop_assert_eq!(whole.out, pieces.out, "{}", about.name);
        }
    }
}

#[test]
fn described_drivers_understand_their_frames_drop_the_rest_and_only_listen() {
    for (about, frame) in one_of_each() {
        let mut run = Run::of(AnyDriver::described(&about));
        assert!(!run.driver.sends(), "{}", about.name);
        run.play(&Event::Bytes(frame.repeat(3)), usize::MAX);
        run.play(&Event::Due, 1);
        let read = |out: &&Output<Message>| matches!(out, Output::Reading(_));
        assert_eq!(run.out.iter().filter(read).count(), 3, "{}: {:?}", about.name, run.out);
        for _ in 0..100 {
            run.play(&Event::Bytes(alloc::vec![b'7'; 4096]), usize::MAX);
        }
        run.play(&Event::Bytes(b"\n".to_vec()), 1);
        run.play(&Event::Due, 1);
        assert_eq!(run.covered, run.fed, "{}", about.name);
        assert_eq!(run.out.iter().filter(read).count(), 3, "{}", about.name);
    }
}

#[test]
fn a_read_full_of_short_lines_does_not_pile_up() {
    for name in names() {
        let mut run = Run::new(name);
        run.play(&Event::Open, 1);
        run.play(&Event::Bytes(b"1\n".repeat(2000)), usize::MAX);
        run.play(&Event::Due, 1);
        // What reads no lines drops them, up to 256 bytes at a time.
        assert!(run.out.len() >= 15, "{name}");
    }
}

#[test]
fn an_endless_line_is_noted_piece_by_piece() {
    for name in names() {
        let mut run = Run::new(name);
        for _ in 0..100 {
            run.play(&Event::Bytes(alloc::vec![b'7'; 4096]), usize::MAX);
        }
        run.play(&Event::Bytes(b"\n".to_vec()), 1);
        run.play(&Event::Due, 1);
        assert_eq!(run.covered, run.fed, "{name}");
        assert!(!run.out.iter().any(|output| matches!(output, Output::Reading(_))));
    }
}

#[test]
fn every_driver_understands_one_of_the_fragments() {
    for name in names() {
        let mut run = Run::new(name);
        for fragment in FRAGMENTS {
            run.play(&Event::Bytes(fragment.to_vec()), usize::MAX);
            run.play(&Event::Due, 1);
        }
        let noted = |output: &Output<Message>| match output {
            Output::Note(note) => matches!(note.word, "malformed" | "too_long"),
            _ => false,
        };
        let all = run.out.iter().all(noted);
        assert!(!all, "{name}: put a line that it understands into FRAGMENTS");
    }
}

/// Drivers with an allow-list of their own. A driver that talks to an instrument gets in here after
/// a second pair of eyes has read that list; one that only listens never does.
const MAY_SEND: &[&str] = &[
    "scpi",
    "scpi-remote",
    "scpi-lang",
    "scpi-elements",
    "scpi-tcp",
    "scpi-remote-clear",
    "scpi-twice",
    "scpi-remote-twice",
    "scpi-list",
    "scpi-low-ohm-8",
    "scpi-low-ohm-9",
    "scpi-auto",
    "fixed14-poll",
    "letter-poll",
    "prompt-echo",
    "ack-code",
];

#[test]
fn a_driver_that_listens_only_says_so_and_every_name_is_found() {
    for name in names() {
        let driver = by_name(name).unwrap();
        let may = MAY_SEND.contains(&name);
        assert_eq!(driver.sends(), may, "{name}: `sends` in catalogue.rs against MAY_SEND here");
        assert!(driver.version() > 0, "{name}: versions begin with 1");
        assert!(driver.period_ms() <= 60_000, "{name}: the period is in milliseconds");
        let plain = name.bytes().all(|b| matches!(b, b'a'..=b'z' | b'0'..=b'9' | b'-'));
        assert!(plain, "{name}: names are of small letters, digits and `-`");
        assert_eq!(names().filter(|other| *other == name).count(), 1, "{name} stands twice");
    }
    assert!(by_name("SCPI").is_none());
    assert_eq!(by_name("val-unit-line").map(|driver| driver.period_ms()), Some(400));
}

#[test]
fn a_flipped_bit_gives_one_other_digit_at_most() {
    // Text has no checksum, so a flip may give another digit. That apart, a line with a flipped
    // bit has its value or none: no digit is dropped, no point, sign, unit or function changed.
    let sent = b"R4 -1.182 Ohm\r\n";
    let mut readings = 0;
    for (at, bit) in (0..sent.len()).flat_map(|at| (0..8).map(move |bit| (at, bit))) {
        let mut bytes = sent.to_vec();
        bytes[at] ^= 1 << bit;
        let mut run = Run::new("val-unit-line");
        run.play(&Event::Bytes(bytes), usize::MAX);
        run.play(&Event::Due, 1);
        for output in run.out {
            let Output::Reading(reading) = output else { continue };
            let Indication::Value(number) = reading.indication else { panic!("{reading:?}") };
            let text = number.text();
            let other = text.bytes().zip(*b"-1.182").filter(|(a, b)| a != b).count();
            assert!(text.len() == 6 && other <= 1, "{text}");
            assert_eq!((reading.function, reading.unit.ucum()), (Function::Resistance4w, "Ohm"));
            readings += 1;
        }
    }
    assert!(readings > 0);
}
