//! A whole data folder, checked against itself: what the station books say was sealed, which keys
//! they announce, and what lies there. Trusts nothing of the index, and writes nothing.
//!
//! The station may run meanwhile: what lies there is listed before the station books are read, so
//! that whatever was sealed by then is announced; a tail without a mark is looked at twice.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use data_encoding::HEXLOWER;
use serde::Serialize;
use sha2::{Digest, Sha256};
use tapline_protocols::Fact;
use tapline_protocols::fact::{Later, SealedFact, TornFact};

use super::chain::follows;
use super::disk::{Disk, Folder};
use super::halted::Halted;
use super::key::PublicKey;
use super::line::{Line, outline};
use super::place::{self, IDLE, INSPECTIONS, KEYS, OPEN, STATION};
use super::reader::Reader;
use super::verify::{Report, Trouble, verify_with};

/// Longest key file, bytes.
const KEY_MAX: u64 = 4096;

/// Something that is wrong in a data folder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// File, from the data folder on.
    pub file: String,
    /// A word: those of [`super::verify::VerifyFault`], and `missing nobody_sealed renamed
    /// other_head other_key no_key key_not_announced key_missing stray misplaced torn_missing
    /// torn_changed torn_unnamed twice sealed_twice follows_missing no_station_book half_pruned
    /// addendum`.
    pub code: &'static str,
    /// Line, counted from 1.
    pub line: Option<u64>,
    /// Offset of the first byte in doubt.
    pub byte: Option<u64>,
    /// Commit, counted from 1.
    pub commit: Option<u64>,
    /// Values of its sentence.
    pub values: BTreeMap<&'static str, String>,
}

/// A book and where it lies.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// File, from the data folder on.
    pub path: String,
    /// Its kind.
    pub kind: Kind,
}

/// Kinds of books.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Kind {
    /// A sealed inspection or an addendum, by its name.
    Sealed(String),
    /// An inspection in work.
    Open,
    /// A day of idle bytes.
    Idle,
    /// A year of the station.
    Station,
}

/// What was found in one book.
#[derive(Debug, Default)]
pub struct Checked {
    /// What is wrong.
    pub findings: Vec<Finding>,
    /// Fingerprint of the key that sealed it.
    pub key: Option<String>,
    /// Bytes that were read.
    pub bytes: u64,
    /// What it says of bytes that were set aside.
    torn: Vec<TornFact>,
}

/// What lies in a data folder, and what the station books say of it.
#[derive(Debug)]
pub struct Inventory {
    root: PathBuf,
    /// Books, in the order in which they are checked.
    pub places: Vec<Place>,
    keys: Vec<PublicKey>,
    announced: BTreeMap<String, String>,
    sealed: BTreeMap<String, (SealedFact, String, u64)>,
    /// What was removed because an archive holds it, with its SHA-256.
    pruned: BTreeSet<(String, String)>,
    torn: Vec<TornFact>,
    aside: Vec<String>,
    findings: Vec<Finding>,
    /// What the station books say was sealed, at a second look.
    later: OnceLock<BTreeSet<String>>,
}

fn finding(file: &str, code: &'static str, values: &[(&'static str, &str)]) -> Finding {
    let values = values.iter().map(|(name, value)| (*name, (*value).to_owned())).collect();
    Finding { file: file.to_owned(), code, line: None, byte: None, commit: None, values }
}

impl Inventory {
    /// Lists a data folder, then reads its station books.
    ///
    /// # Errors
    /// A folder or a station book can't be read.
    pub fn take(root: &Path) -> Result<Inventory, Halted> {
        let disk = Folder::open(root).map_err(|error| Halted::disk("open", "", &error))?;
        let mut inventory = Inventory {
            root: root.to_owned(),
            places: Vec::new(),
            keys: Vec::new(),
            announced: BTreeMap::new(),
            sealed: BTreeMap::new(),
            pruned: BTreeSet::new(),
            torn: Vec::new(),
            aside: Vec::new(),
            findings: Vec::new(),
            later: OnceLock::new(),
        };
        inventory.list_sealed(&disk)?;
        for (folder, kind) in [(OPEN, Kind::Open), (IDLE, Kind::Idle), (STATION, Kind::Station)] {
            inventory.list_folder(&disk, folder, &kind)?;
        }
        inventory.read_station()?;
        inventory.read_keys(&disk)?;
        Ok(inventory)
    }

