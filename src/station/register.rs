//! What the station book comes to: assets, instruments, people, confirmed rows, sealed books.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use tapline_protocols::Fact;
use tapline_protocols::fact::{CheckFact, CheckoutFact, SealedFact};
use tapline_protocols::register::{
    Asset, CheckStandard, Fixture, Former, Instrument, Lead, Operator, Setup,
};

use super::pins::Tries;
use super::watched::Watched;
use crate::books::Line;
use crate::books::place::{inspection_of, is_addendum};
use crate::clock::Stamp;
use crate::orders::Orders;

/// The fold of the station book. It interprets nothing.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Register {
    /// Highest number of its lines.
    pub seq: u64,
    /// Assets by number, with the `seq` of the line that is their revision.
    /// Boxed: nodes of the map stand half empty, and an asset is large.
    pub assets: BTreeMap<String, (u64, Box<Asset>)>,
    /// Instruments by label.
    pub instruments: BTreeMap<String, Instrument>,
    /// Setups by label.
    pub setups: BTreeMap<String, Setup>,
    /// Fixtures by label.
    pub fixtures: BTreeMap<String, Fixture>,
    /// Lead sets by label.
    pub leads: BTreeMap<String, Lead>,
    /// Check standards by label.
    pub standards: BTreeMap<String, CheckStandard>,
    /// The newest points of each instrument on each check standard, in order.
    pub checks: BTreeMap<(String, String), VecDeque<Point>>,
    /// Where each instrument was seen last, by its label.
    pub checked_out: BTreeMap<String, Out>,
    /// Operators by id.
    pub operators: BTreeMap<String, Operator>,
    /// Who works at which bench.
    pub logins: BTreeMap<String, String>,
    /// Values from before the station was, by what names them, with the `seq` of their line.
    pub former: BTreeMap<String, (u64, Former)>,
    /// Limit rows that the workshop has confirmed, each as it was read; `None` where an earlier
    /// program did not note it.
    pub confirmed: BTreeMap<String, Option<String>>,
    /// PINs that were tried and were wrong.
    pub tries: Tries,
    /// Work orders.
    pub orders: Orders,
    /// Names of the sealed books.
    pub sealed: BTreeSet<String>,
    /// Inspections that wait for their review.
    pub waiting: BTreeSet<String>,
    /// What was sealed last, with the lines that tell of it, the newest last.
    pub sealed_last: VecDeque<(u64, SealedFact)>,
    /// Year of the book in use, `2026`.
    pub year: Option<String>,
    /// Fingerprint of the key in use.
    pub key: Option<String>,
    /// Latest wall clock of any line, microseconds since 1970.
    pub latest_us: Option<i64>,
    /// The last line that tells how the wall clock stands to the boot-time clock.
    pub told: Option<Told>,
    /// How far back the benches were watched.
    pub watched: Watched,
}

/// A point of a chart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Point {
    /// Line that tells of it.
    pub seq: u64,
    /// When.
    pub at: Stamp,
    /// What the instrument showed.
    pub fact: CheckFact,
}

/// An instrument was seen at a bench.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Out {
    /// Line that tells of it.
    pub seq: u64,
    /// When.
    pub at: Stamp,
    /// Where.
    pub fact: CheckoutFact,
}

/// Points of a chart that are kept at hand; all of them stand in the station's books.
const POINTS_MAX: usize = 64;

/// Sealed books that are kept at hand.
const SEALED_MAX: usize = 16;

/// How the wall clock stood to the boot-time clock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    /// Which boot.
    pub boot: String,
    /// Both clocks.
    pub at: Stamp,
}

