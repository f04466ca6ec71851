//! The believed lines of a book, one after the other, for folds.

use std::collections::VecDeque;
use std::io::Read;
use std::sync::Arc;

use data_encoding::HEXLOWER;
use sha2::Digest;
use tapline_protocols::Fact;
use tapline_protocols::fact::SealedFact;

use super::disk::Disk;
use super::halted::{Cause, Halted};
use super::line::{LINE_BYTES_MAX, Line, outline};
use super::place::{self, IDLE, INSPECTIONS, InspectionName, OPEN, STATION};
use super::reader::{Ending, Reader, Tail};
use super::writer::{Books, length};
use crate::station::event::BookId;

/// Believed lines as stored, in order. Memory is bounded by one commit.
pub struct Texts {
    disk: Arc<dyn Disk>,
    paths: VecDeque<String>,
    reader: Option<(String, Reader<Box<dyn Read + Send>>)>,
    commit: VecDeque<Text>,
    damaged: Option<Tail>,
}

/// A believed line as stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Text {
    /// Number of the line in its file, counted from 1.
    pub line: u64,
    /// The line without line feed.
    pub bytes: Vec<u8>,
}

/// Believed lines, understood, in order.
pub struct Lines(Texts);

/// Longest sealed book that is read at a start, bytes: a day of the fastest meter.
const SEALED_BYTES_MAX: u64 = 256 << 20;

/// Kinds of lines that tell what went over the wire.
const WIRE: [&[u8]; 3] = [b"in", b"out", b"tick"];

/// The books of a data folder, to be read only. Needs no lock.
#[derive(Debug, Clone)]
pub struct Shelf {
    disk: Arc<dyn Disk>,
}

/// A book of an inspection on the shelf.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct OnShelf {
    /// Name.
    pub id: String,
    /// It lies among the sealed ones.
    pub sealed: bool,
}

impl Shelf {
    /// The shelf of a data folder.
    #[must_use]
    pub fn new(disk: Arc<dyn Disk>) -> Shelf {
        Shelf { disk }
    }

    /// The believed lines of a book. The station's are those of all years; an inspection may be
    /// in work or sealed; a day's are those of all its books.
    ///
    /// # Errors
    /// A folder can't be listed. A book that is missing has no lines.
    pub fn lines(&self, book: &BookId) -> Result<Lines, Halted> {
        self.texts(book).map(Lines)
    }

    /// The same lines as stored.
    ///
    /// # Errors
    /// A folder can't be listed.
    pub fn texts(&self, book: &BookId) -> Result<Texts, Halted> {
        self.newest_texts(book, usize::MAX)
    }

    /// The same, of no more than the newest files of a book.
    ///
    /// # Errors
    /// A folder can't be listed.
    pub fn newest_texts(&self, book: &BookId, files: usize) -> Result<Texts, Halted> {
        let mut paths = VecDeque::from(self.paths(book)?);
        paths.drain(..paths.len().saturating_sub(files));
        let disk = Arc::clone(&self.disk);
        Ok(Texts { disk, paths, reader: None, commit: VecDeque::new(), damaged: None })
    }

    /// The lines that the newest station book has after a number.
    ///
    /// # Errors
    /// The book can't be read or understood.
    pub fn station_after(&self, seq: u64) -> Result<Vec<Line>, Halted> {
        let mut texts = self.newest_texts(&BookId::Station, 1)?;
        let mut lines = Vec::new();
        while let Some(text) = texts.next().transpose()? {
            if outline(&text.bytes).is_none_or(|(at, _)| at > seq) {
                lines.push(understood(&text.bytes, text.line, texts.path())?);
            }
        }
        Ok(lines)
    }

    /// Reads one of the files that [`Shelf::paths`] names.
    ///
    /// # Errors
    /// It can't be opened.
    pub fn reader(&self, path: &str) -> Result<Reader<Box<dyn Read + Send>>, Halted> {
        let source = self.disk.read(path, 0).map_err(|error| Halted::disk("read", path, &error))?;
        Ok(Reader::new(source))
    }

