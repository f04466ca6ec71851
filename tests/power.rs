//! The power goes, and the disk has only what was synced, and of the rest what it likes.
//!
//! The real program works through a whole inspection at a meter on a pty, with everything it does
//! to its folder written down by `strace`, all bytes included, and everything that it lets a
//! client see. Afterwards the folder is put together as a disk may have it at each moment: just
//! before and just after every sync, and at random rows between. On each a start must find all
//! that had been seen, nothing that was never written, no number and no name twice, what is
//! sealed as it was sealed or to be sealed again alike, and an index that says what the books say.
//!
//! Why `strace`: it sees every call, also those that go past the C library (rustix makes its own),
//! needs no compiler and no rights beyond tracing a child; a preloaded library would miss calls, a
//! device mapper or a file system of one's own is not to be had on every machine that runs this.
//! Limits: what the drive itself reorders is only as wild as `power/drive.rs` makes it; a sync
//! that lies is not simulated; a rename shows the old name, the new one or both, never none.
//! `sync_file_range` counts as nothing, after its manual page. That the model of the disk is
//! right is checked: uncut, it has to be the folder byte for byte.
//!
//! `CUTS=100000` takes every cut, not a share of them; `SEED=7` draws others.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "power/after.rs"]
mod after;
#[path = "power/drive.rs"]
mod drive;
#[path = "sim/rng.rs"]
#[allow(dead_code, reason = "a part of it is used")]
mod rng;
mod support;
#[path = "power/tape.rs"]
mod tape;

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::path::Path;

use after::{Found, Story};
use drive::Drive;
use rng::Rng;
use support::book;
use support::feed::Feed;
use support::meter::{Meter, Scene};
use support::station::{Builder, Station};
use support::technician::{Bench, Hand, Technician};
use tape::{Deed, Step, tape};

/// Cuts without `CUTS`.
const CUTS: usize = 250;
/// The index is looked at after one cut in so many.
const INDEX_ONE_IN: usize = 8;
/// Recordings until one is of use.
const RECORDINGS: usize = 4;
/// Starts of the real program.
const STARTS: usize = 4;

impl Bench for Scene {
    fn supply(&mut self, on: bool) {
        Scene::supply(self, on);
    }

    fn knob(&mut self, function: &str) {
        Scene::knob(self, function);
    }
}

fn number(name: &str) -> Option<usize> {
    std::env::var(name).ok().and_then(|text| text.parse().ok())
}

/// A whole inspection to its seal, and the beginning of another.
fn work() -> Station {
    let mut wiring = Builder::new().recorded();
    let port = wiring.pty("dmm", "val-unit-line", Some("TM-01"));
    let scene = Scene::default();
    let _meter = Meter::talking(&port, &scene, 100);
    let mut station = wiring.start();
    let feed = Feed::open(&station.socket(), Some(0));
    let hand = Hand::Typed;
    let mut technician = Technician { station: &station, asset: "T-0201", hand, bench: scene };
    let id = technician.begin();
    technician.work_until("sign");
    let signed = station.run(&["sign", "--as", "performed", "--tag", "attached"]);
    assert!(signed.stdout.starts_with(&id), "{signed:?}");
    feed.find("the seal", |seen| seen.kind == "sealed");
    technician.begin();
    feed.find("its first reading", |seen| seen.kind == "in");
    station.stop();
    station
}

/// All files of a data folder, by their paths below `root`.
fn files(root: &Path, folder: &str, found: &mut BTreeMap<String, Vec<u8>>) {
    for entry in std::fs::read_dir(root.join(folder)).unwrap() {
        let entry = entry.unwrap();
        let path = format!("{folder}/{}", entry.file_name().into_string().unwrap());
        match entry.path().is_dir() {
            true => files(root, &path, found),
            false => drop(found.insert(path, std::fs::read(entry.path()).unwrap())),
        }
    }
}

/// What the station did, and what came of it.
struct Record {
    steps: Vec<Step>,
    base: Drive,
    story: Story,
}

