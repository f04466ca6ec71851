//! The core on real books on a simulated disk, in virtual time.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use tapline::books::{Books, Cause, Crash, Halted, Line, Memory};
use tapline::clock::{Clocks, Stamp, Watch};
use tapline::station::Core;
use tapline::station::event::{Answer, BookId, Effect, Event, Problem, Request};
use tapline::station::status::Status;

use super::bench::{Bench, FIRST, SECOND};
use super::wiring::{LINKS, Started, Station};

use super::log::{Log, Told};
use super::rng::Rng;
use super::state;
pub(crate) use super::wiring::key;

/// Bytes that were handed over and when, by link.
pub(crate) type Delivered = BTreeMap<String, VecDeque<(u64, u8)>>;

/// The station with everything around it.
pub(crate) struct World {
    pub(crate) rng: Rng,
    pub(crate) now: u64,
    pub(crate) station: Station,
    pub(crate) disk: Memory,
    pub(crate) core: Core,
    pub(crate) books: Books,
    /// The bench where the person stands, and the other one.
    pub(crate) bench: Bench,
    pub(crate) other: Option<Bench>,
    /// Place of that bench in the status.
    pub(crate) seat: usize,
    pub(crate) status: Option<Status>,
    pub(crate) answers: BTreeMap<u64, Result<Answer, Problem>>,
    /// Lines that faces were shown, as stored, since a checker last looked.
    pub(crate) fresh: Vec<(BookId, String)>,
    /// Outcomes that faces were told of, since a checker last looked.
    pub(crate) told: Vec<(String, String)>,
    /// Last line that was committed.
    pub(crate) durable: u64,
    /// Nothing can be stored: nothing is done any more until the station starts over.
    pub(crate) halted: bool,
    /// First line of this life: what lies before it was found on disk, and shown. 0 while none
    /// began.
    pub(crate) begins: u64,
    /// Bytes that were handed over and are in no line that a checker saw.
    pub(crate) delivered: Delivered,
    pub(crate) sent: Vec<Vec<u8>>,
    pub(crate) up: BTreeSet<String>,
    /// The most lines of a commit, and the most effects at once.
    pub(crate) most: (usize, usize),
    /// What happened, for whoever reads a failure.
    pub(crate) log: Log,
    /// How often what happened.
    pub(crate) met: BTreeMap<&'static str, usize>,
    /// Looks after the clocks; without it nobody notices what befalls them.
    pub(crate) watch: Option<Watch>,
    /// For how long the machine slept since it was switched on, microseconds.
    slept_us: u64,
    /// A time service keeps the clock.
    pub(crate) synced: bool,
    /// The longest that a read waits for the core, microseconds.
    pub(crate) lag_us: u64,
    /// Reads that wait, stamped, in order.
    inbox: VecDeque<(u64, Event)>,
    /// Books that are sealed, of which the core has not heard.
    seals: VecDeque<(u64, Event)>,
    pub(crate) ticket: u64,
}

impl World {
    /// A station with a filled register, all links up, nobody logged in.
    pub(crate) fn new(seed: u64, witnessed: bool) -> World {
        World::from(seed, witnessed, 1_000_000)
    }

    /// The same, so many microseconds after eight in the morning.
    pub(crate) fn from(seed: u64, witnessed: bool, now: u64) -> World {
        World::of(seed, Station { witnessed, ..Station::default() }, now, Log::default())
    }