    fn list_sealed(&mut self, disk: &Folder) -> Result<(), Halted> {
        let list =
            |folder: &str| disk.list(folder).map_err(|error| Halted::disk("list", folder, &error));
        for year in list(INSPECTIONS)? {
            for month in list(&format!("{INSPECTIONS}/{year}"))? {
                let folder = format!("{INSPECTIONS}/{year}/{month}");
                let names: BTreeSet<String> = list(&folder)?.into_iter().collect();
                for name in &names {
                    self.sealed_file(&folder, name, &names);
                }
            }
        }
        Ok(())
    }

    fn sealed_file(&mut self, folder: &str, name: &str, beside: &BTreeSet<String>) {
        let path = format!("{folder}/{name}");
        let (stem, end) = name.rsplit_once('.').unwrap_or((name, ""));
        let target = place::sealed_path(stem);
        match (end, target) {
            ("jsonl", Some(target)) if target == path => {
                self.places.push(Place { path, kind: Kind::Sealed(stem.to_owned()) });
            }
            ("jsonl", Some(target)) => {
                self.findings.push(finding(&path, "misplaced", &[("to", &target)]));
            }
            // A book that is missing is named by its `sealed` fact.
            ("head" | "sig", Some(_)) if beside.contains(&format!("{stem}.jsonl")) => {}
            ("head" | "sig", Some(_)) if self.root.join(OPEN).join(name_of(stem)).is_file() => {}
            _ => self.findings.push(finding(&path, "stray", &[])),
        }
    }

    fn list_folder(&mut self, disk: &Folder, folder: &str, kind: &Kind) -> Result<(), Halted> {
        let names = disk.list(folder).map_err(|error| Halted::disk("list", folder, &error))?;
        for name in names {
            let path = format!("{folder}/{name}");
            let stem = name.strip_suffix(".jsonl");
            if name.contains(".torn-") {
                self.aside.push(path);
            } else if let Some(stem) = stem {
                if *kind == Kind::Open && self.sealed_as(stem) {
                    self.findings.push(finding(&path, "twice", &[]));
                }
                self.places.push(Place { path, kind: kind.clone() });
            } else if !(*kind == Kind::Open && is_half_sealed(&name)) {
                self.findings.push(finding(&path, "stray", &[]));
            }
        }
        Ok(())
    }

    fn sealed_as(&self, id: &str) -> bool {
        self.places.iter().any(|place| place.kind == Kind::Sealed(id.to_owned()))
    }

    /// What the station books announce. What is not believed is told when they are checked.
    fn read_station(&mut self) -> Result<(), Halted> {
        let books = self.places.iter().filter(|place| place.kind == Kind::Station);
        let books: Vec<String> = books.map(|place| place.path.clone()).collect();
        if books.is_empty() {
            self.findings.push(finding(STATION, "no_station_book", &[]));
        }
        for path in &books {
            let failed = |error| Halted::disk("read", path, &error);
            let file = std::fs::File::open(self.root.join(path)).map_err(failed)?;
            let mut reader = Reader::new(file);
            while let Some(commit) = reader.commit().map_err(failed)? {
                for (bytes, line) in commit.lines().zip(commit.line..) {
                    self.station_line(path, bytes, line, &books);
                }
            }
        }
        Ok(())
    }

    fn station_line(&mut self, path: &str, bytes: &[u8], number: u64, books: &[String]) {
        let kinds: [&[u8]; 5] = [b"open", b"key", b"sealed", b"pruned", b"torn"];
        let Some((_, kind)) = outline(bytes).filter(|(_, kind)| kinds.contains(kind)) else {
            return;
        };
        let Ok(line) = Line::read(bytes) else {
            let mut odd = finding(path, "order", &[]);
            odd.line = Some(number);
            odd.values.insert("text", format!("its `{}` line can't be read", text(kind)));
            return self.findings.push(odd);
        };
        match line.fact {
            Fact::Open(open) => {
                let before = open.follows.map(|name| format!("{STATION}/{name}.jsonl"));
                if let Some(before) = before.filter(|before| !books.contains(before)) {
                    self.findings.push(finding(path, "follows_missing", &[("book", &before)]));
                }
            }
            Fact::Key(key) => drop(self.announced.insert(key.key, key.file)),
            Fact::Torn(torn) => self.torn.push(torn),
            Fact::Sealed(fact) => self.sealed_fact(path, number, fact),
            Fact::Pruned(fact) => self.pruned.extend(fact.records),
            _ => {}
        }
    }

