//! From what is on disk to an engine that goes on from there.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use tapline_protocols::fact::{Later, Open, ReasonFact, SealedFact};
use tapline_protocols::plan;
use tapline_protocols::{Fact, Fault};

use super::again;
use super::indexer::Indexer;
use super::keys::{Said, announce};
use super::shared::Shared;
use crate::books::place::is_addendum;
use crate::books::recover::Show;
use crate::books::{Books, Cause, Damaged, Disk, FORMAT, Folder, Halted, Key, Recovered};
use crate::clock::{self, Stamp, Watch, Zone};
use crate::config::Config;
use crate::past;
use crate::station::event::{BookId, Event, Stored};
use crate::station::library::sha256;
use crate::station::register::Register;
use crate::station::{
    BenchSettings, Context, Core, Found, Library, LinkSettings, StationSettings, order_of,
    sealed_last,
};
use crate::words;

/// Number of the judgement: rises when the same readings would give other verdicts.
pub const JUDGE: u32 = 1;

/// Books and engine, ready to live.
pub(super) struct Started {
    pub(super) books: Books,
    pub(super) core: Core,
    /// Over the clocks, from the first line of this life on.
    pub(super) watch: Option<Watch>,
}

/// Opens the books and folds them. After a halt, `recovered` says why there was one.
///
/// # Errors
/// The file system says no. May be repeated.
pub(super) fn start(
    config: &Config,
    disk: &Folder,
    shared: &Shared,
    recovered: Option<String>,
) -> Result<Started, Halted> {
    let clocks = clock::clocks();
    let at = clocks.map_or_else(clock::now, |clocks| clocks.at);
    let mut register = Register::default();
    let (mut books, mut found) = open(config, disk, at, &mut |line| register.take(&line))?;
    announce(&mut books, &mut found, (config, at), Said::default())?;
    if let Some(reason) = recovered {
        let fact = Fact::Recovered(ReasonFact { reason: Some(reason) });
        note(&mut books, &mut found, at, fact)?;
    }
    for trouble in &found.troubles {
        tracing::warn!(trouble, "Something in the data folder was left alone.");
    }
    for damaged in &found.damaged {
        let Damaged { path, tail, .. } = damaged;
        tracing::error!(path, %tail, "A book is damaged: it is not written again.");
    }
    shared.damaged(found.damaged.iter().map(|one| format!("{}: {}", one.path, one.tail)).collect());
    if let Some(indexer) = shared.indexer.get() {
        indexer.look();
    } else {
        let started = Indexer::start(&config.store.folder, books.shelf());
        let started = started.map_err(|error| Halted::disk("start", "the index", &error))?;
        // Only this thread ever sets it.
        let _ = shared.indexer.set(started);
    }
    again::show((&books.shelf(), &found), config, &last_day(&books)?, &shared.feed)?;
    let context = context(&books, at)?;
    let settings = settings(config)?;
    let mut core = Core::new(settings.clone(), context, library(config)?);
    core.recover(at, what_was_found(&books, &found, register, config)?);
    for fault in settings.faults(core.register()) {
        tracing::warn!(%fault, "A link stays listen-only.");
    }
    for SealedFact { id, head, bytes, key, .. } in found.sealed {
        core.handle(Event::Sealed { at, id, head, bytes, key });
    }
    Ok(Started { books, core, watch: clocks.map(Watch::since) })
}

/// Writes that the station halted, if there is any room for it: the reserve was given up.
pub(super) fn note_halt(config: &Config, disk: &Folder, reason: &str) -> Result<(), Halted> {
    let at = clock::now();
    let (mut books, mut found) = open(config, disk, at, &mut |_| {})?;
    let fact = Fact::Halted(ReasonFact { reason: Some(reason.to_owned()) });
    note(&mut books, &mut found, at, fact)
}

pub(super) fn open(
    config: &Config,
    disk: &Folder,
    at: Stamp,
    show: Show<'_>,
) -> Result<(Books, Recovered), Halted> {
    let folder = &config.store.folder;
    let failed =
        |what: &str, error: &io::Error| Halted::disk(what, &folder.display().to_string(), error);
    let disk: Arc<dyn Disk> = Arc::new(disk.again().map_err(|error| failed("open", &error))?);
    let key = Key::open(disk.as_ref(), &config.station.id)
        .map_err(|error| failed("open the key in", &error))?;
    Books::open_showing(disk, Arc::new(key), at, show)
}

