//! A day of faults at the station's core, in virtual time: nothing is sent to an instrument that is
//! hazardous, unknown or not registered, whatever driver the configuration names.

use tapline::clock::{EARLIEST_US, Stamp, Zone};
use tapline::station::event::{Effect, Event, Origin, Request};
use tapline::station::{
    BenchSettings, Context, Core, Found, Library, LinkSettings, Proved, StationSettings,
};
use tapline_drivers::catalogue;
use tapline_protocols::Fact;
use tapline_protocols::fact::Policy;

/// 2026-11-24T08:00:00Z.
const MORNING_US: i64 = 1_795_507_200_000_000;
const DAY_US: u64 = 86_400_000_000;

/// What arrives on such a day: lines of a meter, noise, pieces.
const SAID: [&[u8]; 7] = [
    b"INS >200 MOhm\r\n",
    b"R4 +0.182 Ohm\r\n",
    b"INS +1",
    b"2.5 MOhm\r\n\r\n",
    b"\x00\xff\x80\x1b[2J",
    b"GENERIC,TESTER,0002,1.0\r\n",
    b"*IDN?\nREAD?\n",
];

fn at(us: u64) -> Stamp {
    Stamp { wall_us: MORNING_US + i64::try_from(us).unwrap(), boot_us: us }
}

fn station(driver: &str, instrument: Option<&str>) -> Core {
    let bench = BenchSettings {
        id: "b1".into(),
        name: "Bench 1".into(),
        fixtures: vec!["SB-1".into(), "NW-1".into(), "L-1".into()],
        witness: [].into(),
        typed: Vec::new(),
    };
    let link = |id: &str, driver: &str, instrument: Option<&str>| LinkSettings {
        id: id.into(),
        bench: "b1".into(),
        driver: driver.into(),
        instrument: instrument.map(String::from),
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
        benches: vec![bench],
        links: vec![link("ins", driver, instrument), link("dmm", "scpi", Some("DM-01"))],
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
    let nothing = Found::default();
    core.recover(at(1), nothing);
    core
}

struct Day {
    core: Core,
    now: u64,
    state: u64,
    ticket: u64,
    /// Bytes for the link that must be silent, and for the other one.
    sent: (usize, usize),
}

impl Day {
    fn draw(&mut self, below: u64) -> u64 {
        self.state = self.state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_041);
        (self.state >> 33) % below
    }

    fn pick<T: Copy>(&mut self, list: &[T]) -> T {
        list[usize::try_from(self.draw(list.len() as u64)).unwrap()]
    }

    fn event(&mut self, event: Event) {
        self.core.handle(event);
        for effect in self.core.drain() {
            match effect {
                Effect::Send { link, .. } if link == "ins" => self.sent.0 += 1,
                Effect::Send { .. } => self.sent.1 += 1,
                Effect::Commit(lines) => {
                    let out = |fact: &Fact| matches!(fact, Fact::Out(out) if out.link == "ins");
                    self.sent.0 += lines.iter().filter(|line| out(&line.fact)).count();
                }
                _ => {}
            }
        }
    }

    fn ask(&mut self, request: Request) {
        self.ticket += 1;
        self.event(Event::Command {
            at: at(self.now),
            ticket: self.ticket,
            origin: Origin::Socket(0),
            bench: Some("b1".into()),
            by: None,
            request,
            proved: Proved::default(),
        });
    }

    fn import(&mut self, what: &str, text: &str) {
        self.ask(Request::import(what, text));
    }

    /// The registers, a person, an inspection with insulation in it.
    fn begin(&mut self) {
        let instruments = include_str!("../../contrib/example/instruments.toml");
        let ir = instruments.split("[[instrument]]").find(|one| one.contains("IR-01")).unwrap();
        let other = ir.replace("IR-01", "IR-02").replace("\"hazardous\"", "\"unknown\"");
        self.import("instruments", &format!("{instruments}\n[[instrument]]{other}"));
        self.import("fixtures", include_str!("../../contrib/example/fixtures.toml"));
        self.import("operators", include_str!("../../contrib/example/operators.toml"));
        self.import("assets", include_str!("../../contrib/example/assets.csv"));
        for code in ["OP-0007", "P-0107"] {
            self.ask(Request::Scan { code: code.into() });
        }
        let json = serde_json::json!({ "do": "begin", "with": ["insulation"] });
        let begin = serde_json::from_value(json)
            .or_else(|_| serde_json::from_value(serde_json::json!({ "do": "begin" })));
        self.ask(begin.unwrap());
    }

    /// One thing that happens.
    fn hour(&mut self) {
        self.now += 1 + self.draw(20_000_000);
        let (link, at) = (if self.draw(4) == 0 { "dmm" } else { "ins" }.to_owned(), at(self.now));
        match self.draw(12) {
            0 => self.event(Event::LinkDown { at, link, why: "unplugged".into() }),
            1 | 2 => self.event(Event::LinkUp { at, link }),
            3 | 4 => self.event(Event::Deadline { at }),
            5 => self.ask(Request::prove("network_resistance")),
            6 => {
                let what = self.pick(&["connected", "clear", "live", "dead"]);
                let act = serde_json::json!({ "do": "act", "what": what });
                if let Ok(act) = serde_json::from_value(act) {
                    self.ask(act);
                }
            }
            _ => {
                let bytes = self.pick(&SAID).to_vec();
                self.event(Event::Bytes { at, link, bytes });
            }
        }
    }
}

