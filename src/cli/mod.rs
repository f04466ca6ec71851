//! What the commands do.

pub mod decode;
pub mod rebuild;
pub mod verify;
