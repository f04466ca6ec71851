//! The inspection in virtual time.

pub(super) mod bench;
mod earth;
mod given;
mod live;
mod model;
mod never;
mod worked;
