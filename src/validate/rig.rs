//! The station core and the simulated bench in one virtual time: the bench's bytes become events,
//! what the core sends goes back to the multimeter, and the person sees what was committed.

use std::sync::OnceLock;

use serde_json::{Value, json};
use tapline_demo::clinic;
use tapline_demo::hand::Hand;
use tapline_demo::person::{Asked, Deed, Person, Sight};
use tapline_demo::scene::Scene;
use tapline_demo::world::{Port, World};
use tapline_protocols::Fact;
use tapline_protocols::fact::Policy;
use tapline_protocols::judge::JUDGE;
use tapline_protocols::limits::Table;
use tapline_protocols::plan;

use crate::clock::{Stamp, Zone};
use crate::station::event::{Effect, Event, Origin, Request, Stored};
use crate::station::{
    BenchSettings, Context, Core, Found, Library, LinkSettings, Proved, StationSettings,
    status::Status,
};

/// 2026-11-24T08:00:00Z, microseconds.
const WALL_US: i64 = 1_795_507_200_000_000;
/// One turn of the virtual time, microseconds.
const TURN_US: u64 = 20_000;
/// How long a person tries, microseconds.
const PATIENCE_US: u64 = 600_000_000;
/// A scene that lasts longer than this hangs and is broken off, microseconds.
const SCENE_US: u64 = 900_000_000;

/// What the station's register says of its bench.
#[derive(Debug, Clone)]
pub struct Register {
    /// As `asset import` reads them.
    pub assets: String,
    /// As `instrument import` reads them.
    pub instruments: String,
    /// As `fixture import` reads them.
    pub fixtures: String,
    /// Fixtures of the bench besides box, network, foil and leads.
    pub besides: Vec<String>,
    /// Limit rows that the workshop has confirmed.
    pub confirmed: Vec<String>,
    /// What the station does where a workshop has a choice.
    pub policy: Policy,
    /// Every shipped plan and table, not the plan of the demonstration's clinic alone.
    pub whole: bool,
}

impl Default for Register {
    /// The invented clinic of the demonstration.
    fn default() -> Register {
        Register {
            assets: clinic::ASSETS.into(),
            instruments: clinic::INSTRUMENTS.into(),
            fixtures: clinic::FIXTURES.into(),
            besides: Vec::new(),
            confirmed: Vec::new(),
            policy: Policy { guard_ms: 300, ..Policy::default() },
            whole: false,
        }
    }
}

/// What stands between the person and the bench: eyes, hands, and the cables.
pub trait Between {
    /// What the person believes to see.
    fn sees(&mut self, _sight: &mut Sight) {}
    /// What comes of something that the person means to do when asked for something.
    fn does(&mut self, _asked: &Asked, deed: Deed, _lines: &[Stored]) -> Vec<Deed> {
        vec![deed]
    }
    /// What comes of bytes on their way.
    fn wires(&mut self, _port: Port, bytes: Vec<u8>) -> Vec<u8> {
        bytes
    }
}

/// Nothing goes wrong between the person and the bench.
#[derive(Debug, Clone, Copy)]
pub struct Nothing;

impl Between for Nothing {}

/// One bench of a station, with a person at it.
#[allow(missing_debug_implementations, reason = "the core has none")]
pub struct Bench {
    core: Core,
    world: World,
    status: Option<Box<Status>>,
    now: u64,
    /// Every line that was committed, in order.
    pub lines: Vec<Stored>,
    /// What the station refused to the person.
    pub refusals: Vec<String>,
}

/// What came of a scene.
#[derive(Debug)]
pub struct Told {
    /// Seconds of virtual time.
    pub seconds: u64,
    /// Lines of its inspection.
    pub facts: Vec<Fact>,
    /// What was refused.
    pub refusals: Vec<String>,
    /// Acts of the hands that moved something, scans, requests.
    pub acts: [u32; 3],
}

impl Bench {
    /// A fresh station with the clinic's register.
    pub fn new(scene: &Scene) -> Bench {
        Bench::with(scene, &Register::default())
    }

    /// A fresh station with this register.
    pub fn with(scene: &Scene, register: &Register) -> Bench {
        let context = Context {
            version: env!("CARGO_PKG_VERSION").into(),
            judge: JUDGE,
            boot: "6f1c2a9e-0d53-4c1e-9a51-0c5b8e1f7a22".into(),
            synced: true,
            earliest_us: crate::clock::EARLIEST_US,
            key: None,
        };
        let core = Core::new(settings(scene, register), context, library(register.whole).clone());
        let world = World::new(scene.clone(), 0).expect("the parts of a scene agree");
        let (lines, refusals) = (Vec::new(), Vec::new());
        let (status, now) = (None, 0);
        let mut bench = Bench { core, world, status, now, lines, refusals };
        let at = bench.at();
        bench.core.recover(at, Found::default());
        bench.effects();
        for (what, text) in [
            ("operators", clinic::OPERATORS),
            ("assets", register.assets.as_str()),
            ("instruments", register.instruments.as_str()),
            ("fixtures", register.fixtures.as_str()),
        ] {
            bench.ask(&json!({ "do": "import", "what": what, "text": text }));
        }
        if !register.confirmed.is_empty() {
            let request = json!({
                "do": "confirm", "rows": register.confirmed, "document": clinic::DOCUMENT,
                "clause": "Table 2",
            });
            bench.ask_by(&request, Some(clinic::CONFIRMED_BY));
        }
        assert_eq!(bench.refusals, Vec::<String>::new(), "the register takes the clinic");
        for (link, port) in links(scene) {
            let at = bench.at();
            bench.core.handle(Event::LinkUp { at, link: link.into() });
            bench.world.opened(bench.now, port);
            bench.effects();
        }
        bench
    }

