//! The core on real books on a simulated disk, in virtual time.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use tapline::books::{Books, Crash, Key, Line, Memory};
use tapline::clock::{Change, Stamp, Zone};
use tapline::station::event::{Answer, BookId, Effect, Event, Expect, Origin, Problem, Request};
use tapline::station::status::Status;
use tapline::station::{
    BenchSettings, Context, Core, Found, Library, LinkSettings, StationSettings,
};

use super::bench::Bench;
use super::rng::Rng;

/// 2026-11-24T08:00:00Z.
const MORNING_US: i64 = 1_795_507_200_000_000;
const LINKS: [(&str, &str, Option<&str>); 4] = [
    ("ohm", "val-unit-line", Some("LR-01")),
    ("dmm", "scpi", Some("DM-01")),
    ("box", "contacts", None),
    ("scan", "scan", None),
];

/// The station with everything around it.
pub(crate) struct World {
    pub(crate) rng: Rng,
    pub(crate) now: u64,
    pub(crate) boot: u64,
    /// How far the wall clock was set since the start, microseconds.
    pub(crate) set_us: i64,
    pub(crate) disk: Memory,
    pub(crate) core: Core,
    pub(crate) books: Books,
    pub(crate) bench: Bench,
    pub(crate) status: Option<Status>,
    pub(crate) answers: BTreeMap<u64, Result<Answer, Problem>>,
    /// Lines that faces were shown, as stored, since a checker last looked.
    pub(crate) fresh: Vec<(BookId, String)>,
    /// Last line that was committed.
    durable: u64,
    /// The disk has failed: nothing is done any more until the power comes back.
    pub(crate) halted: bool,
    /// Bytes that were handed over and when, by link, since the last start.
    pub(crate) delivered: BTreeMap<String, Vec<(u64, u8)>>,
    pub(crate) sent: Vec<Vec<u8>>,
    pub(crate) up: BTreeSet<String>,
    ticket: u64,
}

pub(crate) fn key() -> Arc<Key> {
    Arc::new(Key::from_secret("K3-1", &[7; 32]))
}

pub(crate) fn settings(witnessed: bool) -> StationSettings {
    let link = |(id, driver, instrument): (&str, &str, Option<&str>)| LinkSettings {
        id: id.into(),
        bench: "b1".into(),
        driver: driver.into(),
        instrument: instrument.map(String::from),
        isolation: None,
    };
    let witness = [("link", "box"), ("c1", "S5=reversed"), ("c2", "S7=open"), ("c3", "supply=on")];
    let witness = witness.into_iter().filter(|_| witnessed);
    StationSettings {
        id: "K3".into(),
        name: "Workshop north".into(),
        zone: Zone::named("Etc/UTC").unwrap(),
        zone_name: "Etc/UTC".into(),
        commit_ms: 20,
        policy: tapline_protocols::fact::Policy::default(),
        benches: vec![BenchSettings {
            id: "b1".into(),
            name: "Bench 1".into(),
            fixtures: ["SB-1", "NW-1", "L-1"].map(String::from).into(),
            witness: witness.map(|(k, v)| (k.to_string(), v.to_string())).collect(),
        }],
        links: LINKS.into_iter().map(link).collect(),
    }
}

pub(crate) fn context(boot: u64) -> Context {
    Context {
        version: "0.1.0".into(),
        judge: tapline_protocols::judge::JUDGE,
        boot: format!("boot-{boot}"),
        synced: true,
        key: Some(key().public().fingerprint()),
    }
}

impl World {
    /// A station with a filled register, all links up, nobody logged in.
    pub(crate) fn new(seed: u64, witnessed: bool) -> World {
        World::from(seed, witnessed, 1_000_000)
    }

    /// The same, so many microseconds after eight in the morning.
    pub(crate) fn from(seed: u64, witnessed: bool, now: u64) -> World {
        let disk = Memory::new();
        let (books, core) = start(&disk, now, 1, witnessed);
        let mut bench = Bench::new(now);
        bench.witnessed = witnessed;
        let mut world = World {
            rng: Rng::new(seed),
            now,
            boot: 1,
            set_us: 0,
            disk,
            core,
            books,
            bench,
            status: None,
            answers: BTreeMap::new(),
            fresh: Vec::new(),
            durable: 0,
            halted: false,
            delivered: BTreeMap::new(),
            sent: Vec::new(),
            up: BTreeSet::new(),
            ticket: 0,
        };
        world.perform();
        world.fill();
        world.plug();
        world
    }

    fn fill(&mut self) {
        for (what, text) in [
            ("instruments", include_str!("../../contrib/example/instruments.toml")),
            ("fixtures", include_str!("../../contrib/example/fixtures.toml")),
            ("operators", include_str!("../../contrib/example/operators.toml")),
            ("assets", include_str!("../../contrib/example/assets.csv")),
        ] {
            self.ask(Request::Import { what: what.into(), text: text.into() }).unwrap();
        }
    }

