//! Starts the station, starts it over after a halt, and stops it.

use std::fmt::Display;
use std::io::Write;
use std::net::Ipv4Addr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use rustix::fs::Mode;
use rustix::process::{geteuid, umask};
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::watch;
use tokio::time::sleep;

use super::copies::{Copies, Often};
use super::idle::{self, Keep};
use super::life::{End, live};
use super::notify::notify;
use super::room::{self, Reserve};
use super::shared::{Halt, Printing, Shared};
use super::start::{Started, library, note_halt, start};
use crate::books::{Cause, Folder, Halted, Lock};
use crate::clock;
use crate::config::{Config, drivers};
use crate::face;
use crate::orders;
use crate::ports;
use crate::report::House;
use crate::station::StationSettings;
use crate::words::english;

/// How often a halted station looks for room.
const LOOK_S: Duration = Duration::from_secs(5);

/// How often room is made.
const PRUNE_S: Duration = Duration::from_secs(3600);

/// Anything wrong with input, daemon or disk.
const TROUBLE: u8 = 2;

/// Where the socket lies if nothing else is said: in `$RUNTIME_DIRECTORY`, else under `/run`.
#[must_use]
pub fn socket_path() -> PathBuf {
    let folder = std::env::var_os("RUNTIME_DIRECTORY");
    folder.map_or_else(|| PathBuf::from("/run/tapline"), PathBuf::from).join("tapline.sock")
}

/// Runs the station in the foreground until it is told to stop; with `check`, only says what is
/// wrong with the configuration. Faces listen at `socket` and, where a `page` is asked for, at
/// that port of loopback. Returns the exit code: 0 done, 2 trouble.
#[must_use]
pub fn run(path: &Path, check: bool, socket: &Path, page: Option<u16>) -> u8 {
    let mut config = match read(path) {
        Ok(config) => config,
        Err(faults) => {
            for fault in faults {
                say(format_args!("{}: {fault}", path.display()));
            }
            return TROUBLE;
        }
    };
    config.page = page.map(|port| (Ipv4Addr::LOCALHOST, port).into()).or(config.page);
    if check {
        let loud = must_not_send(&config);
        if !loud.is_empty() {
            for fault in loud {
                say(format_args!("{}: {fault}", path.display()));
            }
            return TROUBLE;
        }
        say(format_args!("{}: no fault found", path.display()));
        unexercised(&config);
        not_there(&config);
        return 0;
    }
    let log = tracing_subscriber::EnvFilter::try_from_default_env();
    let log = log.unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("info"));
    // Another part of the process may have set one already: then that one is used.
    let _ = tracing_subscriber::fmt()
        .with_env_filter(log)
        .with_writer(std::io::stderr)
        .with_ansi(false)
        // A log on a disk that is full must not end the station: by default a failed write is
        // printed to the same place, and that panics.
        .log_internal_errors(false)
        .try_init();
    umask(Mode::from_raw_mode(0o027));
    if geteuid().is_root() {
        tracing::warn!("Running as root: give the station a user of its own, in group dialout.");
    }
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let result = runtime
        .map_err(|error| format!("can't start: {error}"))
        .and_then(|runtime| runtime.block_on(serve(config, socket)));
    match result {
        Ok(()) => 0,
        Err(why) => {
            say(why);
            TROUBLE
        }
    }
}

/// Links whose driver sends while the register of the data folder, if there is one, calls their
/// instrument hazardous or unknown. An instrument that it does not have yet is no fault here: the
/// station listens to it and sends nothing until it is registered.
fn must_not_send(config: &Config) -> Vec<String> {
    let Ok(register) = ports::register(&config.store.folder) else { return Vec::new() };
    let Ok(settings) = super::start::settings(config) else { return Vec::new() };
    let registered = |label: &Option<String>| {
        label.as_ref().is_some_and(|label| register.instruments.contains_key(label))
    };
    let links = settings.links.iter().filter(|link| registered(&link.instrument)).cloned();
    let settings = StationSettings { links: links.collect(), ..settings };
    settings.faults(&register).iter().map(ToString::to_string).collect()
}

