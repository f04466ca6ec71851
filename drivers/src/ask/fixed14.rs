//! `fixed14-poll`: the frame of [`crate::frame::fixed14`], sent when a `D` came. From memory.

use alloc::boxed::Box;

use super::{Ask, Heard, Talk, What};
use crate::frame::{Said, fixed14};
use crate::wire::frames::Frames;

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 2;

/// All that is sent.
pub const READING: &[u8] = b"D";

/// The style. A frame takes 250 ms at 600 baud.
pub static TALK: Talk = Talk {
    identity: None,
    reading: READING,
    limit_us: 2_000_000,
    cut: || Box::new(Frames::new(fixed14::STYLE.shape)),
    hear,
    pair: fixed14::STYLE.pair,
};

fn hear(frame: &[u8], _: Ask, _: u8) -> Heard {
    Heard::all(match fixed14::read(frame) {
        Said::Shown(shown) => What::Shown(shown),
        Said::Note(word) => What::Note(word),
    })
}
