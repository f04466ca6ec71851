//! A bench that lacks nothing, in virtual time: the station's core and its drivers, instruments on
//! the solved circuit, and a person who does what the station asks.

use serde_json::{Value, json};
use tapline::clock::Stamp;
use tapline::station::event::{Effect, Event, Origin, Request};
use tapline::station::{Context, Core, Found, Library, Proved};
use tapline_demo::meter::{Multimeter, Seen, Talking};
use tapline_demo::noise::Noise;
use tapline_protocols::Fact;

use super::ammeter::stands;
use super::circuit::{Clips, Room, Thing};
use super::figure4::Person;
pub(crate) use super::station::Came;
use super::station::{TALKERS, came, instruments, settings};

const WALL_US: i64 = 1_795_507_200_000_000;
const TURN_US: u64 = 50_000;
/// A word of the station that is not answered for so long is answered once more.
const PATIENCE_US: u64 = 15_000_000;
/// As often as this, then it hangs.
const TRIES: u32 = 4;

pub(super) const FIXTURES: &str = include_str!("../plans/bench/fixtures.toml");
const OPERATORS: &str = include_str!("../../demo/scenes/operators.toml");

/// The station's bench.
pub(crate) struct Bench {
    core: Core,
    status: Value,
    now: u64,
    thing: Thing,
    pub(super) room: Room,
    seen: Seen,
    dmm: Multimeter,
    /// The meter that reads peaks.
    pub(super) peak: Talking,
    /// Who plugs the network and turns the dial of that meter.
    pub(super) person: Person,
    /// What the multimeter says next.
    answer: Vec<u8>,
    talked: u64,
    plus: bool,
    facts: Vec<Fact>,
    sealed: bool,
    pub(super) refusals: Vec<String>,
    /// What the person makes of where the lever of the test current is to stand.
    pub(super) lever: fn(&str, usize) -> &'static str,
    /// How often the lever was asked for since hands were clear.
    levers: usize,
    /// Keys of what was said to commands that were done.
    said: Vec<String>,
}

impl Bench {
    pub(crate) fn new(assets: &str, thing: Thing) -> Bench {
        let context = Context {
            version: "0.1.0".into(),
            judge: 1,
            boot: "6f1c2a9e-0d53-4c1e-9a51-0c5b8e1f7a22".into(),
            synced: true,
            earliest_us: tapline::clock::EARLIEST_US,
            key: None,
        };
        let core = Core::new(settings(), context, Library::builtin().unwrap());
        let room = Room::default();
        let seen = thing.seen(&room);
        let mut bench = Bench {
            core,
            status: Value::Null,
            now: 0,
            thing,
            room,
            seen,
            dmm: Multimeter::new(0, Noise::new(7)),
            peak: Talking::new(Noise::new(8)),
            person: Person::default(),
            answer: Vec::new(),
            talked: 0,
            plus: true,
            facts: Vec::new(),
            sealed: false,
            refusals: Vec::new(),
            lever: |word, _| stands(word),
            levers: 0,
            said: Vec::new(),
        };
        let at = bench.at();
        bench.core.recover(at, Found::default());
        bench.effects();
        let instruments = instruments();
        for (what, text) in [
            ("operators", OPERATORS),
            ("assets", assets),
            ("instruments", &instruments),
            ("fixtures", FIXTURES),
        ] {
            bench.ask(&json!({ "do": "import", "what": what, "text": text }), None);
        }
        assert_eq!(bench.refusals, Vec::<String>::new());
        for link in TALKERS.map(|(link, _)| link).into_iter().chain(["dmm", "scan"]) {
            let at = bench.at();
            bench.core.handle(Event::LinkUp { at, link: link.into() });
            bench.effects();
        }
        bench
    }

