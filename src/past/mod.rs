//! Past records: what lies in a data folder, read again. The books are read, not the index, and the
//! station may run meanwhile; nothing is written.
//!
//! Reading order: `shelf` is where records lie, `span` which are meant, `believed` which of their
//! lines count, `record` what a sealed inspection came to, [`course`] how a date moves, [`due`]
//! when assets are to be inspected next, [`history`] what an asset measured like for like, `former`
//! what it measured before the station was, [`earlier`] what a new inspection is compared with,
//! [`life`] what was added to an inspection after its seal.

mod believed;
pub(crate) mod course;
pub(crate) mod due;
pub(crate) mod earlier;
mod former;
pub(crate) mod history;
pub(crate) mod life;
mod record;
mod shelf;
mod span;
pub(crate) mod visited;

pub(crate) use believed::{Refused, believed};
pub(crate) use former::former;
pub(crate) use record::{Book, Measured, Past, Values, by_its_plan, day_of, read};
pub(crate) use shelf::{folder, place_of, records};
pub(crate) use span::Span;
