//! Configuration: what is plugged in where. Read once, at start; a change needs a restart.
//!
//! Every fault of the file is told at once, each with its line. What things *are* (assets,
//! instruments, fixtures, people) is the register, not the configuration.

mod bench;
pub mod drivers;
mod due;
mod link;
pub(crate) mod nearest;
mod paper;
mod place;
mod policy;
pub(crate) mod table;
mod webhook;

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::{Path, PathBuf};

use tapline_protocols::Fault;
use tapline_protocols::due::{Counting, Every};
use tapline_protocols::fact::Policy;
use tapline_protocols::read::plain_text;

pub use bench::Bench;
pub use drivers::Choice;
pub use link::Link;
pub use paper::Paper;
pub use place::{Bits, Flow, Layout, Line, Parity, Place, Signals};
use table::{Faults, Table, parse};
pub use webhook::Webhook;

use crate::clock::Zone;

/// Where the configuration lies when nothing else is said.
pub const PATH: &str = "/etc/tapline/tapline.toml";

const FORMAT: &str = "tapline-config-1";

/// The configuration.
#[derive(Debug, Clone, PartialEq)]
pub struct Config {
    /// Station.
    pub station: Station,
    /// Store.
    pub store: Store,
    /// Loopback address of the page, `None` when it is off. It listens at the other loopback
    /// address, too; port 0: at one that the kernel chooses.
    pub page: Option<SocketAddr>,
    /// Benches, at least one, ids differ.
    pub benches: Vec<Bench>,
    /// Links, ids differ.
    pub links: Vec<Link>,
    /// Policy, copied into each inspection as it opens.
    pub policy: Policy,
    /// How days on which assets are due are counted.
    pub due: Counting,
    /// What stands on paper.
    pub paper: Paper,
    /// Whom to tell of sealed records.
    pub webhook: Option<Webhook>,
    /// Folder of the file: the workshop's own `plans/` and `limits/` lie in it. Empty until
    /// [`Config::beside`].
    pub site: PathBuf,
}

/// The station.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Station {
    /// 2 to 6 of `A-Z 0-9`; never changes.
    pub id: String,
    /// For people.
    pub name: String,
    /// IANA zone, for dates on paper and in inspection numbers.
    pub zone: String,
}

/// The store.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Store {
    /// Folder of the books.
    pub folder: PathBuf,
    /// Shortest time between two commits, milliseconds, 5 to 200.
    pub commit_ms: u32,
    /// How long idle books are kept, days.
    pub idle_days: u32,
    /// How much room idle books may take, mebibytes.
    pub idle_max_mb: u32,
    /// Room held back for the end of what is open, mebibytes.
    pub reserve_mb: u32,
    /// An archive is made again after so many days at the latest; the status says where it was not.
    pub archive_days: u32,
    /// An archive is tried by a drill after so many days at the latest.
    pub drill_days: u32,
    /// How long records of a retired asset stay after it, at least; `None`: for ever.
    pub prune_after: Option<Every>,
}

impl Config {
    /// Reads a file; what its drivers are is not asked.
    ///
    /// # Errors
    /// All faults at once, in the order of the file.
    pub fn load(path: &Path) -> Result<Config, Vec<Fault>> {
        let text = std::fs::read_to_string(path).map_err(|error| {
            let text = format!("can't read {}: {error}", path.display());
            vec![Fault { line: 0, field: String::new(), text }]
        })?;
        // One that can't be used keeps its name: whether the station could run is not asked here.
        let driver = |name: &str| match drivers::choose(path, name) {
            Choice::Described(described) => Choice::Described(described),
            _ => Choice::BuiltIn,
        };
        Config::read(&text, &driver).map(|config| config.beside(path))
    }

    /// The configuration of a file: a data folder that does not begin with `/` lies beside it.
    #[must_use]
    pub fn beside(mut self, file: &Path) -> Config {
        let beside = file.parent().unwrap_or(Path::new("")).join(&self.store.folder);
        self.store.folder = std::path::absolute(&beside).unwrap_or(beside);
        let parent = file.parent().filter(|parent| !parent.as_os_str().is_empty());
        let site = parent.unwrap_or(Path::new(".")).to_path_buf();
        self.site = std::path::absolute(&site).unwrap_or(site);
        if let Some(webhook) = &mut self.webhook {
            webhook.secret = self.site.join(&webhook.secret);
        }
        self
    }

    /// Reads the text of a file. `driver` says what the name of a driver comes to.
    ///
    /// # Errors
    /// All faults at once, in the order of the file.
    pub fn read(text: &str, driver: &dyn Fn(&str) -> Choice) -> Result<Config, Vec<Fault>> {
        let mut faults = Faults::of(text);
        let file = parse(text, &mut faults);
        let root = Table::root(&file);
        let known = [
            "format", "station", "store", "page", "bench", "link", "scan", "policy", "due",
            "paper", "webhook",
        ];
        root.only(&mut faults, &known);
        if root.need(&mut faults, "format") != FORMAT {
            faults.note(root.place("format"), "format", format!("must be \"{FORMAT}\""));
        }
        let links = link::read(&root, driver, &mut faults);
        let config = Config {
            station: station(&root, &mut faults),
            store: store(&root, &mut faults),
            page: page(&root, &mut faults),
            benches: bench::read(&root, &links, &mut faults),
            links,
            policy: policy::read(&root, &mut faults),
            due: due::read(&root, &mut faults),
            paper: paper::read(&root, &mut faults),
            webhook: webhook::read(&root, &mut faults),
            site: PathBuf::new(),
        };
        link::check(&root, &config, &mut faults);
        let faults = faults.into_sorted();
        if faults.is_empty() { Ok(config) } else { Err(faults) }
    }

