//! The station core and the simulated bench in one virtual time: the bench's bytes become events,
//! what the core sends goes back to the multimeter, and the person sees what was committed.

use serde_json::{Value, json};
use tapline::clock::{Stamp, Zone};
use tapline::station::event::{Effect, Event, Origin, Request, Stored};
use tapline::station::{
    BenchSettings, Context, Core, Found, Library, LinkSettings, StationSettings,
};
use tapline_demo::clinic;
use tapline_demo::person::{Deed, Person, Sight};
use tapline_demo::scene::Scene;
use tapline_demo::world::{Port, World};
use tapline_protocols::Fact;
use tapline_protocols::fact::Policy;

/// 2026-11-24T08:00:00Z, microseconds.
const WALL_US: i64 = 1_795_507_200_000_000;
/// One turn of the virtual time, microseconds.
const TURN_US: u64 = 20_000;
/// A scene that lasts longer than this hangs, microseconds.
const SCENE_US: u64 = 900_000_000;

/// One bench of a station, with a person at it.
pub(crate) struct Bench {
    core: Core,
    world: World,
    status: Value,
    now: u64,
    /// Every line that was committed, in order.
    pub(crate) lines: Vec<Stored>,
    /// What the station refused to the person.
    pub(crate) refusals: Vec<String>,
}

/// What came of a scene.
pub(crate) struct Told {
    /// Seconds of virtual time.
    pub(crate) seconds: u64,
    /// Lines of its inspection.
    pub(crate) facts: Vec<Fact>,
    /// What was refused.
    pub(crate) refusals: Vec<String>,
}

impl Bench {
    /// A fresh station with the clinic's register.
    pub(crate) fn new(scene: &Scene) -> Bench {
        let context = Context {
            version: "0.1.0".into(),
            judge: 1,
            boot: "6f1c2a9e-0d53-4c1e-9a51-0c5b8e1f7a22".into(),
            synced: true,
            earliest_us: tapline::clock::EARLIEST_US,
            key: None,
        };
        let core = Core::new(settings(scene.witnessed), context, Library::builtin().unwrap());
        let world = World::new(scene.clone(), 0).unwrap();
        let (lines, refusals) = (Vec::new(), Vec::new());
        let mut bench = Bench { core, world, status: Value::Null, now: 0, lines, refusals };
        let at = bench.at();
        bench.core.recover(at, Found::default());
        bench.effects();
        for (what, text) in [
            ("operators", clinic::OPERATORS),
            ("assets", clinic::ASSETS),
            ("instruments", clinic::INSTRUMENTS),
            ("fixtures", clinic::FIXTURES),
        ] {
            bench.ask(&json!({ "do": "import", "what": what, "text": text }));
        }
        assert_eq!(bench.refusals, Vec::<String>::new(), "the register takes the clinic");
        for (link, port) in LINKS {
            let at = bench.at();
            bench.core.handle(Event::LinkUp { at, link: link.into() });
            bench.world.opened(bench.now, port);
            bench.effects();
        }
        bench
    }

    /// Another asset comes to the bench.
    pub(crate) fn change(&mut self, scene: &Scene) {
        self.world.change(self.now, scene.clone()).unwrap();
        for link in &scene.replug {
            let (at, link) = (self.at(), link.clone());
            let why = "the data cable was pulled".to_string();
            self.core.handle(Event::LinkDown { at, link: link.clone(), why });
            self.core.handle(Event::LinkUp { at, link });
            self.effects();
        }
    }

    /// Lets a person inspect, to the end.
    pub(crate) fn inspect(&mut self, scene: &Scene) -> Told {
        let mut person = Person::new(scene, clinic::BADGE);
        let (began, from) = (self.now, self.lines.len());
        loop {
            let sight = self.sight();
            if person.finished(&sight) {
                break;
            }
            for deed in person.see(self.now, &sight) {
                match deed {
                    Deed::Hand(hand) => self.world.hand(self.now, &hand).unwrap(),
                    Deed::Ask(request) => self.ask(&request),
                }
            }
            for _ in 0..5 {
                self.turn();
            }
            let spent = self.now - began;
            assert!(spent < SCENE_US, "{} hangs: {}\n{:?}", scene.id, self.status, self.refusals);
        }
        let facts = self.lines[from..].iter().map(|line| line.fact.clone()).collect();
        let refusals = std::mem::take(&mut self.refusals);
        Told { seconds: (self.now - began) / 1_000_000, facts, refusals }
    }

    fn sight(&self) -> Sight {
        let mut sight: Sight =
            serde_json::from_value(self.status["benches"][0].clone()).unwrap_or_default();
        sight.lit = self.world.lit();
        sight.ol = self.world.shows_open();
        sight
    }

    fn at(&self) -> Stamp {
        let wall_us = WALL_US + i64::try_from(self.now).unwrap();
        Stamp { wall_us, boot_us: self.now + 1_000_000 }
    }

    fn turn(&mut self) {
        self.now += TURN_US;
        self.world.advance(self.now);
        for (port, bytes) in self.world.drain() {
            let (at, link) = (self.at(), link_of(port).to_string());
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
        let request: Request = serde_json::from_value(request.clone()).unwrap();
        let (at, ticket, origin) = (self.at(), 1, Origin::Socket(0));
        self.core.handle(Event::Command { at, ticket, origin, bench: None, by: None, request });
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
            Effect::Show(status) => self.status = serde_json::to_value(status).unwrap(),
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

const LINKS: [(&str, Port); 4] =
    [("ohm", Port::Ohm), ("dmm", Port::Dmm), ("box", Port::Contacts), ("scan", Port::Scanner)];

fn link_of(port: Port) -> &'static str {
    LINKS.iter().find(|(_, known)| *known == port).map_or("", |(link, _)| link)
}

fn settings(witnessed: bool) -> StationSettings {
    let link = |id: &str, driver: &str, instrument: Option<&str>| LinkSettings {
        id: id.into(),
        bench: "b1".into(),
        driver: driver.into(),
        described: None,
        instrument: instrument.map(String::from),
        isolation: None,
    };
    let witness = [("link", "box"), ("c1", "S5=reversed"), ("c2", "S7=open"), ("c3", "supply=on")];
    let witness = witness.iter().filter(|_| witnessed);
    let supply_box = if witnessed { "SB-1" } else { "SB-2" };
    StationSettings {
        id: "DEMO".into(),
        name: "Workshop of the demonstration".into(),
        zone: Zone::named("Etc/UTC").unwrap(),
        zone_name: "Etc/UTC".into(),
        commit_ms: 20,
        policy: Policy { guard_ms: 300, ..Policy::default() },
        benches: vec![BenchSettings {
            id: "b1".into(),
            name: "Bench 1".into(),
            fixtures: [supply_box, "NW-1", "FO-1", "L-1"].map(String::from).to_vec(),
            witness: witness.map(|(a, b)| ((*a).into(), (*b).into())).collect(),
        }],
        links: vec![
            link("ohm", "val-unit-line", Some("LR-01")),
            link("dmm", "scpi", Some("DM-01")),
            link("box", "contacts", None),
            link("scan", "scan", None),
        ],
    }
}
