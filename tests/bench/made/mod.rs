//! An invented clinic with years of inspections, made by the real core in virtual time: books that
//! are real to the last byte, so that every one verifies and replays.
#![allow(dead_code, reason = "each benchmark uses a part of it")]

mod check;
mod day;
mod disk;
mod register;
mod shift;
mod technician;
mod wire;
mod years;

pub(crate) use years::{Wanted, make};
#[allow(unused_imports, reason = "each benchmark uses a part of it")]
pub(crate) use {check::check, disk::Loose, register::assets, register::config};
