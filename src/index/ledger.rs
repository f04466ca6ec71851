//! What happened to each asset as far as it moves its date, in memory: the newest line of the
//! register is not enough, since an inspection counts by the interval that the register had then.
//!
//! Nothing is folded as it comes: lines of several books come in any order, and what counts is the
//! order of their numbers.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde::Deserialize;
use tapline_protocols::due::{Counting, Day};
use tapline_protocols::fact::{VisitFact, Word};
use tapline_protocols::register::Risk;

use super::IndexFault;
use super::sheet::{Entry, Listed, Sheet};
use super::station::unread;
use super::tally::Tally;
use crate::books::line::wall_text;
use crate::past::course::{Course, done};
use crate::past::day_of;
use crate::past::due::Counted;
use crate::past::visited::Visited;

/// A name that many share.
pub(super) type Name = Arc<str>;

/// All that moves dates.
#[derive(Debug, Default)]
pub(super) struct Ledger {
    /// How the site counted, from these lines of the station book on.
    counts: BTreeMap<u64, Counting>,
    /// By asset, in the order of lines.
    assets: BTreeMap<Name, Vec<(u64, Event)>>,
    /// Texts that several assets share.
    names: BTreeSet<Name>,
    /// Sealed inspections whose book is damaged: they count for nothing.
    damaged: BTreeSet<String>,
    /// Registered assets in the order of their dates, as the site counts; none after a change.
    sorted: Option<Arc<Vec<Standing>>>,
}

#[derive(Debug)]
enum Event {
    Registered(Box<Registered>),
    Visited(Box<(VisitFact, Option<String>)>),
    Inspected(Inspected),
}

/// What the register says of an asset.
#[derive(Debug, Clone)]
pub(super) struct Registered {
    /// Day of the line, UTC.
    day: Option<Day>,
    pub(super) location: Name,
    pub(super) interval: Option<Name>,
    due: Option<Day>,
    pub(super) risk: Option<Risk>,
    /// First day on which it is out of use for good, as the register writes it.
    retired: Option<Name>,
}

/// A signed inspection.
#[derive(Debug, Clone)]
pub(super) struct Inspected {
    pub(super) id: Name,
    pub(super) day: Day,
    pub(super) outcome: Word,
    scheduled: bool,
    by_its_plan: bool,
}

/// How an asset stands.
#[derive(Debug, Clone)]
pub(super) struct Standing {
    pub(super) asset: Name,
    pub(super) registered: Registered,
    pub(super) course: Course,
    pub(super) last: Option<Inspected>,
    /// It was looked for since.
    pub(super) visited: Option<Visited>,
}

/// How an asset stands, as long as the ledger is held.
pub(super) struct Stands<'a> {
    asset: &'a Name,
    pub(super) registered: &'a Registered,
    pub(super) course: Course,
    last: Option<&'a Inspected>,
    visited: Option<Visited>,
}

impl Stands<'_> {
    /// The same, to be kept.
    pub(super) fn standing(self) -> Standing {
        Standing {
            asset: self.asset.clone(),
            registered: self.registered.clone(),
            course: self.course,
            last: self.last.cloned(),
            visited: self.visited,
        }
    }
}

/// As much of an asset's line as is needed.
#[derive(Deserialize)]
struct AssetLine {
    id: String,
    location: String,
    interval: Option<String>,
    due: Option<String>,
    risk: Option<Risk>,
    retired: Option<String>,
}

#[derive(Deserialize)]
struct VisitLine {
    #[serde(flatten)]
    visit: VisitFact,
    by: Option<String>,
}

#[derive(Deserialize)]
struct StartLine {
    #[serde(default)]
    due: Counting,
}

impl Ledger {
    /// Takes a line of the station book.
    pub(super) fn station_line(
        &mut self,
        seq: u64,
        kind: &[u8],
        text: &[u8],
    ) -> Result<(), IndexFault> {
        match kind {
            b"start" => {
                let start: StartLine = serde_json::from_slice(text).map_err(|e| unread(&e))?;
                self.counts.insert(seq, start.due);
                self.sorted = None;
            }
            b"visit" => {
                let VisitLine { visit, by } =
                    serde_json::from_slice(text).map_err(|e| unread(&e))?;
                let asset = visit.asset.clone();
                self.put(&asset, seq, Event::Visited(Box::new((visit, by))));
            }
            b"asset" => {
                let line: AssetLine = serde_json::from_slice(text).map_err(|e| unread(&e))?;
                let registered = Registered {
                    day: wall_text(text).and_then(|t| Day::parse(t.get(..10)?)),
                    location: self.name(&line.location),
                    interval: line.interval.as_deref().map(|text| self.name(text)),
                    due: line.due.as_deref().and_then(Day::parse),
                    risk: line.risk,
                    retired: line.retired.as_deref().map(|text| self.name(text)),
                };
                self.put(&line.id, seq, Event::Registered(Box::new(registered)));
            }
            _ => {}
        }
        Ok(())
    }

    /// Takes a sealed inspection.
    pub(super) fn listed(&mut self, listed: &Listed) {
        let of = &listed.summary;
        match of.damaged {
            true => drop(self.damaged.insert(of.id.clone())),
            false => self.inspected((&of.asset, &of.id, &of.reason), of.verdict, &listed.tally),
        }
    }

    /// As [`Ledger::listed`], as it stands in its sheet.
    pub(super) fn entry(&mut self, sheet: &Sheet<'_>, entry: &Entry) {
        let id = sheet.names[entry.id];
        match entry.damaged {
            true => drop(self.damaged.insert(id.to_owned())),
            false => {
                let names = (sheet.asset(entry), id, sheet.names[entry.reason]);
                self.inspected(names, entry.verdict, &entry.tally);
            }
        }
    }

