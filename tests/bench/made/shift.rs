//! The real core on real books, in virtual time: what arrives, what is asked, what is answered.

use std::collections::BTreeMap;
use std::sync::Arc;

use tapline::books::{Books, Disk, Key, Line};
use tapline::clock::Stamp;
use tapline::station::event::{Answer, Effect, Event, Expect, Origin, Problem, Request};
use tapline::station::register::Register;
use tapline::station::status::Status;
use tapline::station::{Context, Core, Found, Library, Proved};
use tapline_protocols::Fact;
use tapline_protocols::inspection::Prompt;

use super::register::settings;
use super::wire::Wire;

/// A station at work.
pub(crate) struct Shift {
    core: Core,
    books: Books,
    pub(crate) wire: Wire,
    /// Boot-time clock, microseconds.
    pub(crate) now: u64,
    /// Wall clock when that was zero.
    epoch_us: i64,
    status: Option<Status>,
    answers: BTreeMap<u64, Result<Answer, Problem>>,
    ticket: u64,
    /// Readings that are stored in inspections.
    pub(crate) readings: u64,
    pub(crate) last_seq: u64,
}

/// What a station is told of its machine; the same in every record.
pub(crate) fn context(year: u32, key: &Key) -> Context {
    Context {
        version: env!("CARGO_PKG_VERSION").into(),
        judge: tapline_protocols::judge::JUDGE,
        boot: format!("00000000-0000-4000-8000-00000000{year}"),
        synced: true,
        // Years that are past are made here.
        earliest_us: 0,
        key: Some(key.public().fingerprint()),
    }
}

impl Shift {
    /// Starts on an empty folder, with what the station books of the years before say.
    pub(crate) fn start(
        (disk, key): (Arc<dyn Disk>, Arc<Key>),
        (year, epoch_us): (u32, i64),
        before: Vec<Line>,
        first_seq: u64,
    ) -> Shift {
        let now = 1_000_000;
        let at = Stamp { wall_us: epoch_us + 1_000_000, boot_us: now };
        let context = context(year, &key);
        let (books, _) = Books::open(disk, key, at).expect("the folder is empty");
        let library = Library::builtin().expect("the built-in plans have no fault");
        let mut core = Core::new(settings(), context, library);
        let idle = Some((String::new(), first_seq - 1));
        let station = Register::of(before);
        core.recover(at, Found { station, idle, ..Found::default() });
        let mut shift = Shift {
            core,
            books,
            wire: Wire::new(u64::from(year)),
            now,
            epoch_us,
            status: None,
            answers: BTreeMap::new(),
            ticket: 0,
            readings: 0,
            last_seq: 0,
        };
        shift.perform();
        shift
    }

    /// All links come up.
    pub(crate) fn plug(&mut self) {
        for link in settings().links {
            self.event(Event::LinkUp { at: self.at(), link: link.id });
        }
    }

    fn at(&self) -> Stamp {
        let boot = i64::try_from(self.now).expect("a year in microseconds");
        Stamp { wall_us: self.epoch_us + boot, boot_us: self.now }
    }

    /// The lines of the station book.
    pub(crate) fn station_lines(&self) -> Vec<Line> {
        let lines = self.books.lines(&tapline::station::event::BookId::Station);
        lines.expect("it is there").map(|line| line.expect("it is whole")).collect()
    }

    fn event(&mut self, event: Event) {
        self.core.handle(event);
        self.perform();
    }

    /// Does what the core asks for, in order.
    fn perform(&mut self) {
        loop {
            let effects = self.core.drain();
            if effects.is_empty() {
                return;
            }
            effects.into_iter().for_each(|effect| self.effect(effect));
        }
    }

    fn effect(&mut self, effect: Effect) {
        match effect {
            Effect::Commit(lines) => {
                for line in &lines {
                    self.last_seq = line.seq;
                    if let Fact::In(read) = &line.fact {
                        self.readings += read.read.len() as u64;
                    }
                }
                self.books.commit(&lines).expect("there is room");
            }
            Effect::Show(status) => self.status = Some(*status),
            Effect::Seal { id } => {
                let sealed = self.books.seal(&id).expect("there is room");
                let (head, bytes, key) = (sealed.head, sealed.bytes, sealed.key);
                let at = self.at();
                self.core.handle(Event::Sealed { at, id, head, bytes, key });
            }
            Effect::Send { bytes, .. } => self.wire.ask(self.now, &bytes),
            Effect::Answer { ticket, result } => {
                self.answers.insert(ticket, result);
            }
        }
    }

    /// Time goes on; instruments talk, deadlines come.
    pub(crate) fn run(&mut self, us: u64) {
        let end = self.now + us;
        loop {
            let next = self.core.deadline().unwrap_or(u64::MAX).min(self.wire.next());
            if next > end {
                self.now = end;
                return;
            }
            self.now = self.now.max(next);
            for (link, bytes) in self.wire.arrived(self.now) {
                self.event(Event::Bytes { at: self.at(), link, bytes });
            }
            if self.core.deadline().is_some_and(|deadline| deadline <= self.now) {
                self.event(Event::Deadline { at: self.at() });
            }
        }
    }

    /// Nothing happens until a moment of the boot-time clock.
    pub(crate) fn sleep_until(&mut self, boot_us: u64) {
        self.run(100_000);
        self.now = self.now.max(boot_us);
    }

    /// Asks at the bench that is worked at, and waits for the answer.
    pub(crate) fn ask(&mut self, request: Request) -> Result<Answer, Problem> {
        self.ask_as(None, request)
    }

    pub(crate) fn ask_as(&mut self, by: Option<&str>, request: Request) -> Result<Answer, Problem> {
        self.ticket += 1;
        let (ticket, by, at) = (self.ticket, by.map(String::from), self.at());
        let (origin, bench) = (Origin::Socket(1000), Some(format!("b{}", self.wire.bench)));
        let proved = Proved::default();
        self.event(Event::Command { at, ticket, origin, bench, by, request, proved });
        for _ in 0..100 {
            if let Some(answer) = self.answers.remove(&ticket) {
                return answer;
            }
            self.run(1_000);
        }
        panic!("no answer within a tenth of a second");
    }

    /// An act for exactly what the status shows.
    pub(crate) fn act(&mut self, what: &str) -> Result<Answer, Problem> {
        let prompt = self.prompt();
        let state = Some(prompt.state.to_string());
        let expect = Some(Expect { step: prompt.step, state, seq: prompt.seq });
        self.ask(Request::Act { what: what.into(), expect })
    }

    /// What the operator is shown; nothing open: nothing.
    pub(crate) fn prompt(&self) -> Prompt {
        let status = self.status.as_ref().expect("something was shown");
        let bench = &status.benches[self.wire.bench - 1];
        bench.inspection.as_ref().map(|one| one.prompt.clone()).unwrap_or_default()
    }

    /// Moves the switches of the box.
    pub(crate) fn set(&mut self, set: [bool; 3]) {
        self.wire.switch(self.now, set);
        self.run(200_000);
    }

    /// The clips come apart, then join over `mohm` for a while.
    pub(crate) fn touch(&mut self, mohm: i64, us: u64) {
        self.wire.clips = None;
        self.run(3_000_000);
        self.wire.clips = Some(mohm);
        self.run(us);
    }

    pub(crate) fn scan(&mut self, code: &str) {
        self.wire.scan(self.now, code);
        self.run(1_100_000);
    }
}
