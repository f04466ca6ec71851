//! The technician at the simulated bench: follows what the station asks, and slips on purpose.

mod slip;

pub use slip::{Does, Slip, What};
