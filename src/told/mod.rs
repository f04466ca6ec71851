//! What happened and what is planned, in words and rows: for a terminal, the page and paper alike.
//! Data in, text out; nothing is judged, read or printed.

pub(crate) mod alike;
pub(crate) mod clock;
pub(crate) mod copies;
pub(crate) mod judged;
pub(crate) mod label;
pub(crate) mod outline;
pub mod reading;
pub(crate) mod rows;
pub(crate) mod sheet;
pub mod verdict;