/// Stores one line in the station book, if there is one already.
pub(super) fn note(
    books: &mut Books,
    found: &mut Recovered,
    at: Stamp,
    fact: Fact,
) -> Result<(), Halted> {
    if found.station.is_none() {
        return Ok(());
    }
    let (book, seq) = (BookId::Station, found.next_seq);
    found.next_seq += 1;
    books.commit(&[Stored { book, bench: None, seq, at, fact, by: None }]).map(drop)
}

/// First line of a station book.
pub(super) fn first_line(
    books: &Books,
    config: &Config,
    year: &str,
    at: Stamp,
) -> Result<Open, Halted> {
    let settings = settings(config)?;
    let context = context(books, at)?;
    Ok(Open {
        format: FORMAT.into(),
        id: year.to_owned(),
        verify: None,
        station: settings.id,
        inspection: None,
        version: context.version,
        judge: context.judge,
        boot: context.boot,
        offset: settings.zone.offset(at.wall_us),
        zone: settings.zone_name,
        synced: context.synced,
        key: context.key,
        follows: None,
    })
}

/// `station` is the fold of the lines that were there before this start.
fn what_was_found(
    books: &Books,
    found: &Recovered,
    mut station: Register,
    config: &Config,
) -> Result<Found, Halted> {
    let since = books.shelf().station_after(station.seq)?;
    since.iter().for_each(|line| station.take(line));
    let all = |book: &BookId| books.lines(book)?.collect::<Result<Vec<_>, _>>();
    let mut open = Vec::new();
    for id in &found.inspections {
        open.push((id.clone(), all(&BookId::Inspection(id.clone()))?));
    }
    // The highest number in use counts, in whichever book it stands.
    let last = found.next_seq.saturating_sub(1);
    let (shelf, day) = (books.shelf(), last_day(books)?);
    let boot = boot_id()?;
    let benches = config.benches.len();
    let read = |sealed: &SealedFact| shelf.as_sealed(sealed);
    let sealed = sealed_last((&station, &boot), &found.sealed, benches, read)?;
    let mut ended = BTreeMap::new();
    for fact in &found.sealed {
        let end = read(fact)?.and_then(|lines| order_of(&fact.id, &lines));
        ended.extend(end.map(|end| (fact.id.clone(), end)));
    }
    let heard = shelf.newest_line(&BookId::Idle(day.clone()))?;
    Ok(Found {
        station,
        open,
        idle: Some((day, last)),
        numbers: found.numbers.clone(),
        sealed,
        left: left(&config.store.folder, &found.sealed),
        heard: heard.map(|line| (line.seq, line.at.boot_us)),
        ended,
    })
}

/// What was sealed and not announced: the crash came between.
fn left(folder: &Path, sealed: &[SealedFact]) -> Vec<(String, Option<Later>, bool)> {
    let one = |fact: &SealedFact| match past::life::read(folder, &fact.id) {
        Ok(read) => {
            let life = read.life();
            let later = is_addendum(&fact.id).then(|| life.later()).flatten();
            Some((fact.id.clone(), later, life.waits()))
        }
        Err(why) => {
            tracing::error!(why, book = fact.id, "What a sealed book comes to is not known.");
            None
        }
    };
    sealed.iter().filter_map(one).collect()
}

/// The UTC day of the newest idle book; empty, before every day, where there is none.
fn last_day(books: &Books) -> Result<String, Halted> {
    let list = books.disk().list("idle");
    let names = list.map_err(|error| Halted::disk("list", "idle", &error))?;
    let days = names.iter().filter_map(|name| name.get(..10));
    Ok(days.filter(|day| day.starts_with("20")).max().unwrap_or_default().to_owned())
}

fn context(books: &Books, at: Stamp) -> Result<Context, Halted> {
    let boot = boot_id()?;
    tracing::debug!(at = clock::rfc3339(at.wall_us), boot, "Context is read.");
    Ok(Context {
        version: env!("CARGO_PKG_VERSION").into(),
        judge: JUDGE,
        boot,
        synced: clock::synchronised(),
        earliest_us: clock::EARLIEST_US,
        key: Some(books.key().public().fingerprint()),
    })
}

fn boot_id() -> Result<String, Halted> {
    clock::boot_id().map_err(|error| Halted::disk("read", "the boot id", &error))
}

