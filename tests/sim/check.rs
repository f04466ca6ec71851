//! What must hold after every step, whatever happened.

use std::collections::{BTreeMap, BTreeSet};

use tapline::books::{Crash, Line};
use tapline::station::event::BookId;
use tapline_drivers::Now;
use tapline_protocols::Fact;
use tapline_protocols::fact::{Given, In, ReadingId};
use tapline_protocols::inspection::{Inspection, Record};

use super::world::World;

/// Longest that a byte waits for its commit: two gaps of 20 ms.
const WAITS_US_MAX: u64 = 40_000;

/// Everything that was shown, and what follows from it.
#[derive(Default)]
pub(crate) struct Check {
    books: BTreeMap<BookId, Vec<String>>,
    shadows: BTreeMap<BookId, Shadow>,
    last: u64,
    /// Bytes in `in` lines since the last start, by link.
    stored: BTreeMap<String, Vec<u8>>,
    sealed: BTreeSet<BookId>,
    /// Finished books that were replayed.
    pub(crate) replayed: BTreeSet<BookId>,
    /// How often each kind of line was shown, signatures by their outcome.
    pub(crate) kinds: BTreeMap<String, usize>,
}

/// One inspection, folded from its stored lines alone.
#[derive(Default)]
struct Shadow {
    inspection: Inspection,
    /// Where each reading belongs.
    place: BTreeMap<ReadingId, Option<String>>,
    seqs: BTreeSet<u64>,
    instruments: BTreeMap<String, String>,
    /// By instrument: a release or an act was seen since its last capture; before the first one
    /// nothing is asked.
    free: BTreeMap<String, Free>,
    meter_of_link: BTreeMap<String, String>,
}

#[derive(Default)]
struct Free {
    captured: bool,
    act: bool,
    /// Released readings in a row, and the most of them since.
    row: u32,
    most: u32,
}

impl Check {
    /// After a step: everything is committed, nothing is on its way.
    pub(crate) fn step(&mut self, world: &mut World) {
        for (book, text) in std::mem::take(&mut world.fresh) {
            let line = Line::read(text.as_bytes()).unwrap();
            assert!(line.seq > self.last, "numbers rise over the station: {text}");
            self.last = line.seq;
            self.books.entry(book.clone()).or_default().push(text);
            *self.kinds.entry(kind(&line.fact)).or_default() += 1;
            self.line(&book, &line);
        }
        if world.halted {
            return;
        }
        for (link, delivered) in &world.delivered {
            if link != "scan" {
                let stored = self.stored.get(link).cloned().unwrap_or_default();
                let same = delivered.iter().map(|(_, byte)| byte).zip(&stored).all(|(a, b)| a == b);
                assert!(same && stored.len() <= delivered.len(), "bytes of {link} in order");
                let waits = delivered.get(stored.len()).map_or(world.now, |(at, _)| *at);
                assert!(world.now <= waits + WAITS_US_MAX, "bytes of {link} are all stored");
            }
        }
        // While a line waits for its commit, what lives is ahead of what is stored.
        let waits = world.core.last_seq() != self.last;
        for (book, shadow) in self.shadows.iter().filter(|_| !waits) {
            let BookId::Inspection(id) = book else { continue };
            if let Some(record) = world.core.record(id) {
                same(id, shadow.inspection.record(), record);
            }
        }
        self.replay_sealed(world);
    }

    fn line(&mut self, book: &BookId, line: &Line) {
        if let Fact::In(read) = &line.fact {
            let bytes = tapline::books::line::raw_bytes(&read.raw).unwrap();
            assert!(bytes.len() <= 4096);
            self.stored.entry(read.link.clone()).or_default().extend(bytes);
        }
        if let BookId::Inspection(_) = book {
            self.shadows.entry(book.clone()).or_default().line(line);
            let finished = matches!(line.fact, Fact::Sign(_) | Fact::End(_));
            if finished && !self.replayed.contains(book) {
                self.sealed.insert(book.clone());
            }
        }
    }

