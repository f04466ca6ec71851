//! Makes an archive, or brings one up to date: copies, syncs, reads back from the medium.

use std::collections::BTreeSet;

use tapline_protocols::Fact;

use super::Fault;
use super::check::wrong;
use super::copy::{copy, sum, sum_if};
use super::sums::{SUMS, Sums};
use crate::books::disk::{Mode, folder_of};
use crate::books::line::outline;
use crate::books::place::{self, IDLE, INSPECTIONS, KEYS, OPEN, STATION};
use crate::books::{Disk, Folder, Line, OnShelf, Reader, Shelf};
use crate::station::event::BookId;
use crate::words::english;

/// The page that every archive opens with; its first line says whose it is.
pub(super) const PAGE: &str = "README.txt";
/// The checker that needs no Tapline.
const CHECKER: (&str, &str) = ("verify.sh", include_str!("../../contrib/verify.sh"));

/// What was made.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Made {
    /// Sealed records in the archive, addenda among them.
    pub records: usize,
    /// Files that were copied this time.
    pub copied: usize,
    /// Bytes of all files that were read back.
    pub bytes: u64,
    /// SHA-256 of `SHA256SUMS`, hex.
    pub sums: String,
    /// What is not relied on, and why: nothing of it is in the receipt.
    pub doubtful: Vec<(String, String)>,
    /// The text of `SHA256SUMS` without what is doubtful.
    pub(super) covered: String,
}

/// Takes a file that lies beside the records: its path and bytes.
pub type Put<'a> = &'a mut dyn FnMut(&str, &[u8]) -> Result<(), Fault>;

