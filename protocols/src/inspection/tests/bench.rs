//! A tiny scripted bench in virtual time: two meters, a supply box, an asset, a person.

use alloc::string::{String, ToString};
use alloc::vec;
use alloc::vec::Vec;

use tapline_drivers::{Contacts, Flag, Function, Indication, Now, Number, Reading, Span, Unit};

use super::given::{first_commit, scan};
use crate::fact::{CheckFact, Fact, Policy, ReadingId, ResumeFact};
use crate::inspection::{Command, Expect, Inspection, Refusal, Where};

const INSTRUMENTS: &str = include_str!("bench/instruments.toml");
const FIXTURES: &str = include_str!("bench/fixtures.toml");
pub(super) const DAY: &str = "2026-11-24";

/// What stands on the bench.
#[derive(Debug, Clone)]
pub(super) struct World {
    /// What the low-resistance meter shows, `0.182 Ohm`, `OL`.
    pub(super) ohms: String,
    /// The low-resistance meter says that it subtracts.
    pub(super) relative: bool,
    /// What the voltmeter shows while the asset is live, by polarity.
    pub(super) leak: [String; 2],
    /// What the voltmeter shows while it is not.
    pub(super) idle: String,
    /// What it shows with protective earth closed and open.
    pub(super) network: [String; 2],
    pub(super) s5: bool,
    pub(super) s7: bool,
    pub(super) supply: bool,
}

impl Default for World {
    fn default() -> World {
        World {
            ohms: "OL".into(),
            relative: false,
            leak: ["451 mV".into(), "462 mV".into()],
            idle: "0.0002 V".into(),
            network: ["10.012 kOhm".into(), "11.012 kOhm".into()],
            s5: false,
            s7: false,
            supply: false,
        }
    }
}

/// A line as stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Stored {
    pub(super) seq: u64,
    pub(super) at: Now,
    pub(super) fact: Fact,
    pub(super) by: Option<String>,
}

/// A reading as it was attached.
#[derive(Debug, Clone)]
pub(super) struct Attached {
    pub(super) id: ReadingId,
    pub(super) meter: String,
    pub(super) reading: Reading,
    pub(super) at: Where,
}

/// What the inspection was told, in order.
#[derive(Debug, Clone)]
pub(super) enum Told {
    Prepare,
    Fact(alloc::boxed::Box<Stored>),
    Reading(ReadingId, String, Reading),
    Configured(Function, Now),
    Contacts(Contacts),
}

/// How the bench is set up.
#[derive(Debug, Clone)]
pub(super) struct Setting {
    pub(super) asset: &'static str,
    pub(super) plan: &'static str,
    /// Another text of the plan than the one that comes with the program.
    pub(super) text: Option<String>,
    pub(super) witnessed: bool,
    pub(super) policy: Policy,
    pub(super) instruments: String,
    pub(super) fixtures: String,
    pub(super) isolation_volts: u32,
    pub(super) period_ms: Option<u32>,
    /// Meters without a line: a person enters what they show.
    pub(super) typed: Vec<&'static str>,
    /// Limit rows that the workshop has read in its own copy.
    pub(super) confirmed: Vec<String>,
    /// Steps by reason that are asked for.
    pub(super) asked: Vec<String>,
    /// Newest bench checks.
    pub(super) checks: Vec<CheckFact>,
}

impl Default for Setting {
    fn default() -> Setting {
        Setting {
            asset: "P-0109",
            plan: "iec62353-recurrent-direct",
            text: None,
            witnessed: false,
            policy: Policy::default(),
            instruments: INSTRUMENTS.into(),
            fixtures: FIXTURES.into(),
            isolation_volts: 1000,
            period_ms: Some(400),
            typed: Vec::new(),
            confirmed: Vec::new(),
            asked: Vec::new(),
            checks: Vec::new(),
        }
    }
}

