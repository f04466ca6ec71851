//! The station core: events in, effects out. No runtime, port, file or clock in here.

pub mod event;
