//! One window of a capture: it collects readings and ends with the first reading after its time.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::{Now, Unit};

use super::job::Job;
use super::sample::{Sample, Says};
use super::scale;
use crate::doubt::scatter::between;
use crate::fact::{ReadingId, ScatterFact, ValueFact};
use crate::plan::Rule;

/// Most readings that a value lists. Later ones still count, and the worst is always listed.
const LISTED_MAX: usize = 1024;
/// Fewest readings that a value rests on: what one alone says may be a flipped bit. The worse of
/// two is never better than the true one of them.
const FEWEST: usize = 2;
/// Fewest readings that `settled` looks at, and what `after_seconds` looks at.
const NEWEST: usize = 3;
/// Longest silence inside a window, microseconds; twice the guard where that is more.
const SILENCE_US: u64 = 3_000_000;
/// Most that are kept: a meter that says more in half a second never settles.
const NEWEST_MAX: usize = 256;
/// Shortest time that settled readings span, microseconds.
const SETTLED_US: u64 = 500_000;
/// A jump inside a window tells of a broken strand: more than this share of the limit.
const JUMP_PERCENT: i128 = 20;

/// A window in progress.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Window {
    start: Now,
    last: Now,
    from: Vec<ReadingId>,
    worst: Option<Sample>,
    newest: Vec<Sample>,
    /// What the listed readings said, with their signs.
    sizes: Vec<i128>,
    /// First open circuit.
    open: Option<Sample>,
    jumped: bool,
    relative: bool,
}

impl Window {
    /// Begins with a reading.
    pub(super) fn begin(job: &Job, sample: Sample) -> Window {
        let mut window = Window {
            start: sample.at,
            last: sample.at,
            from: Vec::new(),
            worst: None,
            newest: Vec::new(),
            sizes: Vec::new(),
            open: None,
            jumped: false,
            relative: false,
        };
        window.take(job, sample);
        window
    }

    /// Every reading so far was an open circuit.
    pub(super) fn open_so_far(&self) -> bool {
        self.worst.is_none()
    }

    /// The worst over a time is no worst where nothing was read for a good part of it, and a test
    /// voltage is not known to have stayed.
    pub(super) fn silent(&self, job: &Job, at: Now) -> bool {
        let most = SILENCE_US.max(job.guard_us.unwrap_or(0).saturating_mul(2));
        let watched = job.rule == Rule::WorstOver || job.tested.is_some();
        watched && self.last.0.saturating_add(most) < at.0
    }

    /// Adds a reading.
    pub(super) fn take(&mut self, job: &Job, sample: Sample) {
        self.relative |= sample.relative;
        self.last = sample.at;
        if job.low_resistance() && sample.open(job.open_at) {
            self.open.get_or_insert(sample);
            self.list(sample.id, false);
            return;
        }
        let worse =
            |old: Sample| if job.smallest { old.smaller(sample) } else { old.larger(sample) };
        let worst = self.worst.map_or(sample, worse);
        self.list(sample.id, worst.id == sample.id);
        self.worst = Some(worst);
        self.jumped |= job.low_resistance() && self.jumps(job, sample);
        push(&mut self.newest, sample);
        if job.scatters && sample.says == Says::Value && self.sizes.len() < LISTED_MAX {
            self.sizes.push(scale::size(sample.number, sample.unit));
        }
    }

    /// The value, once it is there. `now` is the moment of the newest reading.
    /// `dead`: what the meter read last before the asset was energised.
    pub(super) fn value(&self, job: &Job, now: Now, dead: Option<Sample>) -> Option<ValueFact> {
        if self.from.len() < FEWEST {
            return None;
        }
        let over = self.start.0.saturating_add(job.window_us) <= now.0;
        let sample = match job.rule {
            Rule::Settled if settled(&self.newest) => worst_of(job, &self.newest),
            Rule::AfterSeconds if over && FEWEST <= self.newest.len() => {
                self.last_three().reduce(Sample::smaller)
            }
            Rule::WorstOver if over => self.worst.or(self.open),
            Rule::Operator => self.worst.or(self.open),
            _ => None,
        };
        Some(self.fact(job, sample?, dead))
    }

    fn last_three(&self) -> impl Iterator<Item = Sample> {
        self.newest.iter().rev().take(NEWEST).copied()
    }

    /// The worse of the newest two, at the operator's act.
    pub(super) fn at_once(
        job: &Job,
        [before, newest]: [Sample; 2],
        dead: Option<Sample>,
    ) -> Option<ValueFact> {
        let mut window = Window::begin(job, before);
        window.take(job, newest);
        let sample = window.worst.or(window.open)?;
        Some(window.fact(job, sample, dead))
    }

