//! How books begin: the first line that all of them have.

use tapline_protocols::Fact;
use tapline_protocols::fact::Open;

use super::core::Core;
use super::event::BookId;
use crate::books::FORMAT;
use crate::clock::{self, Stamp};

impl Core {
    /// The idle book of the day; a clock that goes back stays in the later book.
    pub(super) fn idle_book(&mut self, at: Stamp) -> BookId {
        let day = clock::utc_day(at.wall_us);
        if self.idle.as_ref().is_none_or(|last| *last < day) {
            self.close_pending();
            self.idle = Some(day.clone());
            let open = Fact::Open(Box::new(self.open_fact(day.clone(), at)));
            self.put(BookId::Idle(day), at, open, None);
        }
        BookId::Idle(self.idle.clone().expect("set above"))
    }

    /// First line of a book, without what inspections add.
    pub(super) fn open_fact(&self, id: String, at: Stamp) -> Open {
        Open {
            format: FORMAT.into(),
            id,
            verify: None,
            station: self.settings.id.clone(),
            inspection: None,
            version: self.context.version.clone(),
            judge: self.context.judge,
            boot: self.context.boot.clone(),
            zone: self.settings.zone_name.clone(),
            offset: self.settings.zone.offset(at.wall_us),
            synced: self.context.synced,
            key: None,
            follows: None,
        }
    }
}
