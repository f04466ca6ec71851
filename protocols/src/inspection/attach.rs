//! Where a reading belongs: to the active step, to a null, to a proof, or to nothing and why.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use tapline_drivers::{Flag, Function, Now, Reading};

use super::Inspection;
use super::acts;
use super::brief::Brief;
use super::channel::Taken;
use super::condition;
use super::direct;
use super::evidence;
use super::gate;
use super::job::{self, Job};
use super::proof::{self, Stage};
use super::record::Record;
use super::run::Phase;
use super::sample::Sample;
use super::source;
use super::test_current;
use crate::fact::{Fact, ProveFact, ReadingId};
use crate::plan::Rule;

/// Where a reading belongs.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Where {
    /// Expanded step, or `null/L-1`, `prove/network_resistance`.
    pub step: Option<String>,
    /// Why it belongs to none, a closed word.
    pub why: Option<&'static str>,
}

impl Where {
    fn step(step: impl Into<String>) -> Where {
        Where { step: Some(step.into()), why: None }
    }

    fn why(why: &'static str) -> Where {
        Where { step: None, why: Some(why) }
    }
}

impl Inspection {
    /// Takes a reading of an instrument: says where it belongs, and what it makes. The caller
    /// stores and applies the facts before the next reading.
    pub fn reading(
        &mut self,
        id: ReadingId,
        instrument: &str,
        reading: &Reading,
    ) -> (Where, Vec<Fact>) {
        match self.attach(id, instrument, reading) {
            Ok((step, facts)) => (Where::step(step), facts),
            Err(why) => (Where::why(why), Vec::new()),
        }
    }

    fn attach(
        &mut self,
        id: ReadingId,
        instrument: &str,
        reading: &Reading,
    ) -> Result<(String, Vec<Fact>), &'static str> {
        let Some(brief) = self.brief.as_ref().filter(|_| !self.record.closed()) else {
            return Err(reading.why.unwrap_or("idle"));
        };
        refused(brief, &self.record, instrument, reading)?;
        let sample = Sample::of(id, reading);
        if let Some(job) = self.tested(instrument) {
            let volts = &mut self.watch.channel(instrument).volts;
            match sample {
                _ if reading.function == job.function && sample.is_none() => {
                    volts.nothing(reading.first);
                }
                Some(sample) if reading.function == Function::VoltageDc => volts.tell(sample),
                _ => {}
            }
            if reading.function == Function::VoltageDc {
                return Ok((String::from("prove/test_voltage"), Vec::new()));
            }
        }
        let channel = self.watch.channel(instrument);
        if let Some(sample) = sample {
            let lifted = lifted(brief, instrument, (reading, sample));
            channel.watch(sample.at, lifted, &brief.policy.release);
            channel.note(reading.function, sample);
        }
        if let Some(null) = self.watch.null.as_mut().filter(|null| null.meter == instrument) {
            let fact = null.take(brief, reading, sample)?;
            if fact.is_none() && null.not_accepted() {
                self.watch.refused = Some("lead_not_nulled");
            }
            return Ok((format!("null/{}", null.lead), fact.map(Fact::Null).into_iter().collect()));
        }
        let unasked = if brief.policy.proofs < 7 { "idle" } else { "not_asked" };
        let step = self.record.active().ok_or(unasked)?;
        let job = brief.job(&step.expanded.step).filter(|job| job.meter == instrument);
        let job = job.ok_or(unasked)?;
        if reading.first < step.at {
            return Err("guard");
        }
        if job.lapsed && brief.policy.out_of_calibration != "override" {
            return Err("out_of_calibration");
        }
        if sample.is_none() && job.rule == Rule::AfterSeconds && brief.policy.proofs >= 3 {
            // No number is no test voltage: the clock starts with the first one after it.
            self.watch.channel(instrument).disturb();
        }
        let sample = sample.ok_or("window_closed");
        if job.tested.is_some() && acts::joins_clips(&self.record, step) {
            return sample.map(|_| (String::from("prove/closed_path"), Vec::new()));
        }
        match (job.runs(), self.record.run.phase) {
            (true, Phase::Connected) => self.prove(reading, sample?),
            (true, Phase::Dead | Phase::Cleared) => Err("not_live"),
            (true, Phase::Live) if test_current::runs(&self.record, job).is_some() => {
                self.test(reading, sample?)
            }
            (true, Phase::Live) | (false, _) => self.capture(reading, sample?),
        }
    }

    /// What the active step measures under a test voltage of this instrument.
    fn tested(&self, instrument: &str) -> Option<Job> {
        let (_, job) = self.active_job()?;
        (job.tested.is_some() && job.meter == instrument).then(|| job.clone())
    }

    fn prove(
        &mut self,
        reading: &Reading,
        sample: Sample,
    ) -> Result<(String, Vec<Fact>), &'static str> {
        let Inspection { record, brief, watch, .. } = self;
        let (brief, step) = (brief.as_ref().ok_or("idle")?, record.active().ok_or("idle")?);
        let job = brief.job(&step.expanded.step).ok_or("idle")?;
        let stage = proof::stage(record, brief, job);
        if stage == Stage::Ready {
            return Err("not_live");
        }
        let facts = watch.proof.take((record, brief, job), reading.function, sample)?;
        let what = match stage {
            Stage::Voltage(_) => "prove/no_voltage",
            _ => "prove/network_resistance",
        };
        Ok((String::from(what), facts))
    }

    /// A value was captured: what the ammeter makes of the known current.
    fn test(
        &mut self,
        reading: &Reading,
        sample: Sample,
    ) -> Result<(String, Vec<Fact>), &'static str> {
        let Inspection { record, brief, watch, .. } = self;
        let (brief, step) = (brief.as_ref().ok_or("idle")?, record.active().ok_or("idle")?);
        let job = brief.job(&step.expanded.step).ok_or("idle")?;
        let facts = watch.test.take((record, brief, job), reading.function, sample)?;
        if facts.iter().any(|fact| matches!(fact, Fact::Prove(shown) if !shown.ok)) {
            watch.refused = Some("path_not_proved");
        }
        Ok((String::from("prove/test_current"), facts))
    }

    fn capture(
        &mut self,
        reading: &Reading,
        sample: Sample,
    ) -> Result<(String, Vec<Fact>), &'static str> {
        let Inspection { record, brief, watch, .. } = self;
        let (brief, step) = (brief.as_ref().ok_or("idle")?, record.active().ok_or("idle")?);
        let job = brief.job(&step.expanded.step).ok_or("idle")?;
        let direct = direct::shares(brief, job, reading.function);
        if reading.function != job.function && !direct {
            return Err("wrong_function");
        }
        let gate = brief.step(&job.of).map(|planned| gate::before(record, brief, planned));
        if gate.is_some_and(|gate| !gate.open()) {
            return Err("not_live");
        }
        let known = condition::known(record, job)?;
        if direct {
            let alone = watch.channel(&job.meter).alone();
            let when = (reading.function, step.at);
            let fact = watch.direct.take((record, brief, job), when, (sample, alone))?;
            let facts = fact.map(|fact| Fact::Prove(ProveFact { known, ..fact }));
            return Ok((String::from("prove/direct"), facts.into_iter().collect()));
        }
        let channel = watch.channel(&job.meter);
        let known = match job.tested {
            None => known,
            Some(_) => {
                let behind = channel.volts.behind(job, sample);
                if behind.is_none() {
                    channel.disturb();
                }
                Some(behind.ok_or("not_live")?)
            }
        };
        let quiet = quiet(record, job, step.at);
        let fact = if job.by_operator() {
            if reading.first.0 < quiet.0 + condition::operator_guard_us(brief, job) {
                return Err("guard");
            }
            channel.answer(job, quiet, condition::operator_guard_us(brief, job), reading.first)
        } else {
            match channel.take(job, quiet, sample) {
                Taken::Window(fact) => fact.map(|fact| *fact),
                Taken::Why(why) => return Err(why),
            }
        };
        if fact.is_some() {
            channel.spend(reading.first);
        }
        let facts = fact.map(|fact| condition::stamped(fact, job, known));
        Ok((job.step.clone(), facts.map(Fact::Value).into_iter().collect()))
    }
}

