//! `prompt-echo`: the question comes back, then the value, then a prompt, each on a line.
//!
//! `R1\r\n` `+0.1987E+0\r\n` `=>\r\n`, 9600 8N1, as a public manual of a dual-display multimeter
//! prints it with the prompts: `=>` done, `*>` it was switched on, `#>` a key was pressed, `!>`
//! and `?>` not understood, `S>` busy, `@>` nothing to show, `W>` and `E>`. The answer does not
//! say what the number is of, and how to ask for that was not read. Where somebody says what the
//! instrument is set to ([`super::Measures`]) numbers are readings of that, two equal ones at a
//! time, until a prompt says that it was switched on or a key was pressed: then, and where nobody
//! says it, they are noted as `no_function`.

use alloc::boxed::Box;

use super::{Ask, Heard, Talk, What};
use crate::frame::pair::Pair;
use crate::wire::lines::{Framing, Lines};
use crate::wire::trim;
use crate::wire::words::shown;

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 3;

/// All that is sent.
pub const READING: &[u8] = b"R1\r\n";

/// The style.
pub static TALK: Talk = Talk {
    identity: None,
    reading: READING,
    limit_us: 3_000_000,
    cut: || Box::new(Lines::new(Framing::text(64))),
    hear,
    pair: Pair::Equal { within_us: 3_000_000 },
};

fn hear(line: &[u8], _: Ask, pieces: u8) -> Heard {
    // A piece nobody asked for.
    if pieces == u8::MAX {
        return Heard::part(What::Stray);
    }
    match trim(line) {
        b"R1" if pieces == 0 => Heard::part(What::Note("answer")),
        b"=>" if pieces > 0 => Heard::all(What::Note("answer")),
        b"*>" | b"#>" => Heard::all(What::Note("event")),
        b"!>" | b"?>" | b"S>" | b"@>" | b"W>" | b"E>" => Heard::all(What::Note("error_queue")),
        // One number, behind the question that came back.
        value if pieces == 1 => Heard::part(shown(value).map_or(What::Stray, What::Bare)),
        _ => Heard::part(What::Stray),
    }
}
