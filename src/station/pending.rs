//! Bytes of one link on their way to an `in` line.

use tapline_drivers::{Contacts, Function, Indication, Reading, Span};
use tapline_protocols::fact::{In, Read, ReadingId};

use crate::books::line::raw_text;
use crate::clock::Stamp;

/// Most raw bytes of one `in` line.
pub const RAW_BYTES_MAX: usize = 4096;
/// Most reads of a link in one line; with `READS_MAX` it keeps a line under 64 KiB.
const CUTS_MAX: usize = 512;
/// Most readings in one line.
const READS_MAX: usize = 64;

/// An `in` line that is still growing. Its `seq` is taken at its first byte.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Pending {
    /// Number of the line to be.
    pub(super) seq: u64,
    /// When its first byte was read.
    pub(super) at: Stamp,
    offset: u64,
    raw: Vec<u8>,
    cuts: Vec<(u32, u64)>,
    read: Vec<Read>,
}

impl Pending {
    /// Begins at `offset` of the link's stream.
    #[must_use]
    pub(super) fn new(seq: u64, at: Stamp, offset: u64) -> Pending {
        Pending { seq, at, offset, raw: Vec::new(), cuts: Vec::new(), read: Vec::new() }
    }

    /// Takes one byte that was read at `at`; `first` says it begins a read of the link.
    pub(super) fn push(&mut self, byte: u8, at: Stamp, first: bool) {
        if first || self.raw.is_empty() {
            let place = u32::try_from(self.raw.len()).expect("at most 4 096 bytes");
            self.cuts.push((place, at.boot_us.saturating_sub(self.at.boot_us)));
        }
        self.raw.push(byte);
    }

    /// Something in it was understood: it need not wait for more.
    #[must_use]
    pub(super) fn has_reading(&self) -> bool {
        !self.read.is_empty()
    }

    /// It need not go to disk before its time.
    #[must_use]
    pub(super) fn is_little(&self) -> bool {
        self.raw.len() <= super::outbox::LITTLE
    }

    /// It must be closed before the next byte.
    #[must_use]
    pub(super) fn is_full(&self) -> bool {
        self.raw.len() >= RAW_BYTES_MAX
            || self.cuts.len() >= CUTS_MAX
            || self.read.len() >= READS_MAX
    }

    /// Id that the next reading of this line has.
    #[must_use]
    pub(super) fn next_id(&self) -> ReadingId {
        (self.seq, u32::try_from(self.read.len()).expect("at most 64 readings"))
    }

    /// Offset of its first byte in the link's stream.
    #[must_use]
    pub(super) fn offset(&self) -> u64 {
        self.offset
    }

    /// Notes what was understood.
    pub(super) fn understood(&mut self, read: Read) {
        self.read.push(read);
    }

    /// The line.
    #[must_use]
    pub(super) fn into_fact(self, link: &str) -> In {
        let one_read = self.cuts.len() < 2 && self.cuts.iter().all(|cut| *cut == (0, 0));
        In {
            link: link.into(),
            at: self.offset,
            raw: raw_text(&self.raw),
            cuts: if one_read { Vec::new() } else { self.cuts },
            read: self.read,
        }
    }
}

/// A reading as a line tells it; `s` and `why` are for whoever attaches it.
#[must_use]
pub fn read_of(reading: &Reading, offset: u64) -> Read {
    let (i, v) = match reading.indication {
        Indication::Value(number) => (None, Some(number)),
        Indication::Above(number) => (Some("above"), Some(number)),
        Indication::Below(number) => (Some("below"), Some(number)),
        Indication::Overload => (Some("overload"), None),
        Indication::NoValue => (Some("none"), None),
    };
    let flags = reading.flags.iter().map(|f| match serde_json::to_value(f) {
        Ok(serde_json::Value::String(word)) => word,
        _ => unreachable!("a flag is a word"),
    });
    Read {
        b: span_of(reading.span, offset),
        f: reading.function,
        i: i.map(String::from),
        v: v.map(|number| number.text()),
        u: Some(reading.unit),
        x: flags.collect(),
        s: None,
        why: None,
    }
}

/// Contacts as a line tells them.
#[must_use]
pub fn read_of_contacts(contacts: &Contacts, offset: u64) -> Read {
    let closed = (1..).zip(contacts.closed).filter(|(_, closed)| *closed);
    Read {
        b: span_of(contacts.span, offset),
        f: Function::Contacts,
        i: Some("none".into()),
        v: None,
        u: None,
        x: closed.map(|(n, _)| format!("c{n}")).collect(),
        s: None,
        why: None,
    }
}

fn span_of(span: Span, offset: u64) -> (i64, i64) {
    let relative = |place: u64| place.wrapping_sub(offset).cast_signed();
    (relative(span.from), relative(span.to))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stamp(boot_us: u64) -> Stamp {
        Stamp { wall_us: 0, boot_us }
    }

    #[test]
    fn one_read_needs_no_cuts_and_two_are_told_apart() {
        let mut pending = Pending::new(7, stamp(100), 40);
        for (n, byte) in b"+1".iter().enumerate() {
            pending.push(*byte, stamp(100), n == 0);
        }
        assert_eq!(pending.clone().into_fact("ohm").cuts, []);
        pending.push(b'\r', stamp(350), true);
        let line = pending.into_fact("ohm");
        assert_eq!(line.cuts, [(0, 0), (2, 250)]);
        assert_eq!((line.at, line.raw.as_str()), (40, "+1\r"));
    }

    #[test]
    fn contacts_are_told_as_the_closed_ones() {
        let contacts = Contacts {
            closed: [true, false, true, false],
            span: Span { from: 8, to: 16 },
            at: tapline_drivers::Now(0),
        };
        let read = read_of_contacts(&contacts, 10);
        assert_eq!((read.b, read.x), ((-2, 6), vec!["c1".to_string(), "c3".to_string()]));
    }
}
