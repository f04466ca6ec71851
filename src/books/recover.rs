//! Opens the books after a start, a crash or a halt: what is believed, what was torn, what is
//! left to do.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use tapline_protocols::fact::{KeyFact, SealedFact};

use super::disk::{Disk, folder_of};
use super::halted::{Cause, Halted};
use super::key::Key;
use super::line::{Line, time_text};
use super::lines::{OnShelf, understood};
use super::place::{self, IDLE, INSPECTIONS, InspectionName, OPEN, STATION};
use super::reader::{Ending, Tail};
use super::scan::{End, Scan, end, scan, scan_lines};
use super::torn::SetAside;
use super::writer::{Book, Books, length};
use crate::clock::Stamp;
use crate::station::event::BookId;

/// Sealed inspections that are named as the newest.
const NEWEST_MAX: usize = 8;

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
    /// Sealed inspections, the newest few, the newest last.
    pub newest_sealed: Vec<String>,
    /// The key that was announced last.
    pub key: Option<KeyFact>,
    /// Highest number of an inspection by its day (`20261124`), over all places.
    pub numbers: BTreeMap<String, u32>,
    /// Sentences for the log: what could not be made sense of and was left alone.
    pub troubles: Vec<String>,
    /// Sealed books that the station books name.
    announced: BTreeSet<String>,
    /// Set-aside files that `torn` facts name.
    pub(super) named: BTreeSet<String>,
    /// Day of the newest idle book.
    newest_day: Option<String>,
}

