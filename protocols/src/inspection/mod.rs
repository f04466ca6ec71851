//! The inspection: readings, contacts and acts of people in, facts out.
//!
//! Three parts, kept apart:
//! - [`Record`], what the facts add up to. It changes in [`Inspection::apply`] alone and
//!   interprets nothing, so that live running, recovery and replay can't drift apart.
//! - the brief, what was given when the inspection opened: plan, limits, asset, bench.
//! - the watch, what is known by watching: windows, releases, spent instruments. It is volatile,
//!   and void after a restart and after a lost link.
//!
//! Decisions are a function of the facts in their order and of the readings with their stamps.
//! No timer makes a fact: a window ends with the first reading after its time. The caller stores
//! what comes back, hands it to [`Inspection::apply`], and asks [`Inspection::follow`] until it is
//! empty.
//!
//! Reading order: `record` and `run` hold what was, `job` and `brief` what is asked, `attach` where
//! a reading belongs, `channel` and `window` how it becomes a value, `proof`, `null` and `direct`
//! what is shown besides, `test_current` and `ammeter` what an ammeter sees, `weigh`, `gate` and
//! `outcome` what follows, `glance` what a screen shows meanwhile, `command` and `acts` what people
//! do.

mod acts;
mod ammeter;
mod assume;
mod attach;
mod bench_check;
mod brief;
mod channel;
pub mod chart;
mod command;
mod condition;
mod direct;
mod entered;
mod evidence;
mod follow;
mod gate;
mod glance;
mod job;
mod like;
mod null;
mod outcome;
mod prompt;
mod proof;
mod record;
mod run;
mod sample;
mod scale;
mod source;
mod test_current;
mod tester;
mod typed;
mod warmth;
mod watch;
mod weigh;
mod window;

#[cfg(test)]
mod tests;

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::{Contacts, Function, Now, Want};

use crate::fact::{Fact, Given, SwitchFact, VerdictFact};
use crate::fault::Fault;
use crate::plan::{Settings, Switch};
use crate::register::Known;
use brief::Brief;
use command::Desk;
use job::Job;
use watch::Watch;

pub use assume::{Assumed, Off};
pub use attach::Where;
pub use bench_check::CheckRun;
pub use command::{Command, Expect, Refusal, TEXT_CHARS_MAX};
pub use evidence::ENTER_AGAIN;
pub use glance::Glance;
pub(crate) use job::{range, range_end};
pub use like::like;
pub use outcome::Outcome;
pub use prompt::{Prompt, STATES};
pub use record::{Line, Record, Setting, StepRecord, StepState, Valued};
pub use run::{Phase, Placement, Run};
pub(crate) use scale::is_within_percent;
pub(crate) use test_current::{is_test_resistance, is_test_tolerance};
pub use typed::{TYPED, typed_link};

/// One inspection.
#[derive(Debug, Clone, Default)]
pub struct Inspection {
    record: Record,
    brief: Option<Brief>,
    watch: Watch,
}

impl Inspection {
    /// An inspection before its first line.
    #[must_use]
    pub fn new() -> Inspection {
        Inspection::default()
    }

    /// Takes a stored fact: the only place where the record changes.
    pub fn apply(&mut self, seq: u64, at: Now, fact: &Fact, by: Option<&str>) {
        let was = self.record.run.phase;
        self.record.apply(seq, at, fact, by);
        self.watch.follow(at, fact, (&self.record, was), self.brief.as_ref());
        match (fact, &mut self.brief) {
            (Fact::Given(Given::Operator { operator }), Some(brief)) => {
                brief.operators.push((**operator).clone());
            }
            (Fact::Given(Given::Earlier { list }), Some(brief)) => {
                brief.earlier.extend(list.iter().cloned());
            }
            (Fact::Given(Given::Former { list }), Some(brief)) => {
                brief.former.extend(list.iter().cloned());
            }
            // Given once more with what nobody had said of it.
            (Fact::Given(Given::Asset { asset }), Some(brief)) => brief.asset = (**asset).clone(),
            _ => {}
        }
        if let (Fact::Resume(_), Some(brief)) = (fact, &mut self.brief) {
            brief.go_on(&self.record);
        }
    }

    /// Reads what was given: after the first commit, and after a recovery.
    ///
    /// # Errors
    /// Every fault of what was given. Until it succeeds nothing is captured and nothing follows.
    pub fn prepare(&mut self) -> Result<(), Vec<Fault>> {
        self.brief = Some(Brief::read(&self.record)?);
        Ok(())
    }

