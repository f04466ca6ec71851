//! One link as the core sees it: a driver, a place in a stream, and bytes on their way to a line.

use tapline_drivers::driver::Want;

use super::event::BookId;
use super::pending::Pending;
use super::settings::LinkSettings;
use super::wire::Wire;
use crate::clock::Stamp;

/// A link.
#[derive(Debug)]
pub(super) struct Link {
    /// Wiring.
    pub settings: LinkSettings,
    /// The layout of its driver is from memory.
    pub unconfirmed: bool,
    /// The port is open.
    pub up: bool,
    /// Why it is not, in words.
    pub why_down: Option<String>,
    /// The driver of the present tap; without one, bytes are kept and not understood.
    pub wire: Option<Wire>,
    /// Where its bytes go, from the last `tap` on.
    pub book: Option<BookId>,
    /// Bytes since that `tap`.
    pub offset: u64,
    /// Bytes on their way to a line.
    pub pending: Option<Pending>,
    /// Who the instrument said it is when it was first asked.
    pub identity: Option<String>,
    /// Another instrument answered: its readings belong to nobody.
    pub changed: bool,
    /// What the driver was last told to measure.
    pub want: Option<Want>,
    /// How often it was asked in vain since it last said anything.
    pub unanswered: u32,
}

/// An instrument that let so many questions pass in a row is silent: one may be lost on its way.
const SILENT: u32 = 2;

impl Link {
    pub(super) fn new(settings: LinkSettings) -> Link {
        let unconfirmed = Wire::of(&settings).is_ok_and(|wire| wire.unconfirmed());
        Link {
            settings,
            unconfirmed,
            up: false,
            why_down: None,
            wire: None,
            book: None,
            offset: 0,
            pending: None,
            identity: None,
            changed: false,
            want: None,
            unanswered: 0,
        }
    }

    /// It was asked and did not answer. That a connection is open says nothing of who is behind it.
    pub(super) fn unanswered(&mut self) {
        self.unanswered = self.unanswered.saturating_add(1);
    }

    /// It says something.
    pub(super) fn heard(&mut self) {
        self.unanswered = 0;
    }

    /// It is asked in vain.
    pub(super) fn is_silent(&self) -> bool {
        self.unanswered >= SILENT
    }

    /// Scanned bytes live in `scan` lines only.
    pub(super) fn is_scanner(&self) -> bool {
        tapline_drivers::catalogue::is_scanner(&self.settings.driver)
    }

    /// The line that its bytes go to; taking its number is what begins it.
    pub(super) fn pend(&mut self, seq: &mut u64, at: Stamp) -> &mut Pending {
        let offset = self.offset;
        self.pending.get_or_insert_with(|| {
            *seq += 1;
            Pending::new(*seq, at, offset)
        })
    }

    /// The stream is over.
    pub(super) fn down(&mut self, why: String) {
        self.up = false;
        self.why_down = Some(why);
        self.wire = None;
        self.book = None;
        self.want = None;
        self.changed = false;
        self.heard();
    }
}
