//! Talk-only instruments that print one line a conversion: what is common to them.
//!
//! An instrument style of this family is one function from a line to what it says.

use crate::driver::{Never, Output};
use crate::listen::{Listener, Reader};
use crate::reading::Reading;
use crate::wire::lines::{Framing, Line, Lines};
use crate::wire::parity;

/// Reads one line. A line that it does not understand becomes a note, never nothing.
pub type ReadLine = fn(&Line) -> Output<Never>;

/// Silence inside a line that tears it, microseconds: what follows is of another conversion. A
/// byte takes 33 ms at 300 baud.
pub const TORN_US: u64 = 200_000;

/// A talk-only driver: cuts lines and hands each to its reader. Sends nothing, by type.
pub type Talker = Listener<Lines, LineReader>;

impl Talker {
    /// A driver for lines of at most `longest` bytes, ends included.
    #[must_use]
    pub fn new(longest: usize, read: ReadLine) -> Talker {
        let framing = Framing { silence_us: Some(TORN_US), ..Framing::text(longest) };
        Listener::of(Lines::new(framing), LineReader { read, fresh: false })
    }
}

/// Reads whole lines one by one and suspects the first.
#[derive(Debug)]
pub struct LineReader {
    read: ReadLine,
    fresh: bool,
}

impl LineReader {
    fn whole(&self, line: &Line) -> Output<Never> {
        match (self.read)(line) {
            Output::Note(note) if note.word == "malformed" => {
                Output::Note(parity::named(note, &line.bytes))
            }
            other => other,
        }
    }
}

impl Reader for LineReader {
    fn open(&mut self) {
        self.fresh = true;
    }

    /// The first line after opening may have begun before it, or be stale.
    fn read(&mut self, line: &Line) -> Output<Never> {
        let fresh = core::mem::take(&mut self.fresh);
        let output = if line.too_long {
            Output::Note(line.note("too_long", None))
        } else if line.ended {
            self.whole(line)
        } else {
            Output::Note(line.note("malformed", None))
        };
        match output {
            Output::Reading(reading) if fresh => {
                Output::Reading(Reading { why: Some("first_after_open"), ..reading })
            }
            other => other,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::driver::{Driver, Input};
    use crate::reading::Now;
    use crate::{contacts, val_unit_line};
    use alloc::vec::Vec;

    fn drain(talker: &mut Talker) -> Vec<Output<Never>> {
        core::iter::from_fn(|| talker.poll()).collect()
    }

    #[test]
    fn a_held_tail_is_given_up_when_a_fresh_stream_begins() {
        let mut talker = contacts::driver();
        talker.handle(Now(1), Input::Open);
        talker.handle(Now(2), Input::Bytes(b"C 10"));
        assert_eq!(drain(&mut talker), []);
        talker.handle(Now(3), Input::Open);
        let out = drain(&mut talker);
        let [Output::Note(note)] = &out[..] else { panic!("{out:?}") };
        assert_eq!((note.word, note.span.from, note.span.to, note.at), ("held", 0, 4, Now(2)));
    }

    #[test]
    fn two_halves_of_two_lines_are_no_line() {
        let mut talker = val_unit_line::driver();
        talker.handle(Now(1), Input::Bytes(b"R4 +0.1"));
        assert_eq!(drain(&mut talker), []);
        talker.handle(Now(400_001), Input::Bytes(b"84 Ohm\r\nR4 +0.2 Ohm\r\n"));
        let out = drain(&mut talker);
        let [Output::Note(torn), Output::Note(rest), Output::Reading(_)] = &out[..] else {
            panic!("{out:?}");
        };
        assert_eq!((torn.word, torn.span.to, rest.word), ("malformed", 7, "malformed"));
        // Neither is a line whose end never came: there may have been a flag behind it.
        talker.handle(Now(800_000), Input::Bytes(b"R4 +0.3 Ohm"));
        talker.handle(Now(800_000 + TORN_US), Input::Tick);
        let out = drain(&mut talker);
        assert!(matches!(&out[..], [Output::Note(note)] if note.word == "malformed"));
    }

    #[test]
    fn what_is_too_long_is_noted_and_never_read() {
        let mut talker = contacts::driver();
        talker.handle(Now(1), Input::Bytes(b"xxxxxxxxxxxxxxxxxxxxxC 1010\r\nC 0000\r\n"));
        let out = drain(&mut talker);
        assert_eq!(out.len(), 3);
        assert!(out[..2].iter().all(|o| matches!(o, Output::Note(n) if n.word == "too_long")));
        assert!(matches!(&out[2], Output::Contacts(contacts) if contacts.closed == [false; 4]));
    }
}
