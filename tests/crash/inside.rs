//! Kills inside a seal, a start and the building of an index.

use std::collections::BTreeMap;
use std::fs::{self, OpenOptions};
use std::io::Write;
use std::path::PathBuf;

use serde_json::Value;

use super::kills;
use super::support::book;
use super::support::feed::Feed;
use super::support::station::{Builder, Station};
use super::support::{http, wait};

/// Where a seal is killed: the calls of the writer, and how many of each a seal and the opening
/// of its book make at most.
const SEAL: [(&str, u32); 3] = [("rename", 5), ("fsync", 10), ("unlink", 3)];
/// Where a start with a torn end is killed.
const START: [(&str, u32); 5] =
    [("fdatasync", 3), ("fsync", 4), ("ftruncate", 1), ("openat", 60), ("write", 8)];
/// Where the building of an index is killed: the books know none of these calls.
const INDEX: [(&str, u32); 2] = [("pwrite64", 3), ("sync_file_range", 2)];

struct Story {
    station: Station,
    seen: BTreeMap<u64, String>,
    ended: Vec<String>,
}

impl Story {
    fn note(&mut self, feed: &Feed) {
        for seen in feed.rest() {
            let before = self.seen.insert(seen.seq, seen.line());
            assert!(before.is_none_or(|line| line == seen.line()), "told twice, differently");
        }
    }

    /// An inspection is opened and ended; the kill comes on the way. True: it came.
    fn in_a_seal(&mut self, calls: &str, n: u32) -> bool {
        if !self.station.restart_mortal(calls, n) {
            self.sound();
            return true;
        }
        let feed = Feed::open(&self.station.socket(), Some(0));
        self.station.run(&["scan", "T-0201"]);
        let begun = self.station.run(&["begin"]);
        if begun.code == 0 {
            self.ended.push(begun.stdout.trim().to_owned());
        }
        // An act is refused within a second of the last step: it is said again until it counts.
        let end = ["end", "--outcome", "given_up", "--reason", "called away"];
        let ended = wait::until("the inspection is ended, or the kill came", || {
            let done = self.station.run(&end).code == 0;
            (done || self.station.has_ended()).then_some(done)
        });
        let id = self.ended.last().cloned().unwrap_or_default();
        let killed = wait::until("the seal is done, or the kill came", || {
            let sealed = ended && self.sealed(&id).is_file() && self.told(&id);
            let killed = self.station.has_ended();
            (killed || sealed).then_some(killed)
        });
        if !killed {
            self.station.kill9();
        }
        self.note(&feed);
        self.sound();
        killed
    }

