//! Proofs around a hazardous placement: nothing is live, the network and nothing else is in the
//! path, and it still is afterwards.

use alloc::string::ToString;
use alloc::vec::Vec;

use tapline_drivers::{Function, Now, Number, Prefix, Quantity, Unit};

use super::brief::Brief;
use super::job::{self, Job};
use super::null::SLOW_GUARD_US;
use super::record::{Line, Record, StepState};
use super::run::{Phase, Placement};
use super::sample::{Sample, Says};
use super::scale;
use crate::correct::Network;
use crate::fact::{Fact, ProveFact, SwitchFact};
use crate::plan::{Settings, Switch};
use crate::register::{Fixture, Known};

/// More than this is not dead: 1 V.
const DEAD_MAX: i128 = scale::ONE;
/// The network reads within 0.4 % of its certificate.
pub(super) const NETWORK_PERMILLE: i128 = 4;
/// Two readings of the network of IEC 60990 are apart as they should be, to 0.8 % of its 500 ohm.
const MOVED_PERMILLE: i128 = 8;
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
        // Nothing but its own earth closes the input of this network.
        (false, false) if job.over_500() => alloc::vec![on_earth(), Settings::new()],
        (false, true) if job.over_500() => alloc::vec![Settings::new(), on_earth()],
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
        && !job.typed
        && !one_pole
        && target(brief, job, &Settings::new()).is_some()
        && resistance(brief, job).is_some()
}

/// What the network reads with these settings, from its certificate.
pub(super) fn target(brief: &Brief, job: &Job, set: &Settings) -> Option<i128> {
    let network = job::network(brief, job)?;
    let r1 = scale::of(network.r1?);
    let closed = set.get(&Switch::S7).is_some_and(|word| word == "closed") || *set == on_earth();
    let (input, behind) = match job.terminals {
        Some(Network::U1) => (figure_4(network, closed)?, 0),
        Some(Network::U2) => (figure_4(network, closed)?, r1),
        Some(Network::Fig12) | None if closed => (0, r1),
        Some(Network::Fig12) | None => (scale::of(network.r2?), r1),
    };
    input.checked_add(behind)
}

/// What IEC 60990 Figure 4 has between U1 and its return: with its input closed, the resistance at
/// the input beside it.
fn figure_4(network: &Fixture, closed: bool) -> Option<i128> {
    let rb = scale::of(network.rb?);
    if closed { scale::side_by_side(rb, scale::of(network.rs?)) } else { Some(rb) }
}

/// The probe of the network on the earth of the supply box.
fn on_earth() -> Settings {
    Settings::from([(Switch::Probe, "earth".to_string())])
}

/// The probe lies on earth for this reading.
pub(super) fn is_on_earth(set: &Settings) -> bool {
    set.contains_key(&Switch::Probe)
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
        let moves = self.newest.iter().all(|one| moved((record, brief, job), set, *one));
        if !agree || !moves || contradicted(record, set) {
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

/// IEC 60990 Figure 4: from the reading with its input closed to the one with it open there is as
/// much as the certificate says, within [`MOVED_PERMILLE`] of the 500 ohm. Behind the 10 kohm of U2
/// each reading alone has room for a second earth of 4 kohm, which takes a third of the current;
/// of two readings of one meter in one place the room is known better: 4 ohm are 60 kohm, which
/// take 3 % (reckoned).
fn moved((record, brief, job): (&Record, &Brief, &Job), set: &Settings, sample: Sample) -> bool {
    if !job.over_500() {
        return true;
    }
    let of = |line: &&Line<ProveFact>| line.fact.ok && line.fact.set != *set;
    let other = proofs(record, "network_resistance", since(record, job)).filter(of).last();
    let Some(other) = other else { return true };
    let apart = || {
        let fact = &other.fact;
        let was = scale::size(Number::parse(fact.value.as_deref()?)?, fact.unit?);
        let want = target(brief, job, set)?.checked_sub(target(brief, job, &fact.set)?)?;
        let rb = scale::of(job::network(brief, job)?.rb?);
        let off = sample.size.checked_sub(was)?.checked_sub(want)?;
        Some(off.abs() <= rb / 1000 * MOVED_PERMILLE)
    };
    apart().unwrap_or(false)
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
    if first || is_on_earth(set) || brief.witness.sees(Switch::S7) {
        return None;
    }
    let fixture = brief.supply_box()?.id.clone();
    Some(SwitchFact { fixture, set: set.clone(), known: Known::Revealed })
}
