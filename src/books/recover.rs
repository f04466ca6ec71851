//! Opens the books after a start, a crash or a halt: what is believed, what was torn, what is
//! left to do.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Read;
use std::sync::Arc;

use data_encoding::HEXLOWER;
use sha2::{Digest, Sha256};
use tapline_protocols::Fact;
use tapline_protocols::fact::{SealedFact, TornFact};

use super::disk::{Disk, name_of};
use super::halted::{Cause, Halted};
use super::key::Key;
use super::line::time_text;
use super::place::{self, IDLE, INSPECTIONS, InspectionName, OPEN, STATION};
use super::reader::{Ending, Tail};
use super::scan::{Scan, last_seq, scan};
use super::writer::{Book, Books, length};
use crate::clock::Stamp;
use crate::station::event::{BookId, Stored};

/// What [`Books::open`] found. Lines are read by [`Books::lines`].
#[derive(Debug, Default)]
pub struct Recovered {
    /// The next number that is free.
    pub next_seq: u64,
    /// Name of the station book that goes on, `2026`; `None`: begin one with an `open` fact.
    pub station: Option<String>,
    /// Name of the newest station book, for `follows`.
    pub newest_station: Option<String>,
    /// Inspections in work, to be folded and gone on with.
    pub inspections: Vec<String>,
    /// Books with a wrong mark further up. They are not written again; what stands before is
    /// shown with the word `damaged`.
    pub damaged: Vec<Damaged>,
    /// Bytes that were set aside; their facts are stored already where `stored` says so.
    pub torn: Vec<SetAside>,
    /// Sealed books that no `sealed` fact names yet: store one for each.
    pub sealed: Vec<SealedFact>,
    /// Highest number of an inspection by its day (`20261124`), over all places.
    pub numbers: BTreeMap<String, u32>,
    /// Sentences for the log: what could not be made sense of and was left alone.
    pub troubles: Vec<String>,
    /// Sealed books that the station books name.
    announced: BTreeSet<String>,
}

/// A book that is not written again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Damaged {
    /// Book.
    pub book: BookId,
    /// Its file.
    pub path: String,
    /// What is not believed.
    pub tail: Tail,
}

/// Bytes that were set aside.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAside {
    /// Book that they were in.
    pub book: BookId,
    /// What its `torn` fact says.
    pub fact: TornFact,
    /// The fact is stored. Else it is at the next start, when there is a station book for it.
    pub stored: bool,
}

impl Books {
    /// Opens the books of a data folder. Sets torn ends aside and stores a `torn` fact for each
    /// (stamped `at`), finishes seals that a crash broke off, and says what it found.
    ///
    /// # Errors
    /// The file system says no. May be repeated.
    pub fn open(
        disk: Arc<dyn Disk>,
        key: Arc<Key>,
        at: Stamp,
    ) -> Result<(Books, Recovered), Halted> {
        let mut books = Books { disk, key, open: BTreeMap::new(), halted: false };
        let mut found = Recovered::default();
        for folder in [STATION, IDLE, OPEN, INSPECTIONS] {
            let made = books.disk.create_dir(folder);
            made.map_err(|error| Halted::disk("make the folder", folder, &error))?;
        }
        let mut named = BTreeSet::new();
        books.open_station(&mut found, &mut named)?;
        let closed = books.open_inspections(&mut found, &mut named)?;
        books.open_idle(&mut found, &mut named, at)?;
        books.look_at_sealed(&mut found)?;
        found.next_seq += 1;
        books.store_torn(&mut found, &named, at)?;
        for id in closed {
            found.inspections.retain(|open| *open != id);
            found.sealed.push(books.seal(&id)?);
        }
        Ok((books, found))
    }

    fn open_station(
        &mut self,
        found: &mut Recovered,
        named: &mut BTreeSet<String>,
    ) -> Result<(), Halted> {
        let names = self.shelf().station_names()?;
        found.newest_station = names.last().cloned();
        for name in &names {
            let path = format!("{STATION}/{name}.jsonl");
            let mut scan = self.scan(&path)?;
            found.note(&mut scan, named);
            found.announced.extend(scan.sealed.drain(..).map(|sealed| sealed.id));
            if found.newest_station.as_ref() != Some(name) {
                continue;
            }
            if self.take(BookId::Station, &path, scan, found)? {
                found.station = Some(name.clone());
            } else if length(self.disk.as_ref(), &path)?.is_none() {
                // Nothing of it was believed: the book before is the newest again.
                found.newest_station = names.iter().rev().nth(1).cloned();
            }
        }
        Ok(())
    }

