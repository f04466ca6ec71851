//! The running station on a disk that takes nothing more: full, read-only, moved away, unmounted,
//! not ours any more. Real file systems, mounted by the test where the system lets it (as root);
//! where it does not, the test says so and takes another means. An error of the device itself is
//! proved on the disk in memory (`journal/ends.rs`): a failing device is not to be had everywhere.
//!
//! Each time: every face says why and what to do, nothing that was shown is lost, and the station
//! goes on by itself when it can.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "faults/keys.rs"]
mod keys;
mod support;

use std::collections::BTreeMap;
use std::fs::{self, File, Permissions};
use std::io::Write;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::Command;

use rustix::process::geteuid;
use serde_json::Value;
use support::book;
use support::feed::{Feed, Seen};
use support::port::Port;
use support::station::{Builder, Output, Station};
use support::{http, wait};

/// What every face says first.
const FIRST: &str = "Switch off, make safe";

/// A file system that is mounted for one test; dropping it unmounts it.
struct Mount {
    at: PathBuf,
}

impl Mount {
    /// Mounts with these arguments; `None`, and it says so, where the system refuses.
    fn try_new(at: &Path, args: &[&str]) -> Option<Mount> {
        fs::create_dir_all(at).unwrap();
        let output = Output::of(Command::new("mount").args(args).arg(at));
        if output.code == 0 {
            return Some(Mount { at: at.to_owned() });
        }
        let why = output.stderr.trim();
        say(&format!("mount {args:?} is refused here ({why}): another means is taken"));
        None
    }
}

impl Drop for Mount {
    fn drop(&mut self) {
        // Lazily: the station may still be there when a test fails.
        let _ = Command::new("umount").arg("-l").arg(&self.at).status();
    }
}

/// Past the harness, which shows nothing of a test that passes.
fn say(text: &str) {
    std::io::stderr().write_all(format!("faults: {text}\n").as_bytes()).unwrap();
}

/// An inspection under way, a meter that says what it is told to, a client of the feed.
struct Story {
    station: Station,
    meter: Option<Port>,
    feed: Feed,
    seen: BTreeMap<u64, String>,
    id: String,
}

impl Story {
    fn new(mut wiring: Builder) -> Story {
        let meter = wiring.pty("dmm", "val-unit-line", Some("TM-01"));
        let mut story = Story::quiet(wiring);
        story.meter = Some(meter);
        story.hears();
        story
    }

    /// Without a meter.
    fn quiet(wiring: Builder) -> Story {
        let station = wiring.start();
        let feed = Feed::open(&station.socket(), Some(0));
        station.done(&["scan", "T-0201"]);
        let id = station.done(&["begin"]).trim().to_owned();
        Story { station, meter: None, feed, seen: BTreeMap::new(), id }
    }

    fn status(&self) -> Option<Value> {
        let (_, text) = http::ask(&self.station.socket(), "GET", "/v1/status", "").ok()?;
        serde_json::from_str(&text).ok()
    }

    fn note(&mut self, seen: &Seen) {
        self.seen.insert(seen.seq, seen.line());
    }

    fn talk(&self) {
        // A cable that nobody reads from may be full.
        let _ = self.meter.as_ref().map(|meter| meter.say(b"ACV +0.0001 V\r\n"));
    }

    /// The meter talks until a client has seen it.
    fn hears(&mut self) {
        wait::until_true("the meter is heard", || self.station.link("dmm")["state"] == "up");
        self.talk();
        let seen = self.feed.find("a reading", |seen| seen.kind == "in");
        self.note(&seen);
    }

    /// It halts, and every face says why.
    fn halts(&mut self, provoke: impl Fn(&Story), why: &str, next: &str) {
        let status = wait::until("it halts", || {
            provoke(self);
            self.status().filter(|status| status["halted"].is_string())
        });
        let told = self.feed.state();
        for face in [&status, &told] {
            for (key, part) in [("halted", why), ("first", FIRST), ("next", next)] {
                assert!(face[key].as_str().unwrap().contains(part), "{key}, {part}: {face}");
            }
        }
        let output = self.station.run(&["status"]);
        assert!(output.stdout.contains(FIRST) && output.stdout.contains(why), "{output:?}");
        let refused = self.station.run(&["note", "is anybody there"]);
        assert_eq!(refused.code, 2);
        for part in [FIRST, why, next] {
            assert!(refused.stderr.contains(part), "{part}: {refused:?}");
        }
        assert!(self.station.log().contains("Judging has stopped"), "the log says so");
        for seen in self.feed.so_far() {
            self.note(&seen);
        }
        self.all_is_there();
    }

