//! The index: raw data with verdicts, registers and lists, in sled, beside the books.
//!
//! It is written after the books, by one thread, and never flushed for durability: nothing in it
//! is evidence. On any doubt it is set aside (`index.aside-N`) and built again from the books.
//!
//! Trees: `record` (raw bytes with stamps in blocks, verdicts, and what these rest on, by
//! inspection), `when` (the
//! list, in sheets, with what lies in `record` of each), `asset` (histories), `register` (the
//! newest line of each thing), `meta` (layout, whose index it is, how far it is).
//!
//! Dates: `ledger` holds in memory what moves them, folded from the list and the station book when
//! the index is compared with the books and with each line after that; `due` and `month` answer
//! from it.
//!
//! Reading order: `work` is how lines become rows, `tally` what dates need of an inspection,
//! `resting` what its verdicts rest on, `text`
//! and `columns` how a block is packed, `press` how any value lies in the store, `sheet` and
//! `lists` the list, `store` the open index, `level` how it is compared with the books, `load` how
//! many books are read, `query` and `rests` questions.

mod build;
mod bytes;
mod columns;
mod digits;
mod due;
mod ledger;
mod level;
mod lists;
mod load;
#[cfg(test)]
mod made;
mod numbers;
mod press;
mod query;
mod raw;
mod resting;
mod rests;
mod sheet;
mod station;
mod store;
mod summary;
mod tally;
mod text;
#[cfg(test)]
mod wired;
mod work;

use std::fmt;
use std::io;

pub use build::{Opened, RebuildFault, Rebuilt, rebuild};
pub use due::{Due, DueCount, DueList, DueQuery};
pub use level::{Progress, Told};
pub use numbers::{AGAIN_DAYS, Group, Missing, Numbers, NumbersQuery, Outcomes, Share};
pub use query::{LIST_MAX, Query, is_moment};
pub use raw::RawPage;

pub(crate) use rests::Measurements;
pub use rests::{RestPage, RestQuery, RestsIn};
pub use store::Index;
pub use summary::{LimitRow, Summary};

use crate::books::Halted;

/// Why the index can't answer or take a line. The books are not touched by it.
#[derive(Debug)]
pub enum IndexFault {
    /// The system says no to the store: the disk is full, or can't be read.
    Disk(io::Error),
    /// The store says it is damaged, or can't be opened.
    Store(String),
    /// The store panicked; the panic was caught.
    Panic,
    /// What it holds contradicts itself or the books.
    Doubt(String),
    /// The books can't be read.
    Books(Halted),
}

impl IndexFault {
    /// Building it again from the books may help.
    #[must_use]
    pub fn is_doubt(&self) -> bool {
        !matches!(self, IndexFault::Books(_) | IndexFault::Disk(_))
    }
}

impl fmt::Display for IndexFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            IndexFault::Disk(why) => write!(f, "the index can't be written or read: {why}"),
            IndexFault::Store(why) => write!(f, "the index can't be used: {why}"),
            IndexFault::Panic => write!(f, "the index broke down"),
            IndexFault::Doubt(why) => write!(f, "the index is in doubt: {why}"),
            IndexFault::Books(halted) => write!(f, "{halted}"),
        }
    }
}

impl std::error::Error for IndexFault {}

impl From<sled::Error> for IndexFault {
    fn from(error: sled::Error) -> IndexFault {
        match error {
            sled::Error::Io(error) if says_the_system(&error) => IndexFault::Disk(error),
            other => IndexFault::Store(other.to_string()),
        }
    }
}

/// What sled calls an error of the disk may be damage that it found, a length or a check sum. It
/// keeps what the system said as text. A file where the folder should be is damage, too.
fn says_the_system(error: &io::Error) -> bool {
    let said = error.raw_os_error().is_some() || error.to_string().contains("Os { code:");
    said && error.kind() != io::ErrorKind::NotADirectory
}

impl From<io::Error> for IndexFault {
    fn from(error: io::Error) -> IndexFault {
        IndexFault::Disk(error)
    }
}

impl From<Halted> for IndexFault {
    fn from(halted: Halted) -> IndexFault {
        IndexFault::Books(halted)
    }
}
