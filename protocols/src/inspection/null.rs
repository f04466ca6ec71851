//! Nulling a lead set: both directions, near the lead's own reference, or not at all.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::{Function, Now, Reading};

use super::brief::Brief;
use super::job;
use super::record::{Line, Record};
use super::sample::{Sample, Says};
use super::scale;
use super::window::{push, settled};
use crate::fact::{NullFact, ValueFact};
use crate::plan::Direction;
use crate::register::{Kind, Lead, Range};

/// Farthest that a null lies from the lead's reference of commissioning: 0.015 ohm.
const REFERENCE_ROOM: i128 = scale::ONE * 15 / 1000;

/// A null in progress.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct NullRun {
    pub(super) lead: String,
    pub(super) meter: String,
    pub(super) function: Function,
    pub(super) direction: Direction,
    /// The other direction begins when the clips were apart, or at an act.
    waits: bool,
    /// Released readings in a row while it waits.
    lifted: Option<(Now, u32)>,
    since: Now,
    guard_us: u64,
    polled: bool,
    thrown: bool,
    newest: Vec<Sample>,
    /// Whether the first direction read below zero.
    negative: Option<bool>,
}

impl NullRun {
    /// Begins a null, or goes on to the other direction of the one in progress. `None` where no
    /// step measures with these leads.
    pub(super) fn begin(
        brief: &Brief,
        record: &Record,
        running: Option<NullRun>,
        (lead, at): (&str, Now),
    ) -> Option<NullRun> {
        if let Some(mut run) = running.filter(|run| run.lead == lead) {
            run.start(at);
            return Some(run);
        }
        let uses = |step: &&crate::plan::Expanded| step.leads.as_deref() == Some(lead);
        let step = record.steps.iter().map(|step| &step.expanded).find(uses)?;
        let job = brief.job(&step.step)?;
        let direct = range(brief, job)
            .and_then(|range| range.gives)
            .is_none_or(|gives| gives.kind == Kind::Dc);
        Some(NullRun {
            lead: lead.to_string(),
            meter: job.meter.clone(),
            function: job.function,
            direction: if direct { Direction::Plus } else { Direction::None },
            waits: false,
            lifted: None,
            since: at,
            guard_us: job.guard_us.unwrap_or(SLOW_GUARD_US),
            polled: job.polled,
            thrown: false,
            newest: Vec::new(),
            negative: None,
        })
    }

    /// After one direction the other waits for the clips to come apart.
    pub(super) fn next(mut self, taken: Direction, at: Now) -> Option<NullRun> {
        if taken != Direction::Plus || self.direction != Direction::Plus {
            return None;
        }
        self.direction = Direction::Minus;
        self.negative = self.newest.last().filter(|s| s.size != 0).map(|s| s.number.negative);
        self.start(at);
        self.waits = true;
        Some(self)
    }

    /// It waits for the clips to come apart.
    pub(super) fn waits(&self) -> bool {
        self.waits
    }

    fn start(&mut self, at: Now) {
        self.since = at;
        (self.waits, self.thrown, self.lifted) = (false, false, None);
        self.newest.clear();
    }

