//! The record: what the facts of one inspection add up to.
//!
//! **Law.** It interprets nothing: no plan, no limit, no driver. It changes in [`Record::apply`]
//! alone, so that live running, recovery and replay can't drift apart.

use alloc::collections::{BTreeMap, BTreeSet};
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::Now;

use super::run::Run;
use crate::fact::{
    ActFact, AnswerFact, DropFact, EndFact, Fact, Given, NullFact, Open, OverrideFact, ProveFact,
    ResumeFact, ScanFact, SignFact, StepFact, SwitchFact, ValueFact, VerdictFact, Word,
};
use crate::plan::{Expanded, Switch};
use crate::register::Known;

/// State of one expanded step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StepState {
    /// Not reached, or to be done once more.
    Waiting,
    /// The one that is worked on.
    Active,
    /// Measured through or answered.
    Done,
    /// Left out by the operator.
    Skipped,
    /// Could not start.
    Closed,
}

/// One expanded step with what became of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StepRecord {
    /// As expanded when the inspection opened.
    pub expanded: Expanded,
    /// Its state.
    pub state: StepState,
    /// `seq` of the line that made it active last; 0 before.
    pub since: u64,
    /// When that was.
    pub at: Now,
    /// Why it was skipped or closed.
    pub reason: Option<String>,
}

impl StepRecord {
    /// The maker excludes it. A reason that a person wrote never says so.
    pub(super) fn excluded(&self) -> bool {
        self.state == StepState::Closed && self.reason.as_deref() == Some(super::job::EXCLUDED)
    }
}

/// Something stored, with its line and its moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line<T> {
    /// `seq` of the line.
    pub seq: u64,
    /// Boot-clock moment.
    pub at: Now,
    /// Who acted.
    pub by: Option<String>,
    /// What it says.
    pub fact: T,
}

/// A captured value and whether it still counts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Valued {
    /// The line.
    pub line: Line<ValueFact>,
    /// Set aside, no longer in force.
    pub dropped: bool,
}

/// What a switch is set to and how that is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Setting {
    /// `closed open normal reversed on off`.
    pub word: String,
    /// How it is known.
    pub known: Known,
}

/// What the facts of one inspection add up to.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Record {
    /// First line.
    pub opened: Option<Line<Open>>,
    /// What the inspection rests on.
    pub given: Vec<Given>,
    /// Expanded steps in order.
    pub steps: Vec<StepRecord>,
    /// Last `step` or `act` line.
    pub last: Option<(u64, Now)>,
    /// Captured values.
    pub values: Vec<Valued>,
    /// Lines where a link began anew or was lost, with its name; without one, where nobody watched.
    pub relinks: Vec<(u64, Option<String>)>,
    /// Values that were set aside, in force or not.
    pub drops: Vec<Line<DropFact>>,
    /// Nulls. One serves values of its own boot alone: no clock tells its age to others.
    pub nulls: Vec<Line<NullFact>>,
    /// Path, supply and liveness checks.
    pub proofs: Vec<Line<ProveFact>>,
    /// Deliberate acts.
    pub acts: Vec<Line<ActFact>>,
    /// Answers.
    pub answers: Vec<Line<AnswerFact>>,
    /// Newest verdict of each of the plan's steps.
    pub verdicts: BTreeMap<String, Line<VerdictFact>>,
    /// The plan's steps of which something changed since their verdict.
    pub due: BTreeSet<String>,
    /// Switches of the supply box.
    pub switches: BTreeMap<Switch, Setting>,
    /// When a switch moved last.
    pub switched: Now,
    /// Where the hazardous run stands.
    pub run: Run,
    /// Gates that were opened by competence.
    pub overrides: Vec<Line<OverrideFact>>,
    /// Last line that measured, answered or judged something.
    pub measured: u64,
    /// Last scan that named an asset: `seq` and the asset.
    pub scanned: Option<(u64, String)>,
    /// It rests.
    pub parked: bool,
    /// How often it was taken up again after a restart or a rest.
    pub resumed: u32,
    /// The local date it goes on under, if that was said when it was taken up again.
    pub date: Option<String>,
    /// The boot that stamps count from.
    pub boot: String,
    /// Lines of the resumptions under another boot: stamps of two boots can't be compared.
    pub boots: Vec<u64>,
    /// Last line of a resumption; proofs of protective earth before it hold on the same day only.
    pub day_began: u64,
    /// Signed.
    pub signed: Option<Line<SignFact>>,
    /// Ended without measuring through.
    pub ended: Option<Line<EndFact>>,
}

