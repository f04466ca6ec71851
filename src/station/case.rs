//! An open inspection as the core holds it.

use std::collections::BTreeMap;

use tapline_drivers::reading::Now;
use tapline_protocols::fact::Opened;
use tapline_protocols::inspection::Inspection;
use tapline_protocols::{Fact, Fault};

use super::event::Answer;
use crate::clock::Stamp;

/// It goes on after the station did not run.
pub(super) const AFTER_RESTART: &str = "restart";

/// An open inspection: its record, and where it stands on the benches.
pub(super) struct Case {
    /// `K3-20261124-0007`.
    pub id: String,
    /// Bench it is on, or was on when it was parked.
    pub bench: String,
    /// What it was opened for.
    pub opened: Option<Opened>,
    /// Since when what is proved for the day may hold, microseconds of the boot-time clock.
    pub day_us: u64,
    /// It rests.
    pub parked: bool,
    /// Signed or ended: its book takes nothing more.
    pub closed: bool,
    /// Line with which it left a bench last, by bench.
    pub left: BTreeMap<String, u64>,
    /// Last line before something on its bench was plugged anew, or nobody watched. Restarts are
    /// the station's to know of.
    pub relinked: u64,
    /// Who the instruments say they are, by link.
    pub told: BTreeMap<String, String>,
    /// What its plan or limits lack, so that it can't go on.
    pub faults: Vec<Fault>,
    /// The heart.
    pub inspection: Inspection,
    /// Who waits for the seal.
    pub ticket: Option<(u64, Answer)>,
}

impl Case {
    pub(super) fn new(id: String) -> Case {
        Case {
            id,
            bench: String::new(),
            opened: None,
            day_us: 0,
            parked: false,
            closed: false,
            left: BTreeMap::new(),
            relinked: 0,
            told: BTreeMap::new(),
            faults: Vec::new(),
            inspection: Inspection::new(),
            ticket: None,
        }
    }

    /// The only place where it changes.
    pub(super) fn apply(&mut self, seq: u64, at: Stamp, fact: &Fact, by: Option<&str>) {
        match fact {
            Fact::Open(open) => {
                self.day_us = at.boot_us;
                self.opened = open.inspection.clone();
                self.bench = self.opened.as_ref().map(|o| o.bench.clone()).unwrap_or_default();
            }
            Fact::Park(_) => {
                self.parked = true;
                self.left.insert(self.bench.clone(), seq);
            }
            Fact::Resume(resume) => {
                let record = self.inspection.record();
                // Stamps of two boots can't be compared: the day begins anew.
                if record.boot != resume.boot || record.begins_day(resume) {
                    self.day_us = at.boot_us;
                }
                self.parked = false;
                self.bench.clone_from(&resume.bench);
                if resume.after != AFTER_RESTART {
                    self.relinked = seq;
                }
            }
            Fact::Sign(_) | Fact::End(_) => {
                self.closed = true;
                self.left.insert(self.bench.clone(), seq);
            }
            Fact::Link(link) => {
                if matches!(link.state.as_str(), "down" | "changed") {
                    self.relinked = seq;
                }
                self.hear(&link.link, link.identity.as_ref());
            }
            Fact::Tap(tap) => self.hear(&tap.link, tap.identity.as_ref()),
            _ => {}
        }
        self.inspection.apply(seq, Now(at.boot_us), fact, by);
    }

    fn hear(&mut self, link: &str, identity: Option<&String>) {
        if let Some(identity) = identity {
            self.told.insert(link.into(), identity.clone());
        }
    }

    /// Asset that it is about.
    pub(super) fn asset(&self) -> &str {
        self.opened.as_ref().map_or("", |opened| opened.asset.as_str())
    }
}