    /// All links come up.
    pub(crate) fn plug(&mut self) {
        for (link, ..) in LINKS {
            self.link_up(link);
        }
        self.bench.tell(self.now, &mut self.rng);
    }

    pub(crate) fn link_up(&mut self, link: &str) {
        if self.up.insert(link.into()) {
            self.event(Event::LinkUp { at: self.at(), link: link.into() });
        }
    }

    pub(crate) fn link_down(&mut self, link: &str) {
        if self.up.remove(link) {
            self.bench.hang_up(link);
            let why = "pulled".to_string();
            self.event(Event::LinkDown { at: self.at(), link: link.into(), why });
        }
    }

    /// This moment.
    pub(crate) fn at(&self) -> Stamp {
        Stamp { wall_us: stamp(self.now).wall_us + self.set_us, ..stamp(self.now) }
    }

    /// Sets the wall clock, which the station is told.
    #[allow(dead_code, reason = "tests/time.rs sets clocks")]
    pub(crate) fn set_clock(&mut self, step_us: i64) {
        self.set_us += step_us;
        let change = Change { at: self.at(), step_us, slept_us: 0 };
        self.event(Event::Clock { change, synced: false });
    }

    /// The machine sleeps; what instruments say meanwhile is lost.
    #[allow(dead_code, reason = "tests/time.rs puts machines to sleep")]
    pub(crate) fn sleep(&mut self, us: u64) {
        self.now += us;
        self.bench.slept(self.now);
        let change = Change { at: self.at(), step_us: 0, slept_us: us };
        self.event(Event::Clock { change, synced: false });
    }