    /// The workshop reads these rows in its own copy.
    pub(crate) fn confirm(&mut self, rows: &[String]) {
        let request = json!({
            "do": "confirm", "rows": rows, "document": "an invented copy", "clause": "as printed",
        });
        if !rows.is_empty() {
            self.ask(&request, Some("op-2"));
        }
        assert_eq!(self.refusals, Vec::<String>::new());
    }

    /// Takes people into the register in place of the clinic's own.
    pub(crate) fn people(&mut self, text: &str) {
        self.ask(&json!({ "do": "import", "what": "operators", "text": text }), None);
        assert_eq!(self.refusals, Vec::<String>::new());
    }

    /// What is said to `begin`, and what was refused.
    pub(crate) fn begin(&mut self, plan: &str) -> (Vec<String>, Vec<String>) {
        self.scan("OP-0007");
        let asset = self.thing.asset.id.clone();
        self.scan(&asset);
        self.said.clear();
        self.ask(&json!({ "do": "begin", "plan": plan }), None);
        (std::mem::take(&mut self.said), std::mem::take(&mut self.refusals))
    }

    /// From the scan of the asset to the sealed book.
    pub(crate) fn inspect(&mut self, plan: &str, with: &[&str]) -> Came {
        let came = self.walk(plan, with);
        came.map_err(|at| format!("it hangs: {at}\n{:?}\n{:?}", self.seen, self.room)).unwrap()
    }

    /// The same; or the prompt beyond which it does not go.
    pub(crate) fn walk(&mut self, plan: &str, with: &[&str]) -> Result<Came, Value> {
        self.scan("OP-0007");
        let asset = self.thing.asset.id.clone();
        self.scan(&asset);
        self.ask(&json!({ "do": "begin", "plan": plan, "with": with }), None);
        assert_eq!(self.refusals, Vec::<String>::new(), "{plan}");
        let (mut asked, mut since, mut tries) = (Value::Null, self.now, 0);
        loop {
            let prompt = self.prompt();
            if prompt["state"].is_null() || prompt["state"] == "done" {
                break;
            }
            let anew = prompt != asked;
            if anew || since + PATIENCE_US <= self.now {
                tries = if anew { 0 } else { tries + 1 };
                (asked, since) = (prompt.clone(), self.now);
                if TRIES < tries {
                    return Err(prompt);
                }
                self.plug(&prompt);
                self.follow(&prompt, tries);
            }
            self.run(100_000);
        }
        let mut came = came(&self.facts);
        came.sealed = self.sealed;
        Ok(came)
    }

    fn prompt(&self) -> Value {
        self.status["benches"][0]["inspection"]["prompt"].clone()
    }

    fn follow(&mut self, prompt: &Value, tries: u32) {
        let text = |key: &str| prompt[key].as_str().map(String::from);
        let missing = prompt["missing"].to_string();
        let state = text("state").unwrap();
        let nulls = missing.contains("lead_not_nulled") || missing.contains("null_too_old");
        let capture = json!({ "do": "capture", "expect": {
            "step": prompt["step"], "state": prompt["state"], "seq": prompt["seq"],
        }});
        let later = 1_100_000;
        match state.as_str() {
            "look" | "answer" => self.soon(later, json!({ "do": "answer", "answer": "pass" })),
            "arm" | "measure" if nulls => self.soon(later, json!({ "do": "null", "lead": "L-1" })),
            "null" => self.clip(prompt, Clips::Joined),
            "null_apart" => self.clip(prompt, Clips::Open),
            "arm" => self.clip(prompt, Clips::Open),
            // The clip sits and the meter shows an open circuit: that is recorded as it is.
            "measure" if 0 < tries => self.soon(later, capture),
            "measure" => {
                self.lay(prompt);
                self.clip(prompt, Clips::Laid);
            }
            "join_clips" => {
                self.clip(prompt, Clips::Joined);
                self.room.moved.insert("tester");
                self.run(3_000_000);
                self.soon(later, json!({ "do": "prove", "what": "closed_path" }));
                self.room.moved.remove("tester");
            }
            "close_scan" => {
                let asset = self.thing.asset.id.clone();
                self.scan(&asset);
            }
            "sign" => {
                self.soon(later, json!({ "do": "sign", "as": "performed", "tag": "attached" }));
            }
            state => self.energise(prompt, state, missing.contains("supply_not") && tries == 0),
        }
    }

