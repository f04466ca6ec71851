//! Whole lines and frames one by one: the first is suspected, and where a pair is asked for a
//! value waits for the second.

use alloc::sync::Arc;

use super::Description;
use crate::driver::{Never, Output};
use crate::frame::pair::{Pair, Pairing};
use crate::frame::{MALFORMED, Said};
use crate::listen::Reader;
use crate::wire::lines::Line;
use crate::wire::parity;

/// Reads what a description says of a frame.
#[derive(Debug)]
pub(super) struct FieldReader {
    about: Arc<Description>,
    fresh: bool,
    pairing: Pairing,
}

impl FieldReader {
    pub(super) fn new(about: Arc<Description>) -> FieldReader {
        // Two and a half conversions: one may be lost, two may not.
        let within_us = u64::from(about.period_ms) * 2_500;
        let rule = if about.pair { Pair::Equal { within_us } } else { Pair::Checked };
        FieldReader { about, fresh: false, pairing: Pairing::new(rule) }
    }

    fn said(&self, piece: &Line) -> Said {
        if piece.too_long {
            Said::Note("too_long")
        } else if piece.ended {
            self.about.said(&piece.bytes)
        } else {
            MALFORMED
        }
    }
}

impl Reader for FieldReader {
    fn open(&mut self) {
        *self = FieldReader { fresh: true, ..FieldReader::new(self.about.clone()) };
    }

    fn read(&mut self, piece: &Line) -> Output<Never> {
        let word = match self.said(piece) {
            Said::Shown(shown) if shown.held() => {
                let first = core::mem::take(&mut self.fresh);
                let why = if first {
                    Some("first_after_open")
                } else {
                    self.pairing.doubt(piece.first, &shown)
                };
                return Output::Reading(shown.reading(piece, why));
            }
            Said::Shown(_) => "malformed",
            Said::Note(word) => word,
        };
        self.pairing.broken();
        // A line before the first whole one may have begun before the port was opened: the one
        // behind it did not. Frames are told by their shape, and the first of them is suspected.
        let line = matches!(self.about.layout, super::Layout::Line { .. });
        self.fresh &= !line;
        let note = piece.note(word, None);
        let text = word == "malformed";
        Output::Note(if text { parity::named(note, &piece.bytes) } else { note })
    }
}
