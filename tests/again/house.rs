//! Inspections made by the real core on real books, in virtual time: what was put on the bench is
//! known, so that a model can say what must be found.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::OnceLock;

use tapline::books::Crash;
use tapline::station::event::{BookId, Expect, Request, Stored};
use tapline_protocols::Fact;
use tapline_protocols::fact::KeyFact;
use tapline_protocols::plan::{Direction, Switch};

use super::bench::Bench;
use super::log::Log;
use super::rng::Rng;
use super::wiring::Station;
use super::world::{self, World};

/// What stood on the bench during one inspection.
#[derive(Debug, Clone)]
pub(crate) struct Case {
    pub(crate) id: String,
    pub(crate) asset: &'static str,
    /// UTC day of its opening.
    pub(crate) day: String,
    /// Shown by the low-resistance meter in both directions, milliohm, leads included.
    pub(crate) ohms: [i64; 2],
    /// Shown by the voltmeter in both polarities, hundredths of a millivolt.
    pub(crate) leak: [i64; 2],
}

/// File of the station's key.
const KEY: &str = "keys/K3-1.pub.pem";

/// A station that inspects.
pub(crate) struct House {
    pub(crate) world: World,
    pub(crate) cases: Vec<Case>,
}

impl House {
    /// A station that announced its key before anything else.
    pub(crate) fn new(seed: u64) -> House {
        House::of(seed, Station::default())
    }

    fn of(seed: u64, station: Station) -> House {
        let world = World::of(seed, station, 1_000_000, Log::default());
        let mut house = House { world, cases: Vec::new() };
        let world = &mut house.world;
        let key = world::key().public().fingerprint();
        let first = KeyFact { key, file: KEY.into(), replaces: None, before: None, reason: None };
        let fact = Fact::Key(first);
        let (seq, at) = (world.core.last_seq() + 1, world.at());
        let line = Stored { book: BookId::Station, bench: None, seq, at, fact, by: None };
        world.books.commit(&[line]).unwrap();
        house.start_again(1_000_000);
        house
    }

    /// The next morning: the station starts again.
    pub(crate) fn next_day(&mut self) {
        self.start_again(24 * 3600 * 1_000_000);
    }

    fn start_again(&mut self, after_us: u64) {
        self.world.crash(Crash::KeepAll, after_us);
        self.world.bench = Bench::new(self.world.now);
        self.world.plug();
    }

    /// One inspection of a lamp of class I, from scan to sign.
    pub(crate) fn inspect(&mut self, ohms: [i64; 2], leak: [i64; 2]) -> String {
        let id = self.begin();
        let day = tapline::clock::utc_day(self.world.at().wall_us);
        let case = Case { id: id.clone(), asset: "P-0109", day, ohms, leak };
        self.world.bench.leak = leak.map(|shown| &*format!("{shown}.0E-05").leak());
        self.cases.push(case.clone());
        // One that is carried over counts for ten minutes: the model needs no clock.
        supply(&mut self.world);
        for _ in 0..300 {
            if self.world.active().is_none() {
                return id;
            }
            self.step(&case);
        }
        panic!("{id} was not signed: {:?}", self.world.prompt());
    }

    /// One that stays open, with its leads nulled.
    pub(crate) fn begin(&mut self) -> String {
        let world = &mut self.world;
        let bench = world.status.as_ref().map(|status| &status.benches[0]);
        if bench.is_none_or(|bench| bench.operator.is_none()) {
            world.scan("OP-0007");
        }
        world.scan("P-0109");
        let begin = Request::begin(None);
        world.ask(begin).unwrap().id.unwrap()
    }

    /// What the page asks for.
    fn step(&mut self, case: &Case) {
        let world = &mut self.world;
        world.run(1_050_000);
        let prompt = world.prompt();
        let (s5, s7, on) = (world.bench.s5, world.bench.s7, world.bench.supply);
        let minus = prompt.direction == Some(Direction::Minus);
        match prompt.state {
            "look" | "answer" => {
                ask(world, Request::Answer { answer: "pass".into(), item: None, reason: None });
            }
            "arm" | "measure" if prompt.missing.contains(&"lead_not_nulled") => {
                world.bench.ohms = "OL".into();
                ask(world, Request::Null { lead: "L-1".into() });
            }
            "null" => world.touch(if minus { "-0.061" } else { "+0.061" }),
            "null_apart" => world.touch("-0.061"),
            "arm" | "measure" => {
                let milli = case.ohms[usize::from(minus)];
                let sign = if minus { "-" } else { "+" };
                world.touch(&format!("{sign}{}.{:03}", milli / 1000, milli % 1000));
            }
            "connect" if on => world.set(s5, s7, false),
            "connect" => act(world, "connected"),
            "prove_closed" | "reprove" => wait(world, (s5, false, false)),
            "prove_open" => wait(world, (s5, true, false)),
            "clear" => {
                let is = |switch, word| prompt.set.get(&switch).is_some_and(|set| set == word);
                world.set(is(Switch::S5, "reversed"), is(Switch::S7, "open"), false);
                act(world, "clear");
            }
            "live" => {
                world.set(s5, s7, true);
                act(world, "live");
            }
            "alive" | "set_state" => ask(world, Request::prove("alive")),
            "dead" | "may_be_live" => {
                world.set(s5, s7, false);
                act(world, "dead");
            }
            "close_scan" => world.scan(case.asset),
            "sign" => {
                let (meaning, tag) = ("performed".into(), Some("attached".into()));
                ask(world, Request::Sign { meaning, tag, reason: None, badge: None });
            }
            _ => world.run(3_000_000),
        }
    }