    /// Every finished book gives its facts once more.
    fn replay_sealed(&mut self, world: &World) {
        for book in std::mem::take(&mut self.sealed) {
            let lines = world.lines(&book);
            replays(&lines, &book);
            self.replayed.insert(book);
        }
    }

    /// At the end: days of idle bytes and open inspections replay, too.
    pub(crate) fn end(&mut self, world: &World) {
        for book in self.books.keys().filter(|book| **book != BookId::Station) {
            let lines = world.lines(book);
            replays(&lines, book);
        }
    }

    /// What a power cut now would leave holds everything that was shown.
    pub(crate) fn durable(&self, world: &World) {
        let disk = world.disk.image();
        disk.crash(Crash::LoseAll);
        let (books, _) = super::world::start(&disk, world.now, 99, true);
        for (book, shown) in &self.books {
            let lines = books.lines(book).unwrap().map(Result::unwrap);
            let texts = lines.map(|line| String::from_utf8(line.bytes().unwrap()).unwrap());
            let texts: Vec<String> = texts.take(shown.len()).collect();
            let same = texts.iter().zip(shown).all(|(a, b)| a.trim_end() == b.trim_end());
            assert!(same && texts.len() == shown.len(), "{book:?} lost what was shown");
        }
    }

    /// After the power came back: what was shown is there, what is there is taken as shown.
    pub(crate) fn after_crash(&mut self, world: &mut World) {
        let before = std::mem::take(&mut self.books);
        let (kinds, replayed) =
            (std::mem::take(&mut self.kinds), std::mem::take(&mut self.replayed));
        *self = Check { replayed, kinds, ..Check::default() };
        let fresh: BTreeSet<String> = world.fresh.drain(..).map(|(_, text)| text).collect();
        let mut known: BTreeSet<BookId> = before.keys().cloned().collect();
        known.extend(world.disk.paths().iter().filter_map(|path| book_at(path)));
        let mut all = Vec::new();
        for book in known {
            let lines = world.lines(&book);
            let shown = before.get(&book).map_or(&[][..], Vec::as_slice);
            for (line, text) in lines.iter().zip(shown) {
                let stored = String::from_utf8(line.bytes().unwrap()).unwrap();
                assert_eq!(stored.trim_end(), text.trim_end(), "{book:?} after a power cut");
            }
            assert!(lines.len() >= shown.len(), "{book:?} lost what was shown");
            all.extend(lines.into_iter().map(|line| (line.seq, book.clone(), line)));
        }
        all.sort_by_key(|(seq, ..)| *seq);
        for (seq, book, line) in all {
            self.last = seq;
            let text = String::from_utf8(line.bytes().unwrap()).unwrap();
            self.books.entry(book.clone()).or_default().push(text.trim_end().into());
            self.line(&book, &line);
        }
        let started = |text: &String| !text.contains("\"k\":\"in\"");
        assert!(fresh.iter().all(started), "nothing is read before a link is up");
        self.stored.clear();
    }
}

impl Shadow {
    fn line(&mut self, line: &Line) {
        let now = Now(line.at.boot_us);
        self.inspection.apply(line.seq, now, &line.fact, line.by.as_deref());
        match &line.fact {
            Fact::Given(given) => self.given(given),
            Fact::In(read) => self.read(line.seq, read),
            Fact::Act(_) | Fact::Switch(_) => {
                self.free.values_mut().for_each(|free| free.act = true);
            }
            Fact::Null(null) => self.from(&null.from, &format!("null/{}", null.lead)),
            // A proof that is given up names what was seen, which belongs nowhere.
            Fact::Prove(prove) if line.by.is_none() => {
                self.from(&prove.from, &format!("prove/{}", prove.what));
            }
            Fact::Value(value) => {
                self.from(&value.from, &value.step);
                self.capture(&value.step);
            }
            Fact::Verdict(verdict) => {
                let known = verdict.judged.from.iter().all(|seq| self.seqs.contains(seq));
                assert!(known, "a verdict rests on stored lines: {verdict:?}");
            }
            _ => {}
        }
        self.seqs.insert(line.seq);
    }