    /// Returns the inspections that are signed or ended and have to be sealed.
    fn open_inspections(
        &mut self,
        found: &mut Recovered,
        named: &mut BTreeSet<String>,
    ) -> Result<Vec<String>, Halted> {
        let mut closed = Vec::new();
        for name in self.list(OPEN)? {
            let Some(id) = name.strip_suffix(".jsonl") else { continue };
            if InspectionName::read(id).is_none() {
                found.troubles.push(format!("`{OPEN}/{name}` is not the name of an inspection"));
                continue;
            }
            let path = format!("{OPEN}/{name}");
            let mut scan = self.scan(&path)?;
            found.note(&mut scan, named);
            let is_closed = scan.closed;
            if self.take(BookId::Inspection(id.to_owned()), &path, scan, found)? {
                found.inspections.push(id.to_owned());
                closed.extend(is_closed.then(|| id.to_owned()));
            }
        }
        Ok(closed)
    }

    fn open_idle(
        &mut self,
        found: &mut Recovered,
        named: &mut BTreeSet<String>,
        at: Stamp,
    ) -> Result<(), Halted> {
        let day = time_text(at.wall_us).map(|t| t[..10].to_owned()).unwrap_or_default();
        let today = self.usable_path(IDLE, &day)?;
        for name in self.list(IDLE)? {
            let path = format!("{IDLE}/{name}");
            if !name.ends_with(".jsonl") {
                continue;
            }
            let last = last_seq(self.disk.as_ref(), &path)
                .map_err(|error| Halted::disk("read", &path, &error))?;
            found.next_seq = found.next_seq.max(last);
            if path == today {
                let mut scan = self.scan(&path)?;
                found.note(&mut scan, named);
                self.take(BookId::Idle(day.clone()), &path, scan, found)?;
            }
        }
        Ok(())
    }

    /// Finds sealed inspections that the station book does not know: the crash came between.
    fn look_at_sealed(&mut self, found: &mut Recovered) -> Result<(), Halted> {
        for book in self.shelf().inspections()? {
            let id = book.id.as_str();
            found.number(id);
            if !book.sealed || found.announced.contains(id) {
                continue;
            }
            let path = place::sealed_path(id).unwrap_or_default();
            found.next_seq = found.next_seq.max(self.scan(&path)?.seq);
            match self.sealed_already(id, &path) {
                Ok(fact) => found.sealed.push(fact),
                Err(e) if e.cause == Cause::Refused => found.troubles.push(e.to_string()),
                Err(e) => return Err(e),
            }
        }
        Ok(())
    }

    /// Opens a book that was scanned for writing, after setting a torn end aside. Returns false
    /// if it is damaged or nothing of it is believed.
    fn take(
        &mut self,
        id: BookId,
        path: &str,
        scan: Scan,
        found: &mut Recovered,
    ) -> Result<bool, Halted> {
        match scan.ending {
            Ending::Damaged(tail) => {
                found.damaged.push(Damaged { book: id, path: path.to_owned(), tail });
                return Ok(false);
            }
            Ending::Torn(_) => self.set_aside(path, scan.bytes, found.next_seq + 1)?,
            Ending::Whole => {}
        }
        if scan.bytes == 0 {
            self.disk.remove(path).map_err(|error| Halted::disk("remove", path, &error))?;
            self.sync_dir(super::disk::folder_of(path))?;
            return Ok(false);
        }
        let file = self.disk.append(path).map_err(|error| Halted::disk("open", path, &error))?;
        let Scan { above, bytes, seq, .. } = scan;
        let book = Book { path: path.to_owned(), file, above, bytes, seq, fresh: false };
        self.open.insert(id, book);
        Ok(true)
    }