    /// A sealed inspection can't be read at all.
    pub(super) fn unread(&mut self, id: String) {
        self.damaged.insert(id);
    }

    fn inspected(
        &mut self,
        (asset, id, reason): (&str, &str, &str),
        outcome: Option<Word>,
        tally: &Tally,
    ) {
        let (Some(seq), Some(outcome), Some(day)) = (tally.signed, outcome, day_of(id)) else {
            return;
        };
        if !tally.given {
            return;
        }
        let scheduled = done(day, reason, tally.by_its_plan, outcome).scheduled;
        let by_its_plan = tally.by_its_plan;
        let inspected = Inspected { id: id.into(), day, outcome, scheduled, by_its_plan };
        self.put(asset, seq, Event::Inspected(inspected));
    }

    /// Takes an inspection out again.
    pub(super) fn forget(&mut self, id: &str) {
        self.damaged.remove(id);
        let own = |event: &Event| matches!(event, Event::Inspected(one) if &*one.id == id);
        for events in self.assets.values_mut() {
            events.retain(|(_, event)| !own(event));
        }
        self.sorted = None;
    }

    fn put(&mut self, asset: &str, seq: u64, event: Event) {
        self.sorted = None;
        if !self.assets.contains_key(asset) {
            self.assets.insert(asset.into(), Vec::with_capacity(1));
        }
        let events = self.assets.get_mut(asset).expect("it was just put in");
        match events.binary_search_by_key(&seq, |(seq, _)| *seq) {
            Ok(at) => events[at].1 = event,
            Err(at) => events.insert(at, (seq, event)),
        }
    }

    fn name(&mut self, text: &str) -> Name {
        if let Some(name) = self.names.get(text) {
            return name.clone();
        }
        let name = Name::from(text);
        self.names.insert(name.clone());
        name
    }

    /// Sealed inspections whose book is damaged.
    pub(super) fn damaged(&self) -> Vec<String> {
        self.damaged.iter().cloned().collect()
    }

    /// Registered assets in the order of their dates; what has no date comes last.
    pub(super) fn sorted(&mut self, counted: Counted) -> Arc<Vec<Standing>> {
        if counted != Counted::default() {
            return Arc::new(self.in_order(counted));
        }
        if let Some(sorted) = &self.sorted {
            return sorted.clone();
        }
        let sorted = Arc::new(self.in_order(counted));
        self.sorted = Some(sorted.clone());
        sorted
    }

    fn in_order(&self, counted: Counted) -> Vec<Standing> {
        let all = self.assets.iter();
        let all = all.filter_map(|(id, events)| self.stands(id, events, None, counted));
        let mut all: Vec<Standing> = all.map(|one| one.standing()).collect();
        // They come in the order of their names, and what is alike stays so.
        all.sort_by_key(|one| (one.course.due.is_none(), one.course.due));
        all
    }

    /// Registered assets in the order of their names, as they stood before a day: what was
    /// registered (UTC) or inspected on it or later is left out.
    pub(super) fn before(&self, day: Day) -> impl Iterator<Item = Stands<'_>> {
        let all = self.assets.iter();
        all.filter_map(move |(id, events)| self.stands(id, events, Some(day), Counted::default()))
    }

    /// What came of each look for an asset from one day to before another, by asset.
    pub(super) fn visits(&self, (from, to): (Day, Day)) -> BTreeMap<String, Vec<String>> {
        let mut visits: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for (asset, events) in &self.assets {
            for (_, event) in events {
                let Event::Visited(visit) = event else { continue };
                let day = Day::parse(&visit.0.day);
                if day.is_some_and(|day| day >= from && day < to) {
                    visits.entry(asset.to_string()).or_default().push(visit.0.outcome.clone());
                }
            }
        }
        visits
    }

    fn stands<'a>(
        &self,
        asset: &'a Name,
        events: &'a [(u64, Event)],
        before: Option<Day>,
        counted: Counted,
    ) -> Option<Stands<'a>> {
        let (mut course, mut registered) = (Course::default(), None);
        let (mut last, mut visited) = (None, None);
        for (seq, event) in events {
            let within = |day: Day| before.is_none_or(|before| day < before);
            match event {
                Event::Registered(now) if now.day.is_none_or(within) => {
                    course.register(now.due);
                    registered = Some(now);
                }
                Event::Inspected(one) if within(one.day) => {
                    let interval = registered.and_then(|now| now.interval.as_deref());
                    let counting = self.counts.range(..seq).next_back().map(|(_, c)| *c);
                    let counting = counted.or(counting.unwrap_or_default());
                    course.inspect(interval, counting, &one.done());
                    last = Some(one);
                    visited = None;
                }
                Event::Visited(visit) if Day::parse(&visit.0.day).is_none_or(within) => {
                    let (visit, by) = (visit.0.clone(), visit.1.clone());
                    visited = Some(Visited::then(visited.as_ref(), visit, by));
                }
                _ => {}
            }
        }
        Some(Stands { asset, registered: registered?, course, last, visited })
    }
}

impl Registered {
    /// It is out of use for good on a day, `2026-11-30`.
    pub(super) fn is_retired(&self, day: &str) -> bool {
        self.retired.as_deref().is_some_and(|retired| retired <= day)
    }
}

impl Inspected {
    fn done(&self) -> tapline_protocols::due::Done {
        let reason = if self.scheduled { "scheduled" } else { "other" };
        done(self.day, reason, self.by_its_plan, self.outcome)
    }
}

impl Standing {
    /// A code of the words.
    pub(super) fn state(&self, today: Day) -> &'static str {
        self.course.state(self.registered.interval.is_some(), self.last.is_some(), today)
    }
}
