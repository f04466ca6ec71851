//! Proofs around a hazardous placement: nothing is live, the network and nothing else is in the
//! path, and it still is afterwards.

use alloc::string::ToString;
use alloc::vec::Vec;

use tapline_drivers::{Function, Now, Prefix, Quantity, Unit};

use super::brief::Brief;
use super::job::{self, Job};
use super::null::SLOW_GUARD_US;
use super::record::{Line, Record, StepState};
use super::run::{Phase, Placement};
use super::sample::{Sample, Says};
use super::scale;
use crate::fact::{Fact, ProveFact, SwitchFact};
use crate::plan::{Settings, Switch};
use crate::register::Known;

/// More than this is not dead: 1 V.
const DEAD_MAX: i128 = scale::ONE;
/// The network reads within 0.4 % of its certificate.
pub(super) const NETWORK_PERMILLE: i128 = 4;
/// Readings in a row that a proof rests on.
const AGREE: usize = 2;

/// What has to be shown next, with the leads of the placement laid and the supply off.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Stage {
    /// No voltage, by this function.
    Voltage(Function),
    /// The network's resistance with these settings.
    Network(Settings),
    /// Nothing more.
    Ready,
}

impl Stage {
    /// What the meter measures for it.
    pub(super) fn function(&self, brief: &Brief, job: &Job) -> Function {
        match self {
            Stage::Voltage(function) => *function,
            Stage::Network(_) => resistance(brief, job).unwrap_or(Function::Resistance2w),
            Stage::Ready => job.function,
        }
    }
}

/// What has to be shown next for the active step. `Ready` outside the phase `Connected`.
pub(super) fn stage(record: &Record, brief: &Brief, job: &Job) -> Stage {
    if record.run.phase != Phase::Connected || !provable(brief, job) {
        return Stage::Ready;
    }
    let Some(open) = next(record, brief, job) else { return Stage::Ready };
    let since = since(record, job);
    for (function, how) in [(Function::VoltageDc, "dc"), (Function::VoltageAc, "ac")] {
        let mut dead = proofs(record, "no_voltage", since)
            .filter(|line| line.fact.how.as_deref() == Some(how));
        if !dead.any(|line| line.fact.ok) {
            return Stage::Voltage(function);
        }
    }
    Stage::Network(open)
}

/// Line from which on a proof speaks for the path.
pub(super) fn since(record: &Record, job: &Job) -> u64 {
    if reprove(record, job) { record.run.dead } else { record.run.connected }
}

/// The settings in which the network is to be read next.
pub(super) fn next(record: &Record, brief: &Brief, job: &Job) -> Option<Settings> {
    let since = since(record, job);
    let shown = |set: &Settings| {
        proofs(record, "network_resistance", since).any(|line| line.fact.set == *set)
    };
    let wanted = wanted(brief, job, reprove(record, job));
    wanted.into_iter().find(|set| !shown(set))
}

/// The settings in which the network is read. Protective earth closed: the lead is on the
/// earthed part; open: nothing else is. Afterwards open first: so it stands.
pub(super) fn wanted(brief: &Brief, job: &Job, again: bool) -> Vec<Settings> {
    let with = |word: &str| Settings::from([(Switch::S7, word.to_string())]);
    match (job.opens_earth(), again) {
        (true, false) => alloc::vec![with("closed"), with("open")],
        (true, true) if brief.policy.proofs < 2 => alloc::vec![with("closed")],
        (true, true) => alloc::vec![with("open"), with("closed")],
        (false, false) => alloc::vec![Settings::new()],
        (false, true) if brief.policy.proofs < 2 => Vec::new(),
        (false, true) => alloc::vec![Settings::new()],
    }
}

/// After the last value of the placement the path is shown once more.
pub(super) fn reprove(record: &Record, job: &Job) -> bool {
    let Some(active) = record.active() else { return false };
    let Some(value) = record.captured(active) else { return false };
    job.proves_network()
        && value.seq < record.run.dead
        && !laid_anew(record, value.seq)
        && last_of_placement(record)
}

/// The leads were declared connected again after a value: no later proof speaks for its path.
pub(super) fn laid_anew(record: &Record, value: u64) -> bool {
    value < record.run.connected
}

/// No other step of the active step's placement is left.
pub(super) fn last_of_placement(record: &Record) -> bool {
    let Some(active) = record.active() else { return false };
    let placement = Placement::of(&active.expanded);
    let waits = |step: &&super::record::StepRecord| step.state == StepState::Waiting;
    !record.steps.iter().filter(waits).any(|step| Placement::of(&step.expanded) == placement)
}

/// The bench can read the network: it has one, the meter measures resistance, and the supply
/// switch opens all poles.
pub(super) fn provable(brief: &Brief, job: &Job) -> bool {
    let one_pole = brief.supply_box().is_some_and(|one| one.poles.as_deref() == Some("one"));
    job.proves_network()
        && !one_pole
        && target(brief, job, &Settings::new()).is_some()
        && resistance(brief, job).is_some()
}

/// What the network reads with these settings, from its certificate.
pub(super) fn target(brief: &Brief, job: &Job, set: &Settings) -> Option<i128> {
    let network = job::network(brief, job)?;
    let (r1, r2) = (scale::of(network.r1?), scale::of(network.r2?));
    match set.get(&Switch::S7).map(alloc::string::String::as_str) {
        Some("closed") => Some(r1),
        _ => r1.checked_add(r2),
    }
}

/// Checks of a kind after a line.
pub(super) fn proofs<'a>(
    record: &'a Record,
    what: &'a str,
    since: u64,
) -> impl Iterator<Item = &'a Line<ProveFact>> {
    record.proofs.iter().filter(move |line| line.fact.what == what && since < line.seq)
}