    /// Hands an event over and does what comes of it.
    pub(crate) fn event(&mut self, event: Event) {
        if self.halted {
            return;
        }
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
            for effect in effects {
                self.effect(effect);
                if self.halted {
                    return;
                }
            }
        }
    }

    fn effect(&mut self, effect: Effect) {
        match effect {
            Effect::Commit(lines) => {
                let Ok(texts) = self.books.commit(&lines) else {
                    self.halted = true;
                    return;
                };
                for (line, text) in lines.iter().zip(texts) {
                    self.durable = line.seq;
                    self.fresh.push((line.book.clone(), text));
                }
            }
            Effect::Show(status) => {
                assert!(status.seq <= self.durable, "a face is shown what is not on disk");
                self.status = Some(*status);
            }
            Effect::Seal { id } => {
                let Ok(sealed) = self.books.seal(&id) else {
                    self.halted = true;
                    return;
                };
                let (at, head, bytes, key) = (self.at(), sealed.head, sealed.bytes, sealed.key);
                self.core.handle(Event::Sealed { at, id, head, bytes, key });
            }
            Effect::Send { link, bytes } => {
                assert_eq!(link, "dmm", "only the meter that may be asked is asked");
                self.sent.push(bytes.clone());
                if self.up.contains(&link) {
                    self.bench.ask(self.now, &bytes, &mut self.rng);
                }
            }
            Effect::Answer { ticket, result } => {
                let seq = result.as_ref().map_or(0, |answer| answer.seq);
                assert!(seq <= self.durable, "an answer tells of line {seq} before it is on disk");
                self.answers.insert(ticket, result);
            }
        }
    }

    /// Time goes on; instruments talk, deadlines come.
    pub(crate) fn run(&mut self, us: u64) {
        let end = self.now + us;
        loop {
            let next = self.core.deadline().unwrap_or(u64::MAX).min(self.bench.next());
            if next > end || self.halted {
                self.now = end;
                return;
            }
            self.now = self.now.max(next);
            for (link, bytes) in self.bench.arrived(self.now, &mut self.rng) {
                self.bytes(link, bytes);
            }
            if self.core.deadline().is_some_and(|deadline| deadline <= self.now) {
                self.event(Event::Deadline { at: self.at() });
            }
        }
    }

    fn bytes(&mut self, link: &str, bytes: Vec<u8>) {
        if self.up.contains(link) {
            let timed = bytes.iter().map(|byte| (self.now, *byte));
            self.delivered.entry(link.into()).or_default().extend(timed);
            self.event(Event::Bytes { at: self.at(), link: link.into(), bytes });
        }
    }

    /// Asks as the operator who is logged in, and waits for the answer.
    pub(crate) fn ask(&mut self, request: Request) -> Result<Answer, Problem> {
        self.ask_as(None, request)
    }

    pub(crate) fn ask_as(&mut self, by: Option<&str>, request: Request) -> Result<Answer, Problem> {
        self.ask_then(self.at(), by, request)
    }

    /// Asks at a moment of one's own.
    pub(crate) fn ask_at(&mut self, at: Stamp, request: Request) -> Result<Answer, Problem> {
        self.ask_then(at, None, request)
    }

    fn ask_then(
        &mut self,
        at: Stamp,
        by: Option<&str>,
        request: Request,
    ) -> Result<Answer, Problem> {
        self.ticket += 1;
        let (ticket, by) = (self.ticket, by.map(String::from));
        let origin = Origin::Socket(1000);
        self.event(Event::Command { at, ticket, origin, bench: None, by, request });
        for _ in 0..100 {
            if let Some(answer) = self.answers.remove(&ticket) {
                return answer;
            }
            self.run(1_000);
        }
        assert!(self.halted, "no answer within a tenth of a second");
        Err(Problem::new("halted", "the disk failed"))
    }

    /// An act for exactly what the status shows, more than a second after it.
    pub(crate) fn act(&mut self, what: &str) -> Result<Answer, Problem> {
        self.run(1_100_000);
        let prompt = self.prompt();
        let expect =
            Expect { step: prompt.step, state: Some(prompt.state.to_string()), seq: prompt.seq };
        self.ask(Request::Act { what: what.into(), expect: Some(expect) })
    }

    /// What the operator is shown.
    pub(crate) fn prompt(&self) -> tapline_protocols::inspection::Prompt {
        let status = self.status.as_ref().expect("something was shown");
        let inspection = status.benches[0].inspection.as_ref();
        inspection.map(|one| one.prompt.clone()).unwrap_or_default()
    }

    pub(crate) fn state(&self) -> &'static str {
        self.prompt().state
    }

    /// Runs until the prompt says `state`; panics after a minute.
    pub(crate) fn until(&mut self, state: &str) {
        for _ in 0..600 {
            if self.state() == state {
                return;
            }
            self.run(100_000);
        }
        panic!("waited for `{state}`, it says {:?}", self.prompt());
    }

    pub(crate) fn set(&mut self, s5: bool, s7: bool, supply: bool) {
        self.bench.set(self.now, (s5, s7, supply), &mut self.rng);
        self.run(200_000);
    }

    pub(crate) fn scan(&mut self, code: &str) {
        self.bench.scan(self.now, code, &mut self.rng);
        self.run(1_500_000);
    }

    /// The clips come apart, then join over `shows`, and stay until a value is there.
    pub(crate) fn touch(&mut self, shows: &str) {
        self.bench.ohms = "OL".into();
        self.run(2_000_000);
        self.bench.ohms = shows.into();
        self.run(8_000_000);
    }

    /// The id of the open inspection.
    pub(crate) fn active(&self) -> Option<String> {
        let status = self.status.as_ref()?;
        status.benches[0].inspection.as_ref().map(|one| one.id.clone())
    }

    /// Lines of a book as the disk has them.
    pub(crate) fn lines(&self, book: &BookId) -> Vec<Line> {
        self.books.lines(book).unwrap().collect::<Result<_, _>>().unwrap()
    }

    /// The power goes and comes back; `dt` later the station starts again.
    pub(crate) fn crash(&mut self, how: Crash, dt: u64) {
        self.disk.crash(how);
        self.now += dt;
        self.boot += 1;
        // The machine comes up with its clock right.
        self.set_us = 0;
        let (books, core) = start(&self.disk, self.now, self.boot, self.bench.witnessed);
        (self.books, self.core) = (books, core);
        for link in std::mem::take(&mut self.up) {
            self.bench.hang_up(&link);
        }
        self.answers.clear();
        self.delivered.clear();
        self.fresh.clear();
        self.status = None;
        self.halted = false;
        self.perform();
    }
}

pub(crate) fn stamp(boot_us: u64) -> Stamp {
    Stamp { wall_us: MORNING_US + i64::try_from(boot_us).unwrap(), boot_us }
}

/// Opens books and core on whatever the disk holds.
pub(crate) fn start(disk: &Memory, now: u64, boot: u64, witnessed: bool) -> (Books, Core) {
    let at = stamp(now);
    let (books, found) = Books::open(Arc::new(disk.clone()), key(), at).unwrap();
    let lines = |book: &BookId| -> Vec<Line> {
        books.lines(book).unwrap().collect::<Result<_, _>>().unwrap()
    };
    let open = |id: &String| (id.clone(), lines(&BookId::Inspection(id.clone())));
    let names = found
        .numbers
        .iter()
        .flat_map(|(day, highest)| (1..=*highest).map(move |n| format!("K3-{day}-{n:04}")));
    let given = Found {
        station: lines(&BookId::Station),
        open: found.inspections.iter().map(open).collect(),
        idle: Some((String::new(), found.next_seq - 1)),
        names: names.collect(),
    };
    let library = Library::builtin().unwrap();
    let mut core = Core::new(settings(witnessed), context(boot), library);
    core.recover(at, given);
    for one in found.sealed {
        let (id, head, bytes, key) = (one.id, one.head, one.bytes, one.key);
        core.handle(Event::Sealed { at, id, head, bytes, key });
    }
    (books, core)
}