/// What the engine is told of the configuration.
pub(super) fn settings(config: &Config) -> Result<StationSettings, Halted> {
    let zone = Zone::named(&config.station.zone).ok_or_else(|| Halted {
        what: format!("can't find the zone `{}`", config.station.zone),
        why: "this machine does not know it".into(),
        cause: Cause::Refused,
    })?;
    Ok(StationSettings {
        id: config.station.id.clone(),
        name: config.station.name.clone(),
        zone,
        zone_name: config.station.zone.clone(),
        commit_ms: config.store.commit_ms,
        policy: config.policy.clone(),
        due: config.due,
        // Ports and line settings too: what they are plugged into is another bench.
        wiring: Some(sha256(&format!("{:?}\n{:?}", config.benches, config.links))),
        benches: config.benches.iter().map(bench).collect(),
        links: config.links.iter().map(link).collect(),
    })
}

fn bench(bench: &crate::config::Bench) -> BenchSettings {
    BenchSettings {
        id: bench.id.clone(),
        name: bench.name.clone(),
        fixtures: bench.fixtures.clone(),
        witness: bench.witness.clone(),
        typed: bench.typed.clone(),
    }
}

fn link(link: &crate::config::Link) -> LinkSettings {
    LinkSettings {
        id: link.id.clone(),
        bench: link.bench.clone(),
        driver: link.driver.clone(),
        described: link.described.clone(),
        instrument: link.instrument.clone(),
        isolation: link.isolation,
    }
}

/// The built-in plans and limits, and the workshop's own: in `plans/` and `limits/` beside the
/// configuration, and in the data folder, where earlier programs looked.
pub(crate) fn library(config: &Config) -> Result<Library, Halted> {
    let mut library =
        Library::builtin().map_err(|faults| refused("the built-in plans", &faults))?;
    for path in own(config, "limits")? {
        let added = library.add_own_table(&read(&path)?);
        added.map_err(|faults| refused(&path.display().to_string(), &faults))?;
    }
    let mut seen: BTreeMap<String, PathBuf> = BTreeMap::new();
    // Against all limits: a plan that comes to none, or to two, is found here.
    for path in own(config, "plans")? {
        let text = read(&path)?;
        let added =
            plan::read(&text).and_then(|(plan, lines)| match words::plan::unsaid(&plan, &lines) {
                unsaid if unsaid.is_empty() => library.add_own_plan(&text).map(|()| plan.id),
                unsaid => Err(unsaid),
            });
        let id = added.map_err(|faults| refused(&path.display().to_string(), &faults))?;
        if let Some(other) = seen.insert(id.clone(), path.clone()) {
            let text = format!("`{id}` stands in {} already", other.display());
            let fault = Fault { line: 0, field: "id".into(), text };
            return Err(refused(&path.display().to_string(), &[fault]));
        }
    }
    Ok(library)
}

/// The files of the workshop's own.
fn own(config: &Config, what: &str) -> Result<Vec<PathBuf>, Halted> {
    let mut paths = Vec::new();
    let data = Some(&config.store.folder).filter(|data| **data != config.site);
    for folder in [&config.site].into_iter().chain(data) {
        let folder = folder.join(what);
        let found = tomls(&folder);
        paths.extend(
            found.map_err(|error| Halted::disk("read", &folder.display().to_string(), &error))?,
        );
    }
    Ok(paths)
}

/// The TOML files of a folder in the order of their names; none where there is no such folder.
///
/// # Errors
/// When it can't be read: a limit that is not seen is not kept to.
pub(crate) fn tomls(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let entries = match std::fs::read_dir(folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        entries => entries?,
    };
    let paths = entries.map(|entry| entry.map(|entry| entry.path()));
    let mut paths = paths.collect::<io::Result<Vec<_>>>()?;
    paths.retain(|path| path.extension().is_some_and(|e| e == "toml"));
    paths.sort();
    Ok(paths)
}

fn read(path: &Path) -> Result<String, Halted> {
    std::fs::read_to_string(path)
        .map_err(|error| Halted::disk("read", &path.display().to_string(), &error))
}

fn refused(what: &str, faults: &[Fault]) -> Halted {
    let list: Vec<String> = faults.iter().map(ToString::to_string).collect();
    Halted { what: format!("{what} can't be used"), why: list.join("; "), cause: Cause::Refused }
}
