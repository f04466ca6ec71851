//! The core: events in, effects out. It owns no port, no file, no clock.
//!
//! Every change of state is a fact that [`Core::put`] stores and applies; recovery applies the
//! same facts from disk. Order is by `seq`: bytes on their way to a line hold the number of
//! their first byte, and are closed before any other fact is made.

use std::collections::{BTreeMap, BTreeSet};

use tapline_protocols::Fact;
use tapline_protocols::fact::{
    Later, Open, OrderEndFact, ReasonFact, ResumeFact, SealedFact, StartFact,
};
use tapline_protocols::inspection::Record;

use super::bench::Bench;
use super::case::{AFTER_RESTART, Case};
use super::event::{Answer, BookId, Effect, Event, Problem, Stored};
use super::later::Sealing;
use super::library::Library;
use super::link::Link;
use super::outbox::{Outbox, Waiting};
use super::register::Register;
use super::settings::{Context, StationSettings};
use super::watched::before_a_start;
use super::wire::Wire;
use crate::books::Line;
use crate::books::place::{InspectionName, is_addendum};
use crate::clock::{self, Change, Minute, Stamp, Today};

/// What was found on disk at the start.
#[derive(Debug, Clone, Default)]
pub struct Found {
    /// What the station books come to.
    pub station: Register,
    /// Open inspections with their lines.
    pub open: Vec<(String, Vec<Line>)>,
    /// UTC day of the last idle book, and the last `seq` in it.
    pub idle: Option<(String, u64)>,
    /// What books that nobody announced come to: whether their inspection waits for a review, and
    /// what it is since.
    pub left: Vec<(String, Option<Later>, bool)>,
    /// Highest number that an inspection of a day (`20261124`) has, open or sealed.
    pub numbers: BTreeMap<String, u32>,
    /// What is left of the inspections that were sealed last: see [`super::sealed_last`].
    pub sealed: Vec<(String, Vec<Line>)>,
    /// Number and moment, boot-time microseconds, of the newest line of the idle books.
    pub heard: Option<(u64, u64)>,
    /// What books that no line calls sealed yet mean for their orders, by inspection.
    pub ended: BTreeMap<String, OrderEndFact>,
}

/// The station core.
pub struct Core {
    pub(super) settings: StationSettings,
    pub(super) context: Context,
    pub(super) library: Library,
    pub(super) register: Register,
    pub(super) links: BTreeMap<String, Link>,
    pub(super) benches: BTreeMap<String, Bench>,
    pub(super) cases: BTreeMap<String, Case>,
    /// Highest number that was given on a day: none is given twice.
    pub(super) numbers: BTreeMap<String, u32>,
    /// Orders of inspections that were sealed before a line said so.
    pub(super) ended: BTreeMap<String, OrderEndFact>,
    pub(super) idle: Option<String>,
    /// Books that hold the text of a described driver, by its SHA-256.
    pub(super) told: BTreeSet<(BookId, String)>,
    /// Addenda that are being sealed, and what was found sealed and not announced.
    pub(super) sealing: BTreeMap<String, Sealing>,
    pub(super) seq: u64,
    pub(super) outbox: Outbox,
    /// Something changed that is no fact, and the status says it.
    pub(super) unseen: bool,
    pub(super) today: Today,
    minute: Minute,
    /// How often a stream began in a book.
    pub(super) taps: u64,
    /// When the core wants to be called again.
    due_us: Option<u64>,
}

impl Core {
    /// A core that has seen nothing. [`Core::recover`] comes next, also on an empty folder.
    #[must_use]
    pub fn new(settings: StationSettings, context: Context, library: Library) -> Core {
        let links = settings.links.iter().map(|l| (l.id.clone(), Link::new(l.clone())));
        let benches = settings.benches.iter().map(|b| (b.id.clone(), Bench::default()));
        Core {
            links: links.collect(),
            benches: benches.collect(),
            outbox: Outbox::new(settings.commit_ms),
            settings,
            context,
            library,
            register: Register::default(),
            cases: BTreeMap::new(),
            numbers: BTreeMap::new(),
            ended: BTreeMap::new(),
            idle: None,
            told: BTreeSet::new(),
            sealing: BTreeMap::new(),
            unseen: false,
            today: Today::default(),
            minute: Minute::default(),
            taps: 0,
            due_us: None,
            seq: 0,
        }
    }

