//! What happened to each asset as far as it moves its date, in memory: the newest line of the
//! register is not enough, since an inspection counts by the interval that the register had then.
//!
//! Nothing is folded as it comes: lines of several books come in any order, and what counts is the
//! order of their numbers.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde::Deserialize;
use tapline_protocols::due::{Counting, Day, Every};
use tapline_protocols::fact::{Later, VisitFact, Word};
use tapline_protocols::register::{Ownership, Risk};

use super::IndexFault;
use super::sheet::{Entry, Listed, Sheet};
use super::station::unread;
use super::tally::Tally;
use crate::books::line::wall_text;
use crate::books::place::inspection_of;
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
    /// In the order of their coming.
    assets: Vec<Asset>,
    /// Where each stands there, in the order of their names.
    numbers: BTreeMap<Name, usize>,
    /// Texts that several assets share.
    names: Names,
    /// What inspections are since an addendum to them was sealed.
    later: BTreeMap<String, Later>,
    /// Sealed inspections whose book is damaged: they count for nothing.
    damaged: BTreeSet<String>,
    /// Registered assets in the order of their dates, by how they are counted; none after a change.
    sorted: BTreeMap<Counted, Arc<Vec<Stand>>>,
}

/// An asset, and what happened to it in the order of lines.
#[derive(Debug)]
struct Asset {
    id: Name,
    events: Vec<(u64, Event)>,
}

#[derive(Debug)]
enum Event {
    Registered(Box<Registered>),
    Visited(Box<(VisitFact, Option<String>)>),
    Inspected(Inspected),
}

/// Texts by their numbers.
#[derive(Debug, Default)]
struct Names {
    numbers: BTreeMap<Name, usize>,
    list: Vec<Name>,
}

/// What the register says of an asset; texts by their numbers.
#[derive(Debug)]
pub(super) struct Registered {
    /// Day of the line, UTC.
    day: Option<Day>,
    description: usize,
    /// The same place has the same number.
    pub(super) location: usize,
    /// As it is written, and as it is understood.
    interval: Option<(usize, Option<Every>)>,
    due: Option<Day>,
    pub(super) risk: Option<Risk>,
    /// First day on which it is out of use for good, as the register writes it.
    retired: Option<usize>,
    ownership: Option<Ownership>,
    /// Day on which it goes back, as the register writes it.
    return_by: Option<usize>,
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

/// How an asset stands, in few bytes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stand {
    /// The number of the asset.
    asset: usize,
    /// Its event that registered it.
    registered: usize,
    /// It was inspected.
    inspected: bool,
    pub(super) course: Course,
}

/// How an asset stands, to be kept and shown.
#[derive(Debug, Clone)]
pub(super) struct Standing {
    pub(super) asset: Name,
    pub(super) description: Name,
    pub(super) location: Name,
    pub(super) interval: Option<Name>,
    pub(super) risk: Option<Risk>,
    pub(super) course: Course,
    pub(super) last: Option<Inspected>,
    /// It was looked for since.
    pub(super) visited: Option<Visited>,
    /// Whose it is.
    pub(super) ownership: Option<Ownership>,
    /// Day on which it goes back.
    pub(super) return_by: Option<Name>,
}

/// As what is asked for: before a day, or whatever happened; and how days are counted.
pub(super) type As = (Option<Day>, Counted);

/// As much of an asset's line as is needed.
#[derive(Deserialize)]
struct AssetLine {
    id: String,
    description: String,
    location: String,
    interval: Option<String>,
    due: Option<String>,
    risk: Option<Risk>,
    retired: Option<String>,
    ownership: Option<Ownership>,
    return_by: Option<String>,
}

#[derive(Deserialize)]
struct VisitLine {
    #[serde(flatten)]
    visit: VisitFact,
    by: Option<String>,
}