    pub(crate) fn of(seed: u64, station: Station, now: u64, log: Log) -> World {
        let disk = Memory::new();
        key().store(&disk).unwrap();
        let Started { books, core, next_seq, .. } =
            station.start(&disk, station.at(now), None).unwrap();
        let mut bench = Bench::new(now);
        bench.witnessed = station.witnessed;
        let mut other = station.two.then(|| Bench::named(SECOND, now + 100_000));
        other.iter_mut().for_each(|other| other.witnessed = false);
        let clocks = Clocks { at: station.at(now), awake_us: now };
        let mut world = World {
            rng: Rng::new(seed),
            now,
            station,
            disk,
            core,
            books,
            bench,
            other,
            seat: 0,
            status: None,
            answers: BTreeMap::new(),
            fresh: Vec::new(),
            told: Vec::new(),
            durable: 0,
            halted: false,
            begins: next_seq,
            delivered: Delivered::new(),
            sent: Vec::new(),
            up: BTreeSet::new(),
            most: (0, 0),
            log,
            met: BTreeMap::new(),
            watch: Some(Watch::since(clocks)),
            slept_us: 0,
            synced: false,
            lag_us: 0,
            inbox: VecDeque::new(),
            seals: VecDeque::new(),
            ticket: 0,
        };
        world.perform();
        world.fill();
        world.plug();
        world
    }

    fn fill(&mut self) {
        for (what, text) in self.station.register() {
            self.ask(Request::import(what, text)).unwrap();
        }
    }

    /// It happened once more.
    pub(crate) fn count(&mut self, what: &'static str) {
        *self.met.entry(what).or_default() += 1;
    }

    /// The person goes to the other bench, if there is one.
    pub(crate) fn walk(&mut self) {
        if let Some(other) = &mut self.other {
            std::mem::swap(&mut self.bench, other);
            self.seat = 1 - self.seat;
        }
    }

    /// The bench with the supply box.
    pub(crate) fn first(&self) -> &Bench {
        match &self.other {
            Some(other) if self.seat == 1 => other,
            _ => &self.bench,
        }
    }

    /// Nothing that the contacts say is changed on its way.
    pub(crate) fn contacts_are_honest(&self) -> bool {
        let spite = self.first().wire.spite.get(FIRST.contacts).copied().unwrap_or_default();
        [spite.twice, spite.bend, spite.lose, spite.noise] == [0; 4]
    }

    /// All links come up.
    pub(crate) fn plug(&mut self) {
        let two = self.station.two;
        for link in LINKS.into_iter().filter(|link| two || link.bench == "b1") {
            self.link_up(link.id);
        }
        self.bench.tell(self.now, &mut self.rng);
        if let Some(other) = &mut self.other {
            other.tell(self.now, &mut self.rng);
        }
    }

    pub(crate) fn link_up(&mut self, link: &str) {
        if self.up.insert(link.into()) {
            self.event(Event::LinkUp { at: self.at(), link: link.into() });
        }
    }

    pub(crate) fn link_down(&mut self, link: &str) {
        if self.up.contains(link) {
            self.hand_over(u64::MAX);
            self.up.remove(link);
            self.hang_up(link);
            let why = "pulled".to_string();
            self.event(Event::LinkDown { at: self.at(), link: link.into(), why });
        }
    }

    fn hang_up(&mut self, link: &str) {
        self.bench.hang_up(link);
        self.other.iter_mut().for_each(|other| other.hang_up(link));
    }

    /// This moment.
    pub(crate) fn at(&self) -> Stamp {
        self.station.at(self.now)
    }

    /// Hands an event over and does what comes of it.
    pub(crate) fn event(&mut self, event: Event) {
        self.compare_clocks();
        if self.halted {
            return;
        }
        self.log.tell(|| Told::Event(Box::new(event.clone())));
        self.core.handle(event);
        self.perform();
    }

    /// Does what the core asks for, in order.
    pub(crate) fn perform(&mut self) {
        loop {
            let effects = self.core.drain();
            if effects.is_empty() {
                return;
            }
            self.most.1 = self.most.1.max(effects.len());
            for effect in effects {
                self.effect(effect);
                if self.halted {
                    return;
                }
            }
        }
    }

