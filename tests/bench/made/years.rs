//! Years of inspections, each in a folder of its own until it is done: two cores make two at once.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};

use tapline::books::{Disk, Folder, Key, Line};
use tapline::station::event::Request;
use tapline_demo::noise::Noise;
use tapline_protocols::Fact;
use tapline_protocols::limits::Table;

use super::disk::{Loose, names};
use super::register::{self, Asset, OPERATORS, below};
use super::shift::Shift;
use super::technician::{Case, Outcome, inspect};
use super::{day, register::BENCHES};

/// First and last year.
const YEARS: std::ops::RangeInclusive<u32> = 2015..=2026;
/// Numbers of lines that a year may use.
const SEQS: u64 = 1 << 32;
/// Idle books that are kept, as the station keeps them.
const IDLE_KEPT: usize = 20;

/// What is to be made.
#[derive(Debug, Clone)]
pub(crate) struct Wanted {
    /// Where; it is made, and must not hold books yet.
    pub(crate) folder: PathBuf,
    /// One seed, one clinic.
    pub(crate) seed: u64,
    /// Inspections.
    pub(crate) inspections: u64,
    /// Readings of all of them together, about.
    pub(crate) readings: u64,
    /// Every commit is synced, as a station does.
    pub(crate) sync: bool,
}

/// What was made.
#[derive(Debug, Default)]
pub(crate) struct Made {
    /// Inspections by their outcome.
    pub(crate) outcomes: BTreeMap<Outcome, u64>,
    /// Readings in them.
    pub(crate) readings: u64,
    /// Assets of the clinic.
    pub(crate) assets: usize,
}

impl Made {
    /// All inspections.
    pub(crate) fn inspections(&self) -> u64 {
        self.outcomes.values().sum()
    }
}

/// Makes a data folder and, beside it, the configuration of its station.
///
/// # Errors
/// The file system says no.
pub(crate) fn make(wanted: &Wanted) -> io::Result<Made> {
    let data = wanted.folder.join("data");
    fs::create_dir_all(&data)?;
    let clinic = Clinic::new(wanted);
    let next = AtomicUsize::new(0);
    let made = Mutex::new(Made { assets: clinic.assets.len(), ..Made::default() });
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                while let Some(year) = YEARS.clone().nth(next.fetch_add(1, Ordering::Relaxed)) {
                    let of_year = clinic.year(year);
                    let mut made = made.lock().expect("no year panicked");
                    made.readings += of_year.readings;
                    for (outcome, count) in of_year.outcomes {
                        *made.outcomes.entry(outcome).or_default() += count;
                    }
                }
            });
        }
    });
    gather(&clinic, &data)?;
    let config = register::config(&data.display().to_string());
    fs::write(wanted.folder.join("tapline.toml"), config)?;
    let made = made.into_inner().expect("no year panicked");
    let (inspections, readings, assets) = (made.inspections(), made.readings, made.assets);
    let text =
        format!("{{\"inspections\":{inspections},\"readings\":{readings},\"assets\":{assets}}}\n");
    fs::write(wanted.folder.join("made.json"), text)?;
    Ok(made)
}

struct Clinic<'a> {
    wanted: &'a Wanted,
    key: Arc<Key>,
    assets: Vec<Asset>,
    /// The station book as it was filled in the first year.
    register: Vec<Line>,
}

