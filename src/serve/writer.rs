//! The thread that owns the books: commit, then show, then answer. In this order and no other.

use std::path::PathBuf;
use std::sync::Arc;

use tapline_protocols::Fact;
use tokio::sync::mpsc;

use super::earlier;
use super::feed::Shown;
use super::links::Links;
use super::shared::{Handover, Shared};
use crate::books::{Books, Halted};
use crate::clock;
use crate::station::event::{Effect, Event};

/// What the engine hands to the writer.
pub(super) enum Work {
    /// Effects, in order.
    Effects(Vec<Effect>),
    /// An answer that may be handed over when everything before is durable.
    Handover(Handover),
}

/// Batches that may wait for the disk; the engine waits when they are used up.
pub(super) const WORK_MAX: usize = 64;

/// The writer with what it needs.
pub(super) struct Writer {
    pub(super) books: Books,
    pub(super) shared: Arc<Shared>,
    pub(super) links: Arc<Links>,
    pub(super) sealed: mpsc::Sender<Event>,
    /// The data folder.
    pub(super) folder: PathBuf,
}

impl Writer {
    /// Works until the engine is gone.
    ///
    /// # Errors
    /// Something could not be made durable: nothing after it was done.
    pub(super) fn run(mut self, mut work: mpsc::Receiver<Work>) -> Result<(), Halted> {
        while let Some(work) = work.blocking_recv() {
            match work {
                Work::Effects(effects) => {
                    for effect in effects {
                        self.perform(effect)?;
                    }
                }
                Work::Handover(handover) => handover(),
            }
        }
        Ok(())
    }

    fn perform(&mut self, effect: Effect) -> Result<(), Halted> {
        match effect {
            Effect::Commit(lines) => {
                let texts = self.books.commit(&lines)?;
                let shown = lines.iter().zip(&texts).map(|(line, text)| Shown::new(line, text));
                self.shared.feed.show(shown.collect());
                for line in &lines {
                    earlier::read(&self.books, &self.shared, (&self.folder, line), &self.sealed);
                }
                let taps = lines.iter().filter_map(|line| match &line.fact {
                    Fact::Tap(tap) => Some(&tap.link),
                    _ => None,
                });
                taps.for_each(|link| self.links.again(link));
                if let Some(indexer) = self.shared.indexer.get() {
                    lines
                        .iter()
                        .zip(&texts)
                        .for_each(|(line, text)| indexer.line(&line.book, text));
                }
            }
            Effect::Show(status) => self.shared.show(*status),
            Effect::Seal { id } => {
                let fact = self.books.seal(&id)?;
                let at = clock::now();
                let (head, bytes, key) = (fact.head, fact.bytes, fact.key);
                // The engine may have stopped; the next start tells what was sealed.
                let _ = self.sealed.blocking_send(Event::Sealed { at, id, head, bytes, key });
            }
            Effect::Send { link, bytes } => {
                if let Err(why) = self.links.send(&link, bytes) {
                    tracing::warn!(link, why, "A query was not sent.");
                }
            }
            Effect::Answer { ticket, result } => self.shared.desk.answer(ticket, result),
        }
        Ok(())
    }
}