    /// Another asset comes to the bench.
    pub fn change(&mut self, scene: &Scene) {
        self.world.change(self.now, scene.clone()).expect("the parts of a scene agree");
        for link in &scene.replug {
            let (at, link) = (self.at(), link.clone());
            let why = "the data cable was pulled".to_string();
            self.core.handle(Event::LinkDown { at, link: link.clone(), why });
            self.core.handle(Event::LinkUp { at, link });
            self.effects();
        }
    }

    /// Lets a person inspect, to the end.
    pub fn inspect(&mut self, scene: &Scene) -> Told {
        self.inspect_through(scene, &mut Nothing)
    }

    /// Lets a person inspect, with this between them and the bench.
    pub fn inspect_through(&mut self, scene: &Scene, between: &mut dyn Between) -> Told {
        let mut acts = [0; 3];
        let mut person = Person::new(scene, clinic::BADGE);
        let (began, from) = (self.now, self.lines.len());
        loop {
            let mut sight = self.sight();
            between.sees(&mut sight);
            if person.finished(&sight) {
                break;
            }
            let deeds = match self.now - began {
                spent if spent > PATIENCE_US => self.gives_up(),
                _ => person.see(self.now, &sight),
            };
            let asked = sight.inspection.map(|open| open.prompt).unwrap_or_default();
            for deed in deeds {
                for deed in between.does(&asked, deed, &self.lines[from..]) {
                    let before = self.world.room().clone();
                    let kind = kind(&deed);
                    match deed {
                        Deed::Hand(hand) => {
                            let done = self.world.hand(self.now, &hand);
                            done.expect("hands move what is there");
                        }
                        Deed::Ask(request) => self.ask(&request),
                    }
                    // A hand that finds a thing as it should be does nothing.
                    acts[kind] += u32::from(kind != 0 || *self.world.room() != before);
                }
            }
            for _ in 0..5 {
                self.turn(between);
            }
            if SCENE_US < self.now - began {
                break;
            }
        }
        let facts = self.lines[from..].iter().map(|line| line.fact.clone()).collect();
        let refusals = std::mem::take(&mut self.refusals);
        Told { seconds: (self.now - began) / 1_000_000, facts, refusals, acts }
    }

    /// Nobody goes round in circles for ten minutes.
    fn gives_up(&self) -> Vec<Deed> {
        let off = [("supply".to_owned(), "off".to_owned())].into();
        let end = json!({ "do": "end", "outcome": "given_up", "reason": "in circles" });
        let dead = json!({ "do": "act", "what": "dead" });
        vec![Deed::Hand(Hand::Switch { set: off }), Deed::Ask(dead), Deed::Ask(end)]
    }

    fn sight(&self) -> Sight {
        let bench = self.status.as_ref().and_then(|status| status.benches.first());
        let object = serde_json::to_value(bench).unwrap_or_default();
        let mut sight: Sight = serde_json::from_value(object).unwrap_or_default();
        sight.lit = self.world.lit();
        sight.ol = self.world.shows_open();
        sight.source = self.world.source_volts();
        sight
    }

    fn at(&self) -> Stamp {
        let wall_us = WALL_US + i64::try_from(self.now).unwrap_or(i64::MAX);
        Stamp { wall_us, boot_us: self.now + 1_000_000 }
    }

    fn turn(&mut self, between: &mut dyn Between) {
        self.now += TURN_US;
        self.world.advance(self.now);
        for (port, bytes) in self.world.drain() {
            let (at, link) = (self.at(), link_of(port).to_string());
            let bytes = between.wires(port, bytes);
            self.core.handle(Event::Bytes { at, link, bytes });
            self.effects();
        }
        if self.core.deadline().is_some_and(|due| due <= self.at().boot_us) {
            let at = self.at();
            self.core.handle(Event::Deadline { at });
            self.effects();
        }
    }

    fn ask(&mut self, request: &Value) {
        self.ask_by(request, None);
    }

