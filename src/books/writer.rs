//! Writes books: facts, then a mark, in one write a book, then `fdatasync`.
//!
//! One thread owns this. After any error it refuses everything: memory is then ahead of the disk,
//! and only [`Books::open`] may say what is true.

use std::collections::BTreeMap;
use std::sync::Arc;

use sha2::{Digest, Sha256};
use tapline_protocols::Fact;

use super::disk::{Append, Disk, folder_of, name_of};
use super::halted::{Cause, Halted};
use super::key::Key;
use super::line::{Line, time_text};
use super::place::{self, InspectionName};
use super::reader::{COMMIT_BYTES_MAX, Ending, mark_line};
use super::scan::scan;
use crate::station::event::{BookId, Stored};

/// Idle books that are kept open: today's and yesterday's.
const IDLE_OPEN_MAX: usize = 2;

/// So many damaged books may stand before one of the same year or day.
const FOLLOWERS_MAX: u32 = 99;

/// All books of a station.
#[derive(Debug)]
pub struct Books {
    pub(super) disk: Arc<dyn Disk>,
    pub(super) key: Arc<Key>,
    pub(super) open: BTreeMap<BookId, Book>,
    pub(super) halted: bool,
}

/// A book that is being written.
#[derive(Debug)]
pub(super) struct Book {
    pub(super) path: String,
    pub(super) file: Box<dyn Append>,
    pub(super) above: Sha256,
    pub(super) bytes: u64,
    pub(super) seq: u64,
    /// Its name is not durable yet.
    pub(super) fresh: bool,
}

impl Books {
    /// Stores lines durably. Lines of one book are one commit: after a power cut all of them are
    /// there or none. Books are written and synced in the order in which they first appear: where
    /// two must agree, name the closing one first.
    ///
    /// A station book begins with an `open` fact: with one of a later year the next book begins.
    /// An inspection's and a day's book begin with the first line for them.
    ///
    /// Returns the text of each line as stored, without line feed, in the order given.
    ///
    /// # Errors
    /// Anything but success. From then on every call is refused.
    pub fn commit(&mut self, lines: &[Stored]) -> Result<Vec<String>, Halted> {
        self.guarded(|books| books.try_commit(lines))
    }

    /// Announces a key in the station book; the key before, where it is still there, signs the
    /// line.
    ///
    /// # Errors
    /// As [`Books::commit`].
    pub fn announce(&mut self, line: &Stored, before: Option<&Key>) -> Result<(), Halted> {
        self.guarded(|books| {
            let mut text = books.text(line)?;
            if let Some(key) = before {
                key.sign_line(&mut text);
            }
            books.write(&line.book, &[(line, &text)])
        })
    }

    /// The station's key.
    #[must_use]
    pub fn key(&self) -> &Arc<Key> {
        &self.key
    }

    /// The disk that the books lie on.
    #[must_use]
    pub fn disk(&self) -> &Arc<dyn Disk> {
        &self.disk
    }

    /// It refuses everything until it is opened again.
    #[must_use]
    pub fn is_halted(&self) -> bool {
        self.halted
    }

    /// Does something that must succeed or end all writing.
    pub(super) fn guarded<T>(
        &mut self,
        act: impl FnOnce(&mut Books) -> Result<T, Halted>,
    ) -> Result<T, Halted> {
        if self.halted {
            return Err(Halted {
                what: "can't write".into(),
                why: "an earlier write failed".into(),
                cause: Cause::Earlier,
            });
        }
        let result = act(self);
        self.halted = result.is_err();
        result
    }

    fn try_commit(&mut self, lines: &[Stored]) -> Result<Vec<String>, Halted> {
        let mut texts = lines.iter().map(|l| self.text(l)).collect::<Result<Vec<_>, _>>()?;
        self.sign_records(lines, &mut texts)?;
        let mut order: Vec<&BookId> = Vec::new();
        for line in lines {
            if !order.contains(&&line.book) {
                order.push(&line.book);
            }
        }
        for id in order {
            let part: Vec<(&Stored, &[u8])> = lines
                .iter()
                .zip(&texts)
                .filter(|(line, _)| line.book == *id)
                .map(|(line, text)| (line, text.as_slice()))
                .collect();
            self.write(id, &part)?;
        }
        Ok(texts.into_iter().map(without_line_feed).collect())
    }