impl Record {
    /// The only place where a record changes.
    pub(super) fn apply(&mut self, seq: u64, at: Now, fact: &Fact, by: Option<&str>) {
        let by = by.map(ToString::to_string);
        match fact {
            Fact::Open(open) => {
                self.boot.clone_from(&open.boot);
                self.opened = Some(Line { seq, at, by, fact: (**open).clone() });
            }
            Fact::Given(given) => self.give(given),
            Fact::Step(step) => self.step(seq, at, step),
            Fact::Act(act) => {
                self.last = Some((seq, at));
                self.run.act(seq, at, act);
                self.acts.push(Line { seq, at, by, fact: act.clone() });
            }
            Fact::Switch(switch) => self.switch(seq, at, switch),
            Fact::Answer(answer) => {
                self.touch(&answer.step, seq);
                self.answers.push(Line { seq, at, by, fact: answer.clone() });
            }
            Fact::Null(null) => {
                self.measured = seq;
                self.nulls.push(Line { seq, at, by, fact: null.clone() });
            }
            Fact::Prove(proof) => {
                if let Some(step) = &proof.step {
                    self.touch(step, seq);
                }
                self.proofs.push(Line { seq, at, by, fact: proof.clone() });
            }
            Fact::Value(value) => {
                self.touch(&value.step, seq);
                let line = Line { seq, at, by, fact: value.clone() };
                self.values.push(Valued { line, dropped: false });
            }
            Fact::Drop(drop) => self.set_aside(Line { seq, at, by, fact: drop.clone() }),
            Fact::Verdict(verdict) => {
                self.due.remove(&verdict.step);
                let line = Line { seq, at, by, fact: (**verdict).clone() };
                self.verdicts.insert(verdict.step.clone(), line);
            }
            Fact::Amend(amend) => {
                // An answer that was put right stands in the place of the one before.
                let put_right = |line: &Line<AnswerFact>| {
                    let field = alloc::format!("answer/{}/{}", line.fact.step, line.fact.item);
                    amend.fields.iter().any(|one| one.field == field)
                };
                self.answers.retain(|line| !put_right(line));
            }
            Fact::Override(over) => {
                self.overrides.push(Line { seq, at, by, fact: over.clone() });
            }
            Fact::Scan(scan) => self.scan(seq, scan),
            Fact::Link(link) if link.state != "up" => {
                self.relinks.push((seq, Some(link.link.clone())));
                self.blind(&link.link);
            }
            Fact::Tap(tap) => {
                self.relinks.push((seq, Some(tap.link.clone())));
                self.blind(&tap.link);
            }
            Fact::Park(_) => {
                self.parked = true;
                self.run.rest();
            }
            Fact::Resume(resume) => self.resume(seq, resume),
            Fact::Sign(sign) => self.signed = Some(Line { seq, at, by, fact: sign.clone() }),
            Fact::End(end) => self.ended = Some(Line { seq, at, by, fact: end.clone() }),
            _ => {}
        }
    }

    /// The active step.
    #[must_use]
    pub fn active(&self) -> Option<&StepRecord> {
        self.steps.iter().find(|step| step.state == StepState::Active)
    }

    /// An expanded step by its name.
    #[must_use]
    pub fn step_named(&self, step: &str) -> Option<&StepRecord> {
        self.steps.iter().find(|record| record.expanded.step == step)
    }

    /// Expanded steps of one of the plan's steps.
    pub fn steps_of(&self, of: &str) -> impl Iterator<Item = &StepRecord> {
        self.steps.iter().filter(move |record| record.expanded.of == of)
    }