    fn given(&mut self, given: &Given) {
        match given {
            Given::Links { list } => {
                for link in list {
                    if let Some(meter) = &link.instrument {
                        self.meter_of_link.insert(link.link.clone(), meter.clone());
                    }
                }
            }
            Given::Steps { list } => {
                for step in list {
                    let meter = step.instrument.clone().unwrap_or_default();
                    let meter = if meter == "LK-1" { "DM-01".into() } else { meter };
                    self.instruments.insert(step.step.clone(), meter);
                }
            }
            _ => {}
        }
    }

    fn read(&mut self, seq: u64, line: &In) {
        let meter = self.meter_of_link.get(&line.link).cloned().unwrap_or_default();
        let free = self.free.entry(meter).or_default();
        for (i, read) in (0u32..).zip(&line.read) {
            assert!(read.s.is_none() || read.why.is_none(), "one place or one reason: {read:?}");
            self.place.insert((seq, i), read.s.clone());
            free.row =
                if released(read.i.as_deref(), read.v.as_deref()) { free.row + 1 } else { 0 };
            free.most = free.most.max(free.row);
        }
    }

    /// Readings of a fact are stored, and belong where the fact says.
    fn from(&self, from: &[ReadingId], place: &str) {
        for id in from {
            let stored = self.place.get(id).unwrap_or_else(|| panic!("{id:?} is not stored"));
            assert_eq!(stored.as_deref(), Some(place), "{id:?} belongs to one place");
        }
    }

    /// Between two captures of one instrument there is a release or an act.
    fn capture(&mut self, step: &str) {
        let meter = self.instruments[step].clone();
        let free = self.free.entry(meter).or_default();
        let may = !free.captured || free.act || free.most >= 2;
        assert!(may, "{step}: the instrument was not released since its last capture");
        *free = Free { captured: true, ..Free::default() };
    }
}

fn kind(fact: &Fact) -> String {
    let fact = serde_json::to_value(fact).unwrap();
    let word = |key: &str| fact[key].as_str().unwrap_or_default().to_string();
    match fact["k"].as_str().unwrap() {
        "sign" => format!("sign {}", word("outcome")),
        kind => kind.to_string(),
    }
}

/// The book of a path; a commit that failed may have made one that nobody was shown.
fn book_at(path: &str) -> Option<BookId> {
    let (folder, name) = path.strip_suffix(".jsonl")?.rsplit_once('/')?;
    Some(match folder {
        "station" => BookId::Station,
        "idle" => BookId::Idle(name.get(..10)?.into()),
        _ => BookId::Inspection(name.into()),
    })
}

/// The record as stored and as it lives are one; else the first lines that differ are told.
fn same(id: &str, stored: &Record, lives: &Record) {
    if stored != lives {
        let (stored, lives) = (format!("{stored:#?}"), format!("{lives:#?}"));
        let differ = stored.lines().zip(lives.lines()).filter(|(a, b)| a != b);
        panic!("{id} as stored and as it lives: {:#?}", differ.take(4).collect::<Vec<_>>());
    }
}

/// The bytes of a book give its facts once more.
pub(crate) fn replays(lines: &[Line], book: &BookId) {
    let mut report = tapline::replay::replay(lines, &super::world::context(1));
    let all = report.differences.len();
    report.differences.truncate(3);
    assert_eq!(report.differences, [], "the first of {all} in the replay of {book:?}");
}

/// Overload, or ten times the largest limit of protective earth (0.3 ohm).
fn released(indication: Option<&str>, value: Option<&str>) -> bool {
    let far = |value: &str| value.trim_start_matches('-').parse::<f64>().unwrap() > 3.0;
    matches!(indication, Some("overload" | "above")) || value.is_some_and(far)
}