    /// What each instrument is to measure now. An instrument that is not listed is not needed.
    #[must_use]
    pub fn wants(&self) -> Vec<(String, Want)> {
        let Some(brief) = self.brief.as_ref() else { return Vec::new() };
        if self.record.parked || self.record.closed() {
            return Vec::new();
        }
        let live = self.record.run.may_be_live();
        let mut wants: Vec<(String, Want)> = Vec::new();
        if let Some(null) = &self.watch.null {
            wants.push((null.meter.clone(), Want { function: null.function, live }));
        }
        if let Some((_, job)) = self.active_job()
            && wants.iter().all(|(meter, _)| *meter != job.meter)
        {
            let function = prompt::wanted(&self.record, brief, job);
            wants.push((job.meter.clone(), Want { function, live }));
        }
        wants
    }

    /// The driver of an instrument says that it is configured.
    pub fn configured(&mut self, instrument: &str, function: Function, at: Now) {
        self.watch.configured(instrument, function, at);
    }

    /// Contacts of the supply box say how it stands: the switches that changed, witnessed.
    pub fn contacts(&mut self, link: &str, contacts: &Contacts) -> Vec<Fact> {
        let Some(brief) = self.brief.as_ref() else { return Vec::new() };
        let (Some(fixture), true) =
            (brief.supply_box(), brief.witness.link.as_deref() == Some(link))
        else {
            return Vec::new();
        };
        if self.record.parked || self.record.closed() {
            return Vec::new();
        }
        let mut set = Settings::new();
        for (input, switch, word) in &brief.witness.inputs {
            let closed = contacts.closed.get(*input).copied().unwrap_or(false);
            let word = if closed { word } else { other(*switch, word) };
            let same = |one: &Setting| one.word == *word && one.known == Known::Witnessed;
            if !self.record.switches.get(switch).is_some_and(same) {
                set.insert(*switch, word.to_string());
            }
        }
        if set.is_empty() {
            return Vec::new();
        }
        let fixture = fixture.id.clone();
        Vec::from([Fact::Switch(SwitchFact { fixture, set, known: Known::Witnessed })])
    }

    /// How a switch stands is known from the contacts on this link.
    #[must_use]
    pub fn sees(&self, link: &str) -> bool {
        let witness = self.brief.as_ref().and_then(|brief| brief.witness.link.as_deref());
        let witnessed = |setting: &Setting| setting.known == Known::Witnessed;
        let open = !self.record.parked && !self.record.closed();
        open && witness == Some(link) && self.record.switches.values().any(witnessed)
    }

    /// The link of an instrument is gone: spent, its window void. What contacts saw is no longer
    /// known.
    pub fn link_lost(&mut self, instrument: &str, at: Now) -> Vec<Fact> {
        self.watch.lost(instrument, at);
        Vec::new()
    }

    /// What follows from what is known. Apply it, and ask again until it is empty.
    #[must_use]
    pub fn follow(&self, at: Now) -> Vec<Fact> {
        let Some(brief) = self.brief.as_ref() else { return Vec::new() };
        follow::follow(&self.record, brief, &self.watch, at)
    }

    /// Does what a person asks.
    ///
    /// # Errors
    /// Why it is refused, and nothing has changed then.
    pub fn command(
        &self,
        at: Now,
        command: &Command,
        by: Option<&str>,
    ) -> Result<Vec<Fact>, Refusal> {
        let Some(brief) = self.brief.as_ref() else {
            return Err(Refusal::new("conflict", "refusal.not_prepared"));
        };
        let desk = Desk { record: &self.record, brief, watch: &self.watch, at, by };
        command::command(desk, command)
    }

    /// What the operator should do now.
    #[must_use]
    pub fn prompt(&self) -> Prompt {
        prompt::prompt(&self.record, self.brief.as_ref(), &self.watch)
    }

    /// What the whole inspection says so far.
    #[must_use]
    pub fn outcome(&self) -> Outcome {
        outcome::outcome(&self.record)
    }

    /// Takes something to have been otherwise from now on: for questions about a record that is
    /// read again, never for one in work. [`Inspection::prepare`] forgets it.
    pub fn assume(&mut self, assumed: &Assumed) {
        if let Some(brief) = &mut self.brief {
            brief.assume(assumed);
        }
    }

    /// The verdict that a step of the plan has by what is known now; `None` where none is due.
    #[must_use]
    pub fn verdict(&self, step: &str) -> Option<VerdictFact> {
        let brief = self.brief.as_ref()?;
        weigh::verdict(&self.record, brief, brief.step(step)?)
    }

    /// What the facts add up to.
    #[must_use]
    pub fn record(&self) -> &Record {
        &self.record
    }

    fn active_job(&self) -> Option<(&StepRecord, &Job)> {
        let step = self.record.active()?;
        Some((step, self.brief.as_ref()?.job(&step.expanded.step)?))
    }
}

/// The other setting of a switch.
fn other(switch: Switch, word: &str) -> &'static str {
    let words = switch.words();
    words.iter().find(|one| **one != word).copied().unwrap_or_default()
}
