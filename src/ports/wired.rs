//! Which link of a configuration uses a port, and what configuration and register declare of it.

use std::fs;
use std::path::{Path, PathBuf};

use tapline_drivers::catalogue::{self, AnyDriver, Source};
use tapline_protocols::register::{Instrument, Isolation, IsolationKind, SourceClass};

use super::below;
use crate::config::{Config, Link, Place};
use crate::station::register::Register;

/// What is declared of a port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wired {
    /// Link.
    pub link: String,
    /// Bench it belongs to.
    pub bench: String,
    /// Driver.
    pub driver: String,
    /// How sure the layout of that driver is; `None` for a driver that nobody knows.
    pub layout: Option<&'static str>,
    /// The driver may ask.
    pub asks: bool,
    /// Label of the instrument.
    pub instrument: Option<String>,
    /// What the register says that it could put on its terminals; `None` where the register has
    /// no such instrument or could not be read.
    pub class: Option<SourceClass>,
    /// The better isolation of cable and instrument; `None` where neither is declared.
    pub isolation: Option<Isolation>,
}

/// The link that uses a port under any of its names.
#[must_use]
pub fn wired(
    root: &Path,
    node: &Path,
    config: &Config,
    register: Option<&Register>,
) -> Option<Wired> {
    let real = canonical(root, node);
    let here = |link: &&Link| link.place.path().is_some_and(|path| canonical(root, path) == real);
    config.links.iter().find(here).map(|link| declared(link, register))
}

/// Links whose port is none of these nodes, or that have none.
#[must_use]
pub fn away(
    root: &Path,
    nodes: &[&Path],
    config: &Config,
    register: Option<&Register>,
) -> Vec<(String, Wired)> {
    let nodes: Vec<PathBuf> = nodes.iter().map(|node| canonical(root, node)).collect();
    let place = |link: &Link| match (link.place.path(), &link.place) {
        (Some(path), _) if nodes.contains(&canonical(root, path)) => None,
        (Some(path), _) => Some(path.display().to_string()),
        (None, Place::Tcp(address)) => Some(address.clone()),
        (None, _) => Some("standard input".to_owned()),
    };
    let links = config.links.iter();
    links.filter_map(|link| Some((place(link)?, declared(link, register)))).collect()
}

/// Where a name of a port leads to; itself where it leads nowhere.
#[must_use]
pub fn canonical(root: &Path, path: &Path) -> PathBuf {
    let below = below(root, path);
    fs::canonicalize(&below).unwrap_or(below)
}

fn declared(link: &Link, register: Option<&Register>) -> Wired {
    let driver = catalogue::by_name(&link.driver);
    let described = link.described.as_ref().map(|described| described.description.source);
    let of = |id: &String| register?.instruments.get(id);
    let instrument: Option<&Instrument> = link.instrument.as_ref().and_then(of);
    let kinds = [link.isolation, instrument.map(|one| one.isolation)];
    Wired {
        link: link.id.clone(),
        bench: link.bench.clone(),
        driver: link.driver.clone(),
        layout: described.or(driver.as_ref().map(AnyDriver::source)).map(Source::word),
        asks: driver.is_some_and(|driver| driver.sends()),
        instrument: link.instrument.clone(),
        class: instrument.map(|one| one.source_class),
        isolation: kinds.into_iter().flatten().max_by_key(rated),
    }
}

/// What an isolation is good for, volts: only a rated one counts, and unknown is no better than
/// none.
fn rated(isolation: &Isolation) -> u32 {
    if isolation.kind == IsolationKind::Optical { isolation.volts } else { 0 }
}
