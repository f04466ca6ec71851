//! The built-in drivers by name.

use crate::driver::{Driver, Input, Message, Never, Output};
use crate::reading::Now;
use crate::scan::Scanner;
use crate::scpi::Scpi;
use crate::talker::Talker;
use crate::{contacts, scan, scpi, val_unit_line};

/// What is known of a built-in driver before it runs.
#[derive(Debug, Clone, Copy)]
struct Entry {
    name: &'static str,
    version: u32,
    sends: bool,
    period_ms: u32,
    make: fn() -> Kind,
}

const ENTRIES: &[Entry] = &[
    Entry {
        name: "scpi",
        version: scpi::VERSION,
        sends: true,
        period_ms: 0,
        make: || Kind::Scpi(Scpi::new()),
    },
    Entry {
        name: "val-unit-line",
        version: val_unit_line::VERSION,
        sends: false,
        period_ms: val_unit_line::PERIOD_MS,
        make: || Kind::Talker(val_unit_line::driver()),
    },
    Entry {
        name: "contacts",
        version: contacts::VERSION,
        sends: false,
        period_ms: 0,
        make: || Kind::Talker(contacts::driver()),
    },
    Entry {
        name: "scan",
        version: scan::VERSION,
        sends: false,
        period_ms: 0,
        make: || Kind::Scanner(Scanner::new()),
    },
];

/// A built-in driver. All speak with one output type; a listen-only one can't make a `Send`.
#[derive(Debug)]
pub struct AnyDriver {
    entry: &'static Entry,
    kind: Kind,
}

#[derive(Debug)]
enum Kind {
    Scpi(Scpi),
    Talker(Talker),
    Scanner(Scanner),
}

/// The names of all built-in drivers.
pub fn names() -> impl Iterator<Item = &'static str> {
    ENTRIES.iter().map(|entry| entry.name)
}

/// A fresh driver of this name, `None` where there is none.
#[must_use]
pub fn by_name(name: &str) -> Option<AnyDriver> {
    let entry = ENTRIES.iter().find(|entry| entry.name == name)?;
    Some(AnyDriver { entry, kind: (entry.make)() })
}

impl AnyDriver {
    /// Its name in the configuration.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.entry.name
    }

    /// Raised whenever the same bytes give another output.
    #[must_use]
    pub fn version(&self) -> u32 {
        self.entry.version
    }

    /// It may ask. Only for instruments of source class none and low.
    #[must_use]
    pub fn sends(&self) -> bool {
        self.entry.sends
    }

    /// One conversion, milliseconds, where nothing better is known; 0 where readings come when
    /// they are asked for.
    #[must_use]
    pub fn period_ms(&self) -> u32 {
        self.entry.period_ms
    }

    /// Outputs that are made and not yet polled for.
    #[cfg(test)]
    pub(crate) fn queued(&self) -> usize {
        match &self.kind {
            Kind::Scpi(driver) => driver.queued(),
            // Made one at a time, when polled for.
            Kind::Talker(_) | Kind::Scanner(_) => 0,
        }
    }
}

/// The outputs of a driver that sends nothing, as those of one that may.
fn quiet(output: Output<Never>) -> Output<Message> {
    match output {
        Output::Reading(reading) => Output::Reading(reading),
        Output::Scan(scan) => Output::Scan(scan),
        Output::Contacts(contacts) => Output::Contacts(contacts),
        Output::Note(note) => Output::Note(note),
        Output::Identity(identity) => Output::Identity(identity),
        Output::Ready(function) => Output::Ready(function),
        Output::Send(never) => match never {},
    }
}

impl Driver for AnyDriver {
    type Sends = Message;

    fn handle(&mut self, now: Now, input: Input<'_>) {
        match &mut self.kind {
            Kind::Scpi(driver) => driver.handle(now, input),
            Kind::Talker(driver) => driver.handle(now, input),
            Kind::Scanner(driver) => driver.handle(now, input),
        }
    }

    fn poll(&mut self) -> Option<Output<Message>> {
        match &mut self.kind {
            Kind::Scpi(driver) => driver.poll(),
            Kind::Talker(driver) => driver.poll().map(quiet),
            Kind::Scanner(driver) => driver.poll().map(quiet),
        }
    }

    fn deadline(&self) -> Option<Now> {
        match &self.kind {
            Kind::Scpi(driver) => driver.deadline(),
            Kind::Talker(driver) => driver.deadline(),
            Kind::Scanner(driver) => driver.deadline(),
        }
    }
}
