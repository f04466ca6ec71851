//! One link's stream, played again.

use std::collections::{BTreeMap, VecDeque};

use tapline_drivers::driver::{Input, Output, Want};
use tapline_drivers::reading::{Contacts, Function, Now, Reading};
use tapline_protocols::fact::{In, Tap};

use crate::books::line::{raw_bytes, raw_text};
use crate::station::{Described, Wire};

/// What a driver made of its input.
#[derive(Debug, Clone)]
pub(super) enum Seen {
    /// A reading, and when its last input came.
    Reading(Reading, Now),
    /// Contacts.
    Contacts(Contacts),
    /// It is configured, and since when.
    Ready(Function, Now),
}

/// A link from one `tap` to the next.
pub(super) struct Stream {
    wire: Option<Wire>,
    pub(super) instrument: Option<String>,
    pub(super) changed: bool,
    pub(super) offset: u64,
    pub(super) want: Option<Want>,
    /// Bytes that the driver sent and that no `out` line told yet.
    pub(super) sent: VecDeque<String>,
    /// Read without bytes: they stand in the next `in` line.
    pub(super) late: Vec<Seen>,
}

impl Stream {
    /// A fresh driver, by the texts that the book has told so far. One that was not run then
    /// (`driver_version` 0) is not run now.
    pub(super) fn new(tap: &Tap, texts: &BTreeMap<String, Described>) -> Stream {
        let wire = match &tap.driver_sha256 {
            Some(sha256) => texts.get(sha256).map(Wire::described),
            None => Wire::new(&tap.driver).ok(),
        };
        Stream {
            wire: wire.filter(|_| tap.driver_version != 0),
            instrument: tap.instrument.clone(),
            changed: false,
            offset: 0,
            want: None,
            sent: VecDeque::new(),
            late: Vec::new(),
        }
    }

    pub(super) fn version(&self) -> u32 {
        self.wire.as_ref().map_or(0, Wire::version)
    }

    pub(super) fn sends(&self) -> bool {
        self.wire.as_ref().is_some_and(Wire::sends)
    }

    pub(super) fn wanted(&self, wants: &[(String, Want)]) -> Option<Want> {
        let instrument = self.instrument.as_ref()?;
        wants.iter().find(|(id, _)| id == instrument).map(|(_, want)| *want)
    }

    pub(super) fn open(&mut self, at: Now) -> Vec<Seen> {
        self.handle(at, Input::Open)
    }

    pub(super) fn tick(&mut self, at: Now) -> Vec<Seen> {
        self.handle(at, Input::Tick)
    }

    pub(super) fn byte(&mut self, at: Now, byte: u8) -> Vec<Seen> {
        self.offset += 1;
        self.handle(at, Input::Bytes(&[byte]))
    }

    pub(super) fn tell(&mut self, at: Now, want: Option<Want>) -> Vec<Seen> {
        self.want = want;
        self.handle(at, Input::Want(want))
    }

    fn handle(&mut self, at: Now, input: Input<'_>) -> Vec<Seen> {
        let mut seen = Vec::new();
        let Some(wire) = &mut self.wire else { return seen };
        wire.handle(at, input);
        while let Some(output) = wire.poll() {
            match output {
                Output::Reading(reading) => seen.push(Seen::Reading(reading, at)),
                Output::Contacts(contacts) => seen.push(Seen::Contacts(contacts)),
                Output::Ready(function) => seen.push(Seen::Ready(function, at)),
                Output::Send(message) => self.sent.push_back(raw_text(message.bytes())),
                Output::Scan(_) | Output::Note(_) | Output::Identity(_) => {}
            }
        }
        seen
    }
}

/// The bytes of an `in` line, each with the moment it was read; `None` where the text is no raw
/// text.
pub(super) fn bytes_of(line: &In, m: u64) -> Option<Vec<(Now, u8)>> {
    let bytes = raw_bytes(&line.raw)?;
    let mut cuts = line.cuts.iter().peekable();
    let mut at = m;
    let timed = (0u32..).zip(bytes).map(|(place, byte)| {
        while let Some((_, after)) = cuts.next_if(|(from, _)| *from <= place) {
            at = m.saturating_add(*after);
        }
        (Now(at), byte)
    });
    Some(timed.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_have_the_moment_of_their_read() {
        let line = In {
            link: "ohm".into(),
            at: 0,
            raw: "abc".into(),
            cuts: vec![(0, 5), (2, 40)],
            read: vec![],
        };
        let at: Vec<u64> = bytes_of(&line, 1000).unwrap().iter().map(|(at, _)| at.0).collect();
        assert_eq!(at, [1005, 1005, 1040]);
        assert_eq!(bytes_of(&In { raw: "\u{100}".into(), ..line }, 0), None);
    }
}