/// When the bench was last changed for a job: the step began, a switch moved, a phase began,
/// the asset was set to its operating state.
pub(super) fn quiet(record: &Record, job: &Job, step_at: Now) -> Now {
    if job.runs() {
        let source = source::now(record, &job.step).filter(|_| job.source);
        let shown = source.map_or(step_at, |line| line.at);
        let set = evidence::alive_now(record, job).filter(|_| job.operating.is_some());
        let set = set.map_or(step_at, |line| line.at);
        return step_at.max(record.switched).max(record.run.changed).max(shown).max(set);
    }
    step_at
}

/// What no reading of any step may be.
fn refused(
    brief: &Brief,
    record: &Record,
    instrument: &str,
    reading: &Reading,
) -> Result<(), &'static str> {
    if let Some(why) = reading.why {
        return Err(why);
    }
    if record.parked {
        return Err("parked");
    }
    if !brief.instruments.contains_key(instrument) {
        return Err("unknown_instrument");
    }
    if reading.function.quantity() != Some(reading.unit.quantity) {
        return Err("wrong_unit");
    }
    let has = |flag: Flag| reading.flags.contains(&flag);
    if has(Flag::Hold) {
        // A held display repeats an old contact.
        return Err("duplicate");
    }
    // A peak is a function of its own: of any other, this is what was held of it.
    let held = has(Flag::Peak) && reading.function != Function::VoltagePeak;
    if has(Flag::Min) || has(Flag::Max) || held {
        return Err("wrong_function");
    }
    if brief.operators.is_empty() && record.opened.as_ref().is_none_or(|open| open.by.is_none()) {
        return Err("no_operator");
    }
    Ok(())
}

/// The reading shows a probe that touches nothing. Energised steps are armed by acts and contacts
/// alone: a value at the idle level may be one that was taken with the supply off.
fn lifted(brief: &Brief, instrument: &str, (reading, sample): (&Reading, Sample)) -> bool {
    let same = |job: &&Job| job.meter == instrument && job.function == reading.function;
    let open_at = brief.jobs.values().filter(same).filter_map(|job| job.open_at).max();
    job::is_resistance(reading.function) && sample.open(open_at)
}
