//! Work orders of other programs: a file with what is wanted, and the folder that takes such
//! files.
//!
//! `read` is what a file says, `fold` what the station's lines come to, `folder` what is done with
//! a file, `patience` how long one is left alone, `watch` when it is looked for.

mod fold;
mod folder;
mod patience;
mod read;
mod watch;

pub use fold::{Order, Orders, Tried};
pub(crate) use read::{REASONS, read};
pub(crate) use watch::watch;