    fn told(&self, id: &str) -> bool {
        let books = book::all(&self.station.data());
        let mut lines = books.values().flat_map(|book| &book.lines);
        lines.any(|(_, line)| line.contains(r#""k":"sealed""#) && line.contains(id))
    }

    fn sealed(&self, id: &str) -> PathBuf {
        let (year, month) = (id.get(3..7).unwrap_or("-"), id.get(7..9).unwrap_or("-"));
        self.station.data().join(format!("inspections/{year}/{month}/{id}.jsonl"))
    }

    /// A start finds a torn end, and is killed while it sets it aside.
    fn in_a_start(&mut self, calls: &str, n: u32) -> bool {
        let station = fs::read_dir(self.station.data().join("station")).unwrap();
        let mut names: Vec<_> = station.map(|entry| entry.unwrap().path()).collect();
        names.retain(|path| path.extension().is_some_and(|end| end == "jsonl"));
        let mut file = OpenOptions::new().append(true).open(names.iter().max().unwrap()).unwrap();
        file.write_all(b"{\"seq\":99999,\"t\":\"2026-01-01T00:00:00").unwrap();
        let killed = !self.station.restart_mortal(calls, n);
        if !killed {
            self.station.kill9();
        }
        self.sound();
        killed
    }

    /// A start finds no index and is killed while it builds one.
    fn in_an_index(&mut self, calls: &str, n: u32) -> bool {
        fs::remove_dir_all(self.station.data().join("index")).unwrap();
        let killed = !self.station.restart_mortal(calls, n)
            || wait::until("the index is built, or the kill came", || {
                let ready = self.index_is_ready();
                (ready == Some(true)).then_some(false).or(self.station.has_ended().then_some(true))
            });
        if !killed {
            self.station.kill9();
        }
        self.sound();
        killed
    }

    /// `None` when nobody answers.
    fn index_is_ready(&self) -> Option<bool> {
        let (_, text) = http::ask(&self.station.socket(), "GET", "/v1/status", "").ok()?;
        let status: Value = serde_json::from_str(&text).ok()?;
        Some(status["index"]["state"] == "ready")
    }

    /// It starts, and everything is as it was seen; then it is killed, so that the next begins.
    fn sound(&mut self) {
        self.station.restart();
        let books = book::all(&self.station.data());
        let stored: BTreeMap<u64, &String> =
            books.values().flat_map(|book| &book.lines).map(|(seq, line)| (*seq, line)).collect();
        for (seq, line) in &self.seen {
            assert_eq!(stored.get(seq), Some(&line), "line {seq} was seen in the feed");
        }
        assert!(!stored.contains_key(&99_999), "a torn end is not believed");
        wait::until_true("the index is level", || self.index_is_ready() == Some(true));
        let list = self.station.get("/v1/inspections?limit=500");
        for id in &self.ended {
            let ends = stored.values().any(|line| {
                let json: Value = serde_json::from_str(line).unwrap();
                json["k"] == "end" && books_of(&books, id).any(|(_, theirs)| theirs == **line)
            });
            if ends {
                self.is_sealed(id, &list);
            }
        }
        let feed = Feed::open(&self.station.socket(), Some(0));
        self.station.kill9();
        self.note(&feed);
    }

    fn is_sealed(&self, id: &str, list: &Value) {
        let file = self.sealed(id);
        let verify = self.station.run(&["verify", file.to_str().unwrap()]);
        assert_eq!(verify.code, 0, "{verify:?}");
        let open = self.station.data().join(format!("open/{id}.jsonl"));
        assert!(!open.exists(), "{id} lies in one place");
        wait::until_true("its seal is told of", || self.told(id));
        let listed = list["items"].as_array().unwrap().iter().find(|item| item["id"] == id);
        let listed = listed.unwrap_or_else(|| panic!("{id} is missing in the index: {list}"));
        assert_eq!(listed["ended"], "given_up");
    }
}

fn books_of<'b>(
    books: &'b BTreeMap<PathBuf, book::Book>,
    id: &'b str,
) -> impl Iterator<Item = (u64, String)> + 'b {
    let of = books.iter().filter(move |(path, _)| path.to_string_lossy().contains(id));
    of.flat_map(|(_, book)| book.lines.clone())
}

/// Every place in turn, from a seed, until there were so many kills.
#[test]
fn killed_inside_a_seal_a_start_or_an_index_it_goes_on() {
    let most = kills() / 2;
    let mut station = Builder::new().start();
    station.kill9();
    let mut story = Story { station, seen: BTreeMap::new(), ended: Vec::new() };
    let mut killed = BTreeMap::from([("seal", 0), ("start", 0), ("index", 0)]);
    let seed = std::env::var("SEED").ok().and_then(|seed| seed.parse().ok()).unwrap_or(1_u32);
    for turn in seed.. {
        let place = |places: &[(&'static str, u32)], step: u32| {
            let (calls, most) = places[step as usize % places.len()];
            (calls, 1 + (step / u32::try_from(places.len()).unwrap()) % most)
        };
        let step = turn / 5;
        let (what, came) = match turn % 5 {
            0 => {
                let (calls, n) = place(&SEAL, step);
                ("seal", story.in_a_seal(calls, n))
            }
            4 => {
                let (calls, n) = place(&INDEX, step);
                ("index", story.in_an_index(calls, n))
            }
            part => {
                let (calls, n) = place(&START, 3 * step + part);
                ("start", story.in_a_start(calls, n))
            }
        };
        *killed.get_mut(what).unwrap() += u32::from(came);
        if killed.values().sum::<u32>() >= most {
            break;
        }
        assert!(turn - seed < 4 * most, "the kills do not come: {killed:?}");
    }
    assert!(killed.values().all(|n| *n > 0), "each place is killed in: {killed:?}");
    let text = format!(
        "crash: killed inside {killed:?} (seed {seed}), {} lines seen, {} inspections ended\n",
        story.seen.len(),
        story.ended.len()
    );
    std::io::stderr().write_all(text.as_bytes()).unwrap();
}
