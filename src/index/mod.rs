//! The index: raw data with verdicts, registers and lists, in sled, beside the books.
//!
//! It is written after the books, by one thread, and never flushed for durability: nothing in it
//! is evidence. On any doubt it is set aside (`index.bad-N`) and built again from the books.
//!
//! Trees: `record` (raw bytes and verdicts by inspection and step), `asset` and `when` (lists),
//! `register` (the newest line of each thing), `meta` (layout; how far each book is indexed).

mod block;
mod build;
mod query;
mod store;
mod summary;

use std::fmt;

pub use build::{Rebuilt, rebuild};
pub use query::{LIST_MAX, Query, RawReading, RawRecord, RawStep};
pub use store::{Index, Opened};
pub use summary::Summary;

use crate::books::Halted;

/// Why the index can't answer or take a line. The books are not touched by it.
#[derive(Debug)]
pub enum IndexFault {
    /// The store says it is damaged, full, or can't be opened.
    Store(String),
    /// The store panicked; the panic was caught.
    Panic,
    /// What it holds contradicts itself or the books.
    Doubt(String),
    /// The books can't be read.
    Books(Halted),
}

impl fmt::Display for IndexFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            IndexFault::Store(why) => write!(f, "the index can't be used: {why}")?,
            IndexFault::Panic => write!(f, "the index broke down")?,
            IndexFault::Doubt(why) => write!(f, "the index is in doubt: {why}")?,
            IndexFault::Books(halted) => return write!(f, "{halted}"),
        }
        write!(f, "; no evidence is lost: run `tapline rebuild`")
    }
}

impl std::error::Error for IndexFault {}

impl From<sled::Error> for IndexFault {
    fn from(error: sled::Error) -> IndexFault {
        IndexFault::Store(error.to_string())
    }
}

impl From<Halted> for IndexFault {
    fn from(halted: Halted) -> IndexFault {
        IndexFault::Books(halted)
    }
}
