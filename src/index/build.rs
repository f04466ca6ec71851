//! Brings the index level with the books, or builds it again.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::IndexFault;
use super::store::{Index, Mark, mark_key};
use crate::books::line::outline;
use crate::books::place::InspectionName;
use crate::books::{Folder, Lock, LockFault, Shelf};
use crate::station::event::BookId;

/// So many set-aside indexes are kept; older ones are removed, as nothing in them is evidence.
const BAD_MAX: usize = 3;

/// What a rebuild came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rebuilt {
    /// Where the old index was put, if there was one.
    pub set_aside: Option<PathBuf>,
    /// Books that were read.
    pub books: u64,
}

/// Why an index could not be built again.
#[derive(Debug)]
pub enum RebuildFault {
    /// A daemon has the data folder.
    Lock(LockFault),
    /// The data folder can't be opened.
    Disk(io::Error),
    /// The new one can't be built.
    Index(IndexFault),
}

/// Sets the index of a data folder aside and builds it from the books. Takes the folder's lock.
///
/// # Errors
/// A daemon has the folder, the books can't be read, or the index can't be written.
pub fn rebuild(data: &Path) -> Result<Rebuilt, RebuildFault> {
    let _lock = Lock::take(data).map_err(RebuildFault::Lock)?;
    let shelf = Shelf::new(Arc::new(Folder::open(data).map_err(RebuildFault::Disk)?));
    let (_, opened) = Index::renew(data, &shelf).map_err(RebuildFault::Index)?;
    Ok(Rebuilt { set_aside: opened.set_aside.map(|(path, _)| path), books: opened.caught_up })
}

impl std::fmt::Display for RebuildFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            RebuildFault::Lock(fault) => fault.fmt(f),
            RebuildFault::Disk(error) => {
                write!(f, "can't open the data folder: {error}; check its rights")
            }
            RebuildFault::Index(fault) => fault.fmt(f),
        }
    }
}

impl std::error::Error for RebuildFault {}

/// Reads what the index does not have yet. Returns how many books it had to read.
pub(super) fn catch_up(index: &Index, shelf: &Shelf) -> Result<u64, IndexFault> {
    let mut read = station(index, shelf)?;
    for book in shelf.inspections()? {
        let mark = index.marked(&book.id)?;
        // Addenda are found through the inspection that they follow.
        if InspectionName::read(&book.id).is_some_and(|name| name.addendum > 0) {
            continue;
        }
        if book.sealed && mark.is_some_and(|mark| mark.closed.is_some()) {
            continue;
        }
        index.forget(&book.id)?;
        let id = BookId::Inspection(book.id.clone());
        for text in shelf.texts(&id)? {
            index.add(&id, &text?.bytes)?;
        }
        read += 1;
    }
    consistent(index)?;
    Ok(read)
}

fn station(index: &Index, shelf: &Shelf) -> Result<u64, IndexFault> {
    let indexed = index.marked("station")?.map_or(0, |mark| mark.last_seq);
    let (mut last, mut read) = (0, 0);
    for text in shelf.texts(&BookId::Station)? {
        let text = text?.bytes;
        last = outline(&text).map_or(last, |(seq, _)| seq);
        if last > indexed {
            index.add(&BookId::Station, &text)?;
            read = 1;
        }
    }
    if last < indexed {
        return Err(IndexFault::Doubt(format!("it knows station line {indexed} of {last}")));
    }
    index.mark("station", &Mark::of_station(last))?;
    Ok(read)
}

/// A cut store may open without any error, and short: the trees have to agree in number.
fn consistent(index: &Index) -> Result<(), IndexFault> {
    let closed = index.meta.scan_prefix(mark_key("")).count().saturating_sub(1);
    let (when, asset, open) = (index.when.len(), index.asset.len(), index.works().len());
    if when != asset || when != closed + open {
        let why = format!("{when} inspections in one list, {asset} and {closed}+{open} in others");
        return Err(IndexFault::Doubt(why));
    }
    Ok(())
}

/// Moves an index to `index.bad-N`; `None` if there is none.
pub(super) fn set_aside(folder: &Path) -> io::Result<Option<PathBuf>> {
    if !folder.try_exists()? {
        return Ok(None);
    }
    let bad = |n: usize| folder.with_file_name(format!("index.bad-{n}"));
    let mut numbers = numbers_of_bad(folder)?;
    let next = numbers.last().map_or(1, |n| n + 1);
    std::fs::rename(folder, bad(next))?;
    numbers.push(next);
    let old = numbers.len().saturating_sub(BAD_MAX);
    for n in &numbers[..old] {
        std::fs::remove_dir_all(bad(*n))?;
    }
    Ok(Some(bad(next)))
}

fn numbers_of_bad(folder: &Path) -> io::Result<Vec<usize>> {
    let mut numbers = Vec::new();
    for entry in std::fs::read_dir(folder.parent().unwrap_or(Path::new(".")))? {
        let name = entry?.file_name();
        let number = name.to_str().and_then(|name| name.strip_prefix("index.bad-"));
        numbers.extend(number.and_then(|n| n.parse::<usize>().ok()));
    }
    numbers.sort_unstable();
    Ok(numbers)
}