/// The function in which the meter of a job reads a resistance.
pub(super) fn resistance(brief: &Brief, job: &Job) -> Option<Function> {
    let ranges = &brief.instruments.get(&job.meter)?.ranges;
    let has = |wanted: &Function| ranges.iter().any(|range| range.function == *wanted);
    [Function::Resistance2w, Function::Resistance4w].into_iter().find(has)
}

/// A proof in progress.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct ProofRun {
    stage: Option<Stage>,
    /// First reading of the function that is wanted.
    since: Option<Now>,
    thrown: bool,
    newest: Vec<Sample>,
}

impl ProofRun {
    /// Takes a reading of the meter: why it is not used, or the facts that it gives.
    pub(super) fn take(
        &mut self,
        (record, brief, job): (&Record, &Brief, &Job),
        function: Function,
        sample: Sample,
    ) -> Result<Vec<Fact>, &'static str> {
        let stage = stage(record, brief, job);
        if self.stage.as_ref() != Some(&stage) {
            *self = ProofRun { stage: Some(stage.clone()), ..ProofRun::default() };
        }
        if function != stage.function(brief, job) || sample.relative {
            // What the meter subtracts from shows nothing.
            (self.since, self.thrown) = (None, false);
            self.newest.clear();
            return Err("wrong_function");
        }
        let since = (*self.since.get_or_insert(sample.at)).max(record.run.changed);
        let since = since.max(record.switched);
        let guard = job::guard_us(brief, &job.meter, function).unwrap_or(SLOW_GUARD_US);
        if sample.at.0 < since.0.saturating_add(guard) {
            self.newest.clear();
            return Err("guard");
        }
        if job.polled && !self.thrown {
            self.thrown = true;
            return Err("guard");
        }
        if self.newest.len() == AGREE {
            self.newest.remove(0);
        }
        self.newest.push(sample);
        Ok(self.shown((record, brief, job), &stage))
    }

    fn shown(&mut self, (record, brief, job): (&Record, &Brief, &Job), stage: &Stage) -> Vec<Fact> {
        let facts = match stage {
            Stage::Ready => Vec::new(),
            Stage::Voltage(function) => self.dead(record, job, *function),
            Stage::Network(set) => self.network((record, brief, job), set),
        };
        if !facts.is_empty() {
            self.newest.clear();
        }
        facts
    }

    fn dead(&self, record: &Record, job: &Job, function: Function) -> Vec<Fact> {
        let how = if function == Function::VoltageDc { "dc" } else { "ac" };
        let quiet = |sample: &Sample| sample.size <= DEAD_MAX && sample.says != Says::Above;
        let agree = self.newest.len() == AGREE;
        let ok = agree && self.newest.iter().all(quiet);
        let live = agree && !self.newest.iter().any(quiet);
        let last = proofs(record, "no_voltage", record.run.connected.max(record.run.dead))
            .filter(|line| line.fact.how.as_deref() == Some(how))
            .last();
        let told = last.is_some_and(|line| !line.fact.ok);
        if !ok && (told || !live) {
            return Vec::new();
        }
        let volt = Unit { prefix: Prefix::One, quantity: Quantity::Volt };
        let mut fact = self.fact("no_voltage", job, scale::text(DEAD_MAX, volt));
        fact.how = Some(how.to_string());
        fact.ok = ok;
        fact.why = (!ok).then(|| "path_not_proved".to_string());
        alloc::vec![Fact::Prove(fact)]
    }

    fn network(&self, (record, brief, job): (&Record, &Brief, &Job), set: &Settings) -> Vec<Fact> {
        let Some(target) = target(brief, job, set) else { return Vec::new() };
        let near = |sample: &Sample| {
            sample.says == Says::Value
                && scale::within_permille(sample.size, target, NETWORK_PERMILLE)
        };
        let agree = self.newest.len() == AGREE && self.newest.iter().all(near);
        if !agree || contradicted(record, set) {
            return Vec::new();
        }
        let unit = self.newest[0].unit;
        let mut fact = self.fact("network_resistance", job, scale::text(target, unit));
        fact.set.clone_from(set);
        fact.ok = true;
        let mut facts = alloc::vec![Fact::Prove(fact)];
        facts.extend(revealed((record, brief, job), set).map(Fact::Switch));
        facts
    }

    fn fact(&self, what: &str, job: &Job, want: alloc::string::String) -> ProveFact {
        let last = self.newest.last();
        ProveFact {
            what: what.to_string(),
            step: Some(job.step.clone()),
            value: last.map(|sample| sample.number.text()),
            unit: last.map(|sample| sample.unit),
            want: Some(want),
            from: self.newest.iter().map(|sample| sample.id).collect(),
            ..ProveFact::default()
        }
    }
}

/// Contacts say the opposite.
fn contradicted(record: &Record, set: &Settings) -> bool {
    set.iter().any(|(switch, word)| {
        let setting = record.switches.get(switch);
        setting.is_some_and(|one| one.known == Known::Witnessed && one.word != *word)
    })
}

/// Two readings that differ by the network's input resistance show where S7 stands: the second
/// of the pair reveals it.
fn revealed((record, brief, job): (&Record, &Brief, &Job), set: &Settings) -> Option<SwitchFact> {
    let closed = set.get(&Switch::S7).is_none_or(|word| word == "closed");
    let first = match reprove(record, job) {
        true => brief.policy.proofs >= 2 && !closed,
        false => closed,
    };
    if first || brief.witness.sees(Switch::S7) {
        return None;
    }
    let fixture = brief.supply_box()?.id.clone();
    Some(SwitchFact { fixture, set: set.clone(), known: Known::Revealed })
}
