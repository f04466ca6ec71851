//! What must hold when the power comes back.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;

use serde_json::Value;
use tapline::books::line::{time_read, time_text};
use tapline::books::place::{InspectionName, sealed_path};
use tapline::books::{Books, Disk, Folder, Key, verify};
use tapline::clock::Stamp;
use tapline::index::{Index, Query};

use super::support::book::{self, Book};

/// Everything that was ever written, and what of it had been seen when the power went.
#[derive(Debug, Clone)]
pub(crate) struct Story {
    /// Every line by its number.
    pub(crate) lines: BTreeMap<u64, String>,
    /// Every file at the end, by its path in the data folder.
    pub(crate) files: BTreeMap<String, Vec<u8>>,
}

/// What a start made of the folder.
#[derive(Debug, Default)]
pub(crate) struct Found {
    pub(crate) torn: usize,
    pub(crate) sealed_now: usize,
    pub(crate) lines: usize,
}

impl Story {
    /// When the power comes back: a second after the last line.
    fn at(&self) -> Stamp {
        let last = self.lines.last_key_value().expect("something was written").1;
        let json: Value = serde_json::from_str(last).unwrap();
        let wall_us = time_read(json["t"].as_str().unwrap()).unwrap() + 1_000_000;
        Stamp { wall_us, boot_us: json["m"].as_u64().unwrap() + 1_000_000 }
    }

    /// Starts in a data folder and looks at everything that it believes.
    pub(crate) fn goes_on(&self, data: &Path, seen: &BTreeSet<u64>) -> Result<Found, String> {
        std::fs::create_dir_all(data).unwrap();
        let disk: Arc<dyn Disk> = Arc::new(Folder::open(data).unwrap());
        let key = Key::open(disk.as_ref(), "T1").map_err(|e| format!("the key: {e}"))?;
        let first = self.files.get("keys/T1-1.pub.pem").map(Vec::as_slice);
        let same = key.public().pem().map_err(|e| e.to_string())?.into_bytes();
        if !seen.is_empty() && first != Some(same.as_slice()) {
            return Err("another key signs than the one that was announced".into());
        }
        let ours = first == Some(same.as_slice());
        let key = Arc::new(key);
        let (books, found) = Books::open(Arc::clone(&disk), Arc::clone(&key), self.at())
            .map_err(|e| format!("it does not start: {e}"))?;
        if !found.damaged.is_empty() || !found.troubles.is_empty() {
            return Err(format!("{:?} {:?}", found.damaged, found.troubles));
        }
        let stored = book::all(data);
        self.only_what_was_written(&stored)?;
        self.all_that_was_seen(&stored, seen)?;
        let highest = stored.values().flat_map(|book| &book.lines).map(|(seq, _)| *seq).max();
        let highest = highest.max(seen.last().copied()).unwrap_or(0);
        if found.next_seq <= highest {
            return Err(format!("{} is given again, and {highest} is used", found.next_seq));
        }
        self.names(seen, &found.numbers)?;
        if ours {
            self.seals(data, &stored, seen)?;
        }
        drop(books);
        let (_, again) =
            Books::open(disk, key, self.at()).map_err(|e| format!("once more: {e}"))?;
        // Without a station book there is no place yet for the line that tells of a torn end.
        let untold = found.torn.iter().filter(|torn| !torn.stored).count();
        if again.torn.len() != untold || again.sealed.len() < found.sealed.len() {
            return Err(format!("once more it finds {:?} {:?}", again.torn, again.sealed));
        }
        let lines = stored.values().map(|book| book.lines.len()).sum();
        Ok(Found { torn: found.torn.len(), sealed_now: found.sealed.len(), lines })
    }

    /// No line is believed that was not written so; `torn` lines are made by the start.
    fn only_what_was_written(
        &self,
        stored: &BTreeMap<std::path::PathBuf, Book>,
    ) -> Result<(), String> {
        for (path, book) in stored {
            // The book of another day is not opened by a start.
            let day = time_text(self.at().wall_us).unwrap()[..10].to_owned();
            let name = path.to_string_lossy();
            if book.unbelieved > 0 && (!name.contains("/idle/") || name.contains(&day)) {
                return Err(format!("{} ends in bytes that nobody believes", path.display()));
            }
            for (seq, line) in &book.lines {
                let torn = || {
                    let json: Value = serde_json::from_str(line).unwrap();
                    json["k"] == "torn"
                };
                if self.lines.get(seq) != Some(line) && !torn() {
                    return Err(format!("line {seq} was never written so: {line}"));
                }
            }
        }
        Ok(())
    }