    fn jumps(&self, job: &Job, sample: Sample) -> bool {
        let Some((last, limit)) = self.newest.last().zip(job.limit) else { return false };
        let room = limit.saturating_mul(JUMP_PERCENT) / 100;
        room < (sample.size - last.size).abs()
    }

    /// How far the readings scatter: where it settles or is waited for the newest ones, else all.
    /// What differs by more than a jump is the asset's, which the worst of them shows.
    fn scatter(&self, job: &Job, unit: Unit) -> Option<ScatterFact> {
        let newest = || self.newest.iter().filter(|sample| sample.says == Says::Value);
        let sizes = match job.rule {
            Rule::Settled | Rule::AfterSeconds => {
                newest().map(|sample| scale::size(sample.number, sample.unit)).collect()
            }
            Rule::WorstOver | Rule::Operator => self.sizes.clone(),
        };
        let most = job.limit.map(|limit| limit.saturating_mul(JUMP_PERCENT) / 100);
        let exponent = -24 - i32::from(unit.prefix.exponent());
        let scatter = between(&sizes, exponent, most, unit).filter(|_| job.scatters)?;
        let s = scatter.deviation.number.text();
        Some(ScatterFact { s, freedom: scatter.freedom })
    }

    fn list(&mut self, id: ReadingId, always: bool) {
        if always || self.from.len() < LISTED_MAX {
            self.from.push(id);
        }
    }

    fn fact(&self, job: &Job, sample: Sample, dead: Option<Sample>) -> ValueFact {
        let (indication, value, unit) = stated(job, sample);
        let mut words = Vec::new();
        if self.jumped || (self.open.is_some() && !self.open_so_far()) {
            words.push("open_seen".to_string());
        }
        if self.relative {
            words.push("relative".to_string());
        }
        if job.moves && dead.is_some_and(|dead| sample.size < dead.size.saturating_mul(2)) {
            words.push("not_moved".to_string());
        }
        if job.lapsed {
            words.push("out_of_calibration".to_string());
        }
        ValueFact {
            step: job.step.clone(),
            rule: rule_word(job).into(),
            from: self.from.clone(),
            indication: indication.map(ToString::to_string),
            value,
            unit,
            scatter: self.scatter(job, unit),
            set: job.set.clone(),
            operating: None,
            known: None,
            words,
        }
    }
}

/// Overload is a bound at the end of a known range, or no value.
fn stated(job: &Job, sample: Sample) -> (Option<&'static str>, String, Unit) {
    match (sample.says, job.range_end) {
        (Says::Value, _) => (None, sample.number.text(), sample.unit),
        (Says::Below, _) => (Some("below"), sample.number.text(), sample.unit),
        (Says::Above, _) => (Some("above"), sample.number.text(), sample.unit),
        (Says::Overload, Some(end)) => (Some("above"), end.number.text(), end.unit),
        (Says::Overload, None) => (Some("overload"), String::new(), sample.unit),
    }
}

fn worst_of(job: &Job, samples: &[Sample]) -> Option<Sample> {
    let worse = |a: Sample, b: Sample| if job.smallest { a.smaller(b) } else { a.larger(b) };
    samples.iter().copied().reduce(worse)
}

/// Keeps the newest three, or as many as it takes to look back half a second: a fast meter says
/// three in less.
pub(super) fn push(newest: &mut Vec<Sample>, sample: Sample) {
    newest.push(sample);
    let spare = |list: &[Sample]| {
        list.len() > NEWEST && SETTLED_US <= sample.at.0.saturating_sub(list[1].at.0)
    };
    while spare(newest) || newest.len() > NEWEST_MAX {
        newest.remove(0);
    }
}

/// At least three values over half a second that differ by no more than 1 % or three counts of
/// the finest of them: one that came with fewer digits makes nothing agree.
pub(super) fn settled(newest: &[Sample]) -> bool {
    let (Some(first), Some(last)) = (newest.first(), newest.last()) else { return false };
    if newest.len() < NEWEST || newest.iter().any(|sample| sample.says != Says::Value) {
        return false;
    }
    let sizes = || newest.iter().map(|sample| sample.size);
    let (Some(low), Some(high)) = (sizes().min(), sizes().max()) else { return false };
    let count = |sample: &Sample| scale::last_digit(sample.number, sample.unit);
    let counts = newest.iter().map(count).min().unwrap_or(0).saturating_mul(3);
    last.at.0.saturating_sub(first.at.0) >= SETTLED_US && high - low <= counts.max(high / 100)
}

fn rule_word(job: &Job) -> &'static str {
    match job.rule {
        _ if job.by_operator() => "operator",
        Rule::WorstOver => "worst_over",
        Rule::Settled => "settled",
        Rule::AfterSeconds => "after_seconds",
        Rule::Operator => "operator",
    }
}
