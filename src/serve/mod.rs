//! The running station: links, engine, writer, faces, and what happens when nothing can be stored.
//!
//! Reading order: [`run`] starts it all, `life` is one life of the engine, `writer` the thread
//! that makes things durable, [`shared`] what faces see, [`feed`] what they are shown.

mod again;
pub mod copies;
pub mod desk;
mod earlier;
pub mod feed;
mod idle;
pub mod indexer;
pub mod keys;
mod later;
mod life;
mod links;
mod notify;
pub(crate) mod pins;
mod refusals;
pub mod room;
pub mod shared;
mod start;
mod station;
pub mod summary;
mod webhook;
mod writer;

pub(crate) use keys::note_down;
pub use start::JUDGE;
pub(crate) use start::{library, tomls};
pub use station::{run, socket_path};