    fn all_that_was_seen(
        &self,
        stored: &BTreeMap<std::path::PathBuf, Book>,
        seen: &BTreeSet<u64>,
    ) -> Result<(), String> {
        let there: BTreeSet<&String> =
            stored.values().flat_map(|book| book.lines.iter().map(|(_, line)| line)).collect();
        match seen.iter().find(|seq| !there.contains(&self.lines[seq])) {
            Some(lost) => Err(format!("line {lost} was seen and is lost: {}", self.lines[lost])),
            None => Ok(()),
        }
    }

    /// The name of an inspection that was seen is not given again.
    fn names(&self, seen: &BTreeSet<u64>, given: &BTreeMap<String, u32>) -> Result<(), String> {
        for id in seen.iter().filter_map(|seq| self.opened(*seq)) {
            let name = InspectionName::read(&id).unwrap();
            if given.get(name.day).copied().unwrap_or(0) < name.number {
                return Err(format!("the name {id} would be given again: {given:?}"));
            }
        }
        Ok(())
    }

    fn opened(&self, seq: u64) -> Option<String> {
        let json: Value = serde_json::from_str(&self.lines[&seq]).unwrap();
        let inspection = json["k"] == "open" && json["asset"].is_string();
        inspection.then(|| json["id"].as_str().unwrap().to_owned())
    }

    /// What lies sealed is what was sealed, byte for byte; what was signed is sealed now; what
    /// was told of as sealed lies there.
    fn seals(
        &self,
        data: &Path,
        stored: &BTreeMap<std::path::PathBuf, Book>,
        seen: &BTreeSet<u64>,
    ) -> Result<(), String> {
        for (path, book) in stored {
            let path = path.strip_prefix(data).unwrap().to_str().unwrap();
            let signed = book.lines.iter().any(|(_, line)| line.contains(r#""k":"sign""#));
            match (path.starts_with("inspections/"), signed) {
                (true, _) => self.sealed(data, path)?,
                (false, true) => return Err(format!("{path} is signed and not sealed")),
                (false, false) => {}
            }
        }
        for seq in seen {
            let json: Value = serde_json::from_str(&self.lines[seq]).unwrap();
            if json["k"] == "sealed" {
                let path = sealed_path(json["id"].as_str().unwrap()).unwrap();
                self.sealed(data, &path)?;
            }
        }
        Ok(())
    }

    fn sealed(&self, data: &Path, path: &str) -> Result<(), String> {
        let report = verify(&data.join(path), None).map_err(|e| e.to_string())?;
        if !report.sealed {
            return Err(format!("{report}"));
        }
        for end in ["jsonl", "head", "sig"] {
            let file = path.replace("jsonl", end);
            if std::fs::read(data.join(&file)).ok().as_ref() != self.files.get(&file) {
                return Err(format!("{file} is not what it became without the cut"));
            }
        }
        Ok(())
    }
}

/// The index answers as one does that is built from the same books.
pub(crate) fn index(data: &Path) -> Result<bool, String> {
    let disk: Arc<dyn Disk> = Arc::new(Folder::open(data).unwrap());
    let shelf = tapline::books::Shelf::new(disk);
    let (index, opened) = Index::open(data, &shelf).map_err(|e| e.to_string())?;
    let now = answers(&index, &shelf)?;
    drop(index);
    let temp = tempfile::tempdir().unwrap();
    let (fresh, _) = Index::open(temp.path(), &shelf).map_err(|e| e.to_string())?;
    match now == answers(&fresh, &shelf)? {
        true => Ok(opened.set_aside.is_some()),
        false => Err("the index answers otherwise than the books".into()),
    }
}

fn answers(index: &Index, shelf: &tapline::books::Shelf) -> Result<Vec<Value>, String> {
    let said = |e: tapline::index::IndexFault| e.to_string();
    let mut all = vec![serde_json::json!(index.inspections(&Query::default()).map_err(said)?)];
    for book in shelf.inspections().map_err(|e| e.to_string())? {
        let page = index.raw(&book.id, 0, usize::MAX).map_err(said)?;
        all.push(serde_json::json!(page.map(|page| page.lines)));
    }
    for kind in ["asset", "instrument", "setup", "fixture", "lead", "operator"] {
        all.push(serde_json::json!(index.register(kind, None, 500).map_err(said)?));
    }
    Ok(all)
}
