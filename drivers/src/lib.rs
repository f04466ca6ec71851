//! Bytes to readings.
//!
//! **Law.** No `std`: no ports, files, threads or clocks. The compiler refuses them.
//!
//! **Law.** What is sent is a [`Message`], and only this crate can make one:
//!
//! ```compile_fail,E0423
//! let outside = tapline_drivers::Message(b"OUTP ON\n".to_vec());
//! ```
//!
//! What a listen-only driver sends can be made by nobody:
//!
//! ```compile_fail,E0599
//! let never = tapline_drivers::Never::Anything;
//! ```
//!
//! Reading order: [`reading`] says what comes out, [`driver`] says how a driver is driven,
//! [`wire`] holds the grammars, and each instrument style is one small module.
#![no_std]
#![deny(missing_docs)]
#![deny(clippy::float_arithmetic)]

extern crate alloc;

#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;

#[cfg(test)]
extern crate std;

pub mod ask;
pub mod catalogue;
pub mod contacts;
pub mod csv_line;
pub mod described;
pub mod driver;
pub mod frame;
pub mod listen;
pub mod number;
pub mod reading;
pub mod report;
#[cfg(test)]
mod rules;
pub mod scan;
pub mod scpi;
pub mod talker;
pub mod unit;
pub mod val_unit_line;
pub mod wire;

pub use catalogue::{AnyDriver, by_name};
pub use driver::{Driver, Input, Message, Never, Output, Want};
pub use number::Number;
pub use reading::{
    Contacts, Flag, Function, Identity, Indication, Note, Now, Reading, Scan, ScanKind, Span,
};
pub use unit::{Prefix, Quantity, Unit};