impl Register {
    /// The only place where the register changes.
    pub fn apply(&mut self, seq: u64, at: Stamp, fact: &Fact) {
        self.seq = self.seq.max(seq);
        self.latest_us = self.latest_us.max(Some(at.wall_us));
        self.watched.apply(seq, at, fact);
        self.orders.apply(seq, fact);
        self.tries.apply(at, fact, self.told.as_ref().map(|told| told.boot.as_str()));
        match fact {
            Fact::Open(open) => self.year = Some(open.id.clone()),
            Fact::Asset(asset) => {
                self.assets.insert(asset.id.clone(), (seq, asset.clone()));
            }
            Fact::Instrument(instrument) => {
                self.instruments.insert(instrument.id.clone(), (**instrument).clone());
            }
            Fact::Setup(setup) => {
                self.setups.insert(setup.id.clone(), (**setup).clone());
            }
            Fact::Fixture(fixture) => {
                self.fixtures.insert(fixture.id.clone(), (**fixture).clone());
            }
            Fact::Lead(lead) => {
                self.leads.insert(lead.id.clone(), (**lead).clone());
            }
            Fact::Standard(standard) => {
                self.standards.insert(standard.id.clone(), (**standard).clone());
            }
            Fact::Check(check) => self.point(Point { seq, at, fact: (**check).clone() }),
            Fact::Checkout(fact) => {
                let out = Out { seq, at, fact: fact.clone() };
                self.checked_out.insert(fact.instrument.clone(), out);
            }
            Fact::Operator(operator) => {
                self.operators.insert(operator.id.clone(), (**operator).clone());
            }
            Fact::Login(login) => match &login.operator {
                Some(operator) => {
                    self.logins.insert(login.bench.clone(), operator.clone());
                }
                None => {
                    self.logins.remove(&login.bench);
                }
            },
            Fact::Former(former) => {
                self.former.insert(former.id.clone(), (seq, (**former).clone()));
            }
            Fact::Confirm(confirm) => {
                let read = confirm.read.iter().cloned().map(Some);
                let read = read.chain(std::iter::repeat(None));
                self.confirmed.extend(confirm.rows.iter().cloned().zip(read));
            }
            Fact::Sealed(sealed) => self.sealed(seq, sealed),
            Fact::Key(key) => self.key = Some(key.key.clone()),
            Fact::Start(start) => self.told = Some(Told { boot: start.boot.clone(), at }),
            Fact::Clock(_) => self.told.iter_mut().for_each(|told| told.at = at),
            _ => {}
        }
    }

    fn sealed(&mut self, seq: u64, sealed: &SealedFact) {
        self.sealed.insert(sealed.id.clone());
        let of = inspection_of(&sealed.id);
        match sealed.waits {
            true => drop(self.waiting.insert(of.into())),
            false => drop(self.waiting.remove(of)),
        }
        if is_addendum(&sealed.id) {
            return;
        }
        if self.sealed_last.len() == SEALED_MAX {
            self.sealed_last.pop_front();
        }
        self.sealed_last.push_back((seq, sealed.clone()));
    }

    fn point(&mut self, point: Point) {
        let chart = (point.fact.instrument.clone(), point.fact.standard.clone());
        let points = self.checks.entry(chart).or_default();
        if points.len() == POINTS_MAX {
            points.pop_front();
        }
        points.push_back(point);
    }

    /// The fold of some lines.
    #[must_use]
    pub fn of(lines: impl IntoIterator<Item = Line>) -> Register {
        let mut register = Register::default();
        lines.into_iter().for_each(|line| register.take(&line));
        register
    }

    /// Takes a stored line, unless it has it.
    pub fn take(&mut self, line: &Line) {
        if line.seq > self.seq {
            self.apply(line.seq, line.at, &line.fact);
        }
    }

    /// The operator that a badge code or an operator's id names.
    #[must_use]
    pub fn operator(&self, badge: &str) -> Option<&Operator> {
        self.owner(badge).or_else(|| self.operators.get(badge))
    }

    /// Whose badge it is.
    #[must_use]
    pub fn owner(&self, badge: &str) -> Option<&Operator> {
        self.operators.values().find(|one| one.badge == badge)
    }

    /// An asset.
    #[must_use]
    pub fn asset(&self, id: &str) -> Option<&Asset> {
        self.assets.get(id).map(|(_, asset)| &**asset)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tapline_protocols::fact::LoginFact;

    fn at(us: i64) -> Stamp {
        Stamp { wall_us: us, boot_us: 0 }
    }

    #[test]
    fn the_last_login_at_a_bench_holds_and_can_be_taken_back() {
        let mut register = Register::default();
        for (seq, operator) in [(1, Some("op-7")), (2, Some("op-2")), (3, None)] {
            let operator = operator.map(String::from);
            let login = LoginFact { bench: "b1".into(), operator: operator.clone() };
            register.apply(seq, at(5), &Fact::Login(login));
            assert_eq!(register.logins.get("b1").cloned(), operator);
        }
        assert_eq!(register.latest_us, Some(5));
    }
}