/// Says which links are of a kind that was never run on the real thing.
fn unexercised(config: &Config) {
    for link in &config.links {
        if let Some(kind) = link.place.unexercised() {
            say(format_args!(
                "link `{}`: {kind}: written after the kernel's header and tested with its \
                 records, never run on such hardware; watch it at work before you rely on it",
                link.id
            ));
        }
    }
}

/// Says which ports are not there now: no fault, since they may be plugged in later.
fn not_there(config: &Config) {
    for link in &config.links {
        let Some(path) = link.place.path().filter(|path| !path.exists()) else { continue };
        say(format_args!(
            "link `{}`: {} is not there now: plug it in, or correct its name (`tapline ports`)",
            link.id,
            path.display()
        ));
    }
}

/// Before and after the log, faults are told as talk.
fn say(text: impl Display) {
    // Who can't be told is not there, or the disk behind is full: the exit code says it, too.
    let _ = writeln!(std::io::stderr().lock(), "tapline: {text}");
}

/// Reads the configuration with everything that it names.
fn read(path: &Path) -> Result<Config, Vec<String>> {
    let text = std::fs::read_to_string(path).map_err(|error| vec![error.to_string()])?;
    let config = Config::read(&text, &|name| drivers::choose(path, name));
    let config =
        config.map_err(|faults| faults.iter().map(ToString::to_string).collect::<Vec<_>>())?;
    let config = config.beside(path);
    library(&config).map_err(|halted| vec![halted.to_string()])?;
    Ok(config)
}

async fn serve(config: Config, socket: &Path) -> Result<(), String> {
    let config = Arc::new(config);
    let folder = &config.store.folder;
    let disk = Folder::open(folder)
        .map_err(|error| format!("can't make the data folder {}: {error}", folder.display()))?;
    let _lock = Lock::take(folder).map_err(|fault| fault.to_string())?;
    if folder.join(crate::archive::PART).is_dir() {
        return Err(english().say("archive", "part").into());
    }
    let shared = Arc::new(Shared::new(folder.clone()));
    let printing = Printing { house: House::of(Some(&config)), usual: config.paper.clone() };
    shared.printing.set(printing).expect("nobody else has it yet");
    let often =
        Often { archive_days: config.store.archive_days, drill_days: config.store.drill_days };
    shared.copies.set(Copies::of(folder, often)).expect("nobody else has it yet");
    let plans = library(&config).map_err(|halted| halted.to_string())?;
    let stop = stopper().map_err(|error| format!("can't listen to signals: {error}"))?;
    let face = face::open(socket, config.page, shared.clone(), plans).await?;
    let faces = tokio::spawn(face.serve(stop.clone()));
    make_room(&config).await;
    let pruning = tokio::spawn(prune(config.clone()));
    let telling = tokio::spawn(super::webhook::tell(config.clone(), shared.clone()));
    let orders = tokio::spawn(orders::watch(shared.clone()));
    let result = lives(&config, &disk, &shared, stop).await;
    pruning.abort();
    telling.abort();
    orders.abort();
    notify("STOPPING=1");
    shared.halt(Halt::new("the station stops", "Start it again."));
    // A client that never ends must not keep the station from ending.
    let _ = tokio::time::timeout(LOOK_S, faces).await;
    result
}

/// Makes room every hour.
async fn prune(config: Arc<Config>) {
    let mut hours = tokio::time::interval(PRUNE_S);
    // The first tick is now, and a start has pruned.
    hours.tick().await;
    loop {
        hours.tick().await;
        make_room(&config).await;
    }
}

/// Before a station reads its books, and every hour: nothing is removed under a reader's hands.
async fn make_room(config: &Arc<Config>) {
    let config = config.clone();
    let work = move || {
        let store = &config.store;
        let (days, mebibytes) = (store.idle_days, store.idle_max_mb);
        let keep = Keep { days, mebibytes, sure: clock::synchronised() };
        let removed = idle::prune(&store.folder, keep, clock::now().wall_us);
        if !removed.is_empty() {
            tracing::info!(files = removed.len(), "Old idle books were removed.");
        }
    };
    // A panic in there has been told; room is looked for again in an hour.
    let _ = tokio::task::spawn_blocking(work).await;
}

