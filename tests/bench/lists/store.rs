//! A store of many assets and inspections: one inspection that the real core made, told again of
//! other assets on other days. The books are marked and sealed as always; only syncs are left out.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use tapline::books::{Books, Disk, Folder, Key, Line, Shelf};
use tapline::clock::{self, Stamp};
use tapline::station::event::{BookId, Stored};
use tapline_protocols::Fact;
use tapline_protocols::fact::{Given, StartFact, Word};
use tapline_protocols::register::{Asset, read_assets};

use super::made;

/// The asset with hundreds of inspections, each whole to the last byte.
pub(crate) const MANY: &str = "P-00001";
/// So many of them, if there are as many inspections.
const MANY_INSPECTIONS: u64 = 600;
/// From 2015-11-01 to 2026-11-20, microseconds since 1970.
const SPAN_US: (i64, i64) = (1_446_336_000_000_000, 1_795_132_800_000_000);
/// Assets in a file.
const READ_ONCE: usize = 4_000;
/// Assets in a commit.
const ASSETS_ONCE: usize = 500;

/// What is to be made.
pub(crate) struct Wanted {
    pub(crate) folder: PathBuf,
    pub(crate) assets: u64,
    pub(crate) inspections: u64,
}

struct Writer {
    books: Books,
    seq: u64,
}

/// Makes the data folder and, beside it, the configuration of its station.
pub(crate) fn make(wanted: &Wanted, page: u16) {
    let (template, station) = template(&wanted.folder.join("one"));
    let data = wanted.folder.join("data");
    std::fs::create_dir_all(&data).unwrap();
    let disk: Arc<dyn Disk> = Arc::new(made::Loose(data));
    let key = Arc::new(Key::from_secret("K3-1", &[7; 32]));
    key.store(disk.as_ref()).unwrap();
    for folder in ["station", "idle", "open", "inspections"] {
        disk.create_dir(folder).unwrap();
    }
    let (books, _) = Books::open(disk, key, at(SPAN_US.0)).unwrap();
    let mut writer = Writer { books, seq: 1 };
    let assets = assets(wanted.assets);
    writer.station(station, &assets);
    for n in 0..wanted.inspections {
        writer.inspection(&template, &assets, (n, wanted.inspections));
    }
    super::configure(&wanted.folder, page);
}

/// As an import would read them, some thousand at a time.
fn assets(count: u64) -> Vec<Asset> {
    let text = made::assets(1, usize::try_from(count).unwrap());
    let (head, rows) = text.split_once('\n').unwrap();
    let rows: Vec<&str> = rows.lines().collect();
    let read = |rows: &[&str]| read_assets(&format!("{head}\n{}\n", rows.join("\n"))).unwrap();
    rows.chunks(READ_ONCE).flat_map(read).collect()
}

/// The lines of an inspection that was signed, and of its station's book.
fn template(folder: &Path) -> (Vec<Line>, Vec<Line>) {
    let wanted = made::Wanted {
        folder: folder.into(),
        seed: 1,
        inspections: 24,
        readings: 2_400,
        sync: false,
    };
    made::make(&wanted).unwrap();
    let disk: Arc<dyn Disk> = Arc::new(Folder::open(&folder.join("data")).unwrap());
    let shelf = Shelf::new(disk);
    let lines =
        |book: &BookId| -> Vec<Line> { shelf.lines(book).unwrap().map(Result::unwrap).collect() };
    let books = shelf.inspections().unwrap();
    let all = books.iter().map(|book| lines(&BookId::Inspection(book.id.clone())));
    let signed = |lines: &Vec<Line>| lines.iter().any(|line| matches!(line.fact, Fact::Sign(_)));
    let first = all.into_iter().find(signed).expect("one of them was signed");
    (first, lines(&BookId::Station))
}

fn at(wall_us: i64) -> Stamp {
    Stamp { wall_us, boot_us: u64::try_from(wall_us - SPAN_US.0).unwrap() + 1_000_000 }
}

impl Writer {
    fn commit(&mut self, book: &BookId, wall_us: i64, facts: Vec<(Fact, Option<String>)>) {
        let store = |(n, (fact, by)): (u64, (Fact, Option<String>))| {
            let (seq, at) = (self.seq + n, at(wall_us));
            Stored { book: book.clone(), bench: None, seq, at, fact, by }
        };
        let lines: Vec<Stored> = (0..).zip(facts).map(store).collect();
        self.seq += lines.len() as u64;
        self.books.commit(&lines).unwrap();
    }

