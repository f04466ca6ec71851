//! Where a link is plugged in, with what is to be set there.

use std::fmt;
use std::path::{Path, PathBuf};

use super::link::Link;
use super::table::{Faults, Table};

/// Keys of a link that say where it is plugged in.
pub(super) const KEYS: [&str; 8] =
    ["serial", "tcp", "inputs", "usbtmc", "keys", "stdin", "line", "layout"];

/// Where a link is plugged in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// A serial port, by a path that stays the same, with its settings.
    Serial(PathBuf, Line),
    /// `host:port` of a raw socket.
    Tcp(String),
    /// The four modem inputs of a serial port: CTS, DSR, DCD and RI are the contacts 1 to 4.
    Inputs(PathBuf, Signals),
    /// A USBTMC instrument, by the kernel's node for it.
    Usbtmc(PathBuf),
    /// A barcode scanner that types: its input node, and the keyboard that it takes itself for.
    Keys(PathBuf, Layout),
    /// Standard input of the station, a pipe.
    Stdin,
}

/// Modem outputs of a serial port.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Signals {
    /// State of DTR, set right after opening and never moved.
    pub dtr: bool,
    /// State of RTS, set right after opening and never moved.
    pub rts: bool,
}

/// The keyboard that a scanner was told to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// Of the United States, which scanners come with.
    Us,
    /// German.
    De,
}

/// Settings of a serial port.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line {
    /// Bits a second.
    pub baud: u32,
    /// Data bits, parity, stop bits.
    pub bits: Bits,
    /// State of DTR, set right after opening and never moved.
    pub dtr: bool,
    /// State of RTS, set right after opening and never moved.
    pub rts: bool,
    /// Flow control.
    pub flow: Flow,
}

/// Data bits, parity, stop bits, as in `8N1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bits {
    /// 7 or 8.
    pub data: u8,
    /// Parity.
    pub parity: Parity,
    /// 1 or 2.
    pub stop: u8,
}

/// Parity of a serial port.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parity {
    /// None.
    None,
    /// Even.
    Even,
    /// Odd.
    Odd,
}

/// Flow control of a serial port.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Flow {
    /// None.
    None,
    /// XON and XOFF.
    Software,
    /// RTS and CTS.
    Hardware,
}

impl Bits {
    /// Reads `8N1`: data bits 7 or 8, parity `N E O`, stop bits 1 or 2.
    #[must_use]
    pub fn parse(text: &str) -> Option<Bits> {
        let [data @ b'7'..=b'8', parity, stop @ b'1'..=b'2'] = text.as_bytes() else {
            return None;
        };
        let parity = match parity {
            b'N' => Parity::None,
            b'E' => Parity::Even,
            b'O' => Parity::Odd,
            _ => return None,
        };
        Some(Bits { data: data - b'0', parity, stop: stop - b'0' })
    }
}

impl fmt::Display for Bits {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parity = match self.parity {
            Parity::None => 'N',
            Parity::Even => 'E',
            Parity::Odd => 'O',
        };
        write!(f, "{}{parity}{}", self.data, self.stop)
    }
}

/// The keys that name a place; one of them must be there.
const PLACES: [&str; 6] = ["serial", "tcp", "inputs", "usbtmc", "keys", "stdin"];

pub(super) fn read(table: &Table<'_>, faults: &mut Faults<'_>) -> Place {
    let named: Vec<&str> = PLACES.into_iter().filter(|key| table.has(key)).collect();
    let [key] = named[..] else {
        let say = "needs one of `serial`, `inputs`, `usbtmc`, `keys` (a path), `tcp` (host:port) \
                   or `stdin`";
        faults.note(table.at(), "link", say);
        return Place::Tcp(String::new());
    };
    for (of, keys) in [("line", &["serial", "inputs"][..]), ("layout", &["keys"])] {
        if table.has(of) && !keys.contains(&key) {
            let say = format!("a link with `{key}` has no such settings: leave `{of}` out");
            faults.note(table.place(of), &format!("link.{of}"), say);
        }
    }
    match key {
        "serial" => Place::Serial(path(table, faults, key), line(table, faults)),
        "inputs" => Place::Inputs(path(table, faults, key), signals(table, faults)),
        "usbtmc" => Place::Usbtmc(path(table, faults, key)),
        "keys" => Place::Keys(path(table, faults, key), layout(table, faults)),
        "stdin" => {
            if !table.flag(faults, "stdin", true) {
                faults.note(table.place("stdin"), "link.stdin", "must be true, or left out");
            }
            Place::Stdin
        }
        _ => tcp(table, faults),
    }
}

fn path(table: &Table<'_>, faults: &mut Faults<'_>, key: &str) -> PathBuf {
    let path = table.text(faults, key).unwrap_or_default();
    if !Path::new(path).is_absolute() {
        faults.note(table.place(key), &format!("link.{key}"), "must be a path from `/` on");
    }
    PathBuf::from(path)
}

