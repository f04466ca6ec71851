//! A station on the ports of talking meters, from plugging in to the proof that nothing was lost.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use sha2::{Digest, Sha256};
use tapline::books::line::raw_bytes;
use tapline::books::{Folder, Shelf};
use tapline::station::event::BookId;
use tapline_protocols::Fact;

use super::clock;
use super::daemon::Daemon;
use super::ear::{Ages, Ear};
use super::talk::{Load, Meters, Pace, Talked};

/// Links whose lines the client of the feed is shown; the others are at a second bench.
const SEEN: usize = 8;
/// Looks without a new line until everything counts as stored, 50 ms apart.
const QUIET: u32 = 10;

/// What a run came to.
pub(crate) struct Run {
    pub(crate) talked: Talked,
    /// Of the station, from the first byte to the last line.
    pub(crate) cpu_ms: u64,
    pub(crate) rss_kib: u64,
    pub(crate) ages: Ages,
    pub(crate) stored: Stored,
}

/// What stands in the books.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Stored {
    /// Their length, bytes.
    pub(crate) bytes: u64,
    pub(crate) readings: u64,
    /// Frames that are kept as bytes and are no readings: reads that lie 200 ms apart in the middle
    /// of a frame break it off, whoever was late.
    pub(crate) broken: u64,
}

#[derive(Default)]
struct Link {
    bytes: u64,
    readings: u64,
    sum: Sha256,
}

/// Lets the meters talk to a station and checks that it has every byte.
pub(crate) fn run(load: Load) -> Run {
    let folder = tempfile::tempdir().unwrap();
    let mut meters = Meters::plug(&folder.path().join("ports"), load);
    fs::write(folder.path().join("tapline.toml"), config(folder.path(), &meters.ports, load))
        .unwrap();
    let mut daemon = Daemon::start(folder.path());
    daemon.ready(|status| {
        let links = status["benches"].as_array().unwrap().iter();
        let mut links = links.flat_map(|bench| bench["links"].as_array().unwrap());
        links.all(|link| link["state"] == "up")
    });
    let ear = Ear::open(daemon.socket(), "b1");
    ear.clear();
    let before = daemon.cpu_ms();
    meters.go();
    let talked = meters.talked();
    until_quiet(&daemon);
    let cpu_ms = daemon.cpu_ms() - before;
    let (rss_kib, ages) = (daemon.kib("VmHWM"), ear.take());
    daemon.stop();
    let data = folder.path().join("data");
    let stored = nothing_is_lost(&data, &talked);
    Run { talked, cpu_ms, rss_kib, ages, stored }
}

/// Everything that was said is a line on disk when no new line comes.
pub(crate) fn until_quiet(daemon: &Daemon) {
    let mut last = (0, 0);
    while last.1 < QUIET {
        let seq = daemon.get("/v1/status").unwrap()["seq"].as_u64().unwrap();
        last = if seq == last.0 { (seq, last.1 + 1) } else { (seq, 0) };
        clock::pause_ms(50);
    }
}

fn config(folder: &Path, ports: &BTreeMap<String, PathBuf>, load: Load) -> String {
    let baud = match load.pace {
        Pace::Baud(baud) => baud,
        Pace::PerSecond(_) => 9600,
    };
    let mut text = format!(
        "format = \"tapline-config-1\"\n[station]\nid = \"T1\"\nname = \"Load\"\n\
         zone = \"Etc/UTC\"\n[store]\nfolder = \"{}\"\nreserve_mb = 1\nidle_max_mb = 8192\n\
         [page]\nlisten = \"off\"\n",
        folder.join("data").display()
    );
    for bench in ["b1", "b2"] {
        let _ = writeln!(text, "[[bench]]\nid = \"{bench}\"\nname = \"{bench}\"\nfixtures = []");
    }
    for (n, (id, port)) in ports.iter().enumerate() {
        let bench = if n < SEEN { "b1" } else { "b2" };
        let _ = writeln!(
            text,
            "[[link]]\nid = \"{id}\"\nbench = \"{bench}\"\nserial = \"{}\"\n\
             line = {{ baud = {baud}, bits = \"8N1\", dtr = true, rts = false }}\n\
             driver = \"val-unit-line\"",
            port.display()
        );
    }
    text
}

/// The bytes of each link in the books have the hash of what was said there.
fn nothing_is_lost(data: &Path, talked: &Talked) -> Stored {
    let shelf = Shelf::new(Arc::new(Folder::open(data).unwrap()));
    let mut found: BTreeMap<String, Link> = BTreeMap::new();
    let mut stored = Stored::default();
    for entry in fs::read_dir(data.join("idle")).unwrap() {
        let path = entry.unwrap().path();
        stored.bytes += path.metadata().unwrap().len();
        let day = path.file_stem().unwrap().to_str().unwrap().to_owned();
        for line in shelf.lines(&BookId::Idle(day)).unwrap() {
            fold(&mut found, line.unwrap().fact);
        }
    }
    assert_eq!(found.len(), talked.lines.len(), "every line is in the books");
    for (line, said) in &talked.lines {
        let link = found.remove(line).unwrap();
        let sum: String = link.sum.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!((link.bytes, &sum), (said.bytes, &said.sha256), "bytes of {line}");
        assert!(link.readings > 0 && link.readings <= said.frames, "{line}: {}", link.readings);
        stored.broken += said.frames - link.readings;
        stored.readings += link.readings;
    }
    stored
}

fn fold(found: &mut BTreeMap<String, Link>, fact: Fact) {
    let Fact::In(read) = fact else { return };
    let bytes = raw_bytes(&read.raw).unwrap();
    let link = found.entry(read.link).or_default();
    link.bytes += bytes.len() as u64;
    link.readings += read.read.len() as u64;
    link.sum.update(bytes);
}