    /// The book begins as that of the template; then come the assets.
    fn station(&mut self, lines: Vec<Line>, assets: &[Asset]) {
        let station = |fact: &Fact| {
            !matches!(fact, Fact::Asset(_) | Fact::Sealed(_) | Fact::Key(_) | Fact::Confirm(_))
        };
        let mut lines = lines.into_iter().filter(|line| station(&line.fact));
        let first = lines.next().unwrap();
        self.commit(&BookId::Station, SPAN_US.0, vec![(first.fact, None)]);
        let keep = |fact: &Fact| !matches!(fact, Fact::Open(_) | Fact::Start(StartFact { .. }));
        for line in lines.filter(|line| keep(&line.fact)) {
            self.commit(&BookId::Station, SPAN_US.0, vec![(line.fact, line.by)]);
        }
        for some in assets.chunks(ASSETS_ONCE) {
            let facts = some.iter().map(|asset| (Fact::Asset(Box::new(asset.clone())), None));
            self.commit(&BookId::Station, SPAN_US.0, facts.collect());
        }
    }

    fn inspection(&mut self, template: &[Line], assets: &[Asset], (n, of): (u64, u64)) {
        let many = n.is_multiple_of((of / MANY_INSPECTIONS).max(2));
        let other = n.wrapping_mul(7_919) % assets.len() as u64;
        let asset = &assets[if many { 0 } else { usize::try_from(other).unwrap() }];
        let span = u64::try_from(SPAN_US.1 - SPAN_US.0).unwrap();
        let wall_us = SPAN_US.0 + i64::try_from(span / of * n).unwrap();
        let id = format!("K3-{}-{n:06}", clock::utc_day(wall_us).replace('-', ""));
        let kept: Vec<&Line> =
            template.iter().filter(|line| many || is_light(&line.fact)).collect();
        // Lines name others by their numbers, which are the next ones here.
        let numbers: BTreeMap<u64, u64> =
            kept.iter().map(|line| line.seq).zip(self.seq..).collect();
        let mut facts = Vec::new();
        for line in kept {
            let mut fact = line.fact.clone();
            retell(&mut fact, (&id, asset, n), &numbers);
            facts.push((fact, line.by.clone()));
        }
        let book = BookId::Inspection(id.clone());
        self.commit(&book, wall_us, facts);
        let sealed = self.books.seal(&id).unwrap();
        self.commit(&BookId::Station, wall_us, vec![(Fact::Sealed(sealed), None)]);
    }
}

/// What the lists need: without raw bytes, limits and instruments a record is far shorter.
fn is_light(fact: &Fact) -> bool {
    match fact {
        Fact::Given(given) => {
            matches!(given, Given::Asset { .. } | Given::Plan { .. } | Given::Steps { .. })
        }
        Fact::In(_) | Fact::Out(_) | Fact::Tick(_) | Fact::Scan(_) => false,
        _ => true,
    }
}

/// The same of another asset, on another day, under other numbers.
fn retell(fact: &mut Fact, (id, asset, n): (&str, &Asset, u64), numbers: &BTreeMap<u64, u64>) {
    let renumber = |seq: &mut u64| *seq = numbers.get(seq).copied().unwrap_or(u64::MAX);
    match fact {
        Fact::Open(open) => {
            open.id = id.into();
            open.inspection.as_mut().unwrap().asset.clone_from(&asset.id);
        }
        Fact::Given(Given::Asset { asset: given }) => **given = asset.clone(),
        Fact::Verdict(verdict) => {
            verdict.judged.from.iter_mut().for_each(renumber);
            let chain = verdict.judged.chain.iter_mut();
            chain.flat_map(|link| &mut link.from).for_each(renumber);
            if n.is_multiple_of(31) && verdict.judged.measurand.is_some() {
                verdict.judged.verdict = Word::Fail;
            }
        }
        Fact::Value(value) => value.from.iter_mut().for_each(|(seq, _)| renumber(seq)),
        Fact::Null(null) => null.from.iter_mut().for_each(|(seq, _)| renumber(seq)),
        Fact::Prove(prove) => prove.from.iter_mut().for_each(|(seq, _)| renumber(seq)),
        Fact::Sign(sign) => {
            sign.outcome = if n.is_multiple_of(31) { Word::Fail } else { Word::Pass };
        }
        _ => {}
    }
}
