//! The lines of a record that a report needs; what went over the wire is passed over.

use std::collections::{BTreeMap, BTreeSet};

use tapline_protocols::Fact;
use tapline_protocols::fact::{
    AnswerFact, DropFact, Given, NoteFact, Open, OverrideFact, ProveFact, SignFact, StepFact,
    SwitchFact, ValueFact, VerdictFact,
};
use tapline_protocols::plan::{self, Expanded, Plan};
use tapline_protocols::register::{Asset, Fixture, Former, Instrument, Operator, Setup};

use crate::books::Line;

/// A fact with its line's number, moment and person.
#[derive(Debug, Clone)]
pub(super) struct Said<F> {
    pub(super) seq: u64,
    pub(super) wall_us: i64,
    pub(super) by: Option<String>,
    pub(super) fact: F,
}

/// A record, as far as a report tells it.
#[derive(Debug, Default)]
pub(super) struct Book {
    pub(super) open: Option<Said<Open>>,
    pub(super) asset: Option<Asset>,
    pub(super) plan: Option<Plan>,
    pub(super) plan_hash: String,
    pub(super) steps: Vec<Expanded>,
    pub(super) instruments: BTreeMap<String, Instrument>,
    pub(super) setups: BTreeMap<String, Setup>,
    pub(super) fixtures: BTreeMap<String, Fixture>,
    pub(super) operators: BTreeMap<String, Operator>,
    pub(super) tapped: BTreeSet<String>,
    pub(super) retest_of: Option<String>,
    /// What was measured before the station was.
    pub(super) former: Vec<Former>,
    pub(super) answers: Vec<Said<AnswerFact>>,
    pub(super) values: Vec<Said<ValueFact>>,
    pub(super) drops: Vec<Said<DropFact>>,
    /// The newest of each step of the plan, in the order of the first.
    pub(super) verdicts: Vec<Said<VerdictFact>>,
    pub(super) checks: Vec<Said<ProveFact>>,
    pub(super) switches: Vec<SwitchFact>,
    pub(super) steps_said: Vec<Said<StepFact>>,
    pub(super) overrides: Vec<Said<OverrideFact>>,
    pub(super) notes: Vec<Said<NoteFact>>,
    pub(super) clock_kept: bool,
    pub(super) sign: Option<Said<SignFact>>,
    pub(super) end: Option<Said<String>>,
    /// Whoever acted, in the order in which they first did.
    pub(super) acted: Vec<String>,
}

impl Book {
    /// The next line.
    pub(super) fn take(&mut self, line: &Line) {
        if let Some(by) = line.by.as_ref().filter(|by| !self.acted.contains(by)) {
            self.acted.push(by.clone());
        }
        match &line.fact {
            Fact::Open(open) => {
                self.clock_kept = open.synced;
                self.open = Some(said(line, (**open).clone()));
            }
            Fact::Given(given) => self.given(given),
            Fact::Tap(tap) => self.tapped.extend(tap.instrument.clone()),
            Fact::Answer(answer) => self.answer(said(line, answer.clone())),
            Fact::Value(value) => self.values.push(said(line, value.clone())),
            Fact::Drop(drop) => self.drops.push(said(line, drop.clone())),
            Fact::Verdict(verdict) => self.verdict(said(line, (**verdict).clone())),
            Fact::Prove(check) => self.checks.push(said(line, check.clone())),
            Fact::Switch(switch) => self.switches.push(switch.clone()),
            Fact::Step(step) => self.steps_said.push(said(line, step.clone())),
            Fact::Override(gate) => self.overrides.push(said(line, gate.clone())),
            Fact::Note(note) => self.notes.push(said(line, note.clone())),
            Fact::Clock(clock) => self.clock_kept &= clock.synced && clock.step_us == 0,
            Fact::Sign(sign) => self.sign = Some(said(line, sign.clone())),
            Fact::End(end) => self.end = Some(said(line, end.outcome.clone())),
            _ => {}
        }
    }

    /// The next line of what was added after the seal: what puts something right.
    pub(super) fn add(&mut self, line: &Line) {
        match &line.fact {
            Fact::Answer(_)
            | Fact::Drop(_)
            | Fact::Verdict(_)
            | Fact::Given(Given::Operator { .. }) => {
                // Who added something did not work on it.
                let acted = self.acted.clone();
                self.take(line);
                self.acted = acted;
            }
            _ => {}
        }
    }

    fn given(&mut self, given: &Given) {
        match given {
            Given::Asset { asset } => self.asset = Some((**asset).clone()),
            Given::Plan { text, sha256 } => {
                self.plan = plan::parse(text).ok();
                self.plan_hash.clone_from(sha256);
            }
            Given::Steps { list } => self.steps.extend(list.iter().cloned()),
            Given::Instruments { list, setups, .. } => {
                self.instruments.extend(list.iter().map(|one| (one.id.clone(), one.clone())));
                self.setups.extend(setups.iter().map(|one| (one.id.clone(), one.clone())));
            }
            Given::Fixtures { list, .. } => {
                self.fixtures.extend(list.iter().map(|one| (one.id.clone(), one.clone())));
            }
            Given::Operator { operator } => {
                self.operators.insert(operator.id.clone(), (**operator).clone());
            }
            Given::Retest { of, .. } => self.retest_of = Some(of.clone()),
            Given::Former { list } => self.former.extend(list.iter().cloned()),
            Given::Limits { .. } | Given::Links { .. } | Given::Earlier { .. } => {}
        }
    }

    /// The newest answer to an item counts.
    fn answer(&mut self, answer: Said<AnswerFact>) {
        let same = |one: &&mut Said<AnswerFact>| {
            one.fact.step == answer.fact.step && one.fact.item == answer.fact.item
        };
        match self.answers.iter_mut().find(same) {
            Some(before) => *before = answer,
            None => self.answers.push(answer),
        }
    }

    fn verdict(&mut self, verdict: Said<VerdictFact>) {
        let step = &verdict.fact.step;
        match self.verdicts.iter_mut().find(|one| one.fact.step == *step) {
            Some(before) => *before = verdict,
            None => self.verdicts.push(verdict),
        }
    }

    /// `R. Feld (op-7)`.
    pub(super) fn who(&self, id: Option<&str>) -> String {
        let id = id.unwrap_or("–");
        match self.operators.get(id) {
            Some(operator) => format!("{} ({id})", operator.name),
            None => id.to_owned(),
        }
    }

    pub(super) fn step(&self, name: &str) -> Option<&Expanded> {
        self.steps.iter().find(|step| step.step == name)
    }
}

fn said<F>(line: &Line, fact: F) -> Said<F> {
    Said { seq: line.seq, wall_us: line.at.wall_us, by: line.by.clone(), fact }
}
