//! What the tests of real processes share: a station in a folder of its own, ports that are
//! ptys, meters that speak there, a technician who does what the station asks for.
#![allow(dead_code, reason = "each test uses a part of it")]

pub(crate) mod book;
pub(crate) mod feed;
pub(crate) mod http;
pub(crate) mod look;
pub(crate) mod meter;
pub(crate) mod picky;
pub(crate) mod port;
pub(crate) mod python;
pub(crate) mod station;
pub(crate) mod technician;
pub(crate) mod trace;
pub(crate) mod wait;
