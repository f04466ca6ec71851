//! What the station is told: its wiring, its register, its key, and how it starts.

use std::sync::Arc;

use tapline::books::recover::Show;
use tapline::books::{Books, Halted, Key, Line, Memory, Recovered};
use tapline::clock::{Stamp, Zone};
use tapline::station::event::{BookId, Event, Stored};
use tapline::station::register::Register;
use tapline::station::{
    BenchSettings, Context, Core, Described, Found, Library, LinkSettings, StationSettings,
    order_of, sealed_last,
};
use tapline_protocols::Fact;
use tapline_protocols::fact::{ReasonFact, SealedFact};

/// 2026-11-24T08:00:00Z.
pub(crate) const MORNING_US: i64 = 1_795_507_200_000_000;

/// A link of the house.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wired {
    pub(crate) id: &'static str,
    driver: &'static str,
    pub(crate) instrument: Option<&'static str>,
    pub(crate) bench: &'static str,
}

const fn wired(
    bench: &'static str,
    id: &'static str,
    driver: &'static str,
    instrument: Option<&'static str>,
) -> Wired {
    Wired { id, driver, instrument, bench }
}

pub(crate) const LINKS: [Wired; 6] = [
    wired("b1", "ohm", "val-unit-line", Some("LR-01")),
    wired("b1", "dmm", "scpi", Some("DM-01")),
    wired("b1", "box", "contacts", None),
    wired("b1", "scan", "scan", None),
    wired("b2", "ohm2", "val-unit-line", Some("LR-02")),
    wired("b2", "scan2", "scan", None),
];

/// Books and core, ready to live.
pub(crate) struct Started {
    pub(crate) books: Books,
    pub(crate) core: Core,
    /// The first line that it makes.
    pub(crate) next_seq: u64,
    /// What lay there and was not understood.
    pub(crate) odd: Vec<String>,
}

/// The station, and the clocks of its machine.
#[derive(Debug, Clone)]
pub(crate) struct Station {
    pub(crate) witnessed: bool,
    /// There is a second bench.
    pub(crate) two: bool,
    /// The low-resistance meter is read by a driver that a file describes.
    pub(crate) described: bool,
    pub(crate) boot: u64,
    /// When the machine was switched on.
    pub(crate) born: u64,
    /// By how much the wall clock has been set.
    pub(crate) set_us: i64,
}

impl Default for Station {
    fn default() -> Station {
        Station { witnessed: true, two: false, described: false, boot: 1, born: 0, set_us: 0 }
    }
}

impl Station {
    /// Both clocks of the machine.
    pub(crate) fn at(&self, now: u64) -> Stamp {
        let wall_us = MORNING_US + i64::try_from(now).unwrap() + self.set_us;
        Stamp { wall_us, boot_us: now - self.born }
    }

    /// The moment of a boot-time stamp.
    pub(crate) fn since(&self, boot_us: u64) -> u64 {
        boot_us.saturating_add(self.born)
    }

    /// Texts of the register.
    pub(crate) fn register(&self) -> Vec<(&'static str, String)> {
        let instruments = include_str!("../../contrib/example/instruments.toml");
        let fixtures = include_str!("../../contrib/example/fixtures.toml");
        let mut texts = vec![("instruments", instruments.to_string())];
        texts.push(("fixtures", fixtures.into()));
        if self.two {
            texts.push(("instruments", instruments.replace("LR-01", "LR-02")));
            texts.push(("fixtures", fixtures.replace("id = \"L-1\"", "id = \"L-2\"")));
        }
        texts.push(("operators", include_str!("../../contrib/example/operators.toml").into()));
        texts.push(("assets", include_str!("../../contrib/example/assets.csv").into()));
        texts
    }

    pub(crate) fn settings(&self) -> StationSettings {
        let mut settings = settings(self.witnessed);
        if self.two {
            settings.benches.push(bench("b2", &["L-2"]));
            settings.links.extend(links("b2"));
        }
        if self.described {
            let text = include_str!("../../contrib/drivers/bench-ohm-line.toml");
            let described = Described::read(text).unwrap();
            let ohm = settings.links.iter_mut().find(|link| link.id == "ohm").unwrap();
            ohm.driver = described.name().into();
            ohm.described = Some(described);
        }
        settings
    }

