//! What stored lines add up to, for checkers: folded from the lines alone, apart from the core.

use std::collections::{BTreeMap, BTreeSet};

use tapline::books::Line;
use tapline::books::line::raw_bytes;
use tapline::station::event::BookId;
use tapline::station::register::Register;
use tapline_drivers::Now;
use tapline_protocols::Fact;
use tapline_protocols::fact::{Given, In, ReadingId, StepFact, SwitchFact};
use tapline_protocols::inspection::Inspection;
use tapline_protocols::plan::Switch;
use tapline_protocols::register::Known;

/// Everything that was stored.
#[derive(Default)]
pub(crate) struct Ledger {
    /// Last line.
    pub(crate) last: u64,
    /// Lines as stored, by book.
    pub(crate) texts: BTreeMap<BookId, Vec<String>>,
    pub(crate) shadows: BTreeMap<String, Shadow>,
    pub(crate) register: Register,
    /// State of each link since the last start.
    pub(crate) links: BTreeMap<String, String>,
    /// What was said to each link since it last said something.
    pub(crate) asked: BTreeMap<String, u32>,
    /// The stream of each link since its last tap.
    pub(crate) streams: BTreeMap<String, Stream>,
    /// Bytes in `in` lines since the last start that were not compared yet, by link.
    pub(crate) stored: BTreeMap<String, Vec<u8>>,
}

/// A link's bytes since its tap.
#[derive(Debug, Clone)]
pub(crate) struct Stream {
    pub(crate) book: BookId,
    pub(crate) length: u64,
    /// Stamp of the last line with bytes.
    pub(crate) boot_us: u64,
    /// Offset of the first byte and number of each line.
    lines: Vec<(u64, u64)>,
}

impl Stream {
    /// The line that a byte stands in.
    pub(crate) fn line_of(&self, offset: u64) -> Option<u64> {
        self.lines.iter().rev().find(|(at, _)| *at <= offset).map(|(_, seq)| *seq)
    }
}

/// One inspection, folded from its stored lines alone.
#[derive(Default)]
pub(crate) struct Shadow {
    pub(crate) inspection: Inspection,
    pub(crate) bench: String,
    /// It changed since it was compared.
    pub(crate) fresh: bool,
    /// Where each reading belongs.
    pub(crate) place: BTreeMap<ReadingId, Option<String>>,
    /// Readings that a value was made of.
    pub(crate) spent: BTreeSet<ReadingId>,
    /// Captured values: their step, and whether they count.
    pub(crate) values: BTreeMap<u64, (String, bool)>,
    pub(crate) seqs: BTreeSet<u64>,
    /// The plan's step of each expanded one.
    pub(crate) of: BTreeMap<String, String>,
    /// Which step was active from which line on.
    turns: Vec<(u64, Option<String>)>,
    /// Lines where a null was asked for, with its place `null/L-1`.
    pub(crate) nulls: Vec<(u64, String)>,
    /// Something is energised, as far as the lines say.
    pub(crate) live: bool,
    /// Nobody watched since, or it was not said that hands are off.
    pub(crate) closed: bool,
    meters: BTreeMap<String, String>,
    meter_of_link: BTreeMap<String, String>,
    pub(crate) free: BTreeMap<String, Free>,
}

/// What was seen of an instrument since its last capture.
#[derive(Default)]
pub(crate) struct Free {
    captured: bool,
    act: bool,
    /// Released readings in a row, and the most of them.
    row: u32,
    most: u32,
}

impl Free {
    /// It may capture: a release or an act was seen, or there was no capture before.
    pub(crate) fn may(&self) -> bool {
        !self.captured || self.act || self.most >= 2
    }
}

impl Ledger {
    /// Takes a line as stored.
    pub(crate) fn apply(&mut self, book: &BookId, line: &Line, text: &str) {
        self.last = line.seq;
        self.texts.entry(book.clone()).or_default().push(text.trim_end().into());
        match &line.fact {
            Fact::Tap(tap) => {
                let stream =
                    Stream { book: book.clone(), length: 0, boot_us: 0, lines: Vec::new() };
                self.streams.insert(tap.link.clone(), stream);
            }
            Fact::In(read) => self.read(line, read),
            Fact::Out(out) => *self.asked.entry(out.link.clone()).or_default() += 1,
            _ => {}
        }
        match book {
            BookId::Station => {
                self.register.apply(line.seq, line.at, &line.fact);
                self.link(&line.fact);
            }
            BookId::Inspection(id) => {
                self.shadows.entry(id.clone()).or_default().apply(line);
            }
            BookId::Idle(_) => {}
        }
    }

    /// A station starts with what is on disk: no link is up, no byte is on its way.
    pub(crate) fn begin_life(&mut self) {
        self.links.clear();
        self.streams.clear();
        self.stored.clear();
    }

