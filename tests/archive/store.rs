//! A data folder with sealed records, and the program at work on it.
#![allow(dead_code, reason = "each test uses a part of it")]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;

use serde_json::Value;
use tapline::books::{Books, Folder, Key, Line};
use tapline::clock::Stamp;
use tapline::station::event::{BookId, Stored};
use tapline_protocols::Fact;
use tapline_protocols::fact::{KeyFact, Later, Word};
use tapline_protocols::register::Asset;
use tempfile::TempDir;

use crate::support::station::TAPLINE;

const STATION: &str = include_str!("../journals/v1/station/2026.jsonl");
const RECORD: &str = include_str!("../journals/v1/inspections/2026/11/DEMO-20261126-0001.jsonl");
/// 2026-11-26 05:02:36 UTC.
const AT: i64 = 1_795_669_356_000_000;

/// A station's folder: `data`, and the archives beside it.
pub(crate) struct Store {
    folder: TempDir,
    keep: Option<&'static str>,
    tells: Option<u16>,
}

/// What a command said.
#[derive(Debug)]
pub(crate) struct Said {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

pub(crate) fn json(said: &Said) -> Value {
    serde_json::from_str(&said.out).unwrap()
}

impl Store {
    /// With so many records of the asset P-0102, all of 2026-11-26.
    pub(crate) fn new(records: u64) -> Store {
        let folder = tempfile::tempdir().unwrap();
        let store = Store { folder, keep: None, tells: None };
        let (mut books, mut seq) = store.open();
        let lines = STATION.lines().filter_map(|line| Line::read(line.as_bytes()).ok());
        let mut told: Vec<Fact> = lines.map(|line| line.fact).collect();
        told.retain(|fact| matches!(fact, Fact::Open(_) | Fact::Asset(_) | Fact::Operator(_)));
        for fact in told {
            store.put(&mut books, &mut seq, &BookId::Station, fact);
            if seq == 1 {
                let key = books.key().public().fingerprint();
                let file = books.key().public_file();
                let fact = KeyFact { key, file, replaces: None, before: None, reason: None };
                store.put(&mut books, &mut seq, &BookId::Station, Fact::Key(fact));
            }
        }
        drop(books);
        (1..=records).for_each(|n| store.seals(n));
        store
    }

    /// Seals the record of that number.
    pub(crate) fn seals(&self, n: u64) {
        let (mut books, mut seq) = self.open();
        let id = format!("K3-20261126-{n:04}");
        let lines = RECORD.lines().filter_map(|line| Line::read(line.as_bytes()).ok());
        for Line { mut fact, by, .. } in lines {
            if let Fact::Open(open) = &mut fact {
                open.id.clone_from(&id);
            }
            seq += 1;
            let (book, at) = (BookId::Inspection(id.clone()), Stamp { wall_us: AT, boot_us: seq });
            books.commit(&[Stored { book, bench: None, seq, at, fact, by }]).unwrap();
        }
        let sealed = books.seal(&id).unwrap();
        self.put(&mut books, &mut seq, &BookId::Station, Fact::Sealed(sealed));
    }

    /// Number of the line that names the newest sealed record.
    pub(crate) fn last_sealed(&self) -> u64 {
        let (books, _) = self.open();
        let lines = books.lines(&BookId::Station).unwrap().map(Result::unwrap);
        lines
            .filter(|line| matches!(line.fact, Fact::Sealed(_)))
            .map(|line| line.seq)
            .last()
            .unwrap()
    }

    /// The station itself.
    pub(crate) fn serve(&self) -> Child {
        let mut command = Command::new(TAPLINE);
        command.args(["serve", "--config", &self.config()]).current_dir(self.folder());
        command.env("TAPLINE_SOCKET", self.folder().join("tapline.sock"));
        command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
    }

    /// The station book says that a record is about another asset since: no more than `prune` asks.
    pub(crate) fn reattached(&self, id: &str, asset: &str) {
        let (mut books, mut seq) = self.open();
        let mut lines = books.lines(&BookId::Station).unwrap().map(Result::unwrap);
        let sealed = lines.find_map(|line| match line.fact {
            Fact::Sealed(sealed) if sealed.id == id => Some(sealed),
            _ => None,
        });
        let mut sealed = sealed.unwrap();
        sealed.later = Some(Later {
            state: "reattached".into(),
            outcome: Word::Fail,
            asset: asset.into(),
            by_its_plan: None,
        });
        self.put(&mut books, &mut seq, &BookId::Station, Fact::Sealed(sealed));
    }