    /// Values of an expanded step that count, in the order of their capture.
    pub fn values_of(&self, step: &str) -> impl Iterator<Item = &Line<ValueFact>> {
        let counts = move |value: &&Valued| !value.dropped && value.line.fact.step == step;
        self.values.iter().filter(counts).map(|value| &value.line)
    }

    /// Newest value that counts and was captured since the step became active last.
    #[must_use]
    pub fn captured(&self, step: &StepRecord) -> Option<&Line<ValueFact>> {
        self.values_of(&step.expanded.step).filter(|value| value.seq > step.since).last()
    }

    /// The asset was scanned once more after the last measurement.
    #[must_use]
    pub fn closing_scan(&self) -> bool {
        let asset = self.opened.as_ref().and_then(|open| open.fact.inspection.as_ref());
        match (&self.scanned, asset) {
            (Some((seq, scanned)), Some(opened)) => {
                self.measured < *seq && *scanned == opened.asset
            }
            _ => false,
        }
    }

    /// Between two lines this link began anew, or nobody watched.
    #[must_use]
    pub fn relinked(&self, link: Option<&str>, from: u64, to: u64) -> bool {
        let mut relinks = self.relinks.iter().filter(|(seq, _)| from < *seq && *seq < to);
        relinks.any(|(_, name)| name.is_none() || name.as_deref() == link)
    }

    /// Two lines were made under one boot, so that their stamps can be compared. `u64::MAX` stands
    /// for a line to come.
    #[must_use]
    pub fn same_boot(&self, one: u64, other: u64) -> bool {
        let boot = |seq: u64| self.boots.iter().filter(|began| **began <= seq).count();
        boot(one) == boot(other)
    }

    /// Nothing more can be added to it.
    #[must_use]
    pub fn closed(&self) -> bool {
        self.signed.is_some() || self.ended.is_some()
    }

    fn give(&mut self, given: &Given) {
        if let Given::Steps { list } = given {
            self.steps.extend(list.iter().map(|expanded| StepRecord {
                expanded: expanded.clone(),
                state: StepState::Waiting,
                since: 0,
                at: Now(0),
                reason: None,
            }));
        }
        self.given.push(given.clone());
    }

    fn step(&mut self, seq: u64, at: Now, fact: &StepFact) {
        self.last = Some((seq, at));
        if matches!(fact.state.as_str(), "active" | "repeat") {
            for step in &mut self.steps {
                if step.state == StepState::Active {
                    step.state = StepState::Waiting;
                }
            }
        }
        let again = self.begins_again(fact);
        let found = self.steps.iter_mut().find(|step| step.expanded.step == fact.step);
        let Some(step) = found else { return };
        if again {
            self.verdicts.remove(&step.expanded.of);
        }
        step.reason.clone_from(&fact.reason);
        match fact.state.as_str() {
            "active" => {
                step.state = StepState::Active;
                (step.since, step.at) = (seq, at);
                self.run.turn_to(&step.expanded);
            }
            "repeat" => {
                step.state = StepState::Waiting;
                self.run.leave();
            }
            "done" => step.state = StepState::Done,
            "skipped" => step.state = StepState::Skipped,
            "closed" => step.state = StepState::Closed,
            _ => return,
        }
        if !matches!(step.state, StepState::Active | StepState::Waiting) {
            self.run.ended();
        }
        if matches!(step.state, StepState::Skipped | StepState::Closed) {
            self.due.insert(step.expanded.of.clone());
        }
    }

    /// A step that could not start, or is measured once more, and was undecided: what stood in its
    /// way then says nothing of it now. By the list that the book names.
    fn begins_again(&self, fact: &StepFact) -> bool {
        let opened = self.opened.as_ref().and_then(|line| line.fact.inspection.as_ref());
        let (true, Some(step)) =
            (opened.is_some_and(|one| 7 <= one.policy.proofs), self.step_named(&fact.step))
        else {
            return false;
        };
        let again =
            fact.state == "repeat" || (fact.state == "active" && step.state == StepState::Closed);
        let verdict = self.verdicts.get(&step.expanded.of);
        again && verdict.is_some_and(|line| line.fact.judged.verdict == Word::Undecided)
    }