    /// The files of a book, oldest first.
    ///
    /// # Errors
    /// A folder can't be listed.
    pub fn paths(&self, book: &BookId) -> Result<Vec<String>, Halted> {
        match book {
            BookId::Station => {
                let names = self.station_names()?;
                Ok(names.iter().map(|name| format!("{STATION}/{name}.jsonl")).collect())
            }
            BookId::Idle(day) => {
                let mut names = self.list(IDLE)?;
                names.retain(|name| {
                    name.strip_suffix(".jsonl").is_some_and(|stem| place::split(stem).0 == day)
                });
                Ok(names.iter().map(|name| format!("{IDLE}/{name}")).collect())
            }
            BookId::Inspection(id) => {
                let places = [Some(format!("{OPEN}/{id}.jsonl")), place::sealed_path(id)];
                for path in places.into_iter().flatten() {
                    if length(self.disk.as_ref(), &path)?.is_some() {
                        return Ok(vec![path]);
                    }
                }
                Ok(Vec::new())
            }
        }
    }

    /// What stands in a sealed book besides what went over the wire, if the book is what was
    /// sealed, to the byte; `None` where it is not, is gone, or is longer than anybody measures.
    ///
    /// # Errors
    /// It can't be read, or a line can't be understood.
    pub fn as_sealed(&self, fact: &SealedFact) -> Result<Option<Vec<Line>>, Halted> {
        let path = place::sealed_path(&fact.id).unwrap_or_default();
        let length = length(self.disk.as_ref(), &path)?;
        if length != Some(fact.bytes) || SEALED_BYTES_MAX < fact.bytes {
            return Ok(None);
        }
        let mut reader = self.reader(&path)?;
        let mut lines = Vec::new();
        let failed = |error| Halted::disk("read", &path, &error);
        while let Some(commit) = reader.commit().map_err(failed)? {
            for (bytes, number) in commit.lines().zip(commit.line..) {
                if outline(bytes).is_none_or(|(_, kind)| !WIRE.contains(&kind)) {
                    lines.push(understood(bytes, number, &path)?);
                }
            }
        }
        let sealed = HEXLOWER.encode(&reader.above().finalize()) == fact.head;
        Ok((sealed && reader.ending() == Some(&Ending::Whole)).then_some(lines))
    }

    /// The newest line of a book, of those that its life wrote; `None` where there is none near
    /// the end of its newest file.
    ///
    /// # Errors
    /// The file can't be read.
    pub fn newest_line(&self, book: &BookId) -> Result<Option<Line>, Halted> {
        let Some(path) = self.paths(book)?.pop() else { return Ok(None) };
        let failed = |error| Halted::disk("read", &path, &error);
        let window = 2 * LINE_BYTES_MAX as u64;
        let from = length(self.disk.as_ref(), &path)?.unwrap_or(0).saturating_sub(window);
        let mut bytes = Vec::new();
        let source = self.disk.read(&path, from).map_err(failed)?;
        source.take(window).read_to_end(&mut bytes).map_err(failed)?;
        let lines = bytes.rsplit(|&byte| byte == b'\n').filter_map(|line| Line::read(line).ok());
        Ok(lines.into_iter().find(|line| !matches!(line.fact, Fact::Torn(_) | Fact::Open(_))))
    }

    /// All inspections, sealed ones and those in work, sorted by name; addenda are found through
    /// the inspection that they follow. Opens none of them.
    ///
    /// # Errors
    /// A folder can't be listed.
    pub fn inspections(&self) -> Result<Vec<OnShelf>, Halted> {
        let mut all = self.books()?;
        all.retain(|book| !place::is_addendum(&book.id));
        Ok(all)
    }

    /// All inspections and their addenda, sorted by name.
    ///
    /// # Errors
    /// A folder can't be listed.
    pub fn books(&self) -> Result<Vec<OnShelf>, Halted> {
        let mut all = Vec::new();
        for year in self.list(INSPECTIONS)? {
            for month in self.list(&format!("{INSPECTIONS}/{year}"))? {
                let sealed = self.list(&format!("{INSPECTIONS}/{year}/{month}"))?;
                let here = |name: InspectionName<'_>| name.is_of(&year, &month);
                all.extend(sealed.into_iter().filter_map(|name| on_shelf(name, true, here)));
            }
        }
        let open = self.list(OPEN)?.into_iter();
        all.extend(open.filter_map(|name| on_shelf(name, false, |_| true)));
        all.sort();
        // Both names after a power cut: the one in work comes first and counts.
        all.dedup_by(|a, b| a.id == b.id);
        Ok(all)
    }