    fn link(&mut self, fact: &Fact) {
        match fact {
            Fact::Link(link) => {
                if link.state == "down" {
                    self.streams.remove(&link.link);
                }
                if link.state != "unread" {
                    self.links.insert(link.link.clone(), link.state.clone());
                }
            }
            Fact::Start(_) => self.links.clear(),
            _ => {}
        }
    }

    fn read(&mut self, line: &Line, read: &In) {
        let bytes = raw_bytes(&read.raw).unwrap_or_default();
        if let Some(stream) = self.streams.get_mut(&read.link) {
            if !bytes.is_empty() {
                self.asked.remove(&read.link);
                stream.boot_us = line.at.boot_us;
            }
            stream.lines.push((read.at, line.seq));
            stream.length = read.at + bytes.len() as u64;
        }
        self.stored.entry(read.link.clone()).or_default().extend(bytes);
    }

    /// Inspections that are open on a bench: active ones, or those that rest.
    pub(crate) fn on(&self, bench: &str, parked: bool) -> Vec<&str> {
        let here = |(_, one): &(&String, &Shadow)| {
            one.bench == bench && !one.closed && one.inspection.record().parked == parked
        };
        self.shadows.iter().filter(here).map(|(id, _)| id.as_str()).collect()
    }
}

impl Shadow {
    fn apply(&mut self, line: &Line) {
        let (seq, now) = (line.seq, Now(line.at.boot_us));
        self.inspection.apply(seq, now, &line.fact, line.by.as_deref());
        self.fresh = true;
        match &line.fact {
            Fact::Open(open) => {
                self.bench = open.inspection.as_ref().map(|o| o.bench.clone()).unwrap_or_default();
            }
            Fact::Resume(resume) => self.bench.clone_from(&resume.bench),
            Fact::Given(given) => self.given(given),
            Fact::In(read) => self.read(seq, read),
            Fact::Step(step) => self.step(seq, step),
            Fact::Act(act) => {
                self.free.values_mut().for_each(|free| free.act = true);
                match act.what.as_str() {
                    "live" => self.live = true,
                    "dead" => self.live = false,
                    _ if act.step.starts_with("null/") => self.nulls.push((seq, act.step.clone())),
                    _ => {}
                }
            }
            Fact::Switch(switch) => {
                self.free.values_mut().for_each(|free| free.act = true);
                self.live = energised(switch).unwrap_or(self.live);
            }
            Fact::Value(value) => {
                self.spent.extend(value.from.iter().copied());
                self.values.insert(seq, (value.step.clone(), true));
                let meter = self.meter(&value.step);
                self.free.insert(meter, Free { captured: true, ..Free::default() });
            }
            Fact::Drop(drop) if !drop.in_force => {
                if let Some((_, counts)) = self.values.get_mut(&drop.value) {
                    *counts = false;
                }
            }
            Fact::Sign(_) | Fact::End(_) => self.closed = true,
            _ => {}
        }
        self.seqs.insert(seq);
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
                    self.meters.insert(step.step.clone(), meter);
                    self.of.insert(step.step.clone(), step.of.clone());
                }
            }
            _ => {}
        }
    }

    /// The instrument that measures a step.
    pub(crate) fn meter(&self, step: &str) -> String {
        self.meters.get(step).cloned().unwrap_or_default()
    }

    fn read(&mut self, seq: u64, line: &In) {
        let meter = self.meter_of_link.get(&line.link).cloned().unwrap_or_default();
        let free = self.free.entry(meter).or_default();
        for (i, read) in (0u32..).zip(&line.read) {
            self.place.insert((seq, i), read.s.clone());
            let lifted = released(read.i.as_deref(), read.v.as_deref());
            free.row = if lifted { free.row + 1 } else { 0 };
            free.most = free.most.max(free.row);
        }
    }

    fn step(&mut self, seq: u64, step: &StepFact) {
        let was = self.active_at(seq);
        let is = match step.state.as_str() {
            "active" => Some(step.step.clone()),
            "repeat" => None,
            _ => was.filter(|active| *active != step.step),
        };
        self.turns.push((seq, is));
    }

    /// The step that was active before a line.
    pub(crate) fn active_at(&self, seq: u64) -> Option<String> {
        self.turns.iter().rev().find(|(turn, _)| *turn < seq)?.1.clone()
    }
}

/// What contacts say of the supply.
fn energised(switch: &SwitchFact) -> Option<bool> {
    let word = switch.set.get(&Switch::Supply).filter(|_| switch.known == Known::Witnessed)?;
    Some(word == "on")
}

/// Overload, or ten times the largest limit of protective earth (0.3 ohm).
fn released(indication: Option<&str>, value: Option<&str>) -> bool {
    let far = |value: &str| value.trim_start_matches('-').parse::<f64>().is_ok_and(|v| v > 3.0);
    matches!(indication, Some("overload" | "above")) || value.is_some_and(far)
}
