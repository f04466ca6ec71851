//! The last things that happened, for whoever reads a failure.

use std::collections::VecDeque;
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

use tapline::station::event::Event;

/// So many are kept; `KEPT=100000` keeps a whole story.
const KEPT: usize = 60;
static KEEP: LazyLock<usize> =
    LazyLock::new(|| std::env::var("KEPT").ok().and_then(|text| text.parse().ok()).unwrap_or(KEPT));
/// Longest text of one of them, characters.
const TEXT_MAX: usize = 400;

/// Something that happened.
#[derive(Debug, Clone)]
pub(crate) enum Told {
    /// The core was told of it.
    Event(Box<Event>),
    /// It was stored.
    Line(String),
    /// The world did it.
    Deed(String),
}

/// The last things that happened. Clones share them, so that they outlive a panic.
#[derive(Debug, Clone, Default)]
pub(crate) struct Log(Arc<Mutex<VecDeque<Told>>>);

impl Log {
    pub(crate) fn tell(&self, told: impl FnOnce() -> Told) {
        let mut log = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if log.len() >= *KEEP {
            log.pop_front();
        }
        log.push_back(told());
    }

    /// One a line, oldest first.
    pub(crate) fn text(&self) -> String {
        let log = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let short = |text: String| text.chars().take(TEXT_MAX).collect::<String>();
        let texts = log.iter().map(|told| match told {
            Told::Event(event) => format!("  > {}\n", short(format!("{event:?}"))),
            Told::Line(line) => format!("  | {}\n", short(line.clone())),
            Told::Deed(deed) => format!("  * {}\n", short(deed.clone())),
        });
        texts.collect()
    }
}