fn tcp(table: &Table<'_>, faults: &mut Faults<'_>) -> Place {
    let address = table.text(faults, "tcp").unwrap_or_default();
    let port = address.rsplit_once(':').map(|(_, port)| port.parse::<u16>());
    if !matches!(port, Some(Ok(1..))) {
        let say = "must be host:port, such as \"192.0.2.7:5025\"";
        faults.note(table.place("tcp"), "link.tcp", say);
    }
    Place::Tcp(address.into())
}

fn layout(link: &Table<'_>, faults: &mut Faults<'_>) -> Layout {
    if !link.has("layout") {
        let say = "missing: the keyboard that the scanner was told to be, \"us\" or \"de\"";
        faults.note(link.at(), "link.layout", say);
    }
    match link.word(faults, "layout", &["us", "de"]) {
        "de" => Layout::De,
        _ => Layout::Us,
    }
}

fn signals(link: &Table<'_>, faults: &mut Faults<'_>) -> Signals {
    let usual = Signals { dtr: true, rts: true };
    let Some(table) = link.table(faults, "line") else { return usual };
    table.only(faults, &["dtr", "rts"]);
    Signals { dtr: table.flag(faults, "dtr", usual.dtr), rts: table.flag(faults, "rts", usual.rts) }
}

fn line(link: &Table<'_>, faults: &mut Faults<'_>) -> Line {
    let bits = Bits { data: 8, parity: Parity::None, stop: 1 };
    let usual = Line { baud: 9600, bits, dtr: true, rts: true, flow: Flow::None };
    let Some(table) = link.table(faults, "line") else {
        if !link.has("line") {
            let say = "missing: write `line = { baud = 9600, bits = \"8N1\" }`";
            faults.note(link.at(), "link.line", say);
        }
        return usual;
    };
    table.only(faults, &["baud", "bits", "dtr", "rts", "flow"]);
    for key in ["baud", "bits"].into_iter().filter(|key| !table.has(key)) {
        faults.note(table.at(), &table.name(key), "missing");
    }
    let text = table.text(faults, "bits").unwrap_or("8N1");
    let bits = Bits::parse(text).unwrap_or_else(|| {
        let say = format!("`{text}`: must be data bits, parity, stop bits, such as 8N1 or 7O1");
        faults.note(table.place("bits"), "link.line.bits", say);
        bits
    });
    let flow = match table.word(faults, "flow", &["none", "software", "hardware"]) {
        "software" => Flow::Software,
        "hardware" => Flow::Hardware,
        _ => Flow::None,
    };
    Line {
        baud: table.whole(faults, "baud", 50..=4_000_000, usual.baud),
        bits,
        dtr: table.flag(faults, "dtr", usual.dtr),
        rts: table.flag(faults, "rts", usual.rts),
        flow,
    }
}

impl Place {
    /// Both are one port, which only one link can have.
    pub(super) fn same(&self, other: &Place) -> bool {
        match (self, other) {
            (Place::Stdin, Place::Stdin) => true,
            (Place::Tcp(a), Place::Tcp(b)) => !a.is_empty() && a == b,
            _ => self.path().is_some_and(|path| other.path() == Some(path)),
        }
    }

    /// Where it is plugged in, if that is a file of this machine.
    #[must_use]
    pub fn path(&self) -> Option<&Path> {
        match self {
            Place::Serial(path, _)
            | Place::Inputs(path, _)
            | Place::Usbtmc(path)
            | Place::Keys(path, _) => Some(path),
            Place::Tcp(_) | Place::Stdin => None,
        }
    }

    /// What does not fit the place.
    pub(super) fn check(&self, link: &Link, table: &Table<'_>, faults: &mut Faults<'_>) {
        let sends = tapline_drivers::by_name(&link.driver).map(|driver| driver.sends());
        let say = match self {
            Place::Inputs(..) if link.driver != "contacts" => {
                "modem inputs are contacts, never a reading: their driver is `contacts`"
            }
            Place::Keys(..) if !tapline_drivers::catalogue::is_scanner(&link.driver) => {
                "what types is a scanner: its driver is `scan`"
            }
            Place::Usbtmc(_) if sends == Some(false) => {
                "a USBTMC instrument speaks only when it is asked: use a driver that asks"
            }
            Place::Stdin if sends == Some(true) => {
                "nothing can be sent to standard input: use a driver that only listens"
            }
            _ => return,
        };
        faults.note(table.place("driver"), "link.driver", say);
    }

    /// What of this kind of link no test has ever seen, in words; `None` where it was exercised on
    /// the real thing.
    #[must_use]
    pub fn unexercised(&self) -> Option<&'static str> {
        match self {
            Place::Inputs(..) => Some("modem inputs of a serial port"),
            Place::Usbtmc(_) => Some("USBTMC"),
            Place::Keys(..) => Some("a scanner that types"),
            Place::Serial(..) | Place::Tcp(_) | Place::Stdin => None,
        }
    }
}
