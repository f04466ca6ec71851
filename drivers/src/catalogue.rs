//! The built-in drivers by name.

use alloc::string::String;
use alloc::sync::Arc;
use alloc::vec::Vec;

use crate::ask::{Asker, Measures};
use crate::described::{DescribedDriver, Description};
use crate::driver::{Driver, Input, Message, Never, Output};
use crate::frame::{Framed, ascii14, envelope, fixed14, nib11, range, seg14, stx16};
use crate::reading::Now;
use crate::report::Printer;
use crate::scan::{Profile, Scanner};
use crate::scpi::{Scpi, profile};
use crate::talker::Talker;
use crate::{ask, contacts, csv_line, described, report, scan, scpi, val_unit_line};

/// How sure the layout of a style is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// Read in a document or seen on the wire.
    Confirmed,
    /// From memory, in a part that a value depends on.
    Unconfirmed,
}

impl Source {
    /// As a word: `confirmed` or `unconfirmed`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Source::Confirmed => "confirmed",
            Source::Unconfirmed => "unconfirmed",
        }
    }
}

/// What is known of a built-in driver before it runs.
#[derive(Debug, Clone, Copy)]
struct Entry {
    name: &'static str,
    version: u32,
    sends: bool,
    period_ms: u32,
    source: Source,
    make: fn() -> Kind,
}

/// A talk-only style of frames.
const fn framed(name: &'static str, version: u32, period_ms: u32, make: fn() -> Kind) -> Entry {
    Entry { name, version, sends: false, period_ms, source: Source::Unconfirmed, make }
}

/// A profile of SCPI.
const fn scpi(name: &'static str, make: fn() -> Kind) -> Entry {
    let version = scpi::VERSION;
    Entry { name, version, sends: true, period_ms: 0, source: Source::Confirmed, make }
}

/// A style that asks.
const fn asking(name: &'static str, version: u32, make: fn() -> Kind) -> Entry {
    Entry { name, version, sends: true, period_ms: 0, source: Source::Unconfirmed, make }
}

const fn confirmed(entry: Entry) -> Entry {
    Entry { source: Source::Confirmed, ..entry }
}

const fn unconfirmed(entry: Entry) -> Entry {
    Entry { source: Source::Unconfirmed, ..entry }
}

/// The one style whose answers do not say what they are of.
const PROMPT_ECHO: &str = "prompt-echo";