/// Takes the lines of a book.
pub type Show<'a> = &'a mut dyn FnMut(Line);

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
        Books::open_showing(disk, key, at, &mut |_| {})
    }

    /// The same, and shows the lines of the station books as they are looked at, oldest first:
    /// those of years are read once. What is stored on the way is not among them.
    ///
    /// # Errors
    /// The file system says no, or a line can't be understood. May be repeated.
    pub fn open_showing(
        disk: Arc<dyn Disk>,
        key: Arc<Key>,
        at: Stamp,
        show: Show<'_>,
    ) -> Result<(Books, Recovered), Halted> {
        let mut books = Books { disk, key, open: BTreeMap::new(), halted: false };
        let mut found = Recovered::default();
        for folder in [STATION, IDLE, OPEN, INSPECTIONS] {
            let made = books.disk.create_dir(folder);
            made.map_err(|error| Halted::disk("make the folder", folder, &error))?;
        }
        books.settle_names(STATION)?;
        books.open_station(&mut found, show)?;
        // The new name of a book that was being sealed is there for good before the old one goes.
        let shelf = books.shelf().books()?;
        for folder in just_sealed(&shelf, &found) {
            books.sync_dir(&folder)?;
        }
        books.settle_names(OPEN)?;
        books.settle_names(IDLE)?;
        let closed = books.open_inspections(&mut found)?;
        books.open_idle(&mut found, at)?;
        books.look_at_sealed(&shelf, &mut found)?;
        found.newest_sealed = newest(shelf);
        found.next_seq += 1;
        books.store_torn(&mut found, at)?;
        books.keep_open(&found, at);
        for id in closed {
            found.inspections.retain(|open| *open != id);
            found.sealed.push(books.seal(&id)?);
        }
        Ok((books, found))
    }

    /// What an earlier life made or renamed is there for good before it is believed.
    fn settle_names(&self, folder: &str) -> Result<(), Halted> {
        self.sync_dir(folder)?;
        self.drop_unfinished(folder)
    }

    fn open_station(&mut self, found: &mut Recovered, show: Show<'_>) -> Result<(), Halted> {
        let names = self.shelf().station_names()?;
        found.newest_station = names.last().cloned();
        for name in &names {
            let path = format!("{STATION}/{name}.jsonl");
            let mut scan = self.look_showing(&path, found, Some(&mut *show))?;
            found.announced.extend(scan.sealed.drain(..));
            found.key = scan.key.take().or(found.key.take());
            if found.newest_station.as_ref() != Some(name) {
                if let Ending::Damaged(tail) = scan.ending {
                    found.damaged.push(Damaged { book: BookId::Station, path, tail });
                }
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
    fn open_inspections(&mut self, found: &mut Recovered) -> Result<Vec<String>, Halted> {
        let mut closed = Vec::new();
        for name in self.list(OPEN)? {
            if let Some((id, _)) = name.split_once(".torn-") {
                // Where nothing of its book was believed, its number is not given again.
                found.number(id);
            }
            let Some(id) = name.strip_suffix(".jsonl") else { continue };
            if InspectionName::read(id).is_none() {
                found.troubles.push(format!("`{OPEN}/{name}` is not the name of an inspection"));
                continue;
            }
            let path = format!("{OPEN}/{name}");
            let scan = self.look(&path, found)?;
            let is_closed = scan.closed;
            if self.take(BookId::Inspection(id.to_owned()), &path, scan, found)? {
                found.inspections.push(id.to_owned());
                closed.extend(is_closed.then(|| id.to_owned()));
            }
        }
        Ok(closed)
    }

    /// Looks at the ends of all days, and reads those that may have to be mended: today's, the
    /// newest (the clock may have gone back since), those with bytes set aside, and those that
    /// end in no mark.
    fn open_idle(&mut self, found: &mut Recovered, at: Stamp) -> Result<(), Halted> {
        let names = self.list(IDLE)?;
        let mut days = BTreeSet::from([day(at)]);
        let mut books = BTreeMap::new();
        for name in &names {
            let Some(stem) = name.strip_suffix(".jsonl") else {
                let aside = name.split_once(".torn-");
                days.extend(aside.map(|(stem, _)| place::split(stem).0.to_owned()));
                continue;
            };
            let path = format!("{IDLE}/{name}");
            let End { seq, marked } = end(self.disk.as_ref(), &path)
                .map_err(|error| Halted::disk("read", &path, &error))?;
            let (day, n) = place::split(stem);
            days.extend((!marked).then(|| day.to_owned()));
            books.insert((day.to_owned(), n), (path, seq));
        }
        found.newest_day = books.last_key_value().map(|((day, _), _)| day.clone());
        days.extend(found.newest_day.clone());
        for ((day, _), (path, seq)) in books {
            if !days.contains(&day) {
                found.next_seq = found.next_seq.max(seq);
                continue;
            }
            // Its end may have been in the cache alone: what the disk has is what counts.
            let scan = self.look(&path, found)?;
            self.take(BookId::Idle(day), &path, scan, found)?;
        }
        Ok(())
    }

    /// Of the days, today's and the newest stay open.
    fn keep_open(&mut self, found: &Recovered, at: Stamp) {
        let today = Some(day(at));
        self.open.retain(|id, _| match id {
            BookId::Idle(day) => {
                today.as_ref() == Some(day) || found.newest_day == Some(day.clone())
            }
            BookId::Station | BookId::Inspection(_) => true,
        });
    }

    /// Finds sealed inspections that the station book does not know: the crash came between.
    fn look_at_sealed(&self, shelf: &[OnShelf], found: &mut Recovered) -> Result<(), Halted> {
        for book in shelf {
            let id = book.id.as_str();
            found.number(id);
            if !book.sealed || found.announced.contains(id) {
                continue;
            }
            let path = place::sealed_path(id).unwrap_or_default();
            found.next_seq = found.next_seq.max(self.look(&path, found)?.seq);
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
            Ending::Torn(tail) => self.set_aside(path, &tail, found)?,
            Ending::Whole => {}
        }
        if scan.bytes == 0 {
            self.disk.remove(path).map_err(|error| Halted::disk("remove", path, &error))?;
            self.sync_dir(folder_of(path))?;
            return Ok(false);
        }
        let file = self.disk.append(path).map_err(|error| Halted::disk("open", path, &error))?;
        let Scan { above, bytes, seq, .. } = scan;
        let book = Book { path: path.to_owned(), file, above, bytes, seq, fresh: false };
        self.open.insert(id, book);
        Ok(true)
    }

    /// Reads a book as the disk has it: what a system holds in memory may never get there.
    fn look(&self, path: &str, found: &mut Recovered) -> Result<Scan, Halted> {
        self.look_showing(path, found, None)
    }

    fn look_showing(
        &self,
        path: &str,
        found: &mut Recovered,
        show: Option<Show<'_>>,
    ) -> Result<Scan, Halted> {
        let read = |error| Halted::disk("read", path, &error);
        self.disk.settle(path).map_err(read)?;
        let disk = self.disk.as_ref();
        let mut scan = match show {
            None => scan(disk, path).map_err(read)?,
            Some(show) => scan_understood(disk, path, show)?,
        };
        found.next_seq = found.next_seq.max(scan.seq);
        if let Ending::Torn(Tail { mark_line: Some(_), .. }) | Ending::Damaged(_) = scan.ending {
            // Its commit was marked, so its numbers may have been shown: they are not used again.
            let seq = end(self.disk.as_ref(), path).map_err(read)?.seq;
            found.next_seq = found.next_seq.max(seq);
        }
        found.named.append(&mut scan.torn);
        Ok(scan)
    }

    pub(super) fn list(&self, folder: &str) -> Result<Vec<String>, Halted> {
        self.shelf().list(folder)
    }
}

impl Recovered {
    fn number(&mut self, id: &str) {
        if let Some(name) = InspectionName::read(id) {
            let highest = self.numbers.entry(name.day.to_owned()).or_default();
            *highest = name.number.max(*highest);
        }
    }
}

/// A scan that shows each line, understood.
fn scan_understood(disk: &dyn Disk, path: &str, show: Show<'_>) -> Result<Scan, Halted> {
    let mut first = Ok(());
    let scan = scan_lines(disk, path, &mut |number, text| {
        if first.is_ok() {
            first = understood(text, number, path).map(&mut *show);
        }
    });
    first?;
    scan.map_err(|error| Halted::disk("read", path, &error))
}

fn newest(mut shelf: Vec<OnShelf>) -> Vec<String> {
    shelf.retain(|book| book.sealed && !place::is_addendum(&book.id));
    shelf
        .split_off(shelf.len().saturating_sub(NEWEST_MAX))
        .into_iter()
        .map(|book| book.id)
        .collect()
}

/// Folders of sealed inspections that the station book does not know yet.
fn just_sealed(shelf: &[OnShelf], found: &Recovered) -> BTreeSet<String> {
    let new = shelf.iter().filter(|book| book.sealed && !found.announced.contains(&book.id));
    let paths = new.filter_map(|book| place::sealed_path(&book.id));
    paths.map(|path| folder_of(&path).to_owned()).collect()
}

/// UTC day of a stamp; empty where it can't be written.
fn day(at: Stamp) -> String {
    time_text(at.wall_us).map(|t| t[..10].to_owned()).unwrap_or_default()
}