    /// Copies what follows `from` to `NAME.torn-N` beside the book, durably, then cuts it off.
    fn set_aside(&mut self, path: &str, from: u64, seq: u64) -> Result<(), Halted> {
        let stem = path.trim_end_matches(".jsonl");
        let mut number = seq;
        while length(self.disk.as_ref(), &format!("{stem}.torn-{number}"))?.is_some() {
            number += 1;
        }
        let aside = format!("{stem}.torn-{number}");
        let copy = || {
            let mut source = self.disk.read(path, from)?;
            let mut target = self.disk.append(&aside)?;
            let mut buffer = vec![0; 1 << 16];
            loop {
                match source.read(&mut buffer)? {
                    0 => break,
                    n => target.append(&buffer[..n])?,
                }
            }
            target.sync()?;
            self.disk.sync_dir(super::disk::folder_of(path))
        };
        copy().map_err(|error| {
            // On a full disk this is tried again and again: half a copy each time would pile up.
            // What stays because this fails too is named at the next start.
            let _ = self.disk.remove(&aside);
            Halted::disk("set the torn end aside of", path, &error)
        })?;
        self.disk.truncate(path, from).map_err(|error| Halted::disk("cut", path, &error))
    }

    /// Stores a `torn` fact for each set-aside file that no fact names yet.
    fn store_torn(
        &mut self,
        found: &mut Recovered,
        named: &BTreeSet<String>,
        at: Stamp,
    ) -> Result<(), Halted> {
        let mut lines = Vec::new();
        for (book, path) in self.aside()? {
            if named.contains(name_of(&path)) {
                continue;
            }
            let fact = self.torn_fact(&path)?;
            let goes_to = [book.clone(), BookId::Station];
            let goes_to = goes_to.into_iter().find(|id| self.open.contains_key(id));
            found.torn.push(SetAside { book, fact: fact.clone(), stored: goes_to.is_some() });
            if let Some(book) = goes_to {
                let (seq, fact) = (found.next_seq, Fact::Torn(fact));
                lines.push(Stored { book, bench: None, seq, at, fact, by: None });
                found.next_seq += 1;
            }
        }
        self.commit(&lines).map(drop)
    }

    /// Set-aside files of the books that were scanned, or whose book is gone.
    fn aside(&self) -> Result<Vec<(BookId, String)>, Halted> {
        let mut aside = Vec::new();
        for folder in [STATION, IDLE, OPEN] {
            for name in self.list(folder)? {
                let Some((stem, _)) = name.split_once(".torn-") else { continue };
                let book = match folder {
                    STATION => BookId::Station,
                    IDLE => BookId::Idle(place::split(stem).0.to_owned()),
                    _ => BookId::Inspection(stem.to_owned()),
                };
                let path = format!("{folder}/{stem}.jsonl");
                // The book of another day is not scanned: what its facts name is not known.
                let unknown = folder == IDLE
                    && !self.open.contains_key(&book)
                    && length(self.disk.as_ref(), &path)?.is_some();
                if !unknown {
                    aside.push((book, format!("{folder}/{name}")));
                }
            }
        }
        Ok(aside)
    }

    fn torn_fact(&self, path: &str) -> Result<TornFact, Halted> {
        let hash = || {
            let mut source = self.disk.read(path, 0)?;
            let (mut sha, mut bytes, mut buffer) = (Sha256::new(), 0, vec![0; 1 << 16]);
            loop {
                match source.read(&mut buffer)? {
                    0 => return Ok((bytes, HEXLOWER.encode(&sha.finalize()))),
                    n => {
                        sha.update(&buffer[..n]);
                        bytes += n as u64;
                    }
                }
            }
        };
        let (bytes, sha256) = hash().map_err(|error| Halted::disk("read", path, &error))?;
        Ok(TornFact { bytes, sha256, file: name_of(path).to_owned() })
    }

    pub(super) fn scan(&self, path: &str) -> Result<Scan, Halted> {
        scan(self.disk.as_ref(), path).map_err(|error| Halted::disk("read", path, &error))
    }

    fn list(&self, folder: &str) -> Result<Vec<String>, Halted> {
        self.shelf().list(folder)
    }
}

impl Recovered {
    fn note(&mut self, scan: &mut Scan, named: &mut BTreeSet<String>) {
        self.next_seq = self.next_seq.max(scan.seq);
        named.append(&mut scan.torn);
    }

    fn number(&mut self, id: &str) {
        if let Some(name) = InspectionName::read(id) {
            let highest = self.numbers.entry(name.day.to_owned()).or_default();
            *highest = name.number.max(*highest);
        }
    }
}
