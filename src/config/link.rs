//! Links of the configuration: what is plugged in where.

use std::fmt;
use std::path::{Path, PathBuf};

use tapline_protocols::register::{Isolation, IsolationKind};

use super::Config;
use super::bench::{ID_RULE, is_id};
use super::table::{Faults, Table};

/// The most links that one station serves.
const LINKS_MAX: usize = 256;

/// A link.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Link {
    /// Short name.
    pub id: String,
    /// Bench it belongs to.
    pub bench: String,
    /// Where it is plugged in.
    pub place: Place,
    /// Driver: the name of a built-in one.
    pub driver: String,
    /// Instrument on it, an entry of the register; scanners and contacts have none.
    pub instrument: Option<String>,
    /// Galvanic isolation of the cable or converter, besides the instrument's own.
    pub isolation: Option<Isolation>,
}

/// Where a link is plugged in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// A serial port, by a path that stays the same, with its settings.
    Serial(PathBuf, Line),
    /// `host:port` of a raw socket.
    Tcp(String),
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

pub(super) fn read(root: &Table<'_>, faults: &mut Faults<'_>) -> Vec<Link> {
    let tables = root.tables(faults, "link");
    if tables.len() > LINKS_MAX {
        faults.note(root.place("link"), "link", format!("more than {LINKS_MAX} links"));
    }
    tables.iter().take(LINKS_MAX).map(|table| link(table, faults)).collect()
}

fn link(table: &Table<'_>, faults: &mut Faults<'_>) -> Link {
    let known = ["id", "bench", "serial", "tcp", "line", "driver", "instrument", "isolation"];
    table.only(faults, &known);
    let id = table.need(faults, "id");
    if table.has("id") && !is_id(id) {
        faults.note(table.place("id"), "link.id", ID_RULE);
    }
    Link {
        id: id.into(),
        bench: table.need(faults, "bench").into(),
        place: place(table, faults),
        driver: table.need(faults, "driver").into(),
        instrument: table.text(faults, "instrument").map(str::to_owned),
        isolation: isolation(table, faults),
    }
}

fn place(table: &Table<'_>, faults: &mut Faults<'_>) -> Place {
    let serial = table.text(faults, "serial");
    let tcp = table.text(faults, "tcp");
    match (serial, tcp) {
        (Some(path), None) => {
            if !Path::new(path).is_absolute() {
                faults.note(table.place("serial"), "link.serial", "must be a path from `/` on");
            }
            Place::Serial(PathBuf::from(path), line(table, faults))
        }
        (None, Some(address)) => {
            if table.has("line") {
                let say = "a tcp link has no settings of its own: leave `line` out";
                faults.note(table.place("line"), "link.line", say);
            }
            let port = address.rsplit_once(':').map(|(_, port)| port.parse::<u16>());
            if !matches!(port, Some(Ok(1..))) {
                let say = "must be host:port, such as \"192.0.2.7:5025\"";
                faults.note(table.place("tcp"), "link.tcp", say);
            }
            Place::Tcp(address.into())
        }
        _ => {
            let say = "needs either `serial` (a path) or `tcp` (host:port)";
            faults.note(table.at(), "link", say);
            Place::Tcp(String::new())
        }
    }
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

fn isolation(link: &Table<'_>, faults: &mut Faults<'_>) -> Option<Isolation> {
    let table = link.table(faults, "isolation")?;
    table.only(faults, &["kind", "volts"]);
    let kind = match table.word(faults, "kind", &["unknown", "none", "optical"]) {
        "optical" => IsolationKind::Optical,
        "none" => IsolationKind::None,
        _ => IsolationKind::Unknown,
    };
    let volts = table.whole(faults, "volts", 0..=100_000, 0);
    if kind == IsolationKind::Optical && volts == 0 {
        faults.note(table.at(), "link.isolation.volts", "missing: the rated volts");
    }
    Some(Isolation { kind, volts })
}

/// What can be told only when the whole file was read.
pub(super) fn check(
    root: &Table<'_>,
    config: &Config,
    driver: impl Fn(&Path, &str) -> bool,
    faults: &mut Faults<'_>,
) {
    let tables = root.tables(faults, "link");
    for (n, (link, table)) in config.links.iter().zip(&tables).enumerate() {
        let before = &config.links[..n];
        if !link.id.is_empty() && before.iter().any(|other| other.id == link.id) {
            let say = format!("a second link `{}`; ids must differ", link.id);
            faults.note(table.place("id"), "link.id", say);
        }
        if table.has("bench") && config.bench(&link.bench).is_none() {
            let say = format!("there is no bench `{}`", link.bench);
            faults.note(table.place("bench"), "link.bench", say);
        }
        let taken =
            before.iter().find(|l| l.instrument.is_some() && l.instrument == link.instrument);
        if let Some(other) = taken {
            let say = format!("link `{}` has this instrument already", other.id);
            faults.note(table.place("instrument"), "link.instrument", say);
        }
        if let Some(other) = before.iter().find(|other| same_place(&other.place, &link.place)) {
            let say = format!("link `{}` uses this port already", other.id);
            faults.note(table.at(), "link", say);
        }
        if !link.driver.is_empty() && !driver(&config.store.folder, &link.driver) {
            let known = tapline_drivers::catalogue::names().collect::<Vec<_>>().join(", ");
            let say = format!("no driver `{}`; there are {known}", link.driver);
            faults.note(table.place("driver"), "link.driver", say);
        }
    }
}

fn same_place(a: &Place, b: &Place) -> bool {
    match (a, b) {
        (Place::Serial(a, _), Place::Serial(b, _)) => a == b,
        (Place::Tcp(a), Place::Tcp(b)) => !a.is_empty() && a == b,
        _ => false,
    }
}