    /// The bench of that id.
    #[must_use]
    pub fn bench(&self, id: &str) -> Option<&Bench> {
        self.benches.iter().find(|bench| bench.id == id)
    }
}

/// A table that must be there, or an empty stand-in after a fault.
fn section<'t>(root: &Table<'t>, key: &str, faults: &mut Faults<'_>) -> Option<Table<'t>> {
    if !root.has(key) {
        faults.note(0, key, format!("missing: the file needs a table `[{key}]`"));
    }
    root.table(faults, key)
}

/// Who tests stands on every report, by IEC 62353:2014, 6.1 (from memory).
const NAME: &str = "must have 1 to 500 characters on one row: who tests stands on every report";

fn station(root: &Table<'_>, faults: &mut Faults<'_>) -> Station {
    let empty = Station { id: String::new(), name: String::new(), zone: String::new() };
    let Some(table) = section(root, "station", faults) else { return empty };
    table.only(faults, &["id", "name", "zone"]);
    let id = table.need(faults, "id");
    let plain = |b: u8| b.is_ascii_uppercase() || b.is_ascii_digit();
    if table.has("id") && !((2..=6).contains(&id.len()) && id.bytes().all(plain)) {
        faults.note(table.place("id"), "station.id", "must be 2 to 6 of A-Z and 0-9");
    }
    let zone = table.need(faults, "zone");
    if table.has("zone") && Zone::named(zone).is_none() {
        let text = format!("this machine knows no zone `{zone}`; write one such as Etc/UTC");
        faults.note(table.place("zone"), "station.zone", text);
    }
    let name = table.need(faults, "name");
    if table.has("name") && !plain_text(name) {
        faults.note(table.place("name"), "station.name", NAME);
    }
    Station { id: id.into(), name: name.into(), zone: zone.into() }
}

fn store(root: &Table<'_>, faults: &mut Faults<'_>) -> Store {
    let table = section(root, "store", faults);
    let folder = table.as_ref().map_or("", |table| table.need(faults, "folder"));
    let whole = |key, range, usual, faults: &mut Faults<'_>| match &table {
        Some(table) => table.whole(faults, key, range, usual),
        None => usual,
    };
    if let Some(table) = &table {
        let sizes = ["folder", "commit_ms", "idle_days", "idle_max_mb", "reserve_mb"];
        let copies = ["archive_days", "drill_days", "prune_after"];
        table.only(faults, &[&sizes[..], &copies].concat());
    }
    Store {
        folder: PathBuf::from(folder),
        commit_ms: whole("commit_ms", 5..=200, 20, faults),
        idle_days: whole("idle_days", 1..=3650, 30, faults),
        idle_max_mb: whole("idle_max_mb", 16..=1_048_576, 2048, faults),
        reserve_mb: whole("reserve_mb", 1..=65_536, 64, faults),
        archive_days: whole("archive_days", 1..=3650, 35, faults),
        drill_days: whole("drill_days", 1..=3650, 366, faults),
        prune_after: table.as_ref().and_then(|table| prune_after(table, faults)),
    }
}

fn prune_after(table: &Table<'_>, faults: &mut Faults<'_>) -> Option<Every> {
    let text = table.text(faults, "prune_after").filter(|text| *text != "never")?;
    let every = Every::parse(text);
    if every.is_none() {
        let say = "must be \"never\", or how long after its asset a record stays: \"P11Y\"";
        faults.note(table.place("prune_after"), "store.prune_after", say);
    }
    every
}

fn page(root: &Table<'_>, faults: &mut Faults<'_>) -> Option<SocketAddr> {
    let table = root.table(faults, "page")?;
    table.only(faults, &["listen"]);
    let text = table.need(faults, "listen");
    if text == "off" || !table.has("listen") {
        return None;
    }
    let place = table.place("listen");
    let Ok(address) = text.parse::<SocketAddr>() else {
        let say = "must be \"off\" or a loopback address with port, \"127.0.0.1:8177\"";
        faults.note(place, "page.listen", say);
        return None;
    };
    let loopback = [IpAddr::V4(Ipv4Addr::LOCALHOST), IpAddr::V6(Ipv6Addr::LOCALHOST)];
    if !loopback.contains(&address.ip()) {
        let say = "only loopback (127.0.0.1 or [::1]): the page is for this machine alone";
        faults.note(place, "page.listen", say);
    }
    Some(address)
}

#[cfg(test)]
mod tests;