const ENTRIES: &[Entry] = &[
    scpi("scpi", || Kind::Scpi(Scpi::new(&profile::PLAIN))),
    unconfirmed(scpi("scpi-remote", || Kind::Scpi(Scpi::new(&profile::REMOTE)))),
    scpi("scpi-lang", || Kind::Scpi(Scpi::new(&profile::LANGUAGE))),
    scpi("scpi-elements", || Kind::Scpi(Scpi::new(&profile::ELEMENTS))),
    scpi("scpi-tcp", || Kind::Scpi(Scpi::new(&profile::TCP))),
    unconfirmed(scpi("scpi-remote-clear", || Kind::Scpi(Scpi::new(&profile::REMOTE_CLEAR)))),
    unconfirmed(scpi("scpi-twice", || Kind::Scpi(Scpi::new(&profile::TWICE)))),
    unconfirmed(scpi("scpi-remote-twice", || Kind::Scpi(Scpi::new(&profile::REMOTE_TWICE)))),
    scpi("scpi-list", || Kind::Scpi(Scpi::new(&profile::LIST))),
    unconfirmed(scpi("scpi-low-ohm-8", || Kind::Scpi(Scpi::new(&profile::LOW_OHM_8)))),
    unconfirmed(scpi("scpi-low-ohm-9", || Kind::Scpi(Scpi::new(&profile::LOW_OHM_9)))),
    scpi("scpi-auto", || Kind::Scpi(Scpi::new(&profile::AUTO))),
    Entry {
        name: "val-unit-line",
        version: val_unit_line::VERSION,
        sends: false,
        period_ms: val_unit_line::PERIOD_MS,
        source: Source::Confirmed,
        make: || Kind::Talker(val_unit_line::driver()),
    },
    Entry {
        name: "contacts",
        version: contacts::VERSION,
        sends: false,
        period_ms: 0,
        source: Source::Confirmed,
        make: || Kind::Talker(contacts::driver()),
    },
    Entry {
        name: "scan",
        version: scan::VERSION,
        sends: false,
        period_ms: 0,
        source: Source::Confirmed,
        make: || Kind::Scanner(Scanner::new()),
    },
    Entry {
        name: "csv-line",
        version: csv_line::VERSION,
        sends: false,
        period_ms: csv_line::PERIOD_MS,
        source: Source::Unconfirmed,
        make: || Kind::Talker(csv_line::driver()),
    },
    Entry {
        name: "report",
        version: report::VERSION,
        sends: false,
        period_ms: 0,
        source: Source::Unconfirmed,
        make: || Kind::Printer(Printer::new()),
    },
    framed("seg14", seg14::VERSION, seg14::PERIOD_MS, || Kind::Framed(Framed::new(&seg14::STYLE))),
    confirmed(framed("range11", range::VERSION, range::PERIOD_MS, || {
        Kind::Framed(Framed::new(&range::RANGE11))
    })),
    framed("range14", range::VERSION, range::PERIOD_MS, || {
        Kind::Framed(Framed::new(&range::RANGE14))
    }),
    framed("ascii14", ascii14::VERSION, ascii14::PERIOD_MS, || {
        Kind::Framed(Framed::new(&ascii14::STYLE))
    }),
    framed("nib11", nib11::VERSION, nib11::PERIOD_MS, || Kind::Framed(Framed::new(&nib11::STYLE))),
    confirmed(framed("stx16", stx16::VERSION, stx16::PERIOD_MS, || {
        Kind::Framed(Framed::new(&stx16::STYLE))
    })),
    framed("envelope", envelope::VERSION, envelope::PERIOD_MS, || {
        Kind::Framed(Framed::new(&envelope::STYLE))
    }),
    framed("fixed14", fixed14::VERSION, fixed14::PERIOD_MS, || {
        Kind::Framed(Framed::new(&fixed14::STYLE))
    }),
    asking("fixed14-poll", ask::fixed14::VERSION, || Kind::Asker(Asker::new(&ask::fixed14::TALK))),
    confirmed(asking("letter-poll", ask::letter_poll::VERSION, || {
        Kind::Asker(Asker::new(&ask::letter_poll::TALK))
    })),
    confirmed(asking(PROMPT_ECHO, ask::prompt_echo::VERSION, || {
        Kind::Asker(Asker::new(&ask::prompt_echo::TALK))
    })),
    asking("ack-code", ask::ack_code::VERSION, || Kind::Asker(Asker::new(&ask::ack_code::TALK))),
];

/// A built-in driver. All speak with one output type; a listen-only one can't make a `Send`.
#[derive(Debug)]
pub struct AnyDriver {
    about: About,
    kind: Kind,
}

/// What it is called, and what is known of it.
#[derive(Debug)]
enum About {
    BuiltIn(&'static Entry),
    /// With what its numbers are, as `prompt-echo resistance_2w Ohm`.
    Told(&'static Entry, String),
    Described(Arc<Description>),
}

#[derive(Debug)]
enum Kind {
    Scpi(Scpi),
    Talker(Talker),
    Scanner(Scanner),
    Framed(Framed),
    Printer(Printer),
    Asker(Asker),
    Described(DescribedDriver),
}

/// The names of all built-in drivers.
pub fn names() -> impl Iterator<Item = &'static str> {
    ENTRIES.iter().map(|entry| entry.name)
}

/// The style does not say what its numbers are: somebody has to say it, behind its name.
#[must_use]
pub fn says_no_function(name: &str) -> bool {
    name == PROMPT_ECHO
}

/// It is the driver of barcode scanners, whatever stands behind its name: their bytes are shown in
/// scans only.
#[must_use]
pub fn is_scanner(name: &str) -> bool {
    name.split(' ').next() == Some("scan")
}

/// A fresh driver of this name, `None` where there is none. Behind `scan` may stand what is known
/// of the reader and its site ([`Profile::parse`]). Behind the name of a style that says no
/// function may stand what its numbers are ([`Measures::parse`]).
#[must_use]
pub fn by_name(name: &str) -> Option<AnyDriver> {
    let (style, told) = name.split_once(' ').map_or((name, None), |(s, told)| (s, Some(told)));
    let entry = ENTRIES.iter().find(|entry| entry.name == style)?;
    let Some(told) = told else {
        return Some(AnyDriver { about: About::BuiltIn(entry), kind: (entry.make)() });
    };
    if is_scanner(style) {
        let kind = Kind::Scanner(Scanner::with(Profile::parse(told).ok()?));
        return Some(AnyDriver { about: About::Told(entry, name.into()), kind });
    }
    let measures = Measures::parse(told).ok().filter(|_| says_no_function(style))?;
    let kind = Kind::Asker(Asker::told(&ask::prompt_echo::TALK, measures));
    Some(AnyDriver { about: About::Told(entry, name.into()), kind })
}

impl AnyDriver {
    /// A fresh driver of a description. It only listens.
    #[must_use]
    pub fn described(about: &Arc<Description>) -> AnyDriver {
        let kind = Kind::Described(DescribedDriver::new(about.clone()));
        AnyDriver { about: About::Described(about.clone()), kind }
    }