    /// Takes what is on disk and starts. Inspections in work go on, every instrument spent;
    /// signed ones are sealed now.
    pub fn recover(&mut self, at: Stamp, found: Found) {
        self.register = found.station;
        self.seq = self.seq.max(self.register.seq);
        if let Some((_, seq)) = found.idle {
            // Its book begins anew, with the boot that its stamps count from.
            self.seq = self.seq.max(seq);
        }
        self.numbers = found.numbers;
        for (id, later, waits) in found.left {
            self.sealing.insert(id, Sealing { ticket: None, later, waits });
        }
        self.ended = found.ended;
        // What is newer than every line of the station's last life is of that life.
        let last = self.register.watched.last();
        let mut alive = found.heard.filter(|(seq, _)| last < *seq);
        // Also those whose files were taken elsewhere.
        for id in &self.register.sealed {
            given(&mut self.numbers, id);
        }
        for (id, lines) in found.open {
            let mut case = Case::new(id.clone());
            for line in &lines {
                self.seq = self.seq.max(line.seq);
                if last < line.seq && !before_a_start(&line.fact) {
                    alive = alive.max(Some((line.seq, line.at.boot_us)));
                }
                case.apply(line.seq, line.at, &line.fact, line.by.as_deref());
            }
            given(&mut self.numbers, &id);
            self.cases.insert(id, case);
        }
        let start = StartFact {
            boot: self.context.boot.clone(),
            version: self.context.version.clone(),
            synced: self.context.synced,
            due: self.settings.due,
            wiring: self.settings.wiring.clone(),
            alive: alive.map(|(_, boot_us)| boot_us),
        };
        let step_us = self.set_meanwhile(at);
        self.put_station(at, Fact::Start(start), None);
        if step_us != 0 {
            self.clock_changed(Change { at, step_us, slept_us: 0 });
        }
        self.remember(found.sealed);
        for id in self.cases.keys().cloned().collect::<Vec<_>>() {
            self.go_on(&id, at);
        }
        self.finish(at);
    }

    fn go_on(&mut self, id: &str, at: Stamp) {
        let case = &self.cases[id];
        let (bench, parked, closed) = (case.bench.clone(), case.parked, case.closed);
        if closed {
            self.outbox.behind(Effect::Seal { id: id.into() });
            return;
        }
        if parked || !self.benches.contains_key(&bench) {
            return;
        }
        self.resume(id, &bench, at, AFTER_RESTART);
    }

    /// An open inspection goes on at a bench, after a restart or a rest.
    pub(super) fn resume(&mut self, id: &str, bench: &str, at: Stamp, after: &str) {
        let resume = ResumeFact {
            bench: bench.into(),
            boot: self.context.boot.clone(),
            version: self.context.version.clone(),
            judge: self.context.judge,
            after: after.into(),
            date: Some(self.settings.zone.date(at.wall_us)),
        };
        let by = self.register.logins.get(bench).cloned();
        let seq = self.put_case(id, at, Fact::Resume(resume), by);
        if after != AFTER_RESTART {
            self.bench(bench).relinked = seq;
        }
        let case = self.cases.get_mut(id).expect("it goes on");
        if let Err(faults) = case.inspection.prepare() {
            // It rests, visible and resumable, until a program can read its plan again.
            let texts: Vec<String> = faults.iter().map(ToString::to_string).collect();
            case.faults = faults;
            let park = Fact::Park(ReasonFact { reason: Some(texts.join("; ")) });
            self.put(BookId::Inspection(id.into()), at, park, None);
            return;
        }
        let place = self.bench(bench);
        (place.active, place.check) = (Some(id.into()), None);
        self.settle(id, at);
        self.tap_bench(bench, at);
    }

    /// Takes one event. Call [`Core::drain`] afterwards, and [`Core::deadline`] for when to come
    /// again.
    pub fn handle(&mut self, event: Event) {
        let at = self.event(event);
        self.finish(at);
    }

    /// Takes events that waited together, in their order; commits once, behind all of them, as of
    /// `at`, which is no earlier than any of them. Drivers whose deadline lay between two of them
    /// are told in between.
    pub fn handle_all(&mut self, events: Vec<Event>, at: Stamp) {
        for event in events {
            self.ticks(event.at());
            self.event(event);
        }
        self.finish(at);
    }