#[test]
fn a_day_of_faults_brings_no_byte_to_an_instrument_that_may_not_be_asked() {
    let mut asked = 0;
    for (n, driver) in (0..).zip(catalogue::names()) {
        let sends = catalogue::by_name(driver).unwrap().sends();
        let classes = [Some("IR-01"), Some("IR-02"), Some("XX-99"), None];
        // What could send meets each of them; of the others one a driver is enough.
        let classes = classes.into_iter().enumerate().filter(|(c, _)| sends || n % 4 == *c);
        for (_, instrument) in classes {
            let core = station(driver, instrument);
            let mut day =
                Day { core, now: 1_000_000, state: n as u64 + 1, ticket: 0, sent: (0, 0) };
            day.begin();
            let names = day.core.register();
            assert!(names.instruments.contains_key("IR-02"), "the register was taken");
            while day.now < DAY_US {
                day.hour();
            }
            assert_eq!(day.sent.0, 0, "{driver} on {instrument:?}");
            asked += day.sent.1;
        }
    }
    assert!(asked > 1000, "the other meter was asked {asked} times: the day is a real one");
}

/// The same wiring is a fault of the configuration.
#[test]
fn a_driver_that_sends_on_such_an_instrument_is_a_fault_of_the_configuration() {
    for driver in catalogue::names() {
        let sends = catalogue::by_name(driver).unwrap().sends();
        for instrument in [Some("IR-01"), Some("IR-02"), Some("XX-99"), None, Some("LR-01")] {
            let core = station(driver, instrument);
            let mut day = Day { core, now: 1_000_000, state: 1, ticket: 0, sent: (0, 0) };
            day.begin();
            let settings = StationSettings {
                links: vec![LinkSettings {
                    id: "ins".into(),
                    bench: "b1".into(),
                    driver: driver.into(),
                    instrument: instrument.map(String::from),
                    isolation: None,
                    described: None,
                }],
                benches: vec![BenchSettings {
                    id: "b1".into(),
                    name: "Bench 1".into(),
                    fixtures: vec![],
                    witness: [].into(),
                    typed: Vec::new(),
                }],
                id: "K3".into(),
                name: "Workshop".into(),
                zone: Zone::named("Etc/UTC").unwrap(),
                zone_name: "Etc/UTC".into(),
                commit_ms: 20,
                policy: Policy::default(),
                due: tapline_protocols::due::Counting::default(),
                wiring: None,
            };
            let faults = settings.faults(day.core.register());
            let fault = sends && instrument != Some("LR-01");
            assert_eq!(!faults.is_empty(), fault, "{driver} on {instrument:?}: {faults:?}");
        }
    }
}
