//! The inspection in virtual time.

mod bench;
mod earth;
mod live;
mod model;
mod worked;