/// The bench.
#[derive(Debug, Clone)]
pub(super) struct Bench {
    pub(super) inspection: Inspection,
    pub(super) world: World,
    pub(super) now: u64,
    pub(super) seq: u64,
    pub(super) lines: Vec<Stored>,
    pub(super) readings: Vec<Attached>,
    pub(super) told: Vec<Told>,
    witnessed: bool,
    ready: Option<Function>,
    /// Deliberate acts of the person, codes and commands.
    pub(super) acts: u32,
    /// Meter whose zero key is on, and says so.
    pub(super) zeroed: Option<&'static str>,
}

impl Bench {
    /// An open inspection whose first step is active.
    pub(super) fn open(setting: &Setting) -> Bench {
        let mut bench = Bench::before(setting);
        bench.inspection.prepare().unwrap();
        bench.told.push(Told::Prepare);
        bench.settle();
        bench
    }

    /// The first commit is applied, nothing is prepared.
    pub(super) fn before(setting: &Setting) -> Bench {
        let mut bench = Bench {
            inspection: Inspection::new(),
            world: World::default(),
            now: 1_000_000,
            seq: 100,
            lines: Vec::new(),
            readings: Vec::new(),
            told: Vec::new(),
            witnessed: setting.witnessed,
            ready: None,
            acts: 2, // the scan of the asset, and begin
            zeroed: None,
        };
        for fact in first_commit(setting) {
            bench.store(fact, Some("op-7"));
        }
        bench
    }

    fn store(&mut self, fact: Fact, by: Option<&str>) {
        self.seq += 1;
        let at = Now(self.now);
        self.inspection.apply(self.seq, at, &fact, by);
        let line = Stored { seq: self.seq, at, fact, by: by.map(ToString::to_string) };
        self.told.push(Told::Fact(alloc::boxed::Box::new(line.clone())));
        self.lines.push(line);
    }

    /// Stores facts and all that follows.
    pub(super) fn put(&mut self, facts: Vec<Fact>, by: Option<&str>) {
        for fact in facts {
            self.store(fact, by);
        }
        self.settle();
    }

    fn settle(&mut self) {
        for _ in 0..2000 {
            let facts = self.inspection.follow(Now(self.now));
            if facts.is_empty() {
                return;
            }
            for fact in facts {
                self.store(fact, None);
            }
        }
        panic!("it follows without end");
    }

    /// A person asks, a second and more after whatever they saw.
    pub(super) fn ask(&mut self, command: &Command) -> Result<(), Refusal> {
        self.now += 1_100_000;
        self.ask_now(command)
    }

    /// A person asks at once.
    pub(super) fn ask_now(&mut self, command: &Command) -> Result<(), Refusal> {
        let facts = self.inspection.command(Now(self.now), command, Some("op-7"))?;
        self.acts += 1;
        self.put(facts, Some("op-7"));
        Ok(())
    }

    pub(super) fn act(&mut self, what: &str) -> Result<(), Refusal> {
        let prompt = self.inspection.prompt();
        let expect = Some(Expect {
            step: prompt.step,
            state: Some(prompt.state.to_string()),
            seq: prompt.seq,
        });
        self.ask(&Command::Act { what: what.into(), expect })
    }

    pub(super) fn answer(&mut self, answer: &str) -> Result<(), Refusal> {
        self.ask(&Command::Answer { answer: answer.into(), item: None, reason: None })
    }