    fn ask_by(&mut self, request: &Value, by: Option<&str>) {
        let by = by.map(str::to_owned);
        let request: Result<Request, _> = serde_json::from_value(request.clone());
        let request = request.expect("people ask what the station knows");
        let (at, ticket, origin) = (self.at(), 1, Origin::Socket(0));
        self.core.handle(Event::Command {
            at,
            ticket,
            origin,
            bench: None,
            by,
            request,
            proved: Proved::default(),
        });
        self.effects();
    }

    fn effects(&mut self) {
        loop {
            let effects = self.core.drain();
            if effects.is_empty() {
                return;
            }
            for effect in effects {
                self.effect(effect);
            }
        }
    }

    fn effect(&mut self, effect: Effect) {
        match effect {
            Effect::Commit(lines) => self.lines.extend(lines),
            Effect::Show(status) => self.status = Some(status),
            Effect::Seal { id } => {
                let (at, head, key) = (self.at(), "0".repeat(64), "0".repeat(64));
                self.core.handle(Event::Sealed { at, id, head, bytes: 1, key });
            }
            Effect::Send { link, bytes } => {
                assert_eq!(link, "dmm", "nothing else is ever sent to");
                self.world.tell_dmm(self.now, &bytes);
            }
            Effect::Answer { result: Err(problem), .. } => {
                self.refusals.push(format!("{}: {}", problem.code, problem.detail));
            }
            Effect::Answer { .. } => {}
        }
    }
}

/// A hand, a scan or a request.
fn kind(deed: &Deed) -> usize {
    match deed {
        Deed::Hand(Hand::Scan { .. }) => 1,
        Deed::Hand(_) => 0,
        Deed::Ask(_) => 2,
    }
}

/// What comes with the program, or what the clinic of the demonstration needs of it, read once:
/// a core has a copy of its own.
fn library(whole: bool) -> &'static Library {
    static WHOLE: OnceLock<Library> = OnceLock::new();
    static CLINIC: OnceLock<Library> = OnceLock::new();
    const READ: &str = "a test reads every built-in text";
    let clinic = || {
        let mut library = Library::default();
        let plan = plan::builtin("iec62353-recurrent-direct").expect("it is in the list");
        library.add_plan(plan).expect(READ);
        let table = Table::builtin("IEC 62353", "2014").expect("it is in the list");
        library.add_table(table).expect(READ);
        library.add_plan(clinic::PLAN).expect(READ);
        library
    };
    match whole {
        true => WHOLE.get_or_init(|| Library::builtin().expect(READ)),
        false => CLINIC.get_or_init(clinic),
    }
}

const LINKS: [(&str, Port); 5] = [
    ("ohm", Port::Ohm),
    ("dmm", Port::Dmm),
    ("box", Port::Contacts),
    ("scan", Port::Scanner),
    ("iso", Port::Iso),
];

/// Those of a bench; an insulation tester stands on few.
fn links(scene: &Scene) -> impl Iterator<Item = (&'static str, Port)> {
    let tester = scene.tester.is_some();
    LINKS.into_iter().filter(move |(_, port)| tester || *port != Port::Iso)
}

fn link_of(port: Port) -> &'static str {
    LINKS.iter().find(|(_, known)| *known == port).map_or("", |(link, _)| link)
}

fn settings(scene: &Scene, register: &Register) -> StationSettings {
    let link = |id: &str, driver: &str, instrument: Option<&str>| LinkSettings {
        id: id.into(),
        bench: "b1".into(),
        driver: driver.into(),
        described: None,
        instrument: instrument.map(String::from),
        isolation: None,
    };
    let witness = [("link", "box"), ("c1", "S5=reversed"), ("c2", "S7=open"), ("c3", "supply=on")];
    let witness = witness.iter().filter(|_| scene.witnessed);
    let tester = scene.tester.map(|_| link("iso", "val-unit-line", Some("IR-01")));
    let supply_box = if scene.witnessed { "SB-1" } else { "SB-2" };
    StationSettings {
        id: "DEMO".into(),
        name: "Workshop of the demonstration".into(),
        zone: Zone::named("Etc/UTC").expect("it is always known"),
        zone_name: "Etc/UTC".into(),
        commit_ms: 20,
        policy: register.policy.clone(),
        due: tapline_protocols::due::Counting::default(),
        wiring: None,
        benches: vec![BenchSettings {
            id: "b1".into(),
            name: "Bench 1".into(),
            fixtures: [supply_box, "NW-1", "FO-1", "L-1"]
                .map(String::from)
                .into_iter()
                .chain(register.besides.iter().chain(&scene.fixtures).cloned())
                .collect(),
            witness: witness.map(|(a, b)| ((*a).into(), (*b).into())).collect(),
            typed: Vec::new(),
        }],
        links: [
            link("ohm", "val-unit-line", Some("LR-01")),
            link("dmm", "scpi", Some("DM-01")),
            link("box", "contacts", None),
            link("scan", "scan", None),
        ]
        .into_iter()
        .chain(tester)
        .collect(),
    }
}
