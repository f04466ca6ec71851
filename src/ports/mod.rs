//! What is plugged in, as the kernel tells it under `/sys`, `/dev`, `/proc` and `/run/udev`.
//!
//! **Law.** Nothing here opens a port: a port that is only opened may already see its control
//! lines move. All paths begin at a root that the caller names, so that tests can build a tree.

mod access;
mod kernel;
mod keys;
mod processes;
mod register;
mod wired;

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};

pub use access::{Access, Me};
pub use processes::Holder;
pub use register::register;
pub use wired::{Wired, away, canonical, wired};

/// Most ports that are looked at; a machine with more is told so.
pub const PORTS_MAX: usize = 512;

/// Longest file of the kernel that is read, bytes.
const FILE_MAX: u64 = 64 << 10;

/// What kind of port it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// A serial port.
    Serial,
    /// A USB test-and-measurement interface.
    UsbTmc,
    /// A keyboard that may be a barcode scanner; its name says so where `named` is set.
    Wedge {
        /// The name that it gives itself is that of a scanner.
        named: bool,
    },
}

/// A thing on the USB, as its descriptors say.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Usb {
    /// Vendor, four hexadecimal digits.
    pub vendor: String,
    /// Product, four hexadecimal digits.
    pub product: String,
    /// Serial number; many cheap adapters have none, and two of them can't be told apart by id.
    pub serial: Option<String>,
    /// What it calls itself.
    pub name: Option<String>,
}

/// A port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Port {
    /// Kind.
    pub kind: Kind,
    /// Its node, such as `/dev/ttyUSB0`; another one after the next plugging in.
    pub node: PathBuf,
    /// Names that stay: by id, by path, by our own rules.
    pub names: Vec<PathBuf>,
    /// Driver of the kernel.
    pub driver: Option<String>,
    /// On the USB.
    pub usb: Option<Usb>,
    /// How long the adapter holds back a short piece, milliseconds, where it says so.
    pub latency_ms: Option<u32>,
    /// Who has it open or locked, as far as this user may see.
    pub holders: Vec<Holder>,
    /// Whether this user may open it.
    pub access: Access,
    /// `udev` was told to keep modem probers away from it.
    pub no_modem: bool,
}

/// All ports of a machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Survey {
    /// In order of kind and node.
    pub ports: Vec<Port>,
    /// There were more than [`PORTS_MAX`].
    pub cut: bool,
    /// A program that tries modem commands on new ports.
    pub prober: Option<Holder>,
    /// Processes of other users were there that could not be looked into.
    pub hidden: bool,
}

impl Port {
    /// The name that a configuration should use: by id where the thing has a serial number, else
    /// by the socket that it is plugged in, else the node.
    #[must_use]
    pub fn stable(&self) -> &Path {
        let has = |word: &str| self.names.iter().find(|name| name.to_string_lossy().contains(word));
        let serial = self.usb.as_ref().is_none_or(|usb| usb.serial.is_some());
        let by_id = has("/by-id/").filter(|_| serial);
        by_id.or_else(|| has("/by-path/")).or_else(|| has("/by-id/")).unwrap_or(&self.node)
    }
}

/// Looks at everything under `root`, `/` outside of tests.
#[must_use]
pub fn survey(root: &Path, me: &Me) -> Survey {
    let root = fs::canonicalize(root).unwrap_or_else(|_| root.to_owned());
    let mut ports = kernel::ports(&root);
    ports.sort_by_key(|port| (port.kind, natural(&port.node)));
    let cut = ports.len() > PORTS_MAX;
    ports.truncate(PORTS_MAX);
    let running = processes::look(&root);
    for port in &mut ports {
        port.holders = running.holders(&root, &port.node);
        port.access = access::access(&root, &port.node, me);
    }
    Survey { ports, cut, prober: running.prober, hidden: running.hidden }
}

/// Who has one port open or locked, whatever kind it is.
#[must_use]
pub fn holders(root: &Path, node: &Path) -> Vec<Holder> {
    let root = fs::canonicalize(root).unwrap_or_else(|_| root.to_owned());
    processes::look(&root).holders(&root, node)
}

/// A path of the machine, `/dev/ttyS0`, as one below the root.
fn below(root: &Path, path: &Path) -> PathBuf {
    root.join(path.strip_prefix("/").unwrap_or(path))
}

/// A path below the root as the machine calls it.
fn outside(root: &Path, path: &Path) -> PathBuf {
    Path::new("/").join(path.strip_prefix(root).unwrap_or(path))
}

/// A short file of the kernel, trimmed; `None` where it is absent, empty or not text.
fn text(path: &Path) -> Option<String> {
    let mut text = String::new();
    fs::File::open(path).ok()?.take(FILE_MAX).read_to_string(&mut text).ok()?;
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

/// Entries of a folder, in order; none where it is absent.
fn entries(folder: &Path) -> Vec<PathBuf> {
    let Ok(list) = fs::read_dir(folder) else { return Vec::new() };
    let mut list: Vec<PathBuf> = list.filter_map(|entry| Some(entry.ok()?.path())).collect();
    list.sort();
    list
}

/// The last part of a path.
fn base(path: &Path) -> String {
    path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

/// `ttyUSB10` behind `ttyUSB9`.
fn natural(node: &Path) -> (String, u64) {
    let name = node.to_string_lossy().into_owned();
    let stem = name.trim_end_matches(|c: char| c.is_ascii_digit()).to_owned();
    let number = name[stem.len()..].parse().unwrap_or(0);
    (stem, number)
}

#[cfg(test)]
mod tests;
