//! The driver of a link, by the name that the configuration gives it.

use std::fmt;

use tapline_drivers::catalogue::{self, AnyDriver, Source};
use tapline_drivers::driver::{Driver, Input, Message, Output};
use tapline_drivers::reading::Now;

use super::described::Described;
use super::settings::LinkSettings;

/// A fresh driver of a link.
pub struct Wire(AnyDriver);

impl Wire {
    /// A fresh built-in driver of this name.
    ///
    /// # Errors
    /// No driver has this name.
    pub fn new(name: &str) -> Result<Wire, String> {
        catalogue::by_name(name).map(Wire).ok_or_else(|| {
            let known: Vec<&str> = catalogue::names().collect();
            format!("no driver `{name}`: choose one of {}", known.join(", "))
        })
    }

    /// A fresh driver of a link: the one that a file describes, or a built-in one.
    ///
    /// # Errors
    /// No driver has this name.
    pub fn of(link: &LinkSettings) -> Result<Wire, String> {
        match &link.described {
            Some(described) => Ok(Wire::described(described)),
            None => Wire::new(&link.driver),
        }
    }

    /// A fresh driver that a file describes. It only listens.
    #[must_use]
    pub fn described(described: &Described) -> Wire {
        Wire(AnyDriver::described(&described.description))
    }

    /// Whether it may ask: only for instruments that can't put out a voltage.
    #[must_use]
    pub fn sends(&self) -> bool {
        self.0.sends()
    }

    /// Raised whenever the same bytes give another output; 1 or more.
    #[must_use]
    pub fn version(&self) -> u32 {
        self.0.version()
    }

    /// One conversion, milliseconds, where the driver knows it.
    #[must_use]
    pub fn period_ms(&self) -> Option<u32> {
        Some(self.0.period_ms()).filter(|period| *period > 0)
    }

    /// Its layout is from memory, in a part that a value depends on.
    #[must_use]
    pub fn unconfirmed(&self) -> bool {
        self.0.source() == Source::Unconfirmed
    }

    /// Takes one input.
    pub fn handle(&mut self, now: Now, input: Input<'_>) {
        self.0.handle(now, input);
    }

    /// The next output, `None` when drained.
    pub fn poll(&mut self) -> Option<Output<Message>> {
        self.0.poll()
    }

    /// When a tick is wanted next.
    #[must_use]
    pub fn deadline(&self) -> Option<Now> {
        self.0.deadline()
    }
}

impl fmt::Debug for Wire {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Wire({})", self.0.name())
    }
}