    pub(super) fn list(&self, folder: &str) -> Result<Vec<String>, Halted> {
        self.disk.list(folder).map_err(|error| Halted::disk("list", folder, &error))
    }

    /// Names of the station books, oldest first.
    pub(super) fn station_names(&self) -> Result<Vec<String>, Halted> {
        let mut names: Vec<String> = self.list(STATION)?;
        names.retain(|name| name.ends_with(".jsonl"));
        for name in &mut names {
            name.truncate(name.len() - ".jsonl".len());
        }
        names.sort_by_key(|name| {
            let (year, n) = place::split(name);
            (year.to_owned(), n)
        });
        Ok(names)
    }
}

/// A file of a folder of inspections, if it is the book of one that belongs there.
fn on_shelf(
    mut file: String,
    sealed: bool,
    here: impl Fn(InspectionName<'_>) -> bool,
) -> Option<OnShelf> {
    file.truncate(file.strip_suffix(".jsonl")?.len());
    here(InspectionName::read(&file)?).then_some(OnShelf { id: file, sealed })
}

impl Books {
    /// The books, to be read only.
    #[must_use]
    pub fn shelf(&self) -> Shelf {
        Shelf::new(Arc::clone(&self.disk))
    }

    /// The believed lines of a book: see [`Shelf::lines`].
    ///
    /// # Errors
    /// A folder can't be listed.
    pub fn lines(&self, book: &BookId) -> Result<Lines, Halted> {
        self.shelf().lines(book)
    }
}

impl Texts {
    /// A book was damaged: lines of it that came are those before the damage. Known at the end.
    #[must_use]
    pub fn damaged(&self) -> Option<&Tail> {
        self.damaged.as_ref()
    }

    /// Reads the next commit; `false` at the end of all books.
    fn turn(&mut self) -> Result<bool, Halted> {
        let Some((path, reader)) = &mut self.reader else {
            let Some(path) = self.paths.pop_front() else { return Ok(false) };
            let source =
                self.disk.read(&path, 0).map_err(|error| Halted::disk("read", &path, &error))?;
            self.reader = Some((path, Reader::new(source)));
            return Ok(true);
        };
        match reader.commit().map_err(|error| Halted::disk("read", path, &error))? {
            Some(commit) => {
                let lines = commit.lines().zip(commit.line..);
                self.commit = lines.map(|(b, line)| Text { line, bytes: b.to_vec() }).collect();
            }
            None => {
                if let Some(Ending::Damaged(tail)) = reader.ending() {
                    self.damaged.get_or_insert_with(|| tail.clone());
                }
                self.reader = None;
            }
        }
        Ok(true)
    }

    /// The file that the last line came from.
    fn path(&self) -> &str {
        self.reader.as_ref().map_or("a book", |(path, _)| path)
    }
}

impl Iterator for Texts {
    type Item = Result<Text, Halted>;

    fn next(&mut self) -> Option<Result<Text, Halted>> {
        loop {
            if let Some(text) = self.commit.pop_front() {
                return Some(Ok(text));
            }
            match self.turn() {
                Ok(true) => {}
                Ok(false) => return None,
                Err(halted) => {
                    self.paths.clear();
                    self.reader = None;
                    return Some(Err(halted));
                }
            }
        }
    }
}

impl Lines {
    /// A book was damaged: see [`Texts::damaged`].
    #[must_use]
    pub fn damaged(&self) -> Option<&Tail> {
        self.0.damaged()
    }
}

impl Iterator for Lines {
    type Item = Result<Line, Halted>;

    fn next(&mut self) -> Option<Result<Line, Halted>> {
        let text = match self.0.next()? {
            Ok(text) => text,
            Err(halted) => return Some(Err(halted)),
        };
        Some(understood(&text.bytes, text.line, self.0.path()))
    }
}

/// A believed line, or why the book is of no use to this program.
pub(super) fn understood(text: &[u8], number: u64, path: &str) -> Result<Line, Halted> {
    Line::read(text).map_err(|fault| Halted {
        what: format!("can't understand line {number} of `{path}`"),
        why: fault.to_string(),
        cause: Cause::Format,
    })
}