    fn text(&self, line: &Stored) -> Result<Vec<u8>, Halted> {
        let form = Line {
            seq: line.seq,
            at: line.at,
            fact: line.fact.clone(),
            by: line.by.clone(),
            sig: None,
        };
        let mut bytes = form.bytes().map_err(|fault| refused(&line.book, fault.to_string()))?;
        if let Fact::Confirm(_) = line.fact {
            self.key.sign_line(&mut bytes);
        }
        Ok(bytes)
    }

    /// A line that signs a record is signed over the record.
    fn sign_records(&mut self, lines: &[Stored], texts: &mut [Vec<u8>]) -> Result<(), Halted> {
        for n in 0..lines.len() {
            let id = &lines[n].book;
            if !matches!(lines[n].fact, Fact::Sign(_)) {
                continue;
            }
            let first = lines.iter().find(|line| line.book == *id).expect("this one is of it");
            self.begin(id, first)?;
            let mut above = self.open[id].above.clone();
            let before = lines.iter().zip(texts.iter()).take(n);
            before.filter(|(line, _)| line.book == *id).for_each(|(_, text)| above.update(text));
            self.key.sign_record(&above, &mut texts[n]);
        }
        Ok(())
    }

    fn write(&mut self, id: &BookId, part: &[(&Stored, &[u8])]) -> Result<(), Halted> {
        let Some(&(first, _)) = part.first() else { return Ok(()) };
        self.begin(id, first)?;
        let book = self.open.get_mut(id).expect("`begin` has put it there");
        let mut bytes = Vec::with_capacity(part.iter().map(|(_, text)| text.len()).sum());
        for (line, text) in part {
            if line.seq <= book.seq {
                let why = format!("line {} after line {}", line.seq, book.seq);
                return Err(refused(id, why));
            }
            book.seq = line.seq;
            bytes.extend_from_slice(text);
        }
        if bytes.len() > COMMIT_BYTES_MAX {
            let why = format!("a commit of {} bytes, at most {COMMIT_BYTES_MAX}", bytes.len());
            return Err(refused(id, why));
        }
        book.above.update(&bytes);
        let mark = mark_line(&book.above);
        book.above.update(mark.as_bytes());
        bytes.extend_from_slice(mark.as_bytes());
        book.append(&bytes, self.disk.as_ref())
    }

    /// Makes sure that the book is open.
    fn begin(&mut self, id: &BookId, first: &Stored) -> Result<(), Halted> {
        let turn = matches!((id, &first.fact), (BookId::Station, Fact::Open(_)))
            && self.open.get(id).is_some_and(|book| book.stem() < year(first).as_str());
        if self.open.contains_key(id) && !turn {
            return Ok(());
        }
        let path = self.path_to_begin(id, first)?;
        let book = Book::open(self.disk.as_ref(), &path)?;
        self.open.insert(id.clone(), book);
        let idle = self.open.keys().filter(|id| matches!(id, BookId::Idle(_)));
        if idle.clone().count() > IDLE_OPEN_MAX {
            let oldest = idle.clone().find(|other| *other != id).cloned();
            self.open.remove(&oldest.expect("there are more than one"));
        }
        Ok(())
    }

    fn path_to_begin(&self, id: &BookId, first: &Stored) -> Result<String, Halted> {
        match id {
            BookId::Station => self.free_path(place::STATION, &year(first)),
            BookId::Idle(day) if place::is_day(day) => self.usable_path(place::IDLE, day),
            BookId::Inspection(name) if InspectionName::read(name).is_some() => {
                let sealed = place::sealed_path(name).unwrap_or_default();
                match length(self.disk.as_ref(), &sealed)? {
                    Some(_) => Err(refused(id, "it is sealed".into())),
                    None => Ok(format!("{}/{name}.jsonl", place::OPEN)),
                }
            }
            _ => Err(refused(id, "it can't be the name of a book".into())),
        }
    }