    /// Takes one event; when it was.
    fn event(&mut self, event: Event) -> Stamp {
        match event {
            Event::Command { at, .. } | Event::Later { at, .. } => self.midnight(at),
            Event::Bytes { at, .. } | Event::Deadline { at } if self.minute.turned(at.wall_us) => {
                self.midnight(at);
            }
            _ => {}
        }
        match event {
            Event::Bytes { at, link, bytes } => {
                self.bytes(&link, at, &bytes);
                at
            }
            Event::LinkUp { at, link } => {
                self.link_up(&link, at);
                at
            }
            Event::LinkDown { at, link, why } => {
                self.link_down(&link, at, why);
                at
            }
            Event::Deadline { at } => {
                self.ticks(at);
                at
            }
            Event::Command { at, ticket, origin, bench, by, request, proved } => {
                let result = self.command(at, (ticket, origin, proved), (bench, by), request);
                if let Some(result) = result {
                    self.answer(ticket, result);
                }
                at
            }
            Event::Pin { at, ticket, fact } => {
                let seq = self.put_station(at, Fact::Pin(fact), None);
                self.answer(ticket, Ok(Answer::done(seq)));
                at
            }
            Event::Later { at, ticket, origin, asked, past } => {
                self.asked_later((at, ticket), origin, *asked, &past);
                at
            }
            Event::Sealed { at, id, head, bytes, key } => {
                let (later, waits) = (None, false);
                self.sealed(at, SealedFact { id, head, bytes, key, later, waits });
                at
            }
            Event::Earlier { at, id, list, failed } => {
                self.compare_with(&id, at, &list);
                self.retest(&id, at, failed);
                at
            }
            Event::Clock { change, synced } => {
                self.synchronised(synced);
                self.clock_changed(change);
                change.at
            }
            Event::Stop { at, reason } => {
                self.put_station(at, Fact::Stop(ReasonFact { reason }), None);
                self.close_pending();
                self.commit(at);
                at
            }
        }
    }

    /// Everything to do, in order.
    pub fn drain(&mut self) -> Vec<Effect> {
        self.outbox.drain()
    }

    /// When [`Event::Deadline`] is wanted, boot-time microseconds; `None` while nothing waits.
    #[must_use]
    pub fn deadline(&self) -> Option<u64> {
        self.due_us
    }

    /// Rises whenever the answer of [`Core::quiet`] may have changed.
    #[must_use]
    pub fn taps(&self) -> u64 {
        self.taps
    }

    /// Links, and whether nobody waits for their bytes: those that belong to no inspection. A
    /// scanner is waited for always, and so is who was asked something.
    pub fn quiet(&self) -> impl Iterator<Item = (&str, bool)> {
        self.links.values().map(|link| {
            let idle = matches!(link.book, Some(BookId::Idle(_)));
            let asked = link.wire.as_ref().is_some_and(Wire::sends);
            (link.settings.id.as_str(), idle && !asked && !link.is_scanner())
        })
    }

    /// The register as it stands.
    #[must_use]
    pub fn register(&self) -> &Register {
        &self.register
    }

    /// What the facts of an open inspection add up to. Faces read [`Effect::Show`] instead: this
    /// may be ahead of the disk.
    #[must_use]
    pub fn record(&self, id: &str) -> Option<&Record> {
        self.cases.get(id).map(|case| case.inspection.record())
    }

    /// Number of the last line made.
    #[must_use]
    pub fn last_seq(&self) -> u64 {
        self.seq
    }

    pub(super) fn bench(&mut self, id: &str) -> &mut Bench {
        self.benches.get_mut(id).expect("benches are fixed at the start, names are checked")
    }

    pub(super) fn answer(&mut self, ticket: u64, result: Result<Answer, Problem>) {
        // Its number may be that of bytes which are no line yet.
        self.close_pending();
        self.outbox.behind(Effect::Answer { ticket, result });
    }

    /// Stores a fact and applies it: the one way in which anything changes. Returns its `seq`.
    pub(super) fn put(&mut self, book: BookId, at: Stamp, fact: Fact, by: Option<String>) -> u64 {
        self.close_pending();
        self.seq += 1;
        self.apply((self.seq, at), &book, &fact, by.as_deref());
        let bench = match &book {
            BookId::Inspection(id) => self.cases.get(id).map(|case| case.bench.clone()),
            BookId::Station | BookId::Idle(_) => None,
        };
        self.outbox.line(Stored { book, bench, seq: self.seq, at, fact, by });
        self.seq
    }

    fn apply(&mut self, (seq, at): (u64, Stamp), book: &BookId, fact: &Fact, by: Option<&str>) {
        match book {
            BookId::Station => self.register.apply(seq, at, fact),
            BookId::Inspection(id) if is_addendum(id) => {}
            BookId::Inspection(id) => {
                let case = self.cases.get_mut(id).expect("its book is open");
                debug_assert!(!case.closed, "a signed book takes nothing more");
                case.apply(seq, at, fact, by);
            }
            BookId::Idle(_) => {}
        }
    }

