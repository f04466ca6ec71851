//! The believed lines of a book, one after the other, for folds.

use std::collections::VecDeque;
use std::io::Read;
use std::sync::Arc;

use super::disk::Disk;
use super::halted::{Cause, Halted};
use super::line::Line;
use super::place::{self, IDLE, OPEN, STATION};
use super::reader::{Ending, Reader, Tail};
use super::writer::{Books, length};
use crate::station::event::BookId;

/// Believed lines, in order. Memory is bounded by one commit.
pub struct Lines {
    disk: Arc<dyn Disk>,
    paths: VecDeque<String>,
    reader: Option<(String, Reader<Box<dyn Read + Send>>)>,
    commit: VecDeque<Result<Line, Halted>>,
    damaged: Option<Tail>,
}

impl Books {
    /// The believed lines of a book. The station's are those of all years; an inspection may be
    /// in work or sealed; a day's are those of all its books.
    ///
    /// # Errors
    /// A folder can't be listed. A book that is missing has no lines.
    pub fn lines(&self, book: &BookId) -> Result<Lines, Halted> {
        let paths = self.paths(book)?;
        let disk = Arc::clone(&self.disk);
        Ok(Lines {
            disk,
            paths: paths.into(),
            reader: None,
            commit: VecDeque::new(),
            damaged: None,
        })
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
}

impl Lines {
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
                let lines = commit.read().map(|line| {
                    line.map_err(|unread| Halted {
                        what: format!("can't understand `{path}`"),
                        why: unread.to_string(),
                        cause: Cause::Format,
                    })
                });
                self.commit = lines.collect();
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
}

impl Iterator for Lines {
    type Item = Result<Line, Halted>;

    fn next(&mut self) -> Option<Result<Line, Halted>> {
        loop {
            if let Some(line) = self.commit.pop_front() {
                return Some(line);
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