    /// The first name of a family that is not in use.
    fn free_path(&self, folder: &str, stem: &str) -> Result<String, Halted> {
        for n in 0..=FOLLOWERS_MAX {
            let path = format!("{folder}/{}.jsonl", place::join(stem, n));
            if length(self.disk.as_ref(), &path)?.is_none() {
                return Ok(path);
            }
        }
        Err(no_name(folder, stem))
    }

    /// The last name of a family that is in use and not damaged, else the first that is free.
    pub(super) fn usable_path(&self, folder: &str, stem: &str) -> Result<String, Halted> {
        let mut last = None;
        for n in 0..=FOLLOWERS_MAX {
            let path = format!("{folder}/{}.jsonl", place::join(stem, n));
            if length(self.disk.as_ref(), &path)?.is_some() {
                last = Some(path);
                continue;
            }
            let Some(before) = last else { return Ok(path) };
            let scan = scan(self.disk.as_ref(), &before)
                .map_err(|error| Halted::disk("read", &before, &error))?;
            let damaged = matches!(scan.ending, Ending::Damaged(_));
            return Ok(if damaged { path } else { before });
        }
        Err(no_name(folder, stem))
    }
}

impl Book {
    /// Opens a book for appending; makes it if it is missing.
    ///
    /// # Errors
    /// The file system says no, or the book is not whole: then the books have to be opened again.
    pub(super) fn open(disk: &dyn Disk, path: &str) -> Result<Book, Halted> {
        let fresh = length(disk, path)?.unwrap_or(0) == 0;
        let file = disk.append(path).map_err(|error| Halted::disk("open", path, &error))?;
        let scan = scan(disk, path).map_err(|error| Halted::disk("read", path, &error))?;
        if !scan.ending.is_whole() {
            let why = "it does not end in a right mark".into();
            return Err(Halted {
                what: format!("can't go on in `{path}`"),
                why,
                cause: Cause::Disk,
            });
        }
        let (above, bytes, seq) = (scan.above, scan.bytes, scan.seq);
        Ok(Book { path: path.to_owned(), file, above, bytes, seq, fresh })
    }

    fn append(&mut self, bytes: &[u8], disk: &dyn Disk) -> Result<(), Halted> {
        let path = &self.path;
        self.file.append(bytes).map_err(|error| Halted::disk("write", path, &error))?;
        self.file.sync().map_err(|error| Halted::disk("sync", path, &error))?;
        if self.fresh {
            let folder = folder_of(path);
            disk.sync_dir(folder).map_err(|error| Halted::disk("sync", folder, &error))?;
            self.fresh = false;
        }
        self.bytes += bytes.len() as u64;
        Ok(())
    }

    /// Year or day of a station or idle book, without the number of a follower.
    fn stem(&self) -> &str {
        place::split(name_of(&self.path).trim_end_matches(".jsonl")).0
    }
}

pub(super) fn length(disk: &dyn Disk, path: &str) -> Result<Option<u64>, Halted> {
    disk.length(path).map_err(|error| Halted::disk("look at", path, &error))
}

pub(super) fn refused(book: &BookId, why: String) -> Halted {
    Halted::refused(format!("can't store into `{}`", place::shown(book)), why)
}

/// UTC year of a line; its text was made before, so its stamp can be written.
fn year(line: &Stored) -> String {
    time_text(line.at.wall_us).map(|t| t[..4].to_owned()).unwrap_or_default()
}

fn no_name(folder: &str, stem: &str) -> Halted {
    let why = format!("{FOLLOWERS_MAX} damaged books of that name");
    Halted { what: format!("can't begin `{folder}/{stem}`"), why, cause: Cause::Disk }
}

fn without_line_feed(mut line: Vec<u8>) -> String {
    line.pop();
    String::from_utf8(line).expect("a line is made of UTF-8 and ASCII escapes")
}