    /// Writes everything on the station's disk into a folder.
    pub(crate) fn write(&self, folder: &Path) {
        let public = world::key().public();
        std::fs::create_dir_all(folder.join("keys")).unwrap();
        std::fs::write(folder.join(KEY), public.pem().unwrap()).unwrap();
        for path in self.world.disk.paths() {
            let to = folder.join(&path);
            std::fs::create_dir_all(to.parent().unwrap()).unwrap();
            std::fs::write(to, self.world.disk.bytes(&path).unwrap()).unwrap();
        }
    }
}

fn wait(world: &mut World, (s5, s7, on): (bool, bool, bool)) {
    world.set(s5, s7, on);
    world.run(4_000_000);
}

fn supply(world: &mut World) {
    for _ in 0..2 {
        let [ln, npe, lpe] = ["226", "0.3", "225.8"].map(|v| Some(v.to_string()));
        ask(world, Request::Prove { what: "supply".into(), ln, npe, lpe });
        world.run(1_100_000);
    }
}

/// Refused or not: the page is read again.
fn ask(world: &mut World, request: Request) {
    let _ = world.ask(request);
}

fn act(world: &mut World, what: &str) {
    let prompt = world.prompt();
    let state = Some(prompt.state.to_string());
    let expect = Some(Expect { step: prompt.step, state, seq: prompt.seq });
    ask(world, Request::Act { what: what.into(), expect });
}

/// A folder that the simulated station wrote, made once and copied for each test.
pub(crate) struct Made {
    folder: tempfile::TempDir,
    pub(crate) cases: Vec<Case>,
}

impl Made {
    fn of(house: House) -> Made {
        let folder = tempfile::tempdir().unwrap();
        house.write(folder.path());
        Made { folder, cases: house.cases }
    }

    /// Three inspections, of which the last fails, and one in work.
    pub(crate) fn few() -> &'static Made {
        static MADE: OnceLock<Made> = OnceLock::new();
        MADE.get_or_init(|| {
            let mut house = House::new(1);
            house.inspect([243, 275], [45100, 46200]);
            house.next_day();
            house.inspect([243, 352], [45100, 46200]);
            house.inspect([243, 520], [45100, 46200]);
            house.begin();
            Made::of(house)
        })
    }

    /// One a day for six days, whose protective earth grows by 6 milliohm a day.
    pub(crate) fn rising() -> &'static Made {
        static MADE: OnceLock<Made> = OnceLock::new();
        MADE.get_or_init(|| {
            let mut house = House::new(4);
            for n in 0..6 {
                house.inspect([200, 240 + 6 * n], [45100, 46200]);
                house.next_day();
            }
            Made::of(house)
        })
    }

    /// Two inspections on two days whose low-resistance meter is read by a described driver.
    pub(crate) fn described() -> &'static Made {
        static MADE: OnceLock<Made> = OnceLock::new();
        MADE.get_or_init(|| {
            let mut house = House::of(3, Station { described: true, ..Station::default() });
            house.inspect([243, 275], [45100, 46200]);
            house.next_day();
            house.inspect([243, 520], [45100, 46200]);
            Made::of(house)
        })
    }

    /// Fifty over five days, around the limits of 300 milliohm and 500 microampere.
    pub(crate) fn fifty() -> &'static Made {
        static MADE: OnceLock<Made> = OnceLock::new();
        MADE.get_or_init(|| {
            let (mut house, mut rng) = (House::new(2), Rng::new(20_261_124));
            let mut between = |low: i64, high: u64| low + i64::try_from(rng.below(high)).unwrap();
            for n in 0..50 {
                if n % 10 == 9 {
                    house.next_day();
                }
                let ohms = [between(290, 85), between(290, 85)];
                house.inspect(ohms, [between(41_000, 9_000), between(41_000, 9_000)]);
            }
            Made::of(house)
        })
    }

    /// A copy that a test may spoil.
    pub(crate) fn copy(&self) -> tempfile::TempDir {
        let temp = tempfile::tempdir().unwrap();
        for (path, bytes) in files(self.folder.path()) {
            let to = temp.path().join(path);
            std::fs::create_dir_all(to.parent().unwrap()).unwrap();
            std::fs::write(to, bytes).unwrap();
        }
        temp
    }
}

/// The files of a folder by their paths.
pub(crate) fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        match path.is_dir() {
            true => found.extend(
                files(&path).into_iter().map(|(below, bytes)| (format!("{name}/{below}"), bytes)),
            ),
            false => drop(found.insert(name, std::fs::read(path).unwrap())),
        }
    }
    found
}