impl Clinic<'_> {
    fn new(wanted: &Wanted) -> Clinic<'_> {
        let secret = std::array::from_fn(|n| u8::try_from(n).expect("32 bytes"));
        let key = Arc::new(Key::from_secret(&format!("{}-1", register::STATION), &secret));
        let count = (wanted.inspections / 12).clamp(5, 9_000);
        let count = usize::try_from(count).expect("at most 9 000");
        let assets = (0..count).map(|n| Asset::new(wanted.seed, n)).collect();
        let mut clinic = Clinic { wanted, key, assets, register: Vec::new() };
        let memory: Arc<dyn Disk> = Arc::new(tapline::books::Memory::new());
        let first = *YEARS.start();
        clinic.register = clinic.start(memory, first).station_lines();
        clinic
    }

    fn part(&self, year: u32) -> PathBuf {
        self.wanted.folder.join(format!("part-{year}"))
    }

    fn disk(&self, year: u32) -> Arc<dyn Disk> {
        let folder = self.part(year);
        match self.wanted.sync {
            true => Arc::new(Folder::open(&folder).expect("the folder can be made")),
            false => Arc::new(Loose(folder)),
        }
    }

    /// A station on the first morning of a year, with its register as it has to be.
    fn start(&self, disk: Arc<dyn Disk>, year: u32) -> Shift {
        let nth = u64::from(year - YEARS.start());
        let epoch = day::first(year) - 600_000_000;
        let before = self.before(year);
        let filled = !before.is_empty();
        let (on, when) = ((disk, Arc::clone(&self.key)), (year, epoch));
        let mut shift = Shift::start(on, when, before, nth * SEQS + 1);
        let mut import = |what: &str, text: String| {
            let request = Request::import(what, text);
            shift.ask(request).unwrap_or_else(|problem| panic!("{what}: {problem:?}"));
        };
        import("instruments", register::instruments(year));
        import("fixtures", register::fixtures(year));
        if !filled {
            import("operators", register::operators());
            import("assets", register::assets(self.wanted.seed, self.assets.len()));
            confirm(&mut shift);
        }
        shift
    }

    /// The register as the year before left it; nothing before the first.
    fn before(&self, year: u32) -> Vec<Line> {
        let mut lines = self.register.clone();
        if year == *YEARS.start() {
            return Vec::new();
        }
        for line in &mut lines {
            if let Fact::Open(open) = &mut line.fact {
                open.id = (year - 1).to_string();
            }
        }
        lines
    }

    fn year(&self, year: u32) -> Made {
        fs::create_dir_all(self.part(year)).expect("the folder can be made");
        let mut shift = self.start(self.disk(year), year);
        shift.plug();
        let years = u64::from(YEARS.end() - YEARS.start() + 1);
        let nth = u64::from(year - YEARS.start());
        let of = |n: u64| self.wanted.inspections * n / years;
        let (first, count) = (of(nth), of(nth + 1) - of(nth));
        let mut noise = Noise::new(self.wanted.seed ^ u64::from(year));
        let mut made = Made::default();
        let mut today = None;
        for n in 0..count {
            let day = n * day::WORKING_DAYS / count;
            if today.replace(day) != Some(day) {
                shift.sleep_until(600_000_000 + day::offset_us(day));
            }
            let asset = (first + n).wrapping_mul(7_919) % self.assets.len() as u64;
            let asset = &self.assets[usize::try_from(asset).expect("an index")];
            let goal = self.wanted.readings * (n + 1) / self.wanted.inspections;
            let case = case(&mut noise, goal.saturating_sub(shift.readings));
            let outcome = work(&mut shift, &mut noise, asset, case);
            *made.outcomes.entry(outcome).or_default() += 1;
        }
        made.readings = shift.readings;
        made
    }
}

/// Somebody goes to a bench, badges in and inspects.
fn work(shift: &mut Shift, noise: &mut Noise, asset: &Asset, case: Case) -> Outcome {
    let bench = 1 + usize::try_from(below(noise, BENCHES as u64)).expect("a bench");
    let operator = 1 + below(noise, OPERATORS as u64);
    shift.wire.bench = bench;
    shift.set([false; 3]);
    shift.scan(&format!("OP-{operator:04}"));
    let outcome = inspect(shift, asset, case);
    shift.wire.clips = None;
    shift.wire.talks(false, shift.now);
    shift.run(500_000);
    outcome
}

fn case(noise: &mut Noise, readings: u64) -> Case {
    let mut once_in = |n| below(noise, n) == 0;
    Case {
        bad_earth: once_in(30),
        leaks: once_in(50),
        skips: once_in(25),
        in_use: once_in(40),
        readings,
    }
}

/// The workshop has read every limit in its own copy.
fn confirm(shift: &mut Shift) {
    let editions = Table::editions("IEC 62353");
    for edition in editions {
        let text = Table::builtin("IEC 62353", edition).expect("it is in the list");
        let table = Table::parse(text).expect("the built-in tables have no fault");
        let rows = table.rows.iter().map(|limit| limit.id.clone()).collect();
        let (document, clause) = ("IEC 62353, own copy 3".into(), "all".into());
        let request = Request::Confirm { rows, document, clause };
        shift.ask_as(Some("op-1"), request).expect("every row is known");
    }
}

/// Puts the years together: one station book a year, all sealed inspections, the last idle books.
fn gather(clinic: &Clinic<'_>, data: &Path) -> io::Result<()> {
    for folder in ["station", "idle", "open", "inspections", "keys"] {
        fs::create_dir_all(data.join(folder))?;
    }
    clinic.key.store(&Loose(data.to_owned()))?;
    for year in YEARS {
        let part = clinic.part(year);
        for name in names(&part.join("station"))? {
            fs::rename(part.join("station").join(&name), data.join("station").join(&name))?;
        }
        for name in names(&part.join("inspections"))? {
            fs::rename(part.join("inspections").join(&name), data.join("inspections").join(&name))?;
        }
        if year == *YEARS.end() {
            let idle = names(&part.join("idle"))?;
            for name in idle.iter().rev().take(IDLE_KEPT) {
                fs::rename(part.join("idle").join(name), data.join("idle").join(name))?;
            }
        }
        fs::remove_dir_all(part)?;
    }
    Ok(())
}