#[derive(Deserialize)]
struct SealedLine {
    id: String,
    later: Option<Later>,
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
                self.sorted.clear();
            }
            b"visit" => {
                let VisitLine { visit, by } =
                    serde_json::from_slice(text).map_err(|e| unread(&e))?;
                let asset = visit.asset.clone();
                self.put(&asset, seq, Event::Visited(Box::new((visit, by))));
            }
            b"sealed" => {
                let line: SealedLine = serde_json::from_slice(text).map_err(|e| unread(&e))?;
                if let Some(later) = line.later {
                    self.added(inspection_of(&line.id), later);
                }
            }
            b"asset" => {
                let line: AssetLine = serde_json::from_slice(text).map_err(|e| unread(&e))?;
                let names = &mut self.names;
                let every = |text: &str| (names.number(text), Every::parse(text));
                let registered = Registered {
                    day: wall_text(text).and_then(|t| Day::parse(t.get(..10)?)),
                    interval: line.interval.as_deref().map(every),
                    description: names.number(&line.description),
                    location: names.number(&line.location),
                    due: line.due.as_deref().and_then(Day::parse),
                    risk: line.risk,
                    retired: line.retired.as_deref().map(|text| names.number(text)),
                    ownership: line.ownership,
                    return_by: line.return_by.as_deref().map(|text| names.number(text)),
                };
                self.put(&line.id, seq, Event::Registered(Box::new(registered)));
            }
            _ => {}
        }
        Ok(())
    }

    /// Something was added to an inspection: it may be of another asset, or have come to something
    /// else.
    fn added(&mut self, id: &str, later: Later) {
        let mut first = None;
        for asset in &mut self.assets {
            let events = &mut asset.events;
            let own = |event: &Event| matches!(event, Event::Inspected(one) if &*one.id == id);
            let at = events.iter().position(|(_, event)| own(event));
            if let Some((seq, Event::Inspected(one))) = at.map(|at| events.remove(at)) {
                first = Some((seq, one));
            }
        }
        if let Some((seq, one)) = first {
            self.put(&later.asset, seq, Event::Inspected(one.since(&later)));
        }
        self.later.insert(id.to_owned(), later);
    }

    /// What an inspection is since an addendum to it was sealed.
    pub(super) fn later(&self, id: &str) -> Option<&Later> {
        self.later.get(id)
    }

    /// Inspections that are of an asset since they were reattached.
    pub(super) fn moved_to(&self, asset: &str) -> Vec<String> {
        let moved = self.later.iter().filter(|(_, later)| later.by_its_plan.is_some());
        let here = moved.filter(|(_, later)| later.asset == asset);
        here.map(|(id, _)| id.clone()).collect()
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
        match self.later.get(id).cloned() {
            Some(later) => {
                let inspected = inspected.since(&later);
                self.put(&later.asset, seq, Event::Inspected(inspected));
            }
            None => self.put(asset, seq, Event::Inspected(inspected)),
        }
    }

    /// Takes an inspection out again.
    pub(super) fn forget(&mut self, id: &str) {
        self.damaged.remove(id);
        let own = |event: &Event| matches!(event, Event::Inspected(one) if &*one.id == id);
        for asset in &mut self.assets {
            asset.events.retain(|(_, event)| !own(event));
        }
        self.sorted.clear();
    }

    fn put(&mut self, asset: &str, seq: u64, event: Event) {
        self.sorted.clear();
        let number = match self.numbers.get(asset) {
            Some(number) => *number,
            None => {
                let (id, number) = (Name::from(asset), self.assets.len());
                self.assets.push(Asset { id: id.clone(), events: Vec::with_capacity(1) });
                self.numbers.insert(id, number);
                number
            }
        };
        let events = &mut self.assets[number].events;
        match events.binary_search_by_key(&seq, |(seq, _)| *seq) {
            Ok(at) => events[at].1 = event,
            Err(at) => events.insert(at, (seq, event)),
        }
    }

    /// Sealed inspections whose book is damaged.
    pub(super) fn damaged(&self) -> Vec<String> {
        self.damaged.iter().cloned().collect()
    }

    /// Registered assets in the order of their dates; what has no date comes last.
    pub(super) fn sorted(&mut self, counted: Counted) -> Arc<Vec<Stand>> {
        if let Some(sorted) = self.sorted.get(&counted) {
            return sorted.clone();
        }
        let sorted = Arc::new(self.in_order(counted));
        self.sorted.insert(counted, sorted.clone());
        sorted
    }

    fn in_order(&self, counted: Counted) -> Vec<Stand> {
        let mut all: Vec<Stand> = self.all((None, counted)).collect();
        // They come in the order of their names, and what is alike stays so.
        all.sort_by_key(|one| (one.course.due.is_none(), one.course.due));
        all
    }

    /// Registered assets in the order of their names, as they stood before a day: what was
    /// registered (UTC) or inspected on it or later is left out.
    pub(super) fn before(&self, day: Day) -> impl Iterator<Item = Stand> {
        self.all((Some(day), Counted::default()))
    }

    fn all(&self, so: As) -> impl Iterator<Item = Stand> {
        self.numbers.values().filter_map(move |asset| self.place(*asset, so))
    }

    /// What came of each look for an asset from one day to before another, by asset.
    pub(super) fn visits(&self, (from, to): (Day, Day)) -> BTreeMap<String, Vec<String>> {
        let mut visits: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for asset in &self.assets {
            for (_, event) in &asset.events {
                let Event::Visited(visit) = event else { continue };
                let day = Day::parse(&visit.0.day);
                if day.is_some_and(|day| day >= from && day < to) {
                    visits.entry(asset.id.to_string()).or_default().push(visit.0.outcome.clone());
                }
            }
        }
        visits
    }

    /// What happened to an asset, as it is asked for.
    fn events(&self, asset: usize, before: Option<Day>) -> impl Iterator<Item = (usize, &Event)> {
        let within = move |day: Day| before.is_none_or(|before| day < before);
        let events = self.assets[asset].events.iter().enumerate();
        events.map(|(at, (_, event))| (at, event)).filter(move |(_, event)| match event {
            Event::Registered(now) => now.day.is_none_or(within),
            Event::Inspected(one) => within(one.day),
            Event::Visited(visit) => {
                before.is_none() || Day::parse(&visit.0.day).is_none_or(within)
            }
        })
    }

    /// `None`: it is not registered.
    fn place(&self, asset: usize, (before, counted): As) -> Option<Stand> {
        let (mut course, mut registered, mut inspected) = (Course::default(), None, false);
        for (at, event) in self.events(asset, before) {
            match event {
                Event::Registered(now) => {
                    course.register(now.due);
                    registered = Some((at, now));
                }
                Event::Inspected(one) => {
                    let every = registered.and_then(|(_, now)| now.interval?.1);
                    let seq = self.assets[asset].events[at].0;
                    let counting = self.counts.range(..seq).next_back().map(|(_, c)| *c);
                    course.inspect(every, counted.or(counting.unwrap_or_default()), &one.done());
                    inspected = true;
                }
                Event::Visited(_) => {}
            }
        }
        Some(Stand { asset, registered: registered?.0, inspected, course })
    }

    /// The name of an asset.
    pub(super) fn id(&self, place: &Stand) -> &Name {
        &self.assets[place.asset].id
    }

    /// What the register said of an asset then.
    pub(super) fn registered(&self, place: &Stand) -> &Registered {
        match &self.assets[place.asset].events[place.registered].1 {
            Event::Registered(registered) => registered,
            _ => unreachable!("a place is made from the event that registers it"),
        }
    }

    /// A text by its number.
    pub(super) fn name(&self, number: usize) -> &Name {
        &self.names.list[number]
    }

    /// How it stands to a day: a code of the words.
    pub(super) fn state(&self, place: &Stand, today: Day) -> &'static str {
        let has_interval = self.registered(place).interval.is_some();
        place.course.state(has_interval, place.inspected, today)
    }

    /// It is out of use for good on a day, `2026-11-30`.
    pub(super) fn is_retired(&self, place: &Stand, day: &str) -> bool {
        self.registered(place).retired.is_some_and(|retired| **self.name(retired) <= *day)
    }

    /// How an asset stands, to be shown; `before` as its place was found.
    pub(super) fn standing(&self, place: &Stand, before: Option<Day>) -> Standing {
        let (mut last, mut visited) = (None, None);
        for (_, event) in self.events(place.asset, before) {
            match event {
                Event::Registered(_) => {}
                Event::Inspected(one) => (last, visited) = (Some(one.clone()), None),
                Event::Visited(visit) => {
                    let (visit, by) = (visit.0.clone(), visit.1.clone());
                    visited = Some(Visited::then(visited.as_ref(), visit, by));
                }
            }
        }
        let registered = self.registered(place);
        Standing {
            asset: self.id(place).clone(),
            description: self.name(registered.description).clone(),
            location: self.name(registered.location).clone(),
            interval: registered.interval.map(|(text, _)| self.name(text).clone()),
            risk: registered.risk,
            course: place.course,
            last,
            visited,
            ownership: registered.ownership,
            return_by: registered.return_by.map(|text| self.name(text).clone()),
        }
    }
}

impl Names {
    fn number(&mut self, text: &str) -> usize {
        if let Some(number) = self.numbers.get(text) {
            return *number;
        }
        let (name, number) = (Name::from(text), self.list.len());
        self.list.push(name.clone());
        self.numbers.insert(name, number);
        number
    }
}

impl Inspected {
    /// As an addendum left it.
    fn since(self, later: &Later) -> Inspected {
        let by_its_plan = later.by_its_plan.unwrap_or(self.by_its_plan);
        Inspected { outcome: later.outcome, by_its_plan, ..self }
    }

    fn done(&self) -> tapline_protocols::due::Done {
        let reason = if self.scheduled { "scheduled" } else { "other" };
        done(self.day, reason, self.by_its_plan, self.outcome)
    }
}

impl Standing {
    /// A code of the words.
    pub(super) fn state(&self, today: Day) -> &'static str {
        self.course.state(self.interval.is_some(), self.last.is_some(), today)
    }
}
