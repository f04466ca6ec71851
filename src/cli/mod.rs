//! What the commands do.

pub mod decode;
pub mod judge;
pub mod plan;
pub mod rebuild;
pub mod verify;