    /// Opens books and core on whatever the disk holds, as the daemon does. What it finds is shown.
    pub(crate) fn start(
        &self,
        disk: &Memory,
        at: Stamp,
        because: Option<&str>,
    ) -> Result<Started, Halted> {
        let mut register = Register::default();
        let mut take = |line: Line| register.take(&line);
        let (mut books, mut found) = open(disk, at, &mut take)?;
        let mut odd = found.troubles.clone();
        odd.extend(found.damaged.iter().map(|damaged| format!("{damaged:?}")));
        if let Some(reason) = because {
            note(&mut books, &mut found, at, Fact::Recovered(reason_of(reason)))?;
        }
        let next_seq = found.next_seq;
        let lines = |book: &BookId| -> Result<Vec<Line>, Halted> { books.lines(book)?.collect() };
        let open = |id: &String| Ok((id.clone(), lines(&BookId::Inspection(id.clone()))?));
        books.shelf().station_after(register.seq)?.iter().for_each(|line| register.take(line));
        let (shelf, settings) = (books.shelf(), self.settings());
        let (boot, benches) = (context(self.boot).boot, settings.benches.len());
        let read = |fact: &SealedFact| shelf.as_sealed(fact);
        let mut ended = std::collections::BTreeMap::new();
        for fact in &found.sealed {
            let end = read(fact)?.and_then(|lines| order_of(&fact.id, &lines));
            ended.extend(end.map(|end| (fact.id.clone(), end)));
        }
        let heard = shelf.newest_line(&BookId::Idle(last_day(disk)))?;
        let given = Found {
            left: Vec::new(),
            open: found.inspections.iter().map(open).collect::<Result<_, Halted>>()?,
            idle: Some((last_day(disk), next_seq - 1)),
            numbers: found.numbers,
            sealed: sealed_last((&register, &boot), &found.sealed, benches, read)?,
            heard: heard.map(|line| (line.seq, line.at.boot_us)),
            station: register,
            ended,
        };
        let library = Library::builtin().unwrap();
        let mut core = Core::new(settings, context(self.boot), library);
        core.recover(at, given);
        for one in found.sealed {
            let (id, head, bytes, key) = (one.id, one.head, one.bytes, one.key);
            core.handle(Event::Sealed { at, id, head, bytes, key });
        }
        Ok(Started { books, core, next_seq, odd })
    }

    /// Writes that the station halted, if there is room for it.
    pub(crate) fn note_halt(&self, disk: &Memory, at: Stamp, why: &str) -> Result<(), Halted> {
        let (mut books, mut found) = open(disk, at, &mut |_| {})?;
        note(&mut books, &mut found, at, Fact::Halted(reason_of(why)))
    }
}

fn open(disk: &Memory, at: Stamp, show: Show<'_>) -> Result<(Books, Recovered), Halted> {
    let key = Key::open(disk, "K3").map_err(|error| Halted::disk("open", "the key", &error))?;
    Books::open_showing(Arc::new(disk.clone()), Arc::new(key), at, show)
}

fn reason_of(why: &str) -> ReasonFact {
    ReasonFact { reason: Some(why.to_owned()) }
}

fn note(books: &mut Books, found: &mut Recovered, at: Stamp, fact: Fact) -> Result<(), Halted> {
    if found.station.is_none() {
        return Ok(());
    }
    let (book, seq) = (BookId::Station, found.next_seq);
    found.next_seq += 1;
    books.commit(&[Stored { book, bench: None, seq, at, fact, by: None }]).map(drop)
}

fn last_day(disk: &Memory) -> String {
    let paths = disk.paths();
    let days = paths.iter().filter_map(|path| path.strip_prefix("idle/")?.get(..10));
    days.max().unwrap_or_default().to_owned()
}

/// The station's key: the same in each story.
pub(crate) fn key() -> Key {
    Key::from_secret("K3-1", &[7; 32])
}

fn bench(id: &str, fixtures: &[&str]) -> BenchSettings {
    let fixtures = fixtures.iter().map(|label| (*label).to_string()).collect();
    BenchSettings {
        id: id.into(),
        name: format!("Bench {id}"),
        fixtures,
        witness: [].into(),
        typed: Vec::new(),
    }
}

fn links(bench: &'static str) -> impl Iterator<Item = LinkSettings> {
    let of = move |link: &&Wired| link.bench == bench;
    LINKS.iter().filter(of).map(|link| LinkSettings {
        id: link.id.into(),
        bench: link.bench.into(),
        driver: link.driver.into(),
        described: None,
        instrument: link.instrument.map(String::from),
        isolation: None,
    })
}

/// The wiring with one bench.
pub(crate) fn settings(witnessed: bool) -> StationSettings {
    let witness = [("link", "box"), ("c1", "S5=reversed"), ("c2", "S7=open"), ("c3", "supply=on")];
    let witness = witness.into_iter().filter(|_| witnessed);
    let mut first = bench("b1", &["SB-1", "NW-1", "L-1"]);
    first.witness = witness.map(|(k, v)| (k.to_string(), v.to_string())).collect();
    StationSettings {
        id: "K3".into(),
        name: "Workshop north".into(),
        zone: Zone::named("Etc/UTC").unwrap(),
        zone_name: "Etc/UTC".into(),
        commit_ms: 20,
        policy: tapline_protocols::fact::Policy::default(),
        due: tapline_protocols::due::Counting::default(),
        wiring: None,
        benches: vec![first],
        links: links("b1").collect(),
    }
}

pub(crate) fn context(boot: u64) -> Context {
    Context {
        version: "0.1.0".into(),
        judge: tapline_protocols::judge::JUDGE,
        boot: format!("boot-{boot}"),
        synced: true,
        earliest_us: tapline::clock::EARLIEST_US,
        key: Some(key().public().fingerprint()),
    }
}

/// The clocks of a machine that was switched on at eight and whose wall clock is right.
pub(crate) fn stamp(boot_us: u64) -> Stamp {
    Station::default().at(boot_us)
}
