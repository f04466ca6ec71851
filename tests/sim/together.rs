//! Events that waited and are taken together leave the same books as one by one: the same facts
//! with the same stamps, the same bytes each with its moment, the same readings of the same bytes.
//! Only where `in` lines are cut, and when a driver is told that time passed, may differ.

use std::collections::BTreeMap;

use tapline::books::Memory;
use tapline::books::line::raw_bytes;
use tapline::station::event::{BookId, Effect, Event, Origin, Request, Stored};
use tapline::station::{Core, Proved};
use tapline_protocols::Fact;

use super::rng::Rng;
use super::wiring::Station;

const STORIES: u64 = 30;
const EVENTS: u64 = 400;

/// What meters and contacts say, whole, in parts, glued and broken.
const SAID: [(&str, &[u8]); 9] = [
    ("ohm", b"R4 +0.182 Ohm\r\n"),
    ("ohm", b"R4 +0.183 Ohm\r"),
    ("ohm", b"R4 +0.1"),
    ("ohm", b"82 Ohm\r\nR4 OL\r\n"),
    ("ohm", b"\xff\x00?"),
    ("ohm2", b"R4 +0.061 Ohm\r\n"),
    ("ohm2", b"\nR4 +0.0"),
    ("box", b"C 0100\r\n"),
    ("box", b"C 01"),
];

/// Everything that happens, in order; a scan begins an inspection somewhere in it.
fn events(station: &Station, seed: u64) -> Vec<Event> {
    let (mut rng, mut now, mut all) = (Rng::new(seed), 1_000_000, Vec::new());
    let ask = |now: u64, request: Request| {
        let (at, origin, bench) = (station.at(now), Origin::Socket(0), Some("b1".into()));
        let proved = Proved::default();
        Event::Command { at, ticket: now, origin, bench, by: None, request, proved }
    };
    for (what, text) in station.register() {
        all.push(ask(now, Request::import(what, text)));
        now += 1;
    }
    for link in ["ohm", "ohm2", "box", "scan"] {
        all.push(Event::LinkUp { at: station.at(now), link: link.into() });
        now += 1;
    }
    let begins = rng.below(EVENTS);
    for n in 0..EVENTS {
        now += rng.below(60_000);
        let at = station.at(now);
        if n == begins {
            let scans = ["OP-0007\r\n", "P-0107\r\n"].map(|code| Event::Bytes {
                at,
                link: "scan".into(),
                bytes: code.into(),
            });
            all.extend(scans);
            let request = Request::begin(None);
            all.push(ask(now, request));
        } else if rng.once_in(40) {
            let link = || (*rng.clone().one(&["ohm", "ohm2", "box"])).to_owned();
            all.push(Event::LinkDown { at, link: link(), why: "pulled".into() });
            all.push(Event::LinkUp { at, link: link() });
        } else {
            let (link, bytes) = rng.one(&SAID);
            all.push(Event::Bytes { at, link: (*link).into(), bytes: bytes.to_vec() });
        }
    }
    all
}

fn at(event: &Event) -> u64 {
    event.at().boot_us
}

fn core(station: &Station) -> Core {
    let disk = Memory::default();
    station.start(&disk, station.at(1), None).unwrap().core
}

fn lines(core: &mut Core, all: &mut Vec<Stored>) {
    for effect in core.drain() {
        if let Effect::Commit(lines) = effect {
            all.extend(lines);
        }
    }
}