    /// Retires the asset.
    pub(crate) fn retire(&self, day: &str) {
        self.registers(|asset| asset.retired = Some(day.into()));
    }

    /// Gives the asset another date.
    pub(crate) fn moves(&self, day: &str) {
        self.registers(|asset| asset.due = Some(day.into()));
    }

    fn registers(&self, change: impl FnOnce(&mut Asset)) {
        let (mut books, mut seq) = self.open();
        let mut lines = books.lines(&BookId::Station).unwrap();
        let asset = lines.find_map(|line| match line.unwrap().fact {
            Fact::Asset(asset) if asset.id == "P-0102" => Some(asset),
            _ => None,
        });
        let mut asset = asset.unwrap();
        change(&mut asset);
        self.put(&mut books, &mut seq, &BookId::Station, Fact::Asset(asset));
    }

    /// The same with another time in the configuration.
    pub(crate) fn keeping(mut self, keep: &'static str) -> Store {
        self.keep = Some(keep);
        self
    }

    /// The same with a receiver of webhooks; its secret lies beside the configuration.
    pub(crate) fn telling(mut self, port: u16) -> Store {
        self.tells = Some(port);
        self
    }

    fn open(&self) -> (Books, u64) {
        let disk = Arc::new(Folder::open(&self.data()).unwrap());
        let key = Arc::new(Key::open(disk.as_ref(), "K3").unwrap());
        let (books, found) = Books::open(disk, key, Stamp { wall_us: AT, boot_us: 0 }).unwrap();
        (books, found.next_seq - 1)
    }

    fn put(&self, books: &mut Books, seq: &mut u64, book: &BookId, fact: Fact) {
        *seq += 1;
        let at = Stamp { wall_us: AT, boot_us: *seq };
        let line = Stored { book: book.clone(), bench: None, seq: *seq, at, fact, by: None };
        books.commit(&[line]).unwrap();
    }

    pub(crate) fn folder(&self) -> &Path {
        self.folder.path()
    }

    pub(crate) fn data(&self) -> PathBuf {
        self.folder().join("data")
    }

    /// Path of the configuration, written as it is wanted now.
    pub(crate) fn config(&self) -> String {
        let file = self.folder().join("tapline.toml");
        let keep = self.keep.map(|keep| format!("prune_after = \"{keep}\"\n")).unwrap_or_default();
        let tells = self.tells.map(|port| {
            format!("[webhook]\nurl = \"http://127.0.0.1:{port}/a\"\nsecret_file = \"secret\"\n")
        });
        let tells = tells.unwrap_or_default();
        let text = format!(
            "format = \"tapline-config-1\"\n[station]\nid = \"K3\"\nname = \"Old books\"\n\
             zone = \"Etc/UTC\"\n[store]\nfolder = \"data\"\nreserve_mb = 1\n{keep}\
             [page]\nlisten = \"off\"\n{tells}[[bench]]\nid = \"b1\"\nname = \"Bench 1\"\n"
        );
        fs::write(&file, text).unwrap();
        file.display().to_string()
    }

    /// Runs the program in the folder.
    pub(crate) fn tapline(&self, args: &[&str]) -> Said {
        let mut command = Command::new(TAPLINE);
        command.args(args).current_dir(self.folder()).env("TAPLINE_CONFIG", self.config());
        command.env("TAPLINE_SOCKET", self.folder().join("tapline.sock"));
        let output = command.output().unwrap();
        let text = |bytes| String::from_utf8(bytes).unwrap();
        let (out, err) = (text(output.stdout), text(output.stderr));
        Said { code: output.status.code().unwrap(), out, err }
    }
}

/// Every file of a folder by its path, sorted.
pub(crate) fn files(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    walk(folder, "", &mut found);
    found.sort();
    found
}

fn walk(folder: &Path, before: &str, found: &mut Vec<String>) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    for entry in entries {
        let entry = entry.unwrap();
        let name = format!("{before}{}", entry.file_name().into_string().unwrap());
        match entry.file_type().unwrap().is_dir() {
            true => walk(&entry.path(), &format!("{name}/"), found),
            false => found.push(name),
        }
    }
}

/// The bytes of all files of some folders.
pub(crate) fn tree(data: &Path, folders: &[&str]) -> BTreeMap<String, Vec<u8>> {
    let mut all = BTreeMap::new();
    for folder in folders {
        for file in files(&data.join(folder)) {
            let bytes = fs::read(data.join(folder).join(&file)).unwrap();
            all.insert(format!("{folder}/{file}"), bytes);
        }
    }
    all
}
