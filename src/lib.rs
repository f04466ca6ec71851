//! Tapline: moves bytes, keeps records, shows.
//!
//! The only place with tokio, ports, files, sockets and clocks. It judges nothing by itself.

pub mod archive;
pub mod books;
pub mod capture;
pub mod cli;
pub mod clock;
pub mod config;
pub mod exchange;
pub mod face;
pub mod identify;
pub mod inbox;
pub mod index;
pub mod learn;
pub mod link;
pub mod orders;
mod page;
mod past;
pub mod ports;
pub mod replay;
mod report;
pub mod serve;
pub mod station;
pub mod told;
pub mod validate;
pub mod words;
