//! Records read again: replayed, verified, searched, by the real program on a folder of sealed
//! inspections that the real core made in virtual time.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "sim/bench.rs"]
#[allow(dead_code, reason = "the simulation of the station uses the rest")]
mod bench;
#[path = "again/described.rs"]
mod described;
#[path = "again/find.rs"]
mod find;
#[path = "again/folder.rs"]
mod folder;
#[path = "again/forge.rs"]
mod forge;
#[path = "sim/hands.rs"]
#[allow(dead_code, reason = "the simulation of the station uses the rest")]
mod hands;
#[path = "again/house.rs"]
mod house;
#[path = "sim/ledger.rs"]
#[allow(dead_code, reason = "the simulation of the station uses the rest")]
mod ledger;
#[path = "sim/lines.rs"]
#[allow(dead_code, reason = "the simulation of the station uses the rest")]
mod lines;
#[path = "sim/log.rs"]
#[allow(dead_code, reason = "the simulation of the station uses the rest")]
mod log;
#[path = "again/past.rs"]
mod past;
#[path = "again/replay.rs"]
mod replay;
#[path = "sim/rng.rs"]
#[allow(dead_code, reason = "the simulation of the station uses the rest")]
mod rng;
#[path = "sim/state.rs"]
#[allow(dead_code, reason = "the simulation of the station uses the rest")]
mod state;
#[path = "again/station.rs"]
mod station;
#[path = "again/stranger.rs"]
mod stranger;
#[path = "sim/wire.rs"]
#[allow(dead_code, reason = "the simulation of the station uses the rest")]
mod wire;
#[path = "sim/wiring.rs"]
#[allow(dead_code, reason = "the simulation of the station uses the rest")]
mod wiring;
#[path = "sim/world.rs"]
#[allow(dead_code, reason = "the simulation of the station uses the rest")]
mod world;
