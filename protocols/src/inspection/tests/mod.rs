//! The inspection in virtual time.

mod begun;
pub(super) mod bench;
mod direct;
mod doubt;
mod earlier;
mod earth;
mod flipped;
mod given;
mod glance;
mod laws;
mod live;
mod model;
mod never;
mod peak;
mod source;
mod states;
mod tester;
mod typed;
mod warmth;
mod worked;