    fn sealed_fact(&mut self, path: &str, line: u64, fact: SealedFact) {
        match self.sealed.get(&fact.id) {
            Some((known, ..)) if known.head != fact.head => {
                let mut twice = finding(path, "sealed_twice", &[("id", &fact.id)]);
                twice.line = Some(line);
                self.findings.push(twice);
            }
            _ => drop(self.sealed.insert(fact.id.clone(), (fact, path.to_owned(), line))),
        }
    }

    /// Only keys that a station book announces count.
    fn read_keys(&mut self, disk: &Folder) -> Result<(), Halted> {
        let failed = |error| Halted::disk("read the keys in", KEYS, &error);
        let mut there = BTreeSet::new();
        for name in disk.list(KEYS).map_err(failed)? {
            let path = format!("{KEYS}/{name}");
            if !name.ends_with(".pub.pem") {
                continue;
            }
            let mut text = String::new();
            let source = disk.read(&path, 0).map_err(failed)?;
            let key = match source.take(KEY_MAX).read_to_string(&mut text) {
                Ok(_) => PublicKey::from_pem(&text),
                Err(error) => Err(error),
            };
            match key.map(|key| (key.fingerprint(), key)) {
                Ok((print, key)) if self.announced.contains_key(&print) => {
                    there.insert(print);
                    self.keys.push(key);
                }
                Ok((print, _)) => {
                    let code = "key_not_announced";
                    self.findings.push(finding(&path, code, &[("key", &print)]));
                }
                Err(_) => self.findings.push(finding(&path, "stray", &[])),
            }
        }
        for (print, file) in &self.announced {
            if !there.contains(print) {
                self.findings.push(finding(file, "key_missing", &[("key", print)]));
            }
        }
        Ok(())
    }

    /// Checks one book.
    ///
    /// # Errors
    /// It can't be read.
    pub fn check(&self, place: &Place) -> Result<Checked, String> {
        let report = match self.report(place) {
            Ok(Some(report)) => report,
            Ok(None) => return Ok(Checked::default()),
            Err(Trouble::NoKey(_)) => {
                let findings = vec![finding(&place.path, "no_key", &[])];
                return Ok(Checked { findings, ..Checked::default() });
            }
            Err(trouble) => return Err(trouble.to_string()),
        };
        if self.is_half_pruned(place) {
            let findings = vec![finding(&place.path, "half_pruned", &[])];
            return Ok(Checked { findings, bytes: report.bytes, ..Checked::default() });
        }
        let mut checked = Checked {
            key: report.key.clone(),
            bytes: report.bytes,
            torn: report.torn.clone(),
            findings: Vec::new(),
        };
        for fault in &report.faults {
            if fault.code == "not_sealed" && place.kind == Kind::Open {
                continue;
            }
            let mut found = finding(&place.path, fault.code, &[("text", &fault.text)]);
            (found.line, found.byte, found.commit) = (fault.line, fault.byte, fault.commit);
            checked.findings.push(found);
        }
        if let Kind::Sealed(id) = &place.kind {
            self.against_station(place, id, &report, &mut checked);
        }
        Ok(checked)
    }

    /// The station book says that it goes, and some of its files went.
    fn is_half_pruned(&self, place: &Place) -> bool {
        let Kind::Sealed(id) = &place.kind else { return false };
        let sealed = self.root.join(&place.path);
        let gone = |end: &str| !sealed.with_extension(end).is_file();
        self.pruned.iter().any(|(pruned, _)| pruned == id) && (gone("head") || gone("sig"))
    }

    /// `None`: an inspection in work was sealed since it was listed.
    fn report(&self, place: &Place) -> Result<Option<Report>, Trouble> {
        let path = self.root.join(&place.path);
        let moved = place.kind == Kind::Open && !path.is_file();
        match verify_with(&path, &self.keys) {
            Ok(report) => Ok(Some(report)),
            Err(_) if moved => Ok(None),
            Err(trouble) => Err(trouble),
        }
    }

