//! How a verdict came about: the lines of a book that it rests on, from the bytes on.
//!
//! A book is read twice: once for the verdict and what it names, once for the bytes of those
//! readings. What is held are the facts of people and of judgement, never the whole wire.

use std::collections::{BTreeMap, BTreeSet};

use tapline_protocols::Fact;
use tapline_protocols::fact::{Given, In, Read, ReadingId, Tap, VerdictFact};

use crate::books::Line;
use crate::books::line::raw_bytes;
use crate::clock::Stamp;

/// Bytes of a link that are kept for a frame that began in the line before.
const TAIL_MAX: usize = 8_192;

/// First reading of a book: a verdict and what it names.
#[derive(Debug, Default)]
pub struct Named {
    /// Book.
    pub id: String,
    /// Asset.
    pub asset: Option<String>,
    /// Newest verdict of each step of the plan, with its line.
    verdicts: BTreeMap<String, Line>,
    /// Facts that a verdict can name.
    facts: BTreeMap<u64, Line>,
    /// Steps of the plan by expanded step.
    steps: BTreeMap<String, String>,
}

/// A verdict with all that it rests on, in the order of the book.
#[derive(Debug)]
pub struct Rests {
    /// The verdict's line.
    pub line: Line,
    /// The verdict.
    pub verdict: VerdictFact,
    /// Values, answers, nulls, checks.
    pub facts: Vec<Line>,
    /// Readings that those rest on.
    wanted: BTreeSet<ReadingId>,
}

/// One reading with its bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heard {
    /// Link, and the instrument on it.
    pub link: String,
    /// Instrument.
    pub instrument: Option<String>,
    /// Driver and its version.
    pub driver: (String, u32),
    /// When its first byte arrived.
    pub at: Stamp,
    /// Place of its bytes in the link's stream since its `tap`: first, and one past the last.
    pub span: (u64, u64),
    /// Its bytes; fewer than the span has where the frame is longer than what is kept.
    pub bytes: Vec<u8>,
    /// As it was understood.
    pub read: Read,
}

impl Named {
    /// The next line.
    pub fn line(&mut self, line: &Line) {
        match &line.fact {
            Fact::Open(open) => {
                self.id.clone_from(&open.id);
                self.asset = open.inspection.as_ref().map(|opened| opened.asset.clone());
            }
            Fact::Given(Given::Steps { list }) => {
                let pairs = list.iter().map(|one| (one.step.clone(), one.of.clone()));
                self.steps.extend(pairs);
            }
            Fact::Verdict(verdict) => {
                self.verdicts.insert(verdict.step.clone(), line.clone());
            }
            Fact::Value(_) | Fact::Null(_) | Fact::Prove(_) | Fact::Answer(_) => {
                self.facts.insert(line.seq, line.clone());
            }
            _ => {}
        }
    }

    /// Steps of the plan that have a verdict.
    pub fn judged(&self) -> impl Iterator<Item = &str> {
        self.verdicts.keys().map(String::as_str)
    }

    /// What the newest verdict of a step rests on; `step` is one of the plan, or an expanded one of
    /// it. `None` where it has none.
    #[must_use]
    pub fn rests(&self, step: &str) -> Option<Rests> {
        let of = self.steps.get(step).map_or(step, String::as_str);
        let line = self.verdicts.get(of)?;
        let Fact::Verdict(verdict) = &line.fact else { return None };
        let mut named: BTreeSet<u64> = verdict.judged.from.iter().copied().collect();
        named.extend(verdict.judged.chain.iter().flat_map(|link| link.from.iter().copied()));
        let checks = self.facts.values().filter(|check| match &check.fact {
            Fact::Prove(check) => {
                check.step.as_ref().and_then(|one| self.steps.get(one)).is_some_and(|one| one == of)
            }
            _ => false,
        });
        named.extend(checks.map(|check| check.seq).filter(|seq| *seq < line.seq));
        let facts = named.iter().filter_map(|seq| self.facts.get(seq)).cloned();
        let facts: Vec<Line> = facts.collect();
        let wanted = facts.iter().flat_map(|line| from(&line.fact).iter().copied()).collect();
        Some(Rests { line: line.clone(), verdict: (**verdict).clone(), facts, wanted })
    }
}