    pub(crate) fn effect(&mut self, effect: Effect) {
        match effect {
            Effect::Commit(lines) => {
                self.most.0 = self.most.0.max(lines.len());
                let texts = match self.books.commit(&lines) {
                    Ok(texts) => texts,
                    Err(halted) => return self.halt(&halted),
                };
                for (line, text) in lines.iter().zip(texts) {
                    self.durable = line.seq;
                    self.log.tell(|| Told::Line(text.clone()));
                    self.fresh.push((line.book.clone(), text));
                }
            }
            Effect::Show(status) => {
                state::hold("shown_is_durable", state::is_durable(status.seq, self.durable));
                self.status = Some(*status);
            }
            Effect::Seal { id } => match self.books.seal(&id) {
                Ok(sealed) => {
                    let (at, head, bytes, key) = (self.at(), sealed.head, sealed.bytes, sealed.key);
                    let heard = self.now + self.rng.below(40_000);
                    self.seals.push_back((heard, Event::Sealed { at, id, head, bytes, key }));
                }
                Err(halted) => self.halt(&halted),
            },
            Effect::Send { link, bytes } => {
                state::hold("only_allowed_messages", state::is_allowed(&link, &bytes));
                self.sent.push(bytes.clone());
                let heard = self.up.contains(&link);
                let first = self.bench.names.dmm == link;
                let bench = if first { Some(&mut self.bench) } else { self.other.as_mut() };
                if let Some(bench) = bench.filter(|_| heard) {
                    bench.ask(self.now, &bytes, &mut self.rng);
                }
            }
            Effect::Answer { ticket, result } => {
                let seq = result.as_ref().map_or(0, |answer| answer.seq);
                state::hold("shown_is_durable", state::is_durable(seq, self.durable));
                if let Ok(Answer { id: Some(id), outcome: Some(outcome), .. }) = &result {
                    self.told.push((id.clone(), outcome.clone()));
                }
                self.answers.insert(ticket, result);
            }
        }
    }

    fn halt(&mut self, why: &Halted) {
        self.log.tell(|| Told::Deed(format!("halted: {why}")));
        self.count(match why.cause {
            Cause::Full => "disk full",
            Cause::Refused | Cause::Format => panic!("only_what_may_be_stored: {why}"),
            _ => "disk error",
        });
        self.halted = true;
    }

    /// Time goes on; instruments talk, deadlines come.
    pub(crate) fn run(&mut self, us: u64) {
        let end = self.now + us;
        let mut turns = 0;
        loop {
            let next = self.next();
            if next > end || self.halted {
                self.now = end;
                return;
            }
            turns = if next > self.now { 0 } else { turns + 1 };
            assert!(turns < 1000, "the core asks for a moment that has come, again and again");
            self.now = self.now.max(next);
            self.turn();
        }
    }

    fn next(&self) -> u64 {
        let deadline = self.core.deadline().map(|us| self.station.since(us));
        let seal = self.seals.front().map(|(at, _)| *at);
        let other = self.other.as_ref().map(Bench::next);
        let waits = self.inbox.front().map(|(at, _)| *at);
        let all = [deadline, seal, other, waits, Some(self.bench.next())];
        all.into_iter().flatten().min().unwrap_or(u64::MAX)
    }

    fn turn(&mut self) {
        let heard = self.seals.front().is_some_and(|(at, _)| *at <= self.now);
        if let Some((_, sealed)) = heard.then(|| self.seals.pop_front()).flatten() {
            self.event(sealed);
        }
        let mut reads = self.bench.arrived(self.now, &mut self.rng);
        if let Some(other) = &mut self.other {
            reads.extend(other.arrived(self.now, &mut self.rng));
        }
        for (link, bytes) in reads {
            let due = self.now + if self.lag_us > 0 { self.rng.below(self.lag_us) } else { 0 };
            let due = due.max(self.inbox.back().map_or(0, |(at, _)| *at));
            let read = Event::Bytes { at: self.at(), link: link.into(), bytes };
            self.inbox.push_back((due, read));
        }
        self.hand_over(self.now);
        if self.core.deadline().is_some_and(|deadline| deadline <= self.at().boot_us) {
            self.event(Event::Deadline { at: self.at() });
        }
    }

    fn clocks(&self) -> Clocks {
        let at = self.at();
        Clocks { at, awake_us: at.boot_us - self.slept_us }
    }

