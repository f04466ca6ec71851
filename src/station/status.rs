//! What is going on: the status that faces serve. It is made with a commit, so it holds nothing
//! that a power cut could take back.

use std::collections::BTreeMap;

use serde::Serialize;
use serde_json::Value;
use tapline_protocols::inspection::{Inspection, Prompt};

use super::core::Core;
use super::event::{Answer, BookId, Problem};
use super::link::Link;
use crate::orders::Order;

/// The station.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Status {
    /// Its id.
    pub station: String,
    /// Its name.
    pub name: String,
    /// Version of the program.
    pub version: String,
    /// Last committed line.
    pub seq: u64,
    /// Benches.
    pub benches: Vec<BenchStatus>,
}

/// A bench.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BenchStatus {
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Who works there.
    pub operator: Option<String>,
    /// Name of that person.
    pub operator_name: Option<String>,
    /// Asset that was scanned, nothing open.
    pub selected: Option<Selected>,
    /// An unknown code that was scanned, and what is asked about it.
    pub stranger: Option<StrangerStatus>,
    /// The inspection that its links belong to.
    pub inspection: Option<InspectionStatus>,
    /// Inspections that rest here.
    pub parked: Vec<String>,
    /// A bench check in progress.
    pub check: Option<CheckStatus>,
    /// What came of the last scan of its own scanner.
    pub heard: Option<Heard>,
    /// Links.
    pub links: Vec<LinkStatus>,
}

/// A selected asset.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Selected {
    /// Its number.
    pub asset: String,
    /// What it is.
    pub description: String,
    /// The plan that fits, if one does.
    pub plan: Option<String>,
    /// What work orders ask for, what is wanted first before the other.
    pub orders: Vec<Value>,
}

/// An unknown asset that is being described.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct StrangerStatus {
    /// What its label said, and what was told since, by column of the list.
    pub told: BTreeMap<String, String>,
    /// Column that is to be told next.
    pub question: Option<&'static str>,
    /// Words that answer it; none: any text.
    pub choices: &'static [&'static str],
}

/// An open inspection.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct InspectionStatus {
    /// Its name.
    pub id: String,
    /// Asset number.
    pub asset: String,
    /// What it is.
    pub description: String,
    /// Where it belongs.
    pub location: String,
    /// Plan.
    pub plan: String,
    /// What the operator should do now.
    pub prompt: Prompt,
}

/// What came of a scan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Heard {
    /// Done.
    Done(Answer),
    /// Not done.
    Refused(Problem),
}

/// A bench check in progress.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CheckStatus {
    /// Check standard.
    pub standard: String,
    /// What it is, in words.
    pub what: String,
    /// Instrument that is held against it.
    pub instrument: String,
}

/// A link.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LinkStatus {
    /// Its id.
    pub id: String,
    /// Its driver.
    pub driver: String,
    /// The layout of that driver is from memory.
    pub unconfirmed: bool,
    /// Instrument on it.
    pub instrument: Option<String>,
    /// `up down changed refused silent`; refused: a driver that sends, on an instrument that must
    /// not be sent to; silent: it was asked and says nothing.
    pub state: &'static str,
    /// Why it is not up, in words.
    pub why: Option<String>,
    /// Book that its bytes go to.
    pub book: Option<String>,
    /// What the instrument's newest bench check came to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub check: Option<LastCheck>,
}

/// The newest bench check of an instrument.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LastCheck {
    /// Check standard.
    pub standard: String,
    /// What was shown, `0.202 Ohm`; none where the instrument showed no end.
    pub shown: Option<String>,
    /// It was within its room.
    pub ok: bool,
}

/// An inspection that is not at its end, and where it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Opened {
    /// Inspection.
    pub id: String,
    /// Its asset.
    pub asset: String,
    /// Bench.
    pub bench: String,
    /// Its name.
    pub bench_name: String,
    /// It rests there.
    pub parked: bool,
}

impl Core {
    /// The status as of the last line.
    #[must_use]
    pub fn snapshot(&self) -> Status {
        Status {
            station: self.settings.id.clone(),
            name: self.settings.name.clone(),
            version: self.context.version.clone(),
            seq: self.seq,
            benches: self
                .settings
                .benches
                .iter()
                .map(|b| self.bench_status(&b.id, &b.name))
                .collect(),
        }
    }

    /// Inspections that are open or rest, each with its asset and its bench.
    #[must_use]
    pub fn opened(&self) -> Vec<Opened> {
        let name = |id: &str| self.settings.benches.iter().find(|bench| bench.id == id);
        let opened = self.cases.values().filter(|case| !case.closed).map(|case| Opened {
            id: case.id.clone(),
            asset: case.asset().into(),
            bench_name: name(&case.bench).map(|bench| bench.name.clone()).unwrap_or_default(),
            bench: case.bench.clone(),
            parked: case.parked,
        });
        opened.collect()
    }

