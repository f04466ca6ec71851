//! What the commands do.

pub mod decode;
pub mod plan;
pub mod rebuild;
pub mod verify;