    /// It goes on by itself, with the same inspection at the same step.
    fn goes_on(&mut self, step: &Value) {
        wait::until_true("it goes on by itself", || {
            self.status().is_some_and(|status| status["halted"].is_null())
        });
        wait::until_true("the feed says so", || self.feed.state()["halted"].is_null());
        assert_eq!(self.station.bench()["inspection"]["id"], self.id.as_str());
        assert_eq!(self.station.prompt()["step"], *step);
        if self.meter.is_some() {
            self.hears();
        }
        self.station.done(&["note", "it goes on"]);
        let seen = self.feed.find("the note", |seen| seen.data.contains("it goes on"));
        self.note(&seen);
        self.all_is_there();
        let facts = self.station_facts();
        assert!(facts.iter().any(|fact| fact["k"] == "recovered"), "the books tell of it");
    }

    fn station_facts(&self) -> Vec<Value> {
        let books = book::all(&self.station.data());
        let station =
            books.into_iter().filter(|(path, _)| path.to_string_lossy().contains("/station/"));
        station.flat_map(|(_, book)| book.facts()).collect()
    }

    /// Everything that was shown stands in the books as it was shown.
    fn all_is_there(&self) {
        let books = book::all(&self.station.data());
        let stored: BTreeMap<u64, &String> =
            books.values().flat_map(|book| &book.lines).map(|(seq, line)| (*seq, line)).collect();
        for (seq, line) in &self.seen {
            assert_eq!(stored.get(seq), Some(&line), "line {seq} was seen in the feed");
        }
        assert!(!self.seen.is_empty());
    }

    /// An orderly end; its books bear a check, and its bytes give the same facts.
    fn ends(mut self) {
        self.station.stop();
        self.all_is_there();
        let open = self.station.data().join(format!("open/{}.jsonl", self.id));
        let again = self.station.run(&["replay", open.to_str().unwrap()]);
        assert_eq!(again.code, 0, "{again:?}");
    }
}

/// Writes until nothing more fits.
fn fill(path: &Path) {
    let mut file = File::create(path).unwrap();
    for part in [1 << 16, 1 << 12, 1] {
        while file.write_all(&vec![0; part]).is_ok() {}
    }
}

#[test]
fn a_full_disk_halts_it_and_room_lets_it_go_on() {
    let wiring = Builder::new();
    let data = wiring.folder().join("data");
    let mount = Mount::try_new(&data, &["-t", "tmpfs", "-o", "size=24m,mode=750", "tapline"]);
    let Some(_mount) = mount else {
        say("a full disk: see `faces.rs`, where a limit of the kernel stands for it");
        return prlimit::takes_nothing(Story::new(wiring));
    };
    let mut story = Story::new(wiring);
    let step = story.station.prompt()["step"].clone();
    fill(&data.join("filler"));
    story.halts(Story::talk, "No space left", "make room");
    wait::until_true("the end is written down: the reserve was given up for it", || {
        story.station_facts().iter().any(|fact| fact["k"] == "halted")
    });
    fs::remove_file(data.join("filler")).unwrap();
    story.goes_on(&step);
    story.ends();
}

/// Where nothing can be mounted: files that may not grow.
mod prlimit {
    use super::{Story, wait};
    use rustix::process::{Resource, Rlimit, prlimit};

    pub(super) fn takes_nothing(story: Story) {
        let pid = Some(story.station.pid());
        let limit = |current| Rlimit { current, maximum: None };
        prlimit(pid, Resource::Fsize, limit(Some(1))).unwrap();
        wait::until_true("it halts", || {
            story.talk();
            story.status().is_some_and(|status| status["halted"].is_string())
        });
        prlimit(pid, Resource::Fsize, limit(None)).unwrap();
        wait::until_true("it goes on by itself", || {
            story.status().is_some_and(|status| status["halted"].is_null())
        });
        story.ends();
    }
}