impl Record {
    /// Of a station that has stopped; `base` is the folder in which it had begun.
    ///
    /// # Errors
    /// A file of the index that is not as the calls say: its threads write side by side, and of two
    /// calls at one moment `strace` may tell the later one first. No thread but one writes books.
    fn new(station: &Station, base: Drive) -> Result<Record, String> {
        let steps = tape(&station.trace(), station.folder());
        let mut whole = base.clone();
        steps.iter().for_each(|step| whole.step(step));
        let mut there = BTreeMap::new();
        files(station.folder(), "data", &mut there);
        let model = whole.now();
        let differ =
            there.keys().chain(model.keys()).find(|path| there.get(*path) != model.get(*path));
        if let Some(path) = differ.filter(|path| path.starts_with("data/index/")) {
            return Err(path.clone());
        }
        assert_eq!(differ, None, "the model of the disk is wrong about this file");
        let lines = book::all(&station.data()).into_values().flat_map(|book| book.lines).collect();
        let data = |(path, bytes): (String, Vec<u8>)| (path["data/".len()..].to_owned(), bytes);
        let story = Story { lines, files: there.into_iter().map(data).collect() };
        Ok(Record { steps, base, story })
    }

    /// Rows at which the power goes: before and after each sync, and others.
    fn rows(&self, rng: &mut Rng, most: usize) -> Vec<usize> {
        let mut rows = BTreeSet::new();
        for step in &self.steps {
            if let Deed::Sync { .. } = step.deed {
                rows.extend([step.ended - 1, step.ended]);
            }
        }
        let last = self.steps.iter().map(|step| step.ended).max().unwrap() as u64;
        let random = rows.len() / 2;
        rows.extend((0..random).map(|_| usize::try_from(rng.below(last)).unwrap()));
        // Names change seldom, and are the harder part: those stay whatever is left out.
        let near = |row: &usize| {
            self.steps.iter().any(|step| {
                let names = matches!(
                    step.deed,
                    Deed::Rename { .. } | Deed::Folder { .. } | Deed::Remove { .. }
                );
                names && step.ended.abs_diff(*row) < 12
            })
        };
        let (names, rest): (Vec<usize>, Vec<usize>) = rows.into_iter().partition(near);
        let one_in = (rest.len() / most.saturating_sub(names.len()).max(1)).max(1) as u64;
        let mut rows = names;
        rows.extend(rest.into_iter().filter(|_| rng.once_in(one_in)));
        rows.sort_unstable();
        rows
    }

    /// Cuts at each row; what each start came to.
    fn cut(&self, seed: u64, most: usize) -> (usize, Vec<String>, Found, Vec<Files>) {
        let mut rng = Rng::new(seed);
        let mut drive = self.base.clone();
        let (mut done, mut seen) = (0, BTreeSet::new());
        let mut steps: Vec<&Step> = self.steps.iter().collect();
        steps.sort_by_key(|step| step.ended);
        let (mut wrong, mut sum, mut samples) = (Vec::new(), Found::default(), Vec::new());
        let rows = self.rows(&mut rng, most);
        for (n, row) in rows.iter().enumerate() {
            while done < steps.len() && steps[done].ended <= *row {
                drive.step(steps[done]);
                done += 1;
            }
            let mut now = drive.clone();
            let flying = steps[done..].iter().filter(|step| step.began <= *row);
            flying.for_each(|step| now.begun(step));
            for step in self.steps.iter().filter(|step| step.began <= *row) {
                if let Deed::Shown { seqs } = &step.deed {
                    seen.extend(seqs.iter().copied());
                }
            }
            let left = now.cut(&mut rng);
            let index = n.is_multiple_of(INDEX_ONE_IN);
            match self.start(&left, &seen, index) {
                Ok(found) => {
                    sum.torn += found.torn;
                    sum.sealed_now += found.sealed_now;
                    sum.lines += found.lines;
                    if found.torn > 0 || (n % 40 == 7 && !left.is_empty()) {
                        samples.push((left, seen.clone()));
                    }
                }
                Err(why) => wrong.push(format!("cut at row {row}: {why}")),
            }
        }
        (rows.len(), wrong, sum, samples)
    }

