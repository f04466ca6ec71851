//! The brief: what the `given` facts mean for this inspection, read once.

use alloc::collections::BTreeMap;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use super::job::Job;
use super::record::Record;
use crate::fact::{CheckFact, Earlier, Given, LinkGiven, Policy};
use crate::fault::Fault;
use crate::limits::{Row, Table};
use crate::plan::{Expanded, Plan, Step, StepKind, Switch};
use crate::register::{Asset, Fixture, FixtureKind, Former, Instrument, Lead, Operator, Setup};

/// What the inspection rests on, in the form in which it is used.
#[derive(Debug, Clone)]
pub(super) struct Brief {
    pub(super) policy: Policy,
    pub(super) asset: Asset,
    pub(super) plan: Plan,
    pub(super) limits: Table,
    pub(super) confirmed: Vec<String>,
    pub(super) instruments: BTreeMap<String, Instrument>,
    pub(super) setups: BTreeMap<String, Setup>,
    pub(super) fixtures: Vec<Fixture>,
    pub(super) leads: BTreeMap<String, Lead>,
    pub(super) links: Vec<LinkGiven>,
    pub(super) operators: Vec<Operator>,
    pub(super) witness: Witness,
    /// What earlier inspections of the asset came to.
    pub(super) earlier: Vec<Earlier>,
    /// What was measured before the station was.
    pub(super) former: Vec<Former>,
    /// Newest bench check of each instrument on each standard.
    pub(super) checks: Vec<CheckFact>,
    pub(super) jobs: BTreeMap<String, Job>,
    /// Local date that the inspection goes by; certificates are compared with it.
    pub(super) date: String,
    /// A meter that is taken to have read wrong: never of an inspection in work.
    pub(super) off: Option<super::assume::Off>,
}

/// Which contacts see which switch.
#[derive(Debug, Clone, Default)]
pub(super) struct Witness {
    pub(super) link: Option<String>,
    /// Input from 0, switch, its word while the contact is closed.
    pub(super) inputs: Vec<(usize, Switch, String)>,
}

impl Witness {
    /// Contacts see this switch.
    pub(super) fn sees(&self, switch: Switch) -> bool {
        self.inputs.iter().any(|(_, seen, _)| *seen == switch)
    }
}

impl Brief {
    /// Reads what was given.
    ///
    /// # Errors
    /// Every fault of plan and limits, and a sentence for each part that was not given.
    pub(super) fn read(record: &Record) -> Result<Brief, Vec<Fault>> {
        let mut faults = Vec::new();
        let mut parts = Parts::default();
        for given in &record.given {
            parts.take(given, &mut faults);
        }
        let opened = record.opened.as_ref().and_then(|line| line.fact.inspection.as_ref());
        let missing = |text: &str| Fault { line: 0, field: String::new(), text: text.into() };
        if opened.is_none() {
            faults.push(missing("the first line of an inspection is missing"));
        }
        if parts.asset.is_none() {
            faults.push(missing("no asset was given"));
        }
        if parts.plan.is_none() && faults.is_empty() {
            faults.push(missing("no plan was given"));
        }
        let (Some(opened), Some(asset), Some(plan)) = (opened, parts.asset, parts.plan) else {
            return Err(faults);
        };
        if !faults.is_empty() {
            return Err(faults);
        }
        let mut brief = Brief {
            policy: opened.policy.clone(),
            asset,
            plan,
            limits: parts.limits.unwrap_or_else(no_limits),
            confirmed: parts.confirmed,
            instruments: parts.instruments,
            setups: parts.setups,
            checks: parts.checks,
            fixtures: parts.fixtures,
            leads: parts.leads,
            links: parts.links,
            operators: parts.operators,
            earlier: parts.earlier,
            former: parts.former,
            witness: parts.witness,
            jobs: BTreeMap::new(),
            date: String::new(),
            off: None,
        };
        brief.go_on(record);
        Ok(brief)
    }

    /// Goes by the day of the record: a certificate may have run out while it rested.
    pub(super) fn go_on(&mut self, record: &Record) {
        self.date = record.day().unwrap_or_default();
        self.jobs = self.resolve(record);
    }

    /// What is to be measured in an expanded step.
    pub(super) fn job(&self, step: &str) -> Option<&Job> {
        self.jobs.get(step)
    }

    /// The plan's step of that name.
    pub(super) fn step(&self, of: &str) -> Option<&Step> {
        self.plan.steps.iter().find(|step| step.id == of)
    }

    /// The limit row of an expanded step.
    pub(super) fn row(&self, expanded: &Expanded) -> Option<&Row> {
        self.limits.row(expanded.limit.as_ref()?)
    }

    /// The link that an instrument hangs on.
    pub(super) fn link_of(&self, instrument: &str) -> Option<&LinkGiven> {
        self.links.iter().find(|link| link.instrument.as_deref() == Some(instrument))
    }

    /// The operator of that id.
    pub(super) fn operator(&self, id: &str) -> Option<&Operator> {
        self.operators.iter().find(|operator| operator.id == id)
    }

    /// The supply box of the bench.
    pub(super) fn supply_box(&self) -> Option<&Fixture> {
        self.fixtures.iter().find(|fixture| fixture.what == FixtureKind::SupplyBox)
    }

