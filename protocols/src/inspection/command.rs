//! What may be asked of an inspection, and why it is refused.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::Now;

use super::acts;
use super::brief::Brief;
use super::follow;
use super::gate::{self, GateState};
use super::outcome::outcome;
use super::prompt::prompt;
use super::record::{Record, StepRecord};
use super::run::Phase;
use super::watch::Watch;
use super::{typed, warmth, weigh};
use crate::fact::{
    ActFact, AnswerFact, DropFact, EndFact, Fact, NoteFact, OverrideFact, ReasonFact, SignFact,
    StepFact, Word,
};
use crate::plan::{Settings, StepKind};
use crate::register::Known;

/// Longest remark or reason, characters.
pub const TEXT_CHARS_MAX: usize = 2_000;
/// Causes for setting a value aside.
const CAUSES: [&str; 5] =
    ["lead_slipped", "wrong_point", "wrong_lead", "wrong_setting", "instrument_fault"];
/// Ends without a measurement.
const ENDS: [&str; 6] = ["not_found", "in_use", "with_patient", "sent_out", "retired", "given_up"];

/// What the operator saw when they acted: an act is valid only for that.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Expect {
    /// Active step.
    pub step: Option<String>,
    /// Its state, a word of the prompt.
    pub state: Option<String>,
    /// `seq` of the last `step` or `act` line.
    pub seq: Option<u64>,
}

/// What may be asked of an inspection.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Command {
    /// `connected clear live dead`.
    Act {
        /// Which.
        what: String,
        /// What was seen.
        expect: Option<Expect>,
    },
    /// Arms a capture, or captures under the rule `operator`.
    Capture {
        /// What was seen.
        expect: Option<Expect>,
    },
    /// Sets a captured value aside.
    Discard {
        /// `seq` of the value.
        seq: u64,
        /// Cause, of the closed list.
        cause: String,
        /// Second person.
        second: Option<String>,
    },
    /// Measures a step once more; what was captured stays.
    Repeat {
        /// Expanded step or step of the plan.
        step: String,
    },
    /// Leaves the active step out.
    Skip {
        /// Why.
        reason: String,
    },
    /// Answers a look, try or ask step.
    Answer {
        /// `pass fail not_applicable`.
        answer: String,
        /// Item; all that are open without it.
        item: Option<String>,
        /// Why; needed for `not_applicable`.
        reason: Option<String>,
    },
    /// Nulls a lead set, both directions in turn.
    Null {
        /// Lead set.
        lead: String,
    },
    /// Proves the path, the supply or that the asset is alive.
    Prove {
        /// `network_resistance alive supply source closed_path`.
        what: String,
        /// Supply: line to neutral, volts.
        ln: Option<String>,
        /// Supply: neutral to protective earth, volts.
        npe: Option<String>,
        /// Supply: line to protective earth, volts.
        lpe: Option<String>,
    },
    /// Temperature of the asset, for a step that is judged at another one.
    Temperature {
        /// Degrees Celsius, a decimal.
        celsius: String,
        /// What it was read from.
        source: String,
    },
    /// What the display of a meter without a line shows, twice.
    Enter {
        /// `2.5 MOhm`, `> 20 GOhm`, `OL`.
        shows: String,
    },
    /// Sets switches of the supply box.
    Switch {
        /// What is set.
        set: Settings,
        /// `revealed` by a code beside the lever, else `declared`.
        known: Known,
    },
    /// Opens a gate by competence; never a failed protective earth.
    Override {
        /// Step of the plan: the gate's own, or the one that it keeps closed.
        step: String,
        /// Why.
        reason: String,
    },
    /// A remark.
    Note {
        /// At most 2 000 characters.
        text: String,
    },
    /// Lets the inspection rest.
    Park,
    /// Ends an inspection that was not measured through.
    End {
        /// `not_found in_use with_patient sent_out retired given_up`.
        outcome: String,
        /// Why.
        reason: String,
    },
    /// Signs.
    Sign {
        /// Meaning: `performed`.
        meaning: String,
        /// `badge`, `badge+pin` or `socket`.
        auth: String,
        /// `attached` or `refused`; required unless the outcome is pass.
        tag: Option<String>,
        /// Why the tag was refused.
        reason: Option<String>,
    },
}