/// What lies beside the records, made of the inspections that are new in the archive or have a new
/// addendum.
pub type Beside<'a> = &'a dyn Fn(&[String], Put<'_>) -> Result<(), Fault>;

/// Folder of what is printed, one file an inspection.
const PAPER: &str = "paper";

/// Where the paper of an inspection lies.
#[must_use]
pub fn paper_path(id: &str) -> Option<String> {
    let sealed = place::sealed_path(id)?;
    Some(format!("{PAPER}{}.pdf", sealed.strip_prefix(INSPECTIONS)?.strip_suffix(".jsonl")?))
}

/// Copies all that is sealed, the station's books up to now and its public keys into a folder that
/// is empty or an archive of the same station. What is there already is read back, too. The station
/// may run meanwhile. `tell` hears after each record how many are done, and of how many.
///
/// # Errors
/// The folder is of another station or holds other things, a record of the same name differs
/// there, or the file system says no. What was there before stays; may be repeated.
pub fn make(
    source: &Folder,
    target: &Folder,
    station: &str,
    (beside, tell): (Beside<'_>, &dyn Fn(usize, usize)),
) -> Result<Made, Fault> {
    let first = admit(target, station)?;
    let mut work = Work {
        source,
        target,
        before: Sums::of(target, SUMS)?,
        now: Sums::default(),
        made: Made::default(),
        torn: BTreeSet::new(),
    };
    work.text(PAGE, &page(&first))?;
    let shelf = Shelf::new(std::sync::Arc::new(source.clone()));
    let records: Vec<_> = shelf.books()?.into_iter().filter(|one| one.sealed).collect();
    let mut fresh = BTreeSet::new();
    for (n, record) in records.iter().enumerate() {
        tell(n, records.len());
        let path = place::sealed_path(&record.id).expect("its name was read");
        let copied = work.made.copied;
        // The book comes last: where it lies, its head and signature do.
        for end in [".head", ".sig", ".jsonl"] {
            work.file(&path.replace(".jsonl", end))?;
        }
        let (base, _) = place::split(&record.id);
        let printed = paper_path(base).is_some_and(|path| work.before.0.contains_key(&path));
        if copied < work.made.copied || !printed {
            fresh.insert(base.to_owned());
        }
    }
    let fresh: Vec<String> = fresh.into_iter().collect();
    beside(&fresh, &mut |path, bytes| work.put(path, bytes))?;
    // After the records: whatever was sealed by then is announced in them.
    for path in shelf.paths(&BookId::Station)? {
        work.book(&path)?;
    }
    work.aside(&records)?;
    for name in list(source, KEYS)?.iter().filter(|name| name.ends_with(".pub.pem")) {
        work.file(&format!("{KEYS}/{name}"))?;
    }
    work.text(CHECKER.0, CHECKER.1)?;
    work.others()?;
    work.finish()
}

/// The first line of its page, if this folder may take the archive of a station.
fn admit(target: &Folder, station: &str) -> Result<String, Fault> {
    let first = format!("Tapline archive 1, station {station}");
    let there = list(target, "")?;
    if there.iter().all(|name| name == "lost+found") {
        return Ok(first);
    }
    let folder = target.root().display().to_string();
    if !there.iter().any(|name| name == PAGE) {
        return Err(Fault::said("not_empty", &[("folder", &folder)]));
    }
    let mut text = String::new();
    let page = target.read(PAGE, 0).map_err(Fault::of(PAGE))?;
    std::io::Read::read_to_string(&mut std::io::Read::take(page, 4096), &mut text)
        .map_err(Fault::of(PAGE))?;
    match text.lines().next() {
        Some(line) if line == first => Ok(first),
        line => {
            let line = line.unwrap_or_default().to_owned();
            Err(Fault::said("other_station", &[("folder", &folder), ("line", &line)]))
        }
    }
}

/// What an archive says of itself.
fn page(first: &str) -> String {
    format!("{first}\n\n{}\n", english().say("archive", "page"))
}

pub(super) fn list(disk: &dyn Disk, folder: &str) -> Result<Vec<String>, Fault> {
    disk.list(folder).map_err(Fault::of(folder))
}

struct Work<'a> {
    source: &'a Folder,
    target: &'a Folder,
    /// What an earlier archive of this folder has said.
    before: Sums,
    now: Sums,
    made: Made,
    /// Files of bytes set aside, as the station's books name them.
    torn: BTreeSet<String>,
}

impl Work<'_> {
    /// Copies a file that never changes, unless it is there.
    fn file(&mut self, path: &str) -> Result<(), Fault> {
        let own = sum(self.source, path, u64::MAX)?;
        match sum_if(self.target, path)? {
            Some(there) if there == own => {}
            Some(there) if self.before.0.get(path) == Some(&there.sha256) => {
                return Err(Fault::said("differs", &[("file", path)]));
            }
            _ => self.copy(path, u64::MAX)?,
        }
        self.now.0.insert(path.to_owned(), own.sha256);
        Ok(())
    }

    /// Bytes that were set aside from books that are here: part of what they say.
    fn aside(&mut self, records: &[OnShelf]) -> Result<(), Fault> {
        let known: BTreeSet<&str> = records.iter().map(|one| one.id.as_str()).collect();
        for folder in [STATION, IDLE, OPEN] {
            for name in list(self.source, folder)? {
                let Some((book, _)) = name.split_once(".torn-") else { continue };
                if folder == STATION || known.contains(book) || self.torn.contains(&name) {
                    self.file(&format!("{folder}/{name}"))?;
                }
            }
        }
        Ok(())
    }

    fn copy(&mut self, path: &str, first: u64) -> Result<(), Fault> {
        let folder = folder_of(path);
        self.target.create_dir(folder).map_err(Fault::of(folder))?;
        copy(self.source, self.target, path, first)?;
        self.made.copied += 1;
        Ok(())
    }

    /// Copies what is believed of a book that may still grow; what is there must be its beginning.
    fn book(&mut self, path: &str) -> Result<(), Fault> {
        let mut reader = Reader::new(self.source.read(path, 0).map_err(Fault::of(path))?);
        while let Some(commit) = reader.commit().map_err(Fault::of(path))? {
            let torn = commit.lines().filter(|line| outline(line).is_some_and(|o| o.1 == b"torn"));
            self.torn.extend(torn.filter_map(|line| match Line::read(line).ok()?.fact {
                Fact::Torn(fact) => Some(fact.file),
                _ => None,
            }));
        }
        let believed = reader.believed();
        let own = sum(self.source, path, believed)?;
        match sum_if(self.target, path)? {
            Some(there) if there == own => {}
            Some(there) => {
                let known = self.before.0.get(path) == Some(&there.sha256);
                let begins = sum(self.source, path, there.bytes.min(believed))? == there;
                if known && !begins {
                    return Err(Fault::said("differs", &[("file", path)]));
                }
                self.copy(path, believed)?;
            }
            None => self.copy(path, believed)?,
        }
        self.now.0.insert(path.to_owned(), own.sha256);
        Ok(())
    }

    fn text(&mut self, path: &str, text: &str) -> Result<(), Fault> {
        self.put(path, text.as_bytes())
    }

    fn put(&mut self, path: &str, bytes: &[u8]) -> Result<(), Fault> {
        let folder = folder_of(path);
        self.target.create_dir(folder).map_err(Fault::of(folder))?;
        self.target.write(path, bytes, Mode::Shared).map_err(Fault::of(path))?;
        self.now.0.insert(path.to_owned(), sum(self.target, path, u64::MAX)?.sha256);
        Ok(())
    }

    /// What an earlier archive took and is no more at the station, as long as it is unchanged.
    fn others(&mut self) -> Result<(), Fault> {
        for (path, sum) in &self.before.0 {
            if !self.now.0.contains_key(path) {
                self.now.0.insert(path.clone(), sum.clone());
            }
        }
        Ok(())
    }

    /// Everything durable, read back from the medium, checked as a data folder is.
    fn finish(mut self) -> Result<Made, Fault> {
        let folders: BTreeSet<&str> = self.now.0.keys().map(|path| folder_of(path)).collect();
        for folder in &folders {
            self.target.sync_dir(folder).map_err(Fault::of(folder))?;
        }
        let mut doubtful = Vec::new();
        for (path, wanted) in &self.now.0 {
            // What comes now comes from the medium.
            let settled = self.target.settle(path).and_then(|()| self.target.length(path));
            let read = settled.map_err(Fault::of(path)).and_then(|length| {
                self.made.bytes += length.unwrap_or(0);
                sum_if(self.target, path)
            });
            match read {
                Ok(Some(there)) if there.sha256 == *wanted => {}
                Ok(_) => doubtful.push((path.clone(), say("read_back"))),
                Err(fault) => doubtful.push((path.clone(), fault.to_string())),
            }
        }
        doubtful.extend(wrong(self.target.root())?);
        for (path, _) in &doubtful {
            self.now.0.remove(path);
        }
        let text = self.now.text();
        self.target.write(SUMS, text.as_bytes(), Mode::Shared).map_err(Fault::of(SUMS))?;
        self.target.sync_dir("").map_err(Fault::of(SUMS))?;
        self.target.settle(SUMS).map_err(Fault::of(SUMS))?;
        let records = self.now.0.keys().filter(|path| is_record(path)).count();
        let sums = sum(self.target, SUMS, u64::MAX)?.sha256;
        Ok(Made { records, sums, doubtful, covered: text, ..self.made })
    }
}

fn say(code: &str) -> String {
    english().say("archive", code).to_owned()
}

/// A sealed book.
pub(super) fn is_record(path: &str) -> bool {
    path.starts_with(INSPECTIONS) && path.ends_with(".jsonl")
}