/// Readings that a fact rests on.
#[must_use]
pub fn from(fact: &Fact) -> &[ReadingId] {
    match fact {
        Fact::Value(value) => &value.from,
        Fact::Null(null) => &null.from,
        Fact::Prove(prove) => &prove.from,
        _ => &[],
    }
}

/// Second reading of a book: the bytes of the readings that are wanted.
#[derive(Debug)]
pub struct Bytes<'a> {
    wanted: &'a BTreeSet<ReadingId>,
    taps: BTreeMap<String, Tapped>,
    found: BTreeMap<ReadingId, Heard>,
}

/// A link with the newest of its bytes.
#[derive(Debug)]
struct Tapped {
    tap: Tap,
    /// Place of the first byte that is held.
    start: u64,
    held: Vec<u8>,
    /// Places from which on bytes have a moment.
    moments: Vec<(u64, Stamp)>,
}

impl<'a> Bytes<'a> {
    /// Before the first line.
    #[must_use]
    pub fn of(rests: &'a Rests) -> Bytes<'a> {
        Bytes { wanted: &rests.wanted, taps: BTreeMap::new(), found: BTreeMap::new() }
    }

    /// The next line.
    pub fn line(&mut self, line: &Line) {
        match &line.fact {
            Fact::Tap(tap) => {
                let (held, moments) = (Vec::new(), Vec::new());
                let tapped = Tapped { tap: tap.clone(), start: 0, held, moments };
                self.taps.insert(tap.link.clone(), tapped);
            }
            Fact::In(arrived) => self.arrived(line, arrived),
            _ => {}
        }
    }

    /// The readings that were found, by their line and place.
    #[must_use]
    pub fn end(self) -> BTreeMap<ReadingId, Heard> {
        self.found
    }

    fn arrived(&mut self, line: &Line, arrived: &In) {
        let Some(tapped) = self.taps.get_mut(&arrived.link) else { return };
        tapped.take(line.at, arrived);
        for (place, read) in (0..).zip(&arrived.read) {
            if self.wanted.contains(&(line.seq, place)) {
                self.found.insert((line.seq, place), tapped.heard(arrived, read));
            }
        }
        tapped.forget();
    }
}

impl Tapped {
    fn take(&mut self, at: Stamp, arrived: &In) {
        if self.start + self.held.len() as u64 != arrived.at {
            // Bytes of another book lie between.
            (self.start, self.held, self.moments) = (arrived.at, Vec::new(), Vec::new());
        }
        self.held.extend(raw_bytes(&arrived.raw).unwrap_or_default());
        self.moments.push((arrived.at, at));
        self.moments.extend(arrived.cuts.iter().map(|(from, micros)| {
            let wall = at.wall_us.saturating_add_unsigned(*micros);
            let stamp = Stamp { wall_us: wall, boot_us: at.boot_us.saturating_add(*micros) };
            (arrived.at + u64::from(*from), stamp)
        }));
    }

    fn heard(&self, arrived: &In, read: &Read) -> Heard {
        let place = |by: i64| arrived.at.saturating_add_signed(by);
        let (from, to) = (place(read.b.0), place(read.b.1));
        let inside = |at: u64| {
            let at = usize::try_from(at.saturating_sub(self.start)).unwrap_or(usize::MAX);
            at.min(self.held.len())
        };
        let at = self.moments.iter().rev().find(|(place, _)| *place <= from);
        Heard {
            link: arrived.link.clone(),
            instrument: self.tap.instrument.clone(),
            driver: (self.tap.driver.clone(), self.tap.driver_version),
            at: at.or(self.moments.first()).map_or(Stamp { wall_us: 0, boot_us: 0 }, |(_, at)| *at),
            span: (from, to),
            bytes: self.held[inside(from)..inside(to)].to_vec(),
            read: read.clone(),
        }
    }

    fn forget(&mut self) {
        let over = self.held.len().saturating_sub(TAIL_MAX);
        self.held.drain(..over);
        self.start += over as u64;
        // The moment of the first byte that is left stays.
        let old = self.moments.iter().take_while(|(place, _)| *place <= self.start).count();
        self.moments.drain(..old.saturating_sub(1));
    }
}
