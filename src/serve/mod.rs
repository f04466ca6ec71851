//! The running station.

pub mod feed;
