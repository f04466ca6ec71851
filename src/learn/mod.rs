//! What a stranger on a wire sends: views of it, guesses of its framing, a first draft of a
//! described driver. Pure: bytes and their moments in, text out.
//!
//! Everything here is a guess and is called one. What is measured is never guessed: the draft has
//! a `?` there, and no driver is read from it before a person has filled that in.

mod cells;
mod draft;
mod frames;
#[cfg(test)]
mod tests;
mod views;

pub use draft::{Line, draft};
pub use frames::{Guess, Shape, guess};
pub use views::view;