    fn start(
        &self,
        left: &BTreeMap<String, Vec<u8>>,
        seen: &BTreeSet<u64>,
        index: bool,
    ) -> Result<Found, String> {
        let temp = in_memory();
        put(left, temp.path());
        let data = temp.path().join("data");
        let found = self.story.goes_on(&data, seen)?;
        if index {
            after::index(&data)?;
        }
        Ok(found)
    }
}

/// Files as a cut left them, and what had been seen.
type Files = (BTreeMap<String, Vec<u8>>, BTreeSet<u64>);

fn in_memory() -> tempfile::TempDir {
    let memory = Path::new("/dev/shm");
    let place = if memory.is_dir() { memory.to_owned() } else { std::env::temp_dir() };
    tempfile::Builder::new().prefix("tapline-power-").tempdir_in(place).unwrap()
}

fn put(files: &BTreeMap<String, Vec<u8>>, root: &Path) {
    for (path, bytes) in files {
        let path = root.join(path);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, bytes).unwrap();
    }
}

/// A recording whose calls make the folder that is there.
fn recorded<T>(mut make: impl FnMut() -> Result<T, String>) -> T {
    let mut wrong = String::new();
    for _ in 0..RECORDINGS {
        match make() {
            Ok(record) => return record,
            Err(path) => wrong = path,
        }
        tell(&format!("power: recorded anew, as the calls do not make {wrong}\n"));
    }
    panic!("the model of the disk is wrong about {wrong}, {RECORDINGS} times");
}

/// The real program starts on what a cut left, without the index, and is recorded again.
fn real_start(station: &mut Station, (left, seen): &Files) -> Result<Record, String> {
    let mut left = left.clone();
    left.retain(|path, _| !path.starts_with("data/index/"));
    std::fs::remove_dir_all(station.data()).unwrap();
    put(&left, station.folder());
    std::fs::create_dir_all(station.data()).unwrap();
    station.restart();
    let feed = Feed::open(&station.socket(), Some(0));
    station.stop();
    let _ = feed.rest();
    let record = Record::new(station, Drive::of(&left))?;
    let there: BTreeSet<&String> = record.story.lines.values().collect();
    assert!(there.len() >= seen.len(), "the program lost what the library found");
    Ok(record)
}

fn tell(text: &str) {
    // Past the harness, which shows nothing of a test that passes.
    std::io::stderr().write_all(text.as_bytes()).unwrap();
}

#[test]
fn a_power_cut_at_any_moment_loses_nothing_that_was_seen() {
    let seed = number("SEED").unwrap_or(1) as u64;
    let most = number("CUTS").unwrap_or(CUTS);
    let (mut station, record) = recorded(|| {
        let station = work();
        let record = Record::new(&station, Drive::new())?;
        Ok((station, record))
    });
    let syncs = record.steps.iter().filter(|s| matches!(s.deed, Deed::Sync { .. })).count();
    let (cuts, mut wrong, sum, samples) = record.cut(seed, most);
    tell(&format!(
        "power: {cuts} cuts (seed {seed}) of {} calls with {syncs} syncs and {} lines: {} torn ends \
         set aside, {} seals finished at a start\n",
        record.steps.len(),
        record.story.lines.len(),
        sum.torn,
        sum.sealed_now,
    ));
    assert!(wrong.is_empty(), "SEED={seed}: {}", wrong[..wrong.len().min(10)].join("\n"));
    assert!(sum.torn > 0 && sum.sealed_now > 0, "the cuts prove less than they seem to");
    // The power goes again while the program recovers.
    let mut again = 0;
    let step = (samples.len() / STARTS).max(1);
    for sample in samples.iter().step_by(step).take(STARTS) {
        let second = recorded(|| real_start(&mut station, sample));
        let (cuts, more, ..) = second.cut(seed, most / STARTS);
        again += cuts;
        wrong.extend(more);
    }
    tell(&format!("power: {again} cuts in {STARTS} recoveries of the real program\n"));
    assert!(wrong.is_empty(), "SEED={seed}: {}", wrong[..wrong.len().min(10)].join("\n"));
}