#[test]
fn a_folder_that_is_moved_away_halts_it_until_it_is_back() {
    let mut story = Story::new(Builder::new());
    let step = story.station.prompt()["step"].clone();
    let (data, away) = (story.station.data(), story.station.folder().join("away"));
    fs::rename(&data, &away).unwrap();
    let status = wait::until("it halts", || {
        story.talk();
        story.status().filter(|status| status["halted"].is_string())
    });
    let why = status["halted"].as_str().unwrap();
    assert!(why.contains("moved away") && why.contains(data.to_str().unwrap()), "{status}");
    assert!(!data.exists(), "nothing new is begun in its place");
    // Somebody makes an empty one: it is not taken for the station's.
    fs::create_dir(&data).unwrap();
    wait::until_true("it looked and did not take it", || {
        story.station.log().matches("Judging has stopped").count() == 1
            && story.status().is_some_and(|s| s["halted"].as_str().unwrap_or("").contains("open"))
    });
    assert_eq!(fs::read_dir(&data).unwrap().count(), 0, "not a file was made in it");
    fs::remove_dir(&data).unwrap();
    fs::rename(&away, &data).unwrap();
    story.halts(|_| {}, "moved away", "put the data folder back");
    story.goes_on(&step);
    story.ends();
}

#[test]
fn an_unmounted_folder_halts_it_until_it_is_mounted_again() {
    let wiring = Builder::new();
    let (data, store) = (wiring.folder().join("data"), wiring.folder().join("store"));
    fs::create_dir(&store).unwrap();
    let bind = ["--bind", store.to_str().unwrap()];
    let Some(mount) = Mount::try_new(&data, &bind) else {
        say("an unmounted folder: the test that moves it away stands for it");
        return;
    };
    let mut story = Story::new(wiring);
    let step = story.station.prompt()["step"].clone();
    drop(mount);
    let status = wait::until("it halts", || {
        story.talk();
        story.status().filter(|status| status["halted"].is_string())
    });
    assert!(status["halted"].as_str().unwrap().contains("unmounted"), "{status}");
    assert_eq!(fs::read_dir(&data).unwrap().count(), 0, "the empty place stays empty");
    let _mount = Mount::try_new(&data, &bind).expect("as before");
    story.halts(|_| {}, "unmounted", "mount it again");
    story.goes_on(&step);
    story.ends();
}

/// The mode that udev gives a port; the station is not in its group.
#[test]
fn a_port_that_may_not_be_opened_is_told_with_its_group_and_opened_when_it_may() {
    let mut wiring = Builder::new();
    let meter = wiring.pty("dmm", "val-unit-line", Some("TM-01"));
    let node = fs::canonicalize(wiring.folder().join("ttydmm")).unwrap();
    let rights = |bits| fs::set_permissions(&node, Permissions::from_mode(bits)).unwrap();
    rights(0o000);
    // Root may open anything: then the station is another user's.
    let station = if geteuid().is_root() { wiring.user(65_534) } else { wiring }.start();
    let link = wait::until("the refusal is told", || {
        Some(station.link("dmm")).filter(|link| link["why"].is_string())
    });
    assert_eq!(link["state"], "down");
    let why = link["why"].as_str().unwrap();
    assert!(why.contains("no permission to open") && why.contains("join the group `"), "{why}");
    assert!(station.done(&["status"]).contains("join the group"), "a person is told, too");
    rights(0o666);
    wait::until_true("it is opened", || station.link("dmm")["state"] == "up");
    meter.say(b"ACV +0.0001 V\r\n");
    Feed::open(&station.socket(), Some(0)).find("its reading", |seen| seen.kind == "in");
}

