//! Opens the index of a data folder, and builds it again where it is in doubt.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::IndexFault;
use super::level::{Told, level};
use super::store::{Index, abandon};
use crate::books::{Folder, Lock, LockFault, Shelf};

/// So many set-aside indexes are kept; older ones are removed, as nothing in them is evidence.
const ASIDE_MAX: usize = 2;

/// What opening the index came to.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Opened {
    /// Where the old index was put, and why, if it was in doubt.
    pub set_aside: Option<(PathBuf, String)>,
    /// Books that had to be read to catch up.
    pub caught_up: u64,
}

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

impl Index {
    /// Opens the index in `data/index` and brings it level with the books. Sets it aside and
    /// builds it again on any doubt.
    ///
    /// # Errors
    /// The books can't be read, or not even an empty index can be built.
    pub fn open(data: &Path, shelf: &Shelf) -> Result<(Index, Opened), IndexFault> {
        Index::open_telling(data, shelf, &|_| {})
    }

    /// As [`Index::open`], and tells how far it is.
    ///
    /// # Errors
    /// As [`Index::open`].
    pub fn open_telling(
        data: &Path,
        shelf: &Shelf,
        told: Told<'_>,
    ) -> Result<(Index, Opened), IndexFault> {
        let why = match Index::open_as_is(data, shelf, told) {
            Ok((index, caught_up)) => return Ok((index, Opened { set_aside: None, caught_up })),
            Err(fault) if !fault.is_doubt() => return Err(fault),
            Err(fault) => fault.to_string(),
        };
        let aside = set_aside(&data.join("index"))?;
        let (index, caught_up) = Index::open_as_is(data, shelf, told)?;
        Ok((index, Opened { set_aside: aside.map(|aside| (aside, why)), caught_up }))
    }

    /// Opens the index and brings it level with the books. Does nothing about a doubt.
    ///
    /// # Errors
    /// Any doubt.
    pub fn open_as_is(
        data: &Path,
        shelf: &Shelf,
        told: Told<'_>,
    ) -> Result<(Index, u64), IndexFault> {
        let index = Index::guarded(|| Index::at(&data.join("index")))?;
        let levelled = Index::guarded(|| {
            let caught_up = level(&index, shelf, told)?;
            index.flush()?;
            Ok(caught_up)
        });
        match levelled {
            Ok(caught_up) => Ok((index, caught_up)),
            Err(fault) => {
                abandon(index);
                Err(fault)
            }
        }
    }

    /// Reads from the books what the index missed, with all that is in work.
    ///
    /// # Errors
    /// Any doubt.
    pub fn catch_up(&self, shelf: &Shelf) -> Result<u64, IndexFault> {
        Index::guarded(|| level(self, shelf, &|_| {}))
    }

    /// Sets the index aside, whatever it is like, and builds it again. [`Index::let_go`] of the
    /// old one first; who calls this holds the lock of the data folder.
    ///
    /// # Errors
    /// The old one can't be moved, the books can't be read, or the new one can't be built.
    pub fn renew(
        data: &Path,
        shelf: &Shelf,
        told: Told<'_>,
    ) -> Result<(Index, Opened), IndexFault> {
        let aside = set_aside(&data.join("index"))?;
        let (index, opened) = Index::open_telling(data, shelf, told)?;
        let set_aside = aside.map(|aside| (aside, "it was asked for".to_owned()));
        Ok((index, Opened { set_aside, ..opened }))
    }

    /// Closes it in a thread of its own: a store that has broken down may never end to close.
    pub fn let_go(self) {
        abandon(self);
    }
}

/// Sets the index of a data folder aside and builds it from the books. Takes the folder's lock.
///
/// # Errors
/// A daemon has the folder, the books can't be read, or the index can't be written.
pub fn rebuild(data: &Path, told: Told<'_>) -> Result<Rebuilt, RebuildFault> {
    let _lock = Lock::take(data).map_err(RebuildFault::Lock)?;
    let shelf = Shelf::new(Arc::new(Folder::open(data).map_err(RebuildFault::Disk)?));
    let (_, opened) = Index::renew(data, &shelf, told).map_err(RebuildFault::Index)?;
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

/// Moves an index to `index.aside-N`; `None` if there is none.
fn set_aside(folder: &Path) -> io::Result<Option<PathBuf>> {
    if folder.symlink_metadata().is_err() {
        return Ok(None);
    }
    let aside = |n: usize| folder.with_file_name(format!("index.aside-{n}"));
    let mut numbers = numbers_aside(folder)?;
    let next = numbers.last().map_or(1, |n| n + 1);
    std::fs::rename(folder, aside(next))?;
    numbers.push(next);
    let old = numbers.len().saturating_sub(ASIDE_MAX);
    for n in &numbers[..old] {
        let path = aside(*n);
        if path.is_dir() { std::fs::remove_dir_all(path)? } else { std::fs::remove_file(path)? }
    }
    Ok(Some(aside(next)))
}

fn numbers_aside(folder: &Path) -> io::Result<Vec<usize>> {
    let mut numbers = Vec::new();
    for entry in std::fs::read_dir(folder.parent().unwrap_or(Path::new(".")))? {
        let name = entry?.file_name();
        let number = name.to_str().and_then(|name| name.strip_prefix("index.aside-"));
        numbers.extend(number.and_then(|n| n.parse::<usize>().ok()));
    }
    numbers.sort_unstable();
    Ok(numbers)
}