/// Why something was refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// `bad_input not_found conflict forbidden`, or a word of the closed list of reasons.
    pub code: &'static str,
    /// What is the matter and what to do: a key of the words file, `refusal.…`.
    pub key: &'static str,
    /// Values for that sentence.
    pub values: Vec<String>,
}

impl Refusal {
    pub(super) fn new(code: &'static str, key: &'static str) -> Refusal {
        Refusal { code, key, values: Vec::new() }
    }

    pub(super) fn with(mut self, value: impl Into<String>) -> Refusal {
        self.values.push(value.into());
        self
    }
}

/// Everything a command is decided by.
#[derive(Clone, Copy)]
pub(super) struct Desk<'a> {
    pub(super) record: &'a Record,
    pub(super) brief: &'a Brief,
    pub(super) watch: &'a Watch,
    pub(super) at: Now,
    pub(super) by: Option<&'a str>,
}

/// Every command, and what it makes.
pub(super) fn command(desk: Desk<'_>, command: &Command) -> Result<Vec<Fact>, Refusal> {
    if desk.record.closed() {
        return Err(Refusal::new("conflict", "refusal.closed"));
    }
    if desk.record.parked {
        return Err(Refusal::new("conflict", "refusal.parked"));
    }
    match command {
        Command::Act { what, expect } => acts::act(desk, what, expect.as_ref()),
        Command::Capture { expect } => acts::capture(desk, expect.as_ref()),
        Command::Discard { seq, cause, second } => desk.discard(*seq, cause, second.as_deref()),
        Command::Repeat { step } => desk.repeat(step),
        Command::Skip { reason } => desk.skip(reason),
        Command::Answer { answer, item, reason } => {
            desk.answer(answer, item.as_deref(), reason.as_deref())
        }
        Command::Null { lead } => desk.null(lead),
        Command::Prove { what, ln, npe, lpe } => {
            acts::prove(desk, what, [ln.as_deref(), npe.as_deref(), lpe.as_deref()])
        }
        Command::Temperature { celsius, source } => warmth::prove(desk, celsius, source),
        Command::Enter { shows } => typed::enter(desk, shows),
        Command::Switch { set, known } => acts::switch(desk, set, *known),
        Command::Override { step, reason } => desk.override_gate(step, reason),
        Command::Note { text } => {
            let text = said(text)?;
            Ok(Vec::from([Fact::Note(NoteFact { text })]))
        }
        Command::Park => {
            desk.dead()?;
            Ok(Vec::from([Fact::Park(ReasonFact { reason: None })]))
        }
        Command::End { outcome, reason } => desk.end(outcome, reason),
        Command::Sign { meaning, auth, tag, reason } => {
            desk.sign((meaning, auth), tag.as_deref(), reason.as_deref())
        }
    }
}