    /// What the daemon does before every event.
    fn compare_clocks(&mut self) {
        let clocks = self.clocks();
        let change = self.watch.as_mut().and_then(|watch| watch.check(clocks));
        if let Some(change) = change.filter(|_| !self.halted) {
            let event = Event::Clock { change, synced: self.synced };
            self.log.tell(|| Told::Event(Box::new(event.clone())));
            self.core.handle(event);
            self.perform();
        }
    }

    /// Sets the wall clock, which the station is told if it is told of it at all.
    pub(crate) fn set_clock(&mut self, step_us: i64) {
        self.station.set_us += step_us;
        self.compare_clocks();
    }

    /// The machine sleeps; what instruments say meanwhile is lost.
    pub(crate) fn sleep(&mut self, us: u64) {
        self.now += us;
        self.slept_us += us;
        self.bench.slept(self.now);
        self.other.iter_mut().for_each(|other| other.slept(self.now));
        self.compare_clocks();
    }

    /// Reads reach the core in order, maybe later than they were stamped.
    fn hand_over(&mut self, until: u64) {
        while self.inbox.front().is_some_and(|(due, _)| *due <= until) {
            let Some((_, Event::Bytes { at, link, bytes })) = self.inbox.pop_front() else {
                return;
            };
            if self.up.contains(&link) && !self.halted {
                let timed = bytes.iter().map(|byte| (self.now, *byte));
                self.delivered.entry(link.clone()).or_default().extend(timed);
                self.event(Event::Bytes { at, link, bytes });
            }
        }
    }

    /// Runs until everything that was made is on disk.
    pub(crate) fn settle(&mut self) {
        for _ in 0..60 {
            if self.halted || self.core.last_seq() == self.durable {
                return;
            }
            self.run(1_000);
        }
    }

    /// Lines of a book as the disk has them.
    pub(crate) fn lines(&self, book: &BookId) -> Vec<Line> {
        self.books.lines(book).unwrap().collect::<Result<_, _>>().unwrap()
    }

    /// The power goes and comes back; `dt` later the station starts again.
    pub(crate) fn crash(&mut self, how: Crash, dt: u64) {
        self.cut(how, dt);
        // The machine comes up with its clock right.
        self.station.set_us = 0;
        assert!(self.begin_again(None), "the disk is whole again");
    }

    /// The program ends and starts again `dt` later; the machine goes on, and so does its boot.
    #[allow(dead_code, reason = "tests/time.rs starts it again")]
    pub(crate) fn start_again(&mut self, dt: u64) {
        self.now += dt;
        assert!(self.begin_again(None), "nothing is wrong with the disk");
    }

    /// The power goes and comes back.
    pub(crate) fn cut(&mut self, how: Crash, dt: u64) {
        self.log.tell(|| Told::Deed(format!("the power goes, the disk keeps {how:?}")));
        self.disk.crash(how);
        self.station.boot += 1;
        self.now += dt;
        self.station.born = self.now - dt.min(5_000_000);
        self.slept_us = 0;
    }

    /// A process begins with what is on disk; `false` if the disk says no. After a halt `because`
    /// says why there was one.
    pub(crate) fn begin_again(&mut self, because: Option<&str>) -> bool {
        for link in std::mem::take(&mut self.up) {
            self.hang_up(&link);
        }
        self.answers.clear();
        self.delivered.clear();
        self.fresh.clear();
        self.told.clear();
        self.seals.clear();
        self.inbox.clear();
        self.status = None;
        (self.halted, self.begins) = (true, 0);
        let Started { books, core, next_seq, odd } =
            match self.station.start(&self.disk, self.at(), because) {
                Ok(started) => started,
                Err(why) => {
                    self.halt(&why);
                    return false;
                }
            };
        self.log.tell(|| Told::Deed("the station starts".into()));
        state::hold("what_lies_there_is_understood", state::is_understood(&odd));
        (self.books, self.core) = (books, core);
        self.watch = self.watch.map(|_| Watch::since(self.clocks()));
        (self.halted, self.begins) = (false, next_seq);
        self.perform();
        !self.halted
    }
}
