//! Records read again: replayed, verified, searched, by the real program on a folder of sealed
//! inspections that the real core made in virtual time.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "sim/bench.rs"]
#[allow(dead_code, reason = "the simulation of the station uses the rest")]
mod bench;
#[path = "again/find.rs"]
mod find;
#[path = "again/folder.rs"]
mod folder;
#[path = "again/forge.rs"]
mod forge;
#[path = "again/house.rs"]
mod house;
#[path = "again/replay.rs"]
mod replay;
#[path = "sim/rng.rs"]
#[allow(dead_code, reason = "the simulation of the station uses the rest")]
mod rng;
#[path = "again/stranger.rs"]
mod stranger;
#[path = "sim/world.rs"]
#[allow(dead_code, reason = "the simulation of the station uses the rest")]
mod world;
