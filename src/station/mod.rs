//! The station core: events in, effects out. No runtime, port, file or clock in here.
//!
//! Reading order: [`event`] is all that can happen and be asked for, [`settings`] what the station
//! is told, [`register`] what it knows, `core` how events become facts, `taps` how bytes do, `time`
//! what clocks do, `later` what happens to a sealed inspection, `command` how acts do, `begin` how
//! an inspection opens, [`status`] what faces show.

mod answer;
mod begin;
mod bench;
mod carry;
mod case;
pub mod changes;
mod check;
mod checkout;
pub mod codes;
mod command;
mod complete;
mod core;
mod described;
mod desk;
pub mod event;
mod former;
mod import;
mod ladder;
mod last;
mod later;
pub mod library;
mod link;
mod on_bench;
mod opening;
mod orders;
mod outbox;
mod pending;
mod pins;
pub mod register;
mod say;
pub mod settings;
pub mod status;
pub(crate) mod stranger;
mod taps;
mod time;
mod visit;
mod watched;
mod wire;

pub use self::core::{Core, Found};
pub use described::Described;
pub use last::sealed_last;
pub use later::{Asked, Past, same_name};
pub use library::Library;
pub use orders::order_of;
pub use pending::{RAW_BYTES_MAX, read_of, read_of_contacts};
pub(crate) use pins::no_pin;
pub use pins::{Proved, Signer};
pub use settings::{BenchSettings, Context, LinkSettings, StationSettings};
pub use taps::RETUNE_MAX;
pub use visit::OUTCOMES;
pub use wire::Wire;