/// Turns SIGTERM and SIGINT into a value that everybody can wait for.
fn stopper() -> std::io::Result<watch::Receiver<Option<String>>> {
    let (send, receive) = watch::channel(None);
    let (mut term, mut int) = (signal(SignalKind::terminate())?, signal(SignalKind::interrupt())?);
    tokio::spawn(async move {
        let word = tokio::select! {
            _ = term.recv() => "SIGTERM",
            _ = int.recv() => "SIGINT",
        };
        send.send_replace(Some(word.to_owned()));
        // Held until the end: who waits must not take a lost sender for a signal.
        std::future::pending::<()>().await;
    });
    Ok(receive)
}

/// One life after the other, until it is told to stop.
async fn lives(
    config: &Arc<Config>,
    disk: &Folder,
    shared: &Arc<Shared>,
    mut stop: watch::Receiver<Option<String>>,
) -> Result<(), String> {
    let reserve = Reserve::of(&config.store.folder, config.store.reserve_mb);
    // Why the life before ended; kept until the next one begins.
    let mut because: Option<String> = None;
    loop {
        let first = because.is_none();
        let end = match begin(config, disk, (shared, &reserve), because.clone()).await {
            Ok(started) => {
                because = None;
                notify("READY=1");
                tracing::info!(station = config.station.id, "The station runs.");
                let life = live(started, config.clone(), shared.clone(), stop.clone());
                tokio::spawn(life).await.unwrap_or_else(|panic| End::Halted(panicked(&panic)))
            }
            Err(why) if first && !why.waits_for_room() => return Err(why.to_string()),
            Err(still) => End::Halted(still),
        };
        let why = match end {
            End::Stopped => return Ok(()),
            End::Halted(why) => why,
        };
        halted(config, shared, &why);
        if because.is_none() {
            note(config, disk, &reserve, &why).await;
        }
        because.get_or_insert(why.to_string());
        tokio::select! {
            _ = stop.wait_for(Option::is_some) => return Ok(()),
            () = sleep(LOOK_S) => {}
        }
    }
}

/// Holds the reserve back and starts from disk. Books and index may be long: faces go on
/// meanwhile.
async fn begin(
    config: &Arc<Config>,
    disk: &Folder,
    (shared, reserve): (&Arc<Shared>, &Reserve),
    because: Option<String>,
) -> Result<Started, Halted> {
    let (config, shared, reserve) = (config.clone(), shared.clone(), reserve.clone());
    let disk = disk.clone();
    let work = move || {
        // First of all: nothing is written into what took the place of the data folder.
        let same = disk.again();
        let folder = disk.root().display().to_string();
        same.map_err(|error| Halted::disk("open", &folder, &error))?;
        reserve.hold().map_err(|error| Halted::disk("hold back", "reserve", &error))?;
        start(&config, &disk, &shared, because)
    };
    let started = tokio::task::spawn_blocking(work).await;
    started.unwrap_or_else(|panic| Err(panicked(&panic)))
}

fn panicked(panic: &tokio::task::JoinError) -> Halted {
    Halted::refused("the engine stopped".into(), panic.to_string())
}

/// Says on every face why nothing is judged.
fn halted(config: &Config, shared: &Shared, why: &Halted) {
    let folder = &config.store.folder;
    let text = match room::free(folder).map(|bytes| bytes >> 20) {
        Ok(mebibytes) if why.cause != Cause::Gone => {
            format!("{}: {} ({mebibytes} MiB free)", why.what, why.why)
        }
        _ => format!("{}: {} ({})", why.what, why.why, folder.display()),
    };
    shared.halt(Halt::new(text, why.next()));
    notify(&format!("STATUS=Halted: {why}"));
}

/// The first time, the reserve is given up and the end written. Faces go on meanwhile.
async fn note(config: &Arc<Config>, disk: &Folder, reserve: &Reserve, why: &Halted) {
    tracing::error!(%why, "Judging has stopped: switch off, make safe.");
    let (config, disk, reserve) = (config.clone(), disk.clone(), reserve.clone());
    let why = why.to_string();
    let work = move || {
        if let Err(error) = reserve.give_up() {
            tracing::error!(%error, "The reserve can't be given up.");
        }
        if let Err(error) = note_halt(&config, &disk, &why) {
            tracing::error!(%error, "The halt could not be written down.");
        }
    };
    // A panic in there has been told; the station looks for room all the same.
    let _ = tokio::task::spawn_blocking(work).await;
}