impl<'a> Desk<'a> {
    pub(super) fn active(&self) -> Result<&'a StepRecord, Refusal> {
        self.record.active().ok_or(Refusal::new("conflict", "refusal.no_active_step"))
    }

    /// Nothing is energised, as far as anybody knows.
    pub(super) fn dead(&self) -> Result<(), Refusal> {
        match self.record.run.phase {
            Phase::Live => Err(Refusal::new("conflict", "refusal.may_be_live")),
            _ => Ok(()),
        }
    }

    pub(super) fn person(&self) -> Result<&'a str, Refusal> {
        self.by.ok_or(Refusal::new("forbidden", "refusal.no_operator"))
    }

    /// An act is valid for what was seen, and for nothing that changed a moment ago.
    pub(super) fn seen(&self, expect: Option<&Expect>) -> Result<(), Refusal> {
        let conflict = |key| Err(Refusal::new("conflict", key));
        if let Some((_, last)) = self.record.last
            && self.at.0 < last.0.saturating_add(1_000_000)
        {
            return conflict("refusal.too_soon");
        }
        let Some(expect) = expect else { return Ok(()) };
        let now = prompt(self.record, Some(self.brief), self.watch);
        let state = expect.state.as_deref().is_none_or(|state| state == now.state);
        let seq = expect.seq.is_none_or(|seq| Some(seq) == now.seq);
        let step = expect.step.is_none() || expect.step == now.step;
        if state && seq && step { Ok(()) } else { conflict("refusal.changed") }
    }

    /// The act of an arm: the line that lets replay know.
    pub(super) fn arm(step: &str) -> Fact {
        Fact::Act(ActFact { what: "arm".into(), step: step.to_string(), apart: false })
    }

    fn discard(&self, seq: u64, cause: &str, second: Option<&str>) -> Result<Vec<Fact>, Refusal> {
        let first = self.person()?;
        let values = &self.record.values;
        let value = values.iter().find(|value| value.line.seq == seq);
        let value = value.ok_or(Refusal::new("not_found", "refusal.no_such_value"))?;
        if value.dropped {
            return Err(Refusal::new("conflict", "refusal.set_aside_already"));
        }
        let cause = one_of(cause, &CAUSES, "refusal.cause")?;
        if second.is_some_and(|second| second == first) {
            return Err(Refusal::new("forbidden", "refusal.second_person"));
        }
        if second.is_some_and(|second| second.trim().is_empty()) {
            return Err(Refusal::new("bad_input", "refusal.second_person"));
        }
        let fails = matches!(
            weigh::alone(self.record, self.brief, &value.line),
            Some(Word::Fail | Word::ConditionalFail) | None
        );
        Ok(Vec::from([Fact::Drop(DropFact {
            value: seq,
            cause: cause.to_string(),
            second: second.map(ToString::to_string),
            in_force: fails && second.is_none(),
        })]))
    }

    fn repeat(&self, name: &str) -> Result<Vec<Fact>, Refusal> {
        self.dead()?;
        let named = |step: &&StepRecord| step.expanded.step == name || step.expanded.of == name;
        let steps: Vec<&StepRecord> = self.record.steps.iter().filter(named).collect();
        let Some(first) = steps.first() else {
            return Err(Refusal::new("not_found", "refusal.no_such_step").with(name));
        };
        if self.brief.kind(&first.expanded) != StepKind::Measure {
            return Err(Refusal::new("conflict", "refusal.only_measured_steps_repeat").with(name));
        }
        if let Some(why) = follow::closed(self.record, self.brief, first) {
            return Err(Refusal::new(why, "refusal.step_closed").with(name));
        }
        let again = |step: &StepRecord| {
            Fact::Step(StepFact {
                step: step.expanded.step.clone(),
                state: "repeat".into(),
                reason: None,
            })
        };
        Ok(steps.into_iter().map(again).collect())
    }

    fn skip(&self, reason: &str) -> Result<Vec<Fact>, Refusal> {
        self.dead()?;
        let step = self.active()?.expanded.step.clone();
        let reason = Some(said(reason)?);
        Ok(Vec::from([Fact::Step(StepFact { step, state: "skipped".into(), reason })]))
    }

    fn answer(
        &self,
        answer: &str,
        item: Option<&str>,
        reason: Option<&str>,
    ) -> Result<Vec<Fact>, Refusal> {
        let step = self.active()?;
        if matches!(self.brief.kind(&step.expanded), StepKind::Measure | StepKind::Compute) {
            return Err(Refusal::new("conflict", "refusal.nothing_to_answer"));
        }
        let answer = one_of(answer, &["pass", "fail", "not_applicable"], "refusal.answer")?;
        let reason = reason.map(said).transpose()?;
        if answer == "not_applicable" && reason.is_none() {
            return Err(Refusal::new("bad_input", "refusal.reason_needed"));
        }
        let items = self.brief.items(&step.expanded);
        if let Some(item) = item {
            if !items.iter().any(|known| known == item) {
                let all = items.join(", ");
                return Err(Refusal::new("not_found", "refusal.no_such_item").with(all));
            }
            if follow::answered(self.record, step, item) {
                return Err(Refusal::new("conflict", "refusal.answered_already").with(item));
            }
        }
        let asked = |one: &String| match item {
            Some(item) => one == item,
            None => !follow::answered(self.record, step, one),
        };
        let fact = |item: String| {
            Fact::Answer(AnswerFact {
                step: step.expanded.step.clone(),
                item,
                answer: answer.to_string(),
                reason: reason.clone(),
            })
        };
        Ok(items.into_iter().filter(asked).map(fact).collect())
    }

    fn null(&self, lead: &str) -> Result<Vec<Fact>, Refusal> {
        self.dead()?;
        if !self.brief.leads.contains_key(lead) {
            return Err(Refusal::new("not_found", "refusal.no_such_lead").with(lead));
        }
        if !self.brief.jobs.values().any(|job| job.leads.as_deref() == Some(lead)) {
            return Err(Refusal::new("conflict", "refusal.lead_not_used").with(lead));
        }
        Ok(Vec::from([Desk::arm(&alloc::format!("null/{lead}"))]))
    }

    fn override_gate(&self, name: &str, reason: &str) -> Result<Vec<Fact>, Refusal> {
        let person = self.person()?;
        let step = self.brief.step(name);
        let step = step.ok_or(Refusal::new("not_found", "refusal.no_such_step").with(name))?;
        let state = match (step.gate, gate::asked(self.brief, step)) {
            (Some(gate), _) => gate::state(self.record, self.brief, gate),
            (None, Some(_)) => gate::before(self.record, self.brief, step),
            (None, None) => return Err(Refusal::new("conflict", "refusal.no_gate").with(name)),
        };
        match state {
            GateState::Undecided if gate::measured(self.record, self.brief) => {}
            GateState::Undecided => {
                return Err(Refusal::new("conflict", "refusal.gate_not_measured"));
            }
            GateState::Failed => return Err(Refusal::new("forbidden", "refusal.gate_failed")),
            _ => return Err(Refusal::new("conflict", "refusal.gate_open")),
        }
        let day = self.record.day().unwrap_or_default();
        let valid = self.brief.operator(person).is_some_and(|operator| {
            let live = |one: &&crate::register::Competence| one.what == "live_work";
            operator.competence.iter().filter(live).any(|one| day <= one.until)
        });
        if !valid {
            return Err(Refusal::new("forbidden", "refusal.no_live_work").with(person));
        }
        let (step, reason) = (name.to_string(), said(reason)?);
        Ok(Vec::from([Fact::Override(OverrideFact { step, reason })]))
    }

    fn end(&self, outcome: &str, reason: &str) -> Result<Vec<Fact>, Refusal> {
        self.dead()?;
        let outcome = one_of(outcome, &ENDS, "refusal.end")?.to_string();
        if outcome != "given_up" && !self.record.values.is_empty() {
            return Err(Refusal::new("conflict", "refusal.measured_already"));
        }
        Ok(Vec::from([Fact::End(EndFact { outcome, reason: said(reason)? })]))
    }

    fn sign(
        &self,
        (meaning, auth): (&str, &str),
        tag: Option<&str>,
        reason: Option<&str>,
    ) -> Result<Vec<Fact>, Refusal> {
        self.person()?;
        self.dead()?;
        let meaning = one_of(meaning, &["performed"], "refusal.meaning")?.to_string();
        let auth = one_of(auth, &["badge", "badge+pin", "socket"], "refusal.auth")?.to_string();
        if !self.record.closing_scan() {
            return Err(Refusal::new("conflict", "refusal.closing_scan"));
        }
        let outcome = outcome(self.record);
        let tag = tag.map(|tag| one_of(tag, &["attached", "refused"], "refusal.tag"));
        let tag = tag.transpose()?.map(ToString::to_string);
        let reason = reason.map(said).transpose()?;
        match tag.as_deref() {
            None if outcome.word != Word::Pass => {
                return Err(Refusal::new("bad_input", "refusal.tag_needed"));
            }
            Some("refused") if reason.is_none() => {
                return Err(Refusal::new("bad_input", "refusal.reason_needed"));
            }
            _ => {}
        }
        Ok(Vec::from([Fact::Sign(SignFact {
            meaning,
            auth,
            outcome: outcome.word,
            words: outcome.words,
            open: outcome.open,
            tag,
            reason,
        })]))
    }
}

/// A text that says something, within its length.
pub(super) fn said(text: &str) -> Result<String, Refusal> {
    match text.trim() {
        "" => Err(Refusal::new("bad_input", "refusal.reason_needed")),
        text if TEXT_CHARS_MAX < text.chars().count() => {
            Err(Refusal::new("bad_input", "refusal.text_too_long"))
        }
        text => Ok(text.to_string()),
    }
}

pub(super) fn one_of<'w>(
    word: &str,
    words: &'w [&'w str],
    key: &'static str,
) -> Result<&'w str, Refusal> {
    let found = words.iter().find(|known| **known == word).copied();
    found.ok_or_else(|| Refusal::new("bad_input", key).with(words.join(", ")))
}