    fn switch(&mut self, seq: u64, at: Now, fact: &SwitchFact) {
        self.switched = at;
        for (switch, word) in &fact.set {
            self.switches.insert(*switch, Setting { word: word.clone(), known: fact.known });
            if *switch == Switch::Supply && fact.known == Known::Witnessed {
                self.run.supply(seq, at, word == "on");
            }
        }
    }

    fn set_aside(&mut self, line: Line<DropFact>) {
        let found = self.values.iter_mut().find(|value| value.line.seq == line.fact.value);
        if let Some(value) = found {
            value.dropped |= !line.fact.in_force;
            let step = value.line.fact.step.clone();
            self.touch(&step, line.seq);
            self.open_again(&step);
        }
        self.drops.push(line);
    }

    /// A step whose only value no longer counts is to be measured again.
    fn open_again(&mut self, step: &str) {
        if self.values_of(step).next().is_some() {
            return;
        }
        let found = self.steps.iter_mut().find(|record| record.expanded.step == step);
        if let Some(record) = found.filter(|record| record.state == StepState::Done) {
            record.state = StepState::Waiting;
        }
    }

    /// What contacts saw is no longer known once their link is gone or begins anew.
    fn blind(&mut self, link: &str) {
        let witness = self.given.iter().find_map(|given| match given {
            Given::Fixtures { witness, .. } => witness.get("link"),
            _ => None,
        });
        if witness.is_some_and(|witness| witness == link) {
            self.switches.retain(|_, setting| setting.known != Known::Witnessed);
            self.run.unwatched();
        }
    }

    fn touch(&mut self, step: &str, seq: u64) {
        self.measured = seq;
        if let Some(of) = self.step_named(step).map(|record| record.expanded.of.clone()) {
            self.due.insert(of);
        }
    }

    fn scan(&mut self, seq: u64, scan: &ScanFact) {
        if let Some(asset) = &scan.asset {
            self.scanned = Some((seq, asset.clone()));
        }
    }

    /// Whatever the bench knew by watching is void: leads and switches may have been moved.
    fn resume(&mut self, seq: u64, fact: &ResumeFact) {
        self.parked = false;
        self.relinks.push((seq, None));
        self.resumed += 1;
        self.run.resume();
        self.switches.clear();
        if self.boot != fact.boot {
            self.boots.push(seq);
            self.boot.clone_from(&fact.boot);
        }
        if self.begins_day(fact) {
            self.day_began = seq;
            self.date.clone_from(&fact.date);
        }
    }

    /// Another day than the one before, whatever the clocks say of it.
    #[must_use]
    pub fn begins_day(&self, fact: &ResumeFact) -> bool {
        fact.date.is_some() && (fact.date != self.day() || fact.after == "midnight")
    }

    /// Local date that the inspection goes by, `2026-11-24`: the one in its name, or the one it
    /// was taken up again on.
    #[must_use]
    pub fn day(&self) -> Option<String> {
        self.date.clone().or_else(|| self.day_opened())
    }

    /// Local date of opening, as its name says.
    #[must_use]
    pub fn day_opened(&self) -> Option<String> {
        date_in(&self.opened.as_ref()?.fact.id)
    }
}

/// The date in `K3-20261124-0007`.
fn date_in(id: &str) -> Option<String> {
    let eight = |part: &&str| part.len() == 8 && part.bytes().all(|b| b.is_ascii_digit());
    let date = id.split('-').find(eight)?;
    Some(alloc::format!("{}-{}-{}", &date[..4], &date[4..6], &date[6..]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_date_stands_in_the_name() {
        assert_eq!(date_in("K3-20261124-0007").as_deref(), Some("2026-11-24"));
        assert_eq!(date_in("K3"), None);
    }
}
