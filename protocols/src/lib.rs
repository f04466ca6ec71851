//! Readings to verdicts.
//!
//! **Law.** No `std`: no ports, files, threads or clocks. The compiler refuses them. Floats live
//! in `doubt` alone.
//!
//! Reading order: [`register`] says what things are, [`plan`] what is to be done, [`fact`] what
//! happened.
#![no_std]
#![deny(missing_docs)]
#![deny(clippy::float_arithmetic)]

extern crate alloc;

pub mod amount;
pub mod certificate;
pub mod correct;
pub mod described;
pub mod doubt;
pub mod due;
pub mod exact;
pub mod fact;
pub mod fault;
pub mod inspection;
pub mod judge;
pub mod life;
pub mod limits;
pub mod plan;
pub mod read;
pub mod register;
pub mod temperature;
pub mod terms;

pub use amount::Amount;
pub use fact::Fact;
pub use fault::Fault;
