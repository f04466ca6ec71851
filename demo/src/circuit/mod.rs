//! Netlists of resistors, capacitors and sources, solved at one frequency at a time.

mod complex;
mod netlist;
mod solve;
mod value;

pub use complex::Complex;
pub use netlist::{EARTH, Element, Kind, Netlist};
pub use solve::{Singular, Solution};
pub use value::{Unknown, value};