    pub(super) fn state(&self) -> &'static str {
        self.inspection.prompt().state
    }

    pub(super) fn active(&self) -> String {
        self.inspection.prompt().step.unwrap_or_default()
    }

    /// One reading of an instrument, now.
    pub(super) fn feed(&mut self, meter: &str, function: Function, shows: &str) -> Where {
        self.feed_at(meter, function, shows, self.now)
    }

    /// One reading whose first byte arrived at `first`.
    pub(super) fn feed_at(
        &mut self,
        meter: &str,
        function: Function,
        shows: &str,
        first: u64,
    ) -> Where {
        self.seq += 1;
        let id = (self.seq, 0);
        let mut reading = reading(function, shows);
        (reading.first, reading.last) = (Now(first), Now(self.now));
        if self.world.relative && meter == "LR-01" || self.zeroed == Some(meter) {
            reading.flags.push(Flag::Relative);
        }
        self.told.push(Told::Reading(id, meter.into(), reading.clone()));
        let (at, facts) = self.inspection.reading(id, meter, &reading);
        let attached = Attached { id, meter: meter.into(), reading, at: at.clone() };
        self.readings.push(attached);
        self.put(facts, None);
        at
    }

    /// Both meters talk for a while, the low-resistance meter every 0.4 s by itself, the
    /// voltmeter every 0.5 s as it is asked.
    pub(super) fn run(&mut self, seconds: u64) {
        let end = self.now + seconds * 1_000_000;
        while self.now < end {
            self.tick();
        }
    }

    /// A tenth of a second.
    pub(super) fn tick(&mut self) {
        self.now += 100_000;
        if self.now.is_multiple_of(400_000) {
            let ohms = self.world.ohms.clone();
            self.feed("LR-01", Function::Resistance4w, &ohms);
        }
        if self.now.is_multiple_of(500_000) {
            self.poll();
        }
    }

    /// Runs until the prompt says `state`; panics after a minute.
    pub(super) fn until(&mut self, state: &str) {
        for _ in 0..60 {
            if self.state() == state {
                return;
            }
            self.run(1);
        }
        panic!("waited for `{state}`, it says {:?}", self.inspection.prompt());
    }

    fn poll(&mut self) {
        let wants = self.inspection.wants();
        let want = wants.iter().find(|(meter, _)| meter == "DM-01").map(|(_, want)| want.function);
        let Some(function) = want else { return };
        if self.ready != Some(function) {
            self.ready = Some(function);
            self.inspection.configured("DM-01", function, Now(self.now));
            self.told.push(Told::Configured(function, Now(self.now)));
            return;
        }
        let world = &self.world;
        let shows = match function {
            Function::Resistance2w => world.network[usize::from(world.s7)].clone(),
            Function::VoltageAc if world.supply => world.leak[usize::from(world.s5)].clone(),
            Function::VoltageDc => "0.0001 V".into(),
            _ => world.idle.clone(),
        };
        self.feed("DM-01", function, &shows);
    }

    /// The person moves switches; contacts see it where the box has them.
    pub(super) fn set(&mut self, s5: bool, s7: bool, supply: bool) {
        (self.world.s5, self.world.s7, self.world.supply) = (s5, s7, supply);
        if self.witnessed {
            self.seen([s5, s7, supply, false]);
        }
    }

    /// Contacts say this.
    pub(super) fn seen(&mut self, closed: [bool; 4]) {
        let contacts = Contacts { closed, span: Span { from: 0, to: 8 }, at: Now(self.now) };
        self.told.push(Told::Contacts(contacts));
        let facts = self.inspection.contacts("box", &contacts);
        self.put(facts, None);
    }

    /// The clips come apart, then join over `shows`, and stay until a value is there.
    pub(super) fn touch(&mut self, shows: &str) {
        self.world.ohms = "OL".into();
        self.run(2);
        self.world.ohms = shows.into();
        self.run(8);
    }

    /// Nulls both directions of the lead set.
    pub(super) fn null(&mut self, plus: &str, minus: &str) {
        self.ask(&Command::Null { lead: "L-1".into() }).unwrap();
        self.world.ohms = plus.into();
        self.run(5);
        self.touch(minus);
        self.world.ohms = "OL".into();
        self.run(2);
    }

    pub(super) fn scan(&mut self, asset: &str) {
        self.acts += 1;
        self.now += 1_100_000;
        self.put(vec![scan(asset)], None);
    }

    pub(super) fn supply(&mut self, ln: &str, npe: &str, lpe: &str) -> Result<(), Refusal> {
        self.ask(&Command::Prove {
            what: "supply".into(),
            ln: Some(ln.into()),
            npe: Some(npe.into()),
            lpe: Some(lpe.into()),
        })
    }

    pub(super) fn prove(&mut self, what: &str) -> Result<(), Refusal> {
        self.ask(&Command::Prove { what: what.into(), ln: None, npe: None, lpe: None })
    }

    pub(super) fn sign(&mut self, tag: Option<&str>) -> Result<(), Refusal> {
        self.ask(&Command::Sign {
            meaning: "performed".into(),
            auth: "socket".into(),
            tag: tag.map(ToString::to_string),
            reason: None,
        })
    }

    pub(super) fn resume(&mut self, boot: &str, date: &str) {
        // A restart knows the book and nothing else.
        let mut fresh = Inspection::new();
        for line in &self.lines {
            fresh.apply(line.seq, line.at, &line.fact, line.by.as_deref());
        }
        self.inspection = fresh;
        self.ready = None;
        self.inspection.prepare().unwrap();
        let fact = Fact::Resume(ResumeFact {
            bench: "b1".into(),
            boot: boot.into(),
            version: "0.1.0".into(),
            judge: 1,
            after: "restart".into(),
            date: Some(date.into()),
        });
        self.put(vec![fact], None);
    }

    pub(super) fn values(&self) -> Vec<&crate::fact::ValueFact> {
        let value = |line: &'_ Stored| matches!(line.fact, Fact::Value(_));
        let values = self.lines.iter().filter(|line| value(line));
        values
            .filter_map(|line| match &line.fact {
                Fact::Value(value) => Some(value),
                _ => None,
            })
            .collect()
    }

    pub(super) fn verdict(&self, step: &str) -> (crate::fact::Word, Vec<String>) {
        let line = self.inspection.record().verdicts.get(step).expect("a verdict");
        (line.fact.judged.verdict, line.fact.judged.reasons.clone())
    }

    /// A declared box: the person switches and says so.
    pub(super) fn live_declared(&mut self, s5: bool) {
        self.until("clear");
        self.set(s5, true, false);
        self.act("clear").unwrap();
        self.world.supply = true;
        self.act("live").unwrap();
        if self.state() == "set_state" {
            self.prove("alive").unwrap();
        }
        if self.state() == "source" {
            self.source("226").unwrap();
            self.source("226").unwrap();
        }
        self.until("dead");
        self.world.supply = false;
        self.act("dead").unwrap();
    }

    /// What the source's own voltmeter shows is typed.
    pub(super) fn source(&mut self, volts: &str) -> Result<(), Refusal> {
        let (what, ln) = ("source".into(), Some(volts.into()));
        self.ask(&Command::Prove { what, ln, npe: None, lpe: None })
    }

    /// The first polarity alone once more.
    pub(super) fn leak_again(&mut self) {
        self.set(false, false, false);
        if self.state() == "connect" {
            self.act("connected").unwrap();
        }
        if self.state() != "clear" {
            self.until("prove_open");
        }
        self.world.s7 = true;
        self.live_declared(false);
        self.until("reprove");
        self.world.s7 = false;
        self.run(12);
    }

    /// From `connect` to the end of the placement, on a declared box.
    pub(super) fn leak_declared(&mut self) {
        assert_eq!(self.state(), "connect");
        self.set(false, false, false);
        self.act("connected").unwrap();
        self.until("prove_open");
        self.world.s7 = true;
        self.live_declared(false);
        self.live_declared(true);
        self.until("reprove");
        self.world.s7 = false;
        self.run(12);
    }
}

/// `0.182 Ohm`, `>2 Ohm`, `OL`, `none`.
pub(in crate::inspection) fn reading(function: Function, shows: &str) -> Reading {
    let ohm = Unit::from_ucum("Ohm").unwrap();
    let (indication, unit) = match shows {
        "OL" => (Indication::Overload, ohm),
        "none" => (Indication::NoValue, ohm),
        shows => {
            let (number, unit) = shows.split_once(' ').unwrap();
            let unit = Unit::from_ucum(unit).unwrap();
            match number.strip_prefix('>') {
                Some(bound) => (Indication::Above(Number::parse(bound).unwrap()), unit),
                None => (Indication::Value(Number::parse(number).unwrap()), unit),
            }
        }
    };
    Reading {
        indication,
        function,
        unit,
        flags: Vec::new(),
        span: Span { from: 0, to: 8 },
        first: Now(0),
        last: Now(0),
        why: None,
    }
}