    /// What is done around an asset that is energised.
    fn energise(&mut self, prompt: &Value, state: &str, unchecked: bool) {
        let act = |what: &str| {
            let expect = json!({
                "step": prompt["step"], "state": prompt["state"], "seq": prompt["seq"],
            });
            json!({ "do": "act", "what": what, "expect": expect })
        };
        let later = 1_100_000;
        match state {
            "connect" if unchecked => self.supply(),
            "connect" => {
                self.lay(prompt);
                self.room.moved.clear();
                self.room.clips = Clips::Laid;
                self.moved();
                self.soon(later, act("connected"));
            }
            "prove_closed" | "prove_open" | "reprove" | "probe_earth" | "probe_part" => {
                self.set(prompt);
            }
            "clear" => {
                self.levers = 0;
                self.set(prompt);
                self.soon(later, act("clear"));
            }
            "live" => {
                self.room.moved.extend(["supply", "source"]);
                self.moved();
                self.soon(later, act("live"));
            }
            "test_current" => {
                self.set(prompt);
                self.soon(later, act("test"));
            }
            "voltage_on" => {
                self.room.moved.insert("tester");
                self.soon(later, act("live"));
            }
            "voltage_off" => {
                self.room.moved.remove("tester");
                self.soon(later, act("dead"));
            }
            "alive" | "set_state" => self.soon(later, json!({ "do": "prove", "what": "alive" })),
            "source" => {
                let volts = if self.room.no_source { 0.0 } else { self.thing.volts };
                let request =
                    json!({ "do": "prove", "what": "source", "ln": format!("{volts:.1}") });
                self.soon(later, request.clone());
                self.soon(later, request);
            }
            "dead" | "may_be_live" => {
                self.room.moved.remove("supply");
                self.room.moved.remove("source");
                self.moved();
                self.soon(later, act("dead"));
            }
            _ => {}
        }
    }

    fn supply(&mut self) {
        let volts = self.thing.volts;
        let [ln, npe, lpe] = [volts, 0.1, volts - 0.1].map(|volt| format!("{volt:.1}"));
        let request = json!({ "do": "prove", "what": "supply", "ln": ln, "npe": npe, "lpe": lpe });
        self.ask(&request, None);
        self.run(200_000);
        self.ask(&request, None);
    }

    fn lay(&mut self, prompt: &Value) {
        let text = |key: &str| prompt[key].as_str().map(String::from);
        self.room.lead = text("lead").unwrap_or_default();
        (self.room.point, self.room.part) = (text("point"), text("part"));
        self.moved();
    }

    fn clip(&mut self, prompt: &Value, clips: Clips) {
        self.room.clips = clips;
        if clips != Clips::Open || prompt["state"] == "arm" {
            self.plus = prompt["direction"] != "minus";
        }
    }

    fn set(&mut self, prompt: &Value) {
        let rest = ["closed", "normal", "off"];
        for name in ["S1", "S5", "S7", "S10"] {
            let Some(word) = prompt["set"][name].as_str() else { continue };
            match rest.contains(&word) {
                true => self.room.moved.remove(name),
                false => self.room.moved.insert(name),
            };
        }
        if let Some(word) = prompt["set"]["test"].as_str() {
            self.room.lever = (self.lever)(word, self.levers);
            self.levers += 1;
        }
        self.moved();
    }

    pub(super) fn moved(&mut self) {
        self.seen = self.thing.seen(&self.room);
    }

    /// Waits, as nobody reads faster, then asks.
    fn soon(&mut self, us: u64, request: Value) {
        self.run(us);
        self.ask(&request, None);
    }

