//! Hours of wire at the station's core, in virtual time: it holds no more at their end than at
//! their beginning. Alone in its process, because it counts what the process holds.
#![allow(clippy::unwrap_used, reason = "a test may panic")]
#![allow(clippy::print_stdout, reason = "it says what is held")]

#[path = "hours/held.rs"]
mod held;

use tapline::clock::{EARLIEST_US, Stamp, Zone};
use tapline::station::event::{Effect, Event, Origin, Request};
use tapline::station::{
    BenchSettings, Context, Core, Found, Library, LinkSettings, Proved, StationSettings,
};
use tapline_protocols::fact::Policy;

/// 2026-11-24T08:00:00Z.
const MORNING_US: i64 = 1_795_507_200_000_000;
const HOUR_US: u64 = 3_600_000_000;
/// Hours in which everything that has a bound may reach it.
const FIRST: u64 = 2;
const HOURS: u64 = 6;
/// What the heap may differ by: a buffer that is just full and one that is just empty.
const SLACK: usize = 64 << 10;

/// Ten a second, and what else a wire brings.
const SAID: [&[u8]; 8] = [
    b"R4 +0.182 Ohm\r\n",
    b"R4 +0.183 Ohm\r\n",
    b"R4 +0.182 Ohm\r\nR4 +0.181 Ohm\r\n",
    b"R4 OL\r\n",
    b"R4 +0.1",
    b"82 Ohm\r\n",
    b"\x00\xff\x80\x1b[2J",
    b"no line end, and more of it, again and again",
];

struct Hours {
    core: Core,
    now: u64,
    turn: u64,
    lines: u64,
}

fn at(us: u64) -> Stamp {
    Stamp { wall_us: MORNING_US + i64::try_from(us).unwrap(), boot_us: us }
}

fn station() -> Core {
    let link = |id: &str, driver: &str, instrument: &str| LinkSettings {
        id: id.into(),
        bench: "b1".into(),
        driver: driver.into(),
        instrument: Some(instrument.into()),
        isolation: None,
        described: None,
    };
    let settings = StationSettings {
        id: "K3".into(),
        name: "Workshop".into(),
        zone: Zone::named("Etc/UTC").unwrap(),
        zone_name: "Etc/UTC".into(),
        commit_ms: 20,
        policy: Policy::default(),
        due: tapline_protocols::due::Counting::default(),
        wiring: None,
        benches: vec![BenchSettings {
            id: "b1".into(),
            name: "Bench 1".into(),
            fixtures: vec!["SB-1".into(), "NW-1".into(), "L-1".into()],
            witness: [].into(),
            typed: Vec::new(),
        }],
        links: vec![link("ohm", "val-unit-line", "LR-01"), link("dmm", "scpi", "DM-01")],
    };
    let context = Context {
        version: "0.1.0".into(),
        judge: 1,
        boot: "boot-1".into(),
        synced: true,
        earliest_us: EARLIEST_US,
        key: None,
    };
    let mut core = Core::new(settings, context, Library::builtin().unwrap());
    core.recover(at(1), Found::default());
    core
}

impl Hours {
    fn event(&mut self, event: Event) {
        self.core.handle(event);
        for effect in self.core.drain() {
            if let Effect::Commit(lines) = effect {
                self.lines += lines.len() as u64;
            }
        }
    }

    fn ask(&mut self, request: Request) {
        let (at, ticket) = (at(self.now), self.now);
        let (origin, bench) = (Origin::Socket(0), Some("b1".into()));
        let proved = Proved::default();
        self.event(Event::Command { at, ticket, origin, bench, by: None, request, proved });
    }

    fn import(&mut self, what: &str, text: &str) {
        self.ask(Request::import(what, text));
    }

    fn register(&mut self) {
        self.import("instruments", include_str!("../contrib/example/instruments.toml"));
        self.import("fixtures", include_str!("../contrib/example/fixtures.toml"));
        self.import("operators", include_str!("../contrib/example/operators.toml"));
        self.import("assets", include_str!("../contrib/example/assets.csv"));
        for link in ["ohm", "dmm"] {
            self.event(Event::LinkUp { at: at(self.now), link: link.into() });
        }
    }

    fn begin(&mut self) {
        for code in ["OP-0007", "P-0107"] {
            self.ask(Request::Scan { code: code.into() });
        }
        let begin = serde_json::from_value(serde_json::json!({ "do": "begin" })).unwrap();
        self.ask(begin);
    }

    /// Some hours; what is held at their ends.
    fn pass(&mut self, hours: u64) -> usize {
        let end = self.now + hours * HOUR_US;
        while self.now < end {
            self.now += 100_000;
            self.turn += 1;
            let link = if self.turn.is_multiple_of(5) { "dmm" } else { "ohm" }.to_owned();
            let said = SAID[usize::try_from(self.turn * 7 % 64 % 8).unwrap()].to_vec();
            if self.turn.is_multiple_of(3_000) {
                let (at, link) = (at(self.now), link.clone());
                self.event(Event::LinkDown { at, link: link.clone(), why: "unplugged".into() });
                self.event(Event::LinkUp { at, link });
            }
            self.event(Event::Bytes { at: at(self.now), link, bytes: said });
            if self.core.deadline().is_some_and(|due| due <= self.now + 50_000) {
                self.event(Event::Deadline { at: at(self.now + 50_000) });
            }
        }
        held::now()
    }
}

#[test]
fn what_is_held_does_not_grow_over_hours() {
    let mut hours = Hours { core: station(), now: 1_000_000, turn: 0, lines: 0 };
    hours.register();
    for what in ["idle", "in an inspection"] {
        let before = hours.pass(FIRST);
        let lines = hours.lines;
        let after = hours.pass(HOURS);
        println!("{what}: {before} bytes held after {FIRST} h, {after} after {HOURS} h more");
        assert!(hours.lines - lines > HOURS * 36_000, "the wire was busy");
        assert!(after < before + SLACK, "{what}: {before} bytes became {after}");
        if what == "idle" {
            hours.begin();
        }
    }
    assert!(hours.core.snapshot().benches.iter().any(|bench| bench.inspection.is_some()));
}