    /// Day and minute where the station stands: `2026-11-24 09:14 +01:00`.
    #[must_use]
    pub fn minute(&self, wall_us: i64) -> String {
        let zone = &self.settings.zone;
        let time = zone.time(wall_us);
        let minute = time.rsplit_once(':').map_or(time.as_str(), |(minute, _)| minute);
        format!("{} {minute} {}", zone.date(wall_us), zone.offset(wall_us))
    }

    /// The inspection that is worked on at a bench.
    #[must_use]
    pub fn inspection_on(&self, bench: &str) -> Option<&Inspection> {
        let id = self.benches.get(bench)?.active.as_ref()?;
        self.cases.get(id).map(|case| &case.inspection)
    }

    fn bench_status(&self, id: &str, name: &str) -> BenchStatus {
        let bench = &self.benches[id];
        let operator = self.register.logins.get(id).cloned();
        let person = operator.as_ref().and_then(|o| self.register.operators.get(o));
        let selected = bench.selected.as_ref().map(|(asset, _)| Selected {
            asset: asset.clone(),
            description: self
                .register
                .asset(asset)
                .map(|a| a.description.clone())
                .unwrap_or_default(),
            plan: self.plan_for(asset).map(|plan| plan.id.clone()),
            orders: self.register.orders.open_of(asset).into_iter().map(Order::mark).collect(),
        });
        let rests = self.cases.values().filter(|case| case.bench == id && case.parked);
        let links = self.links.values().filter(|link| link.settings.bench == id);
        BenchStatus {
            id: id.into(),
            name: name.into(),
            operator_name: person.map(|p| p.name.clone()),
            operator,
            selected,
            stranger: bench.stranger.as_ref().map(|stranger| {
                let (question, choices) = stranger.question().unzip();
                let choices = choices.unwrap_or_default();
                StrangerStatus { told: stranger.told.clone(), question, choices }
            }),
            inspection: bench.active.as_ref().map(|case| self.inspection_status(case)),
            parked: rests.map(|case| case.id.clone()).collect(),
            check: bench.check.as_ref().map(|run| CheckStatus {
                standard: run.standard().id.clone(),
                what: run.standard().what.clone(),
                instrument: run.instrument().into(),
            }),
            heard: bench.heard.clone().map(|heard| match heard {
                Ok(answer) => Heard::Done(answer),
                Err(problem) => Heard::Refused(problem),
            }),
            links: links.map(|link| self.link_status(link)).collect(),
        }
    }

    fn link_status(&self, link: &Link) -> LinkStatus {
        let points = self.register.checks.values().filter_map(|points| points.back());
        let own =
            points.filter(|point| link.settings.instrument.as_deref() == Some(point.fact.judged()));
        let check =
            own.max_by_key(|point| point.seq).map(|point| LastCheck {
                standard: point.fact.standard.clone(),
                shown: point.fact.value.as_ref().map(|value| {
                    format!("{value} {}", point.fact.unit.map_or("", |unit| unit.ucum()))
                }),
                ok: point.fact.ok,
            });
        LinkStatus { check, ..link.status() }
    }

    fn inspection_status(&self, id: &str) -> InspectionStatus {
        let case = &self.cases[id];
        let asset = self.register.asset(case.asset());
        InspectionStatus {
            id: id.into(),
            asset: case.asset().into(),
            description: asset.map(|a| a.description.clone()).unwrap_or_default(),
            location: asset.map(|a| a.location.clone()).unwrap_or_default(),
            plan: case.opened.as_ref().map(|o| o.plan.clone()).unwrap_or_default(),
            prompt: case.inspection.prompt(),
        }
    }
}

impl Link {
    fn status(&self) -> LinkStatus {
        let state = match (self.up, self.changed, self.wire.is_some()) {
            (false, ..) => "down",
            (true, true, _) => "changed",
            (true, false, false) => "refused",
            (true, false, true) if self.is_silent() => "silent",
            (true, false, true) => "up",
        };
        LinkStatus {
            id: self.settings.id.clone(),
            driver: self.settings.driver.clone(),
            unconfirmed: self.unconfirmed,
            instrument: self.settings.instrument.clone(),
            state,
            why: self.why_down.clone(),
            book: self.book.as_ref().map(|book| match book {
                BookId::Station => "station".into(),
                BookId::Idle(day) => day.clone(),
                BookId::Inspection(id) => id.clone(),
            }),
            check: None,
        }
    }
}
