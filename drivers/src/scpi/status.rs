//! Whether the meter was switched on in between, and readings that it sends by itself.
//!
//! A meter that was switched off has forgotten its function and may answer the next question with
//! a reading of another. `*ESR?` tells (bit 7, power on; reading it clears it). The reading is not
//! taken and the meter is configured anew, but not while the asset may be energised: then readings
//! stop until nothing may be live, or another function is wanted.

use super::Scpi;
use super::answer::Given;
use super::state::{AUTO_US, Stage};
use crate::driver::Output;
use crate::reading::{Function, Note, Reading, Span};
use crate::wire::lines::Line;

/// Power on. IEEE 488.2-1992, 11.5.1 (from memory; bits as in public meter manuals).
const POWER_ON: u8 = 0x80;

/// The eight bits of a status register: a plain integer, so that few readings look like one.
pub(super) fn bits(bytes: &[u8]) -> Option<u8> {
    let digits = bytes.strip_prefix(b"+").unwrap_or(bytes);
    if digits.is_empty() || digits.len() > 3 || !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    core::str::from_utf8(digits).ok()?.parse().ok()
}

impl Scpi {
    /// Configured for what is wanted, and nothing is in doubt.
    fn settled(&self) -> bool {
        let ready = self.setup.filter(|setup| setup.stage == Stage::Ready);
        self.want.is_some() && ready.map(|setup| setup.function) == self.want
    }

    /// The reading that waited for its status comes out.
    pub(super) fn flush(&mut self, why: Option<&'static str>) {
        if let Some(reading) = self.pending.take() {
            let why = why.or(reading.why);
            self.out.push_back(Output::Reading(Reading { why, ..reading }));
        }
    }

    pub(super) fn status(&mut self, line: &Line, bits: u8) {
        let on = bits & POWER_ON != 0;
        self.flush(on.then_some("unsolicited"));
        self.note(line, if on { "power_on" } else { "answer" }, Some(alloc::format!("{bits}")));
        self.known.status_due = false;
        if on && self.settled() {
            self.forgotten(line.last);
        }
        if on && !self.known.opening {
            // What it was told before is forgotten.
            self.known.begun = false;
        }
        self.answered(line.last);
    }

    /// A reading that the meter sent by itself: taken when the meter is configured and nothing is
    /// asked. The first may be of a conversion that began before. After a long silence the meter
    /// may have been switched off and on.
    pub(super) fn sent_itself(&mut self, line: &Line, given: Given) {
        let wanted = |of: &[Function]| self.want.is_some_and(|function| of.contains(&function));
        if given.of.is_some_and(|of| !wanted(of)) {
            self.known.sent_itself = None;
            return self.note(line, "other_function", None);
        }
        let indication = given.indication;
        let ready = self.settled() && self.asked().is_none() && self.known.doubt.is_none();
        if !ready {
            self.known.sent_itself = None;
            return self.push_reading(line, indication, Some("unsolicited"));
        }
        self.known.last_read = self.want;
        let before = self.known.sent_itself.replace(line.first);
        let late = before.is_some_and(|at| line.first.0 > at.0 + AUTO_US);
        let formless = self.formless(line, indication);
        let why = (before.is_none() || late).then_some("unsolicited").or(formless);
        self.push_reading(line, indication, why);
        if why.is_none() {
            self.taken();
        }
        if late {
            self.forgotten(line.last);
            self.answered(line.last);
        }
    }

    /// What is given up when a fresh stream begins: a waiting reading and what lies behind it.
    pub(super) fn given_up(&mut self) -> Option<Note> {
        let tail = self.lines.open();
        match (self.pending.take(), tail) {
            (None, tail) => tail.map(|tail| tail.note("held", None)),
            (Some(Reading { span, first, .. }), tail) => {
                let span = Span { to: tail.map_or(span.to, |tail| tail.span.to), ..span };
                Some(Note { word: "held", span, text: None, at: first })
            }
        }
    }
}
