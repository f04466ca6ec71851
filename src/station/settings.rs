//! What the station is told at its start: wiring and policy. What things are is the register's.

use std::collections::{BTreeMap, BTreeSet};

use tapline_protocols::Fault;
use tapline_protocols::due::Counting;
use tapline_protocols::fact::Policy;
use tapline_protocols::register::{Isolation, SourceClass};

use super::described::Described;
use super::register::Register;
use super::wire::Wire;
use crate::clock::Zone;

/// Wiring and policy, read from the configuration.
#[derive(Debug, Clone, PartialEq)]
pub struct StationSettings {
    /// 2 to 6 of `A-Z 0-9`; never changes.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// Zone for dates on paper and in the names of inspections.
    pub zone: Zone,
    /// Its IANA name.
    pub zone_name: String,
    /// Shortest time between two commits, milliseconds, 5 to 200.
    pub commit_ms: u32,
    /// Policy in force, copied into every `open`.
    pub policy: Policy,
    /// How days on which assets are due are counted; each start tells the station book.
    pub due: Counting,
    /// SHA-256 over the wiring of all benches as configured, hex; each start tells the station
    /// book, and another wiring is another bench.
    pub wiring: Option<String>,
    /// Benches.
    pub benches: Vec<BenchSettings>,
    /// Links of all benches.
    pub links: Vec<LinkSettings>,
}

/// A bench.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BenchSettings {
    /// `b1`.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// Fixtures and lead sets, by their labels.
    pub fixtures: Vec<String>,
    /// `link`, and `c1` to `c4` with the meaning of a closed contact; empty where nothing
    /// witnesses the supply box.
    pub witness: BTreeMap<String, String>,
    /// Instruments without a line, by their labels.
    pub typed: Vec<String>,
}

/// A link.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LinkSettings {
    /// `ohm`.
    pub id: String,
    /// Bench it belongs to.
    pub bench: String,
    /// Driver, of the catalogue or described.
    pub driver: String,
    /// What the file of a described driver says.
    pub described: Option<Described>,
    /// Register entry of the instrument on it; scanners and contacts have none.
    pub instrument: Option<String>,
    /// Isolation of the link itself; a path has the larger of link and instrument.
    pub isolation: Option<Isolation>,
}

/// What the station knows of itself and the machine it runs on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Context {
    /// Version of the program.
    pub version: String,
    /// Number of the judgement.
    pub judge: u32,
    /// Which boot the `m` stamps count from.
    pub boot: String,
    /// The wall clock is synchronised.
    pub synced: bool,
    /// No wall clock is right before it: when the program was made. Microseconds, UTC.
    pub earliest_us: i64,
    /// SHA-256 of the station's public key (SPKI DER), hex.
    pub key: Option<String>,
}

impl StationSettings {
    /// Everything that is wrong with the wiring, given what the register says of the instruments.
    ///
    /// An instrument that is hazardous or unknown to the register stays listen-only: a driver
    /// that sends is refused for it here, before a port is opened.
    #[must_use]
    pub fn faults(&self, register: &Register) -> Vec<Fault> {
        let benches: BTreeSet<&str> = self.benches.iter().map(|b| b.id.as_str()).collect();
        let mut faults = Vec::new();
        let mut seen = BTreeSet::new();
        for link in &self.links {
            let mut say = |field: &str, text: String| {
                faults.push(Fault { line: 0, field: format!("link.{}.{field}", link.id), text });
            };
            if !seen.insert(link.id.as_str()) {
                say("id", "a second link with this id: give each its own".into());
            }
            if !benches.contains(link.bench.as_str()) {
                say("bench", format!("no bench `{}`: add it or correct the name", link.bench));
            }
            match Wire::of(link) {
                Err(text) => say("driver", text),
                Ok(wire) if wire.sends() && !may_send(link, register) => say(
                    "driver",
                    format!(
                        "`{}` sends, and the instrument could put out a voltage or is unknown: \
                         use a listen-only driver, or register its source class as none or low",
                        link.driver
                    ),
                ),
                Ok(_) => {}
            }
        }
        faults
    }
}

/// Whether the register says that the instrument on this link can't put out a voltage.
pub(super) fn may_send(link: &LinkSettings, register: &Register) -> bool {
    let instrument = link.instrument.as_ref().and_then(|id| register.instruments.get(id));
    match instrument.map(|i| i.source_class) {
        Some(SourceClass::None | SourceClass::Low) => true,
        Some(SourceClass::Hazardous | SourceClass::Unknown) | None => false,
    }
}
