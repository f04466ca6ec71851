//! The inspection in virtual time.

mod bench;
mod earth;
mod given;
mod live;
mod model;
mod never;
mod worked;