    /// Items of a step that is answered; a step without a list has itself as the one item.
    pub(super) fn items(&self, expanded: &Expanded) -> Vec<String> {
        let step = self.step(&expanded.of);
        match step.map(|step| step.items.clone()).unwrap_or_default() {
            items if items.is_empty() => alloc::vec![expanded.of.clone()],
            items => items,
        }
    }

    /// Kind of an expanded step.
    pub(super) fn kind(&self, expanded: &Expanded) -> StepKind {
        self.step(&expanded.of).map_or(StepKind::Ask, |step| step.kind)
    }

    fn resolve(&self, record: &Record) -> BTreeMap<String, Job> {
        let steps = record.steps.iter().map(|step| &step.expanded);
        let measured = steps.filter(|expanded| self.kind(expanded) == StepKind::Measure);
        let job = |expanded: &Expanded| {
            let job = Job::of(self, self.step(&expanded.of)?, expanded);
            Some((expanded.step.clone(), job))
        };
        measured.filter_map(job).collect()
    }
}

fn no_limits() -> Table {
    Table {
        standard: String::new(),
        edition: String::new(),
        rows: Vec::new(),
        sha256: String::new(),
    }
}

/// Parts as they come, line by line.
#[derive(Default)]
struct Parts {
    asset: Option<Asset>,
    plan: Option<Plan>,
    limits: Option<Table>,
    confirmed: Vec<String>,
    instruments: BTreeMap<String, Instrument>,
    setups: BTreeMap<String, Setup>,
    checks: Vec<CheckFact>,
    fixtures: Vec<Fixture>,
    leads: BTreeMap<String, Lead>,
    links: Vec<LinkGiven>,
    operators: Vec<Operator>,
    earlier: Vec<Earlier>,
    former: Vec<Former>,
    witness: Witness,
}

impl Parts {
    fn take(&mut self, given: &Given, faults: &mut Vec<Fault>) {
        match given {
            Given::Asset { asset } => self.asset = Some((**asset).clone()),
            Given::Plan { text, .. } => match crate::plan::parse(text) {
                Ok(plan) => self.plan = Some(plan),
                Err(found) => faults.extend(found),
            },
            Given::Limits { text, table, confirmed } => match Table::parse(text) {
                Ok(read) => {
                    self.limits = Some(read.with_hash(table));
                    self.confirmed.extend(confirmed.iter().cloned());
                }
                Err(found) => faults.extend(found),
            },
            Given::Instruments { list, setups, checks } => {
                self.checks.extend(checks.iter().cloned());
                self.instruments.extend(list.iter().map(|one| (one.id.clone(), one.clone())));
                self.setups.extend(setups.iter().map(|one| (one.id.clone(), one.clone())));
            }
            Given::Fixtures { list, leads, witness } => {
                self.fixtures.extend(list.iter().cloned());
                self.leads.extend(leads.iter().map(|lead| (lead.id.clone(), lead.clone())));
                self.witness = read_witness(witness, faults);
            }
            Given::Links { list } => self.links.extend(list.iter().cloned()),
            Given::Steps { .. } | Given::Retest { .. } => {}
            Given::Earlier { list } => self.earlier.extend(list.iter().cloned()),
            Given::Former { list } => self.former.extend(list.iter().cloned()),
            Given::Operator { operator } => self.operators.push((**operator).clone()),
        }
    }
}

fn read_witness(map: &BTreeMap<String, String>, faults: &mut Vec<Fault>) -> Witness {
    let mut witness = Witness::default();
    for (key, value) in map {
        if key == "link" {
            witness.link = Some(value.clone());
            continue;
        }
        match input(key).zip(meaning(value)) {
            Some((index, (switch, word))) => witness.inputs.push((index, switch, word)),
            None => faults.push(Fault {
                line: 0,
                field: alloc::format!("witness.{key}"),
                text: alloc::format!("`{value}` is no switch with its setting, `S5=reversed`"),
            }),
        }
    }
    witness
}

fn input(key: &str) -> Option<usize> {
    let number: usize = key.strip_prefix('c')?.parse().ok()?;
    (1..=4).contains(&number).then(|| number - 1)
}

fn meaning(text: &str) -> Option<(Switch, String)> {
    let (name, word) = text.split_once('=')?;
    let switch = switch_named(name)?;
    switch.words().contains(&word).then(|| (switch, word.to_string()))
}

/// A switch by its letter.
fn switch_named(name: &str) -> Option<Switch> {
    let all = [Switch::S1, Switch::S5, Switch::S7, Switch::S10, Switch::Supply];
    all.into_iter().find(|switch| switch.name() == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_witness_is_a_contact_with_its_switch() {
        let mut faults = Vec::new();
        let map = [("link", "box"), ("c1", "S5=reversed"), ("c3", "supply=on")]
            .map(|(key, value)| (key.to_string(), value.to_string()));
        let witness = read_witness(&map.into_iter().collect(), &mut faults);
        assert!(faults.is_empty());
        assert_eq!(witness.link.as_deref(), Some("box"));
        assert!(witness.sees(Switch::S5) && witness.sees(Switch::Supply));
        assert!(!witness.sees(Switch::S7));
        read_witness(&[("c5".into(), "S5=up".into())].into_iter().collect(), &mut faults);
        assert_eq!(faults[0].field, "witness.c5");
    }
}