    /// Stores a fact in the station book of its year.
    pub(super) fn put_station(&mut self, at: Stamp, fact: Fact, by: Option<String>) -> u64 {
        let year = clock::utc_day(at.wall_us)[..4].to_string();
        if self.register.year.as_ref().is_none_or(|last| *last < year) {
            let follows = self.register.year.clone();
            let open = Fact::Open(Box::new(Open { follows, ..self.open_fact(year, at) }));
            self.put(BookId::Station, at, open, None);
        }
        self.put(BookId::Station, at, fact, by)
    }

    /// Stores a fact of an open inspection, then everything that follows from it, then tells the
    /// instruments what is wanted of them now.
    pub(super) fn put_case(&mut self, id: &str, at: Stamp, fact: Fact, by: Option<String>) -> u64 {
        let seq = self.put(BookId::Inspection(id.into()), at, fact, by);
        self.settle(id, at);
        seq
    }

    /// Stores what follows from the record alone, line by line, until nothing does.
    pub(super) fn settle(&mut self, id: &str, at: Stamp) {
        for _ in 0..FOLLOW_MAX {
            let case = &self.cases[id];
            if case.closed || case.parked {
                return;
            }
            let follows = case.inspection.follow(tapline_drivers::Now(at.boot_us));
            let Some(fact) = follows.into_iter().next() else {
                self.retune(id, at);
                return;
            };
            self.put(BookId::Inspection(id.into()), at, fact, None);
        }
        unreachable!("what follows from a record comes to an end");
    }

    /// Makes lines of all bytes that wait, in the order of their numbers.
    pub(super) fn close_pending(&mut self) {
        let mut closed = Vec::new();
        for (id, link) in &mut self.links {
            if let Some(pending) = link.pending.take() {
                let book = link.book.clone().expect("bytes wait only between taps");
                let (seq, at) = (pending.seq, pending.at);
                let fact = Fact::In(pending.into_fact(id));
                let bench = Some(link.settings.bench.clone());
                closed.push(Stored { book, bench, seq, at, fact, by: None });
            }
        }
        closed.sort_by_key(|line| line.seq);
        for line in closed {
            self.apply((line.seq, line.at), &line.book, &line.fact, None);
            self.outbox.line(line);
        }
    }

    /// What every event ends with: commits what is due, and looks when to come again. One pass
    /// over the links does for both.
    fn finish(&mut self, at: Stamp) {
        let (drivers, mut waiting) = self.look();
        let due = self.outbox.due_us(waiting);
        if self.unseen || due.is_some_and(|due| due <= at.boot_us) {
            self.close_pending();
            self.commit(at);
            waiting = None;
        }
        self.due_us = drivers.into_iter().chain(self.outbox.due_us(waiting)).min();
    }

    /// The next deadline of a driver, and the bytes that are no line yet.
    fn look(&self) -> (Option<u64>, Option<Waiting>) {
        let (mut due_us, mut waiting) = (None, None);
        for link in self.links.values() {
            let driver = link.wire.as_ref().and_then(Wire::deadline);
            due_us = due_us.into_iter().chain(driver.map(|now| now.0)).min();
            if let Some(pending) = &link.pending {
                let more = Waiting {
                    first_us: pending.at.boot_us,
                    understood: pending.has_reading(),
                    quiet: matches!(link.book, Some(BookId::Idle(_))) && pending.is_little(),
                };
                waiting = Some(waiting.map_or(more, |all: Waiting| all.and(more)));
            }
        }
        (due_us, waiting)
    }

    fn commit(&mut self, at: Stamp) {
        if self.outbox.commit(at) || self.unseen {
            self.unseen = false;
            let status = Box::new(self.snapshot());
            self.outbox.at_once(Effect::Show(status));
        }
        self.outbox.release();
    }
}

/// The number in a name is taken.
pub(super) fn given(numbers: &mut BTreeMap<String, u32>, id: &str) {
    let Some(name) = InspectionName::read(id) else { return };
    match numbers.get_mut(name.day) {
        Some(highest) => *highest = name.number.max(*highest),
        None => drop(numbers.insert(name.day.to_owned(), name.number)),
    }
}

/// More lines than this never follow from one line: a plan has at most 4 096 expanded steps, and
/// each can be opened, judged and left once.
const FOLLOW_MAX: usize = 16_384;