#[test]
fn rights_that_are_taken_away_halt_it_until_they_return() {
    let wiring = Builder::new();
    // Root may write everywhere: then the station is another user's.
    let wiring = if geteuid().is_root() { wiring.user(65_534) } else { wiring };
    let mut story = Story::quiet(wiring);
    let step = story.station.prompt()["step"].clone();
    let open = story.station.data().join("open");
    let rights = |bits| fs::set_permissions(&open, Permissions::from_mode(bits)).unwrap();
    story.station.done(&["park"]);
    let register = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/support/register/assets.csv");
    let another = fs::read_to_string(register).unwrap().replace("T-0201", "T-0202");
    let file = story.station.folder().join("another.csv");
    fs::write(&file, another).unwrap();
    story.station.done(&["asset", "import", file.to_str().unwrap()]);
    rights(0o550);
    let begin = |story: &Story| {
        let begun = story.station.run(&["begin", "--asset", "T-0202"]);
        assert_eq!(begun.code, 2, "{begun:?}");
    };
    story.halts(begin, "Permission denied", "to the user that runs the station");
    rights(0o750);
    wait::until_true("it goes on by itself", || {
        story.status().is_some_and(|status| status["halted"].is_null())
    });
    story.station.done(&["resume", &story.id]);
    story.goes_on(&step);
    story.ends();
}

#[test]
fn a_damaged_station_book_is_named_on_faces_left_alone_and_followed() {
    let mut station = Builder::new().start();
    station.stop();
    let folder = station.data().join("station");
    let path = fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()).next().unwrap();
    let mut bytes = fs::read(&path).unwrap();
    bytes[100] ^= 1;
    fs::write(&path, &bytes).unwrap();
    station.restart();
    let status = station.get("/v1/status");
    let name = path.file_name().unwrap().to_str().unwrap();
    let told = status["damaged"][0].as_str().unwrap();
    for part in [name, "does not fit the lines above it", "line 1 (byte 0)"] {
        assert!(told.contains(part), "{part}: {told}");
    }
    assert!(station.done(&["status"]).contains(&format!("damaged: {told}")));
    station.stop();
    assert_eq!(fs::read(&path).unwrap(), bytes, "not a byte of it was touched");
    let next = book::Book::read(&folder.join(name.replace(".jsonl", "+1.jsonl"))).facts();
    assert_eq!(next[0]["follows"], name.trim_end_matches(".jsonl"));
    assert_eq!((&next[1]["k"], &next[1]["file"]), (&"key".into(), &"keys/T1-1.pub.pem".into()));
    let highest = |facts: &[Value]| facts.iter().map(|fact| fact["seq"].as_u64().unwrap()).max();
    let text = String::from_utf8_lossy(&bytes).into_owned();
    let lost = text.lines().filter_map(|line| serde_json::from_str::<Value>(line).ok());
    let lost: Vec<Value> = lost.filter(|line| line["seq"].is_u64()).collect();
    let first = next[0]["seq"].as_u64();
    assert!(first > highest(&lost), "a number that was shown is not given again");
}

/// A file system that has lost its faith in its device: ext4 after an abort, as it makes itself
/// read-only on an error (mount(8), ext4(5): `errors=remount-ro`, `abort`).
#[test]
fn a_file_system_that_turns_read_only_halts_it_and_a_restart_finds_everything() {
    let wiring = Builder::new();
    let (data, image) = (wiring.folder().join("data"), wiring.folder().join("image"));
    File::create(&image).unwrap().set_len(48 << 20).unwrap();
    let made = Output::of(Command::new("mkfs.ext4").args(["-q", "-F"]).arg(&image));
    assert_eq!(made.code, 0, "this test needs mkfs.ext4 (e2fsprogs): {made:?}");
    let args = ["-o", "loop,errors=remount-ro", image.to_str().unwrap()];
    let Some(mount) = Mount::try_new(&data, &args) else {
        say("a read-only file system: `journal/ends.rs` proves it at every call");
        return;
    };
    let mut story = Story::new(wiring);
    let aborted = Output::of(Command::new("mount").args(["-o", "remount,abort"]).arg(&data));
    assert_eq!(aborted.code, 0, "{aborted:?}");
    story.halts(Story::talk, "Read-only file system", "make the file system writable");
    // It has to be unmounted before it can be written again.
    story.station.kill9();
    drop(mount);
    let _mount = Mount::try_new(&data, &args).expect("as before");
    story.station.restart();
    story.all_is_there();
    assert_eq!(story.station.bench()["inspection"]["id"], story.id.as_str());
    story.feed = Feed::open(&story.station.socket(), None);
    story.hears();
    story.ends();
}
