//! Books against a model, against a disk that loses what was not synced, and against the tools of
//! a stranger.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "journal/bench.rs"]
mod bench;
#[path = "journal/crash.rs"]
mod crash;
#[path = "journal/damage.rs"]
mod damage;
#[path = "journal/ends.rs"]
mod ends;
#[path = "journal/facts.rs"]
mod facts;
#[path = "journal/index.rs"]
mod index;
#[path = "journal/lives.rs"]
mod lives;
#[path = "journal/outside.rs"]
mod outside;
#[path = "journal/recover.rs"]
mod recover;