/// Takes them in groups of up to `most`, and comes again when the core wants that.
fn run(station: &Station, events: &[Event], most: u64, rng: &mut Rng) -> Vec<Stored> {
    let (mut core, mut all, mut rest) = (core(station), Vec::new(), events);
    while !rest.is_empty() {
        let size = usize::try_from(1 + rng.below(most)).unwrap().min(rest.len());
        let (group, later) = rest.split_at(size);
        rest = later;
        while let Some(due) = core.deadline().filter(|due| *due < at(&group[0])) {
            core.handle(Event::Deadline { at: station.at(station.since(due)) });
            lines(&mut core, &mut all);
        }
        match group {
            [one] => core.handle(one.clone()),
            _ => core.handle_all(group.to_vec(), station.at(at(&group[size - 1]))),
        }
        lines(&mut core, &mut all);
    }
    core.handle(Event::Stop { at: station.at(at(&events[events.len() - 1])), reason: None });
    lines(&mut core, &mut all);
    assert!(all.windows(2).all(|pair| pair[0].seq + 1 == pair[1].seq), "no number is missing");
    all
}

/// What must be the same.
#[derive(Debug, Default)]
struct Told {
    facts: Vec<(BookId, u64, String)>,
    /// Bytes of a link with their moments; streams and books one after the other.
    bytes: BTreeMap<String, Vec<(BookId, u64, u8)>>,
    /// Readings with the place of their bytes in the stream.
    readings: BTreeMap<String, Vec<(BookId, u64, String)>>,
}

fn told(lines: &[Stored]) -> Told {
    let mut told = Told::default();
    for line in lines {
        let (book, boot_us) = (line.book.clone(), line.at.boot_us);
        let Fact::In(read) = &line.fact else {
            // Torn contacts are found by a tick where none of their bytes comes in time.
            let timed = matches!(&line.fact, Fact::Link(link) if link.state == "unread");
            if !timed && !matches!(line.fact, Fact::Tick(_)) {
                let what = without_numbers(&book, &line.fact);
                told.facts.push((book, boot_us, what));
            }
            continue;
        };
        let (mut cuts, mut moment) = (read.cuts.iter().peekable(), boot_us);
        let bytes = told.bytes.entry(read.link.clone()).or_default();
        for (place, byte) in raw_bytes(&read.raw).unwrap().into_iter().enumerate() {
            if let Some((_, us)) = cuts.next_if(|cut| cut.0 as usize == place) {
                moment = boot_us + us;
            }
            bytes.push((book.clone(), moment, byte));
        }
        let readings = told.readings.entry(read.link.clone()).or_default();
        for one in &read.read {
            let from = read.at.wrapping_add_signed(one.b.0);
            let what = format!("{:?} {:?} {:?} {:?} {:?}", one.f, one.i, one.v, one.s, one.why);
            readings.push((book.clone(), from, what));
        }
    }
    told
}

/// Numbers of lines differ where `in` lines are cut elsewhere, and facts of an inspection name
/// them: of those the kind must do.
fn without_numbers(book: &BookId, fact: &Fact) -> String {
    let text = format!("{fact:?}");
    match book {
        BookId::Inspection(_) => text.split('(').next().unwrap().to_owned(),
        BookId::Station | BookId::Idle(_) => text,
    }
}

fn same<T: PartialEq + std::fmt::Debug>(want: &[T], got: &[T], which: &str) {
    let differs = want.iter().zip(got).find(|(want, got)| want != got);
    assert!(differs.is_none(), "{which}: {differs:?}");
    assert_eq!(want.len(), got.len(), "{which}");
}

#[test]
fn taken_together_they_leave_the_same_books_as_one_by_one() {
    let station = Station { two: true, ..Station::default() };
    for seed in 0..STORIES {
        let events = events(&station, seed);
        let mut rng = Rng::new(seed);
        let one_by_one = told(&run(&station, &events, 1, &mut rng));
        let readings: usize = one_by_one.readings.values().map(Vec::len).sum();
        assert!(readings > 50, "seed {seed}: {readings} readings");
        for most in [3, 16, 256] {
            let together = told(&run(&station, &events, most, &mut rng));
            let which = format!("seed {seed}, up to {most} at once");
            same(&one_by_one.facts, &together.facts, &which);
            for link in one_by_one.bytes.keys() {
                same(&one_by_one.bytes[link], &together.bytes[link], &which);
                same(&one_by_one.readings[link], &together.readings[link], &which);
            }
        }
    }
}