    /// Its name in the configuration.
    #[must_use]
    pub fn name(&self) -> &str {
        match &self.about {
            About::BuiltIn(entry) => entry.name,
            About::Told(_, name) => name,
            About::Described(about) => &about.name,
        }
    }

    /// Raised whenever the same bytes give another output; of a described driver the
    /// interpreter's: another description is another text.
    #[must_use]
    pub fn version(&self) -> u32 {
        match &self.about {
            About::BuiltIn(entry) | About::Told(entry, _) => entry.version,
            About::Described(_) => described::VERSION,
        }
    }

    /// It may ask. Only for instruments of source class none and low.
    #[must_use]
    pub fn sends(&self) -> bool {
        match &self.about {
            About::BuiltIn(entry) | About::Told(entry, _) => entry.sends,
            About::Described(_) => false,
        }
    }

    /// One conversion, milliseconds, where nothing better is known; 0 where readings come when
    /// they are asked for.
    #[must_use]
    pub fn period_ms(&self) -> u32 {
        match &self.about {
            About::BuiltIn(entry) | About::Told(entry, _) => entry.period_ms,
            About::Described(about) => about.period_ms,
        }
    }

    /// How sure its layout is.
    #[must_use]
    pub fn source(&self) -> Source {
        match &self.about {
            About::BuiltIn(entry) | About::Told(entry, _) => entry.source,
            About::Described(about) => about.source,
        }
    }

    /// Its allow-list: everything that it can ever send. Nothing where it can't send.
    #[must_use]
    pub fn allowed(&self) -> Vec<Message> {
        match &self.kind {
            Kind::Scpi(driver) => driver.allowed(),
            Kind::Asker(driver) => driver.allowed(),
            // By type: what they send has no values.
            Kind::Talker(_)
            | Kind::Scanner(_)
            | Kind::Framed(_)
            | Kind::Printer(_)
            | Kind::Described(_) => Vec::new(),
        }
    }

    /// Outputs that are made and not yet polled for: 64 at most.
    #[must_use]
    pub fn queued(&self) -> usize {
        match &self.kind {
            Kind::Scpi(driver) => driver.queued(),
            Kind::Asker(driver) => driver.queued(),
            // Made one at a time, when polled for.
            Kind::Talker(_) | Kind::Scanner(_) | Kind::Framed(_) => 0,
            Kind::Printer(_) | Kind::Described(_) => 0,
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
            Kind::Asker(driver) => driver.handle(now, input),
            Kind::Talker(driver) => driver.handle(now, input),
            Kind::Scanner(driver) => driver.handle(now, input),
            Kind::Framed(driver) => driver.handle(now, input),
            Kind::Printer(driver) => driver.handle(now, input),
            Kind::Described(driver) => driver.handle(now, input),
        }
    }

    fn poll(&mut self) -> Option<Output<Message>> {
        match &mut self.kind {
            Kind::Scpi(driver) => driver.poll(),
            Kind::Asker(driver) => driver.poll(),
            Kind::Talker(driver) => driver.poll().map(quiet),
            Kind::Scanner(driver) => driver.poll().map(quiet),
            Kind::Framed(driver) => driver.poll().map(quiet),
            Kind::Printer(driver) => driver.poll().map(quiet),
            Kind::Described(driver) => driver.poll().map(quiet),
        }
    }

    fn deadline(&self) -> Option<Now> {
        match &self.kind {
            Kind::Scpi(driver) => driver.deadline(),
            Kind::Asker(driver) => driver.deadline(),
            Kind::Talker(driver) => driver.deadline(),
            Kind::Scanner(driver) => driver.deadline(),
            Kind::Framed(driver) => driver.deadline(),
            Kind::Printer(driver) => driver.deadline(),
            Kind::Described(driver) => driver.deadline(),
        }
    }
}