    fn scan(&mut self, code: &str) {
        let (at, link) = (self.at(), "scan".to_string());
        self.core.handle(Event::Bytes { at, link, bytes: format!("{code}\r\n").into_bytes() });
        self.effects();
        self.run(1_500_000);
    }

    fn at(&self) -> Stamp {
        let wall_us = WALL_US + i64::try_from(self.now).unwrap();
        Stamp { wall_us, boot_us: self.now + 1_000_000 }
    }

    fn run(&mut self, us: u64) {
        let end = self.now + us;
        while self.now < end {
            self.now += TURN_US;
            self.turn();
        }
    }

    fn turn(&mut self) {
        self.dmm.advance(self.now, self.seen.ac_volts);
        let answer = std::mem::take(&mut self.answer);
        if !answer.is_empty() {
            self.bytes("dmm", answer);
        }
        if let Some(answer) = self.dmm.reading(self.now, self.seen) {
            self.bytes("dmm", answer.into_bytes());
        }
        if self.talked + 400_000 <= self.now {
            self.talked = self.now;
            for (link, text) in self.talk() {
                self.bytes(link, format!("{text}\r\n").into_bytes());
            }
        }
        if self.core.deadline().is_some_and(|due| due <= self.at().boot_us) {
            let at = self.at();
            self.core.handle(Event::Deadline { at });
            self.effects();
        }
    }

    /// What the instruments that talk by themselves say.
    fn talk(&mut self) -> Vec<(&'static str, String)> {
        let sign = if self.plus { '+' } else { '-' };
        let shows = |end: f64| match self.thing.low_ohm(&self.room) {
            Some(ohm) if ohm < end => format!("R4 {sign}{ohm:.3} Ohm"),
            _ => "R4 OL Ohm".into(),
        };
        let megohm = self.thing.insulation(&self.room) / 1e6;
        let iso = match (self.room.moved.contains("tester"), megohm < 200.0) {
            (false, _) => "INS ---- MOhm".into(),
            (true, true) => format!("INS {megohm:.2} MOhm"),
            (true, false) => "INS >200 MOhm".into(),
        };
        let milliampere = self.thing.differential(&self.room) * 1e3;
        let amp = format!("ACA {milliampere:.3} mA");
        let (ohm, bond) = (shows(2.0), shows(1.0));
        let peak = self.peak.line(self.seen);
        vec![("ohm", ohm), ("bond", bond), ("iso", iso), ("amp", amp), ("peak", peak)]
    }

    fn bytes(&mut self, link: &str, bytes: Vec<u8>) {
        let at = self.at();
        self.core.handle(Event::Bytes { at, link: link.into(), bytes });
        self.effects();
    }

    pub(super) fn ask(&mut self, request: &Value, by: Option<&str>) {
        let request: Request = serde_json::from_value(request.clone()).unwrap();
        let (at, ticket, origin) = (self.at(), 1, Origin::Socket(0));
        let by = by.map(String::from);
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
            Effect::Commit(lines) => self.facts.extend(lines.into_iter().map(|line| line.fact)),
            Effect::Show(status) => self.status = serde_json::to_value(status).unwrap(),
            Effect::Seal { id } => {
                self.sealed = true;
                let (at, head, key) = (self.at(), "0".repeat(64), "0".repeat(64));
                self.core.handle(Event::Sealed { at, id, head, bytes: 1, key });
            }
            Effect::Send { link, bytes } => {
                assert_eq!(link, "dmm", "nothing else is ever sent to");
                self.answer.extend(self.dmm.receive(self.now, &bytes));
            }
            Effect::Answer { result: Err(problem), .. } => {
                self.refusals.push(format!("{}: {}", problem.code, problem.detail));
            }
            Effect::Answer { result: Ok(answer), .. } => {
                self.said.extend(answer.say.first().cloned())
            }
        }
    }
}