    fn against_station(&self, place: &Place, id: &str, report: &Report, checked: &mut Checked) {
        let mut add = |code, values: &[(&'static str, &str)]| {
            checked.findings.push(finding(&place.path, code, values));
        };
        match &report.id {
            Some(own) if own != id => add("renamed", &[("id", own)]),
            _ => {}
        }
        for why in self.chain(id, report) {
            add("addendum", &[("text", &why)]);
        }
        let Some((fact, book, line)) = self.sealed.get(id) else {
            return add("nobody_sealed", &[]);
        };
        let at = line.to_string();
        if fact.head != report.sha256 || fact.bytes != report.bytes {
            let values = [("is", &*report.sha256), ("was", &fact.head), ("book", book)];
            add("other_head", &[&values[..], &[("at", &at)]].concat());
        }
        if report.key.as_ref().is_some_and(|key| *key != fact.key) {
            let is = report.key.as_deref().unwrap_or_default();
            add("other_key", &[("is", is), ("was", &fact.key), ("book", book), ("at", &at)]);
        }
    }

    /// What the station book says that an inspection is since an addendum was sealed.
    #[must_use]
    pub fn later(&self, id: &str) -> Option<&Later> {
        self.sealed.get(id)?.0.later.as_ref()
    }

    /// What an addendum names is what the station sealed; the one before it is there.
    fn chain(&self, id: &str, report: &Report) -> Vec<String> {
        let (of, number) = place::split(id);
        let before = place::join(of, number.saturating_sub(1));
        let head = |id: &str| self.sealed.get(id).map(|(fact, ..)| fact.head.as_str());
        match (number, head(of), head(&before)) {
            (0, ..) => Vec::new(),
            (_, Some(first), Some(last)) => {
                let hangs = follows(report.addendum.as_deref(), (of, first), (&before, last));
                hangs.err().into_iter().collect()
            }
            (_, _, None) => vec![format!("nobody sealed {before}, which it follows")],
            (_, None, _) => vec![format!("nobody sealed {of}, which it adds to")],
        }
    }

    /// What the folder as a whole lacks, once every book was checked.
    #[must_use]
    pub fn whole(&self, books: &[Checked]) -> Vec<Finding> {
        let mut findings = self.findings.clone();
        for (id, (fact, book, line)) in &self.sealed {
            if self.pruned.contains(&(id.clone(), fact.head.clone())) {
                continue;
            }
            let path = place::sealed_path(id).unwrap_or_else(|| id.clone());
            if !self.root.join(&path).is_file() {
                let at = line.to_string();
                findings.push(finding(&path, "missing", &[("book", book), ("at", &at)]));
            }
        }
        let said = self.torn.iter().chain(books.iter().flat_map(|book| &book.torn));
        let mut said: BTreeMap<&str, &TornFact> = said.map(|t| (t.file.as_str(), t)).collect();
        for path in &self.aside {
            let name = path.rsplit('/').next().unwrap_or(path);
            match (said.remove(name), self.sha256(path)) {
                (None, _) => findings.push(finding(path, "torn_unnamed", &[])),
                (Some(fact), Some(sum)) if fact.sha256 == sum => {}
                (Some(_), _) => findings.push(finding(path, "torn_changed", &[])),
            }
        }
        findings.extend(said.keys().map(|name| finding(name, "torn_missing", &[])));
        findings
    }

    /// What still holds at a second look, if the station runs: a tail without a mark that did not
    /// move is no line that is being written, and what was renamed a moment ago is announced by
    /// now.
    #[must_use]
    pub fn again(&self, place: &Place, mut findings: Vec<Finding>) -> Vec<Finding> {
        if let Kind::Sealed(id) = &place.kind {
            let announced = || self.later.get_or_init(|| self.look_again()).contains(id);
            findings.retain(|one| one.code != "nobody_sealed" || !announced());
        } else if findings.iter().any(|one| one.code == "mark") {
            let second = self.check(place).map(|checked| checked.findings).unwrap_or_default();
            findings.retain(|one| one.code != "mark" || second.contains(one));
        }
        findings
    }

    fn look_again(&self) -> BTreeSet<String> {
        let second = Inventory::take(&self.root).map(|second| second.sealed);
        second.map(|sealed| sealed.into_keys().collect()).unwrap_or_default()
    }

    fn sha256(&self, path: &str) -> Option<String> {
        let mut file = std::fs::File::open(self.root.join(path)).ok()?;
        let mut sha = Sha256::new();
        let mut buffer = vec![0; 1 << 16];
        loop {
            match file.read(&mut buffer).ok()? {
                0 => return Some(HEXLOWER.encode(&sha.finalize())),
                n => sha.update(&buffer[..n]),
            }
        }
    }
}

fn name_of(stem: &str) -> String {
    format!("{stem}.jsonl")
}

/// Head and signature are made beside a book in work, just before it is sealed.
fn is_half_sealed(name: &str) -> bool {
    [".head", ".sig", ".head.new", ".sig.new"].iter().any(|end| name.ends_with(end))
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}
