//! A copy of all that is sealed, on another medium.
//!
//! An archive is a data folder that is closed: sealed inspections with their addenda, the station's
//! books, its public keys, and beside them `SHA256SUMS`, `verify.sh`, a table of what was measured
//! and a page that says how to check all of it without this program. Whatever reads a data folder
//! reads an archive: `verify`, `find`, `due`, `history`, `replay`.
//!
//! Reading order: `make` copies and reads back, `receipt` says what was found there,
//! `restore` makes a data folder of it again, `prune` removes what a receipt covers.

mod check;
mod copy;
mod fault;
mod make;
mod prune;
mod receipt;
mod restore;
mod sums;

pub use fault::Fault;
pub use make::{Beside, Made, Put, make, paper_path};
pub use prune::{Going, Pruned, Stays, going, prune, unfinished};
pub use receipt::{Receipt, receipts};
pub use restore::{PART, restore};
