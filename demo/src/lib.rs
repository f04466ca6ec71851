//! A simulated bench: a solved circuit whose instruments really speak over ptys and TCP.
//!
//! **Law.** A peer of the daemon: it knows nothing of the daemon's code, imports only the reading
//! types of `tapline-drivers`, and invents no number: what an instrument shows follows from the
//! circuit, so that a wrong hook-up gives its own wrong number.
//!
//! Reading order: [`circuit`] solves netlists, [`room`] says what hands can change and [`hand`]
//! how they do, [`hookup`] makes a netlist of both and `tested` what an insulation tester meets,
//! [`meter`] are the instruments on it, [`world`] is all of that in virtual time, `bench` the same
//! on real ports. [`scene`] reads what is on the bench, [`person`] follows the station and slips,
//! [`clinic`] holds the files.

pub mod bench;
pub mod circuit;
pub mod clinic;
pub mod hand;
pub mod hookup;
pub mod meter;
pub mod noise;
pub mod person;
pub mod room;
pub mod scene;
mod tested;
pub mod world;
