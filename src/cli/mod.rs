//! What the commands do.

pub mod decode;