    /// Takes a reading of its meter: why it is not used, or the null once it is there.
    pub(super) fn take(
        &mut self,
        brief: &Brief,
        reading: &Reading,
        sample: Option<Sample>,
    ) -> Result<Option<NullFact>, &'static str> {
        if reading.function != self.function {
            return Err("wrong_function");
        }
        let sample = sample.ok_or("window_closed")?;
        let open = matches!(sample.says, Says::Above | Says::Overload) || scale::ONE < sample.size;
        if self.waits {
            self.watch(sample.at, open, brief);
            return Err("spent");
        }
        if open {
            self.start(sample.at);
            return Err("window_closed");
        }
        if sample.at.0 < self.since.0.saturating_add(self.guard_us) {
            return Err("guard");
        }
        if self.polled && !self.thrown {
            self.thrown = true;
            return Err("guard");
        }
        push(&mut self.newest, sample);
        Ok(settled(&self.newest).then(|| self.fact(brief)).flatten())
    }

    fn watch(&mut self, at: Now, open: bool, brief: &Brief) {
        if !open || at < self.since {
            self.lifted = None;
            return;
        }
        let (first, count) = self.lifted.map_or((at, 1), |(first, n)| (first, n.saturating_add(1)));
        self.lifted = Some((first, count));
        if brief.policy.release.readings <= count && first.0 + 500_000 <= at.0 {
            self.start(at);
        }
    }

    /// The smallest of the settled readings: subtracting less never makes a pass.
    fn fact(&self, brief: &Brief) -> Option<NullFact> {
        let sample = self.newest.iter().copied().reduce(Sample::smaller)?;
        let relative = self.newest.iter().any(|sample| sample.relative);
        if !relative && sample.size != 0 && self.negative == Some(sample.number.negative) {
            // The current was not turned round.
            return None;
        }
        let lead = brief.leads.get(&self.lead)?;
        let wanted = if relative { 0 } else { reference(lead, self.direction) };
        if REFERENCE_ROOM < (sample.size - wanted).abs() {
            return None;
        }
        let number = tapline_drivers::Number { negative: false, ..sample.number };
        Some(NullFact {
            lead: self.lead.clone(),
            function: self.function,
            range: brief
                .instruments
                .get(&self.meter)
                .and_then(|one| one.ranges.iter().find(|range| range.function == self.function))
                .map_or_else(String::new, |range| format!("{}", range.to)),
            direction: self.direction,
            value: number.text(),
            unit: sample.unit,
            zeroed: if relative { "in_meter" } else { "no" }.into(),
            from: self.newest.iter().map(|sample| sample.id).collect(),
            carried: None,
        })
    }

    /// It is settled, but not near the reference, or the current was not turned round.
    pub(super) fn not_accepted(&self) -> bool {
        settled(&self.newest)
    }
}

/// Guard where the response time of a meter is not known.
pub(super) const SLOW_GUARD_US: u64 = 2_000_000;

fn range<'a>(brief: &'a Brief, job: &job::Job) -> Option<&'a Range> {
    let instrument = brief.instruments.get(&job.meter)?;
    instrument.ranges.iter().find(|range| range.function == job.function)
}

fn reference(lead: &Lead, direction: Direction) -> i128 {
    match direction {
        Direction::Plus => scale::of(lead.reference.plus).abs(),
        Direction::Minus => scale::of(lead.reference.minus).abs(),
        Direction::None => scale::of(lead.reference.plus).abs(),
    }
}

/// What a null does for a value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Nulled<'a> {
    /// Subtract it.
    By(&'a Line<NullFact>),
    /// The meter subtracts by itself; nothing is subtracted here.
    InMeter(&'a Line<NullFact>),
    /// Not nulled, or in another way than the value was taken: a word of the reasons.
    Not(&'static str),
}

/// The null that belongs to a value: same leads, same function, same direction, same boot, young
/// enough.
pub(super) fn of_value<'a>(
    record: &'a Record,
    brief: &Brief,
    job: &job::Job,
    value: &Line<ValueFact>,
) -> Nulled<'a> {
    let relative = value.fact.words.iter().any(|word| word == "relative");
    match newest(record, brief, job, (value.seq, value.at)) {
        Ok(null) => match (null.fact.zeroed.as_str(), relative) {
            ("in_meter", true) => Nulled::InMeter(null),
            ("in_meter", false) | (_, true) => Nulled::Not("lead_not_nulled"),
            _ => Nulled::By(null),
        },
        Err(why) => Nulled::Not(why),
    }
}

/// The null that a value captured at `at` would have.
pub(super) fn ready<'a>(record: &'a Record, brief: &Brief, job: &job::Job, at: Now) -> Nulled<'a> {
    newest(record, brief, job, (u64::MAX, at)).map_or_else(Nulled::Not, Nulled::By)
}

fn newest<'a>(
    record: &'a Record,
    brief: &Brief,
    job: &job::Job,
    (seq, at): (u64, Now),
) -> Result<&'a Line<NullFact>, &'static str> {
    let fits = |line: &&Line<NullFact>| {
        Some(&line.fact.lead) == job.leads.as_ref()
            && line.fact.function == job.function
            && line.fact.direction == job.direction
            && line.seq < seq
            && record.same_boot(line.seq, seq)
    };
    let null = record.nulls.iter().rev().find(fits).ok_or("lead_not_nulled")?;
    let taken = null.fact.carried.as_ref().map_or(null.at.0, |carried| carried.m);
    let age_max = u64::from(brief.policy.null_max_age_min) * 60_000_000;
    if age_max < at.0.saturating_sub(taken) {
        return Err("null_too_old");
    }
    Ok(null)
}
