//! The known test current of the supply box: put on in both senses after a value was captured, in
//! the same condition and while the asset stays energised, then taken off again.
//!
//! The box has one resistor and a lever: from one supply conductor behind the ammeter to the other
//! before it, or the other way round, as the test key of a residual current device does. Nothing of
//! it flows to earth. The person moves the lever and says so; every reading is the ammeter's own.
//! What these readings prove is reckoned in [`super::ammeter`].

use alloc::string::ToString;
use alloc::vec::Vec;

use tapline_drivers::{Function, Now, Number};

use super::ammeter::{self, Doubt, Known, Nano, Shown, driven};
use super::brief::Brief;
use super::job::{self, Job};
use super::null::SLOW_GUARD_US;
use super::record::{Line, Record};
use super::sample::{Sample, Says};
use super::window::{push, settled};
use super::{condition, evidence, proof, scale};
use crate::amount::Amount;
use crate::exact::Ratio;
use crate::fact::{Fact, ProveFact, ValueFact};
use crate::plan::Switch;
use crate::register::{Coverage, Known as How};

/// Where the lever stands, in the order that is asked for.
const ORDER: [&str; 3] = ["plus", "minus", "off"];
const WHAT: &str = "test_current";

/// The value that the lever is moved for: captured since the asset was energised, and nobody asked
/// for another one.
pub(super) fn runs<'a>(record: &'a Record, job: &Job) -> Option<&'a Line<ValueFact>> {
    if !job.test_current || !record.run.live_and_watched() {
        return None;
    }
    let value = record.active().and_then(|step| record.captured(step))?;
    let mine = value.fact.step == job.step && record.run.live < value.seq;
    (mine && !condition::armed_since(record, job, value.seq)).then_some(value)
}

/// Where the lever is to stand next; `None` where nothing is to be read, or nothing could be
/// proved.
pub(super) fn next(record: &Record, brief: &Brief, job: &Job) -> Option<&'static str> {
    let value = runs(record, job)?;
    given(brief, job)?;
    let read =
        |how: &&str| of(record, job, value).any(|line| line.fact.how.as_deref() == Some(how));
    ORDER.into_iter().find(|how| !read(how))
}

/// The lever is said to stand there.
pub(super) fn stands(record: &Record, word: &str) -> bool {
    record.switches.get(&Switch::Test).is_some_and(|setting| setting.word == word)
}

/// The bench can prove something: the box has its resistor, the ammeter its accuracy, and the
/// current is large enough for the limit.
pub(super) fn provable(brief: &Brief, job: &Job) -> bool {
    given(brief, job).is_some()
}

/// The three positions were read after a value, and show that the ammeter sees all that flows.
pub(super) fn proved(
    record: &Record,
    brief: &Brief,
    job: &Job,
    value: &Line<ValueFact>,
) -> Option<How> {
    let end = end_of(record, value);
    let newest = |how: &str| {
        let there = |line: &&Line<ProveFact>| {
            line.fact.how.as_deref() == Some(how) && line.fact.ok && line.seq < end
        };
        of(record, job, value).filter(there).last()
    };
    let [plus, minus, off] = [newest("plus")?, newest("minus")?, newest("off")?];
    let link = brief.link_of(&job.meter).map(|link| link.link.as_str());
    let in_order = plus.seq < off.seq && minus.seq < off.seq;
    if !in_order || record.relinked(link, value.seq, off.seq) {
        return None;
    }
    let sizes = [size(&plus.fact)?, size(&minus.fact)?, size(&off.fact)?];
    let known = [plus, minus, off].into_iter().map(|line| line.fact.known);
    let known = known.map(|known| known.unwrap_or(How::Declared)).min()?;
    holds(record, (brief, job), value, sizes).then_some(known)
}

/// A value stands in its condition until the next one, or until leads may be moved.
fn end_of(record: &Record, value: &Line<ValueFact>) -> u64 {
    let same = |line: &&super::record::Valued| {
        line.line.fact.step == value.fact.step && value.seq < line.line.seq
    };
    let next = record.values.iter().find(same).map_or(u64::MAX, |later| later.line.seq);
    let acts = ["connected", "clear", "dead"].map(|act| evidence::next_act(record, act, value.seq));
    acts.into_iter().min().unwrap_or(u64::MAX).min(next)
}

fn of<'a>(
    record: &'a Record,
    job: &'a Job,
    value: &Line<ValueFact>,
) -> impl Iterator<Item = &'a Line<ProveFact>> {
    let mine = |line: &&Line<ProveFact>| {
        line.fact.step.as_ref() == Some(&job.step) && line.fact.set == job.set
    };
    proof::proofs(record, WHAT, value.seq).filter(mine)
}

fn size(fact: &ProveFact) -> Option<i128> {
    Some(scale::magnitude(Number::parse(fact.value.as_deref()?)?, fact.unit?))
}

/// What the register says of box, ammeter and limit.
struct Given {
    milliohms: i128,
    millionths: i128,
    doubt: Doubt,
    rated: Nano,
    limit: i128,
}

fn given(brief: &Brief, job: &Job) -> Option<Given> {
    const MILLI: i128 = scale::ONE / 1_000;
    let supply_box = brief.supply_box()?;
    let milliohms = scale::of(supply_box.test_resistance?) / MILLI;
    let millionths = millionths(supply_box.test_tolerance_percent.as_deref()?)?;
    let volts = brief.asset.rated_volts.as_deref().and_then(scale::volts)?;
    let rated = driven(micro(volts), milliohms, millionths)?;
    let limit = Nano::of(job.limit?).least;
    let doubt = doubt(brief, job)?;
    let known = Known { flows: rated, rated };
    let given = Given { milliohms, millionths, doubt, rated, limit };
    ammeter::enough(known, limit).then_some(given)
}

fn micro(volts: i128) -> i128 {
    volts / (scale::ONE / 1_000_000)
}

/// Millionths of a percentage, a decimal; more than the half is none.
fn millionths(percent: &str) -> Option<i128> {
    let number = Number::parse(percent).filter(|number| !number.negative)?;
    let power = u32::try_from(i32::from(number.exponent) + 4).ok();
    let size = match power {
        Some(power) => 10i128.checked_pow(power)?.checked_mul(i128::from(number.digits))?,
        // Finer than a millionth is a millionth.
        None => i128::from(number.digits != 0) + i128::from(number.digits) / 10,
    };
    (size <= 500_000).then_some(size)
}

/// How far the ammeter may be off by its stated accuracy; what is stated for two standard
/// deviations is taken half as far again.
fn doubt(brief: &Brief, job: &Job) -> Option<Doubt> {
    let step = brief.step(&job.of)?;
    let range = job::range(brief.instruments.get(&job.meter), step, job.function)?;
    let accuracy = range.accuracy.as_ref()?;
    let count = Nano::of(scale::of(range.resolution?).abs()).most;
    let (times, over) = match accuracy.coverage {
        Coverage::None | Coverage::K3 => (1, 1),
        Coverage::K2 | Coverage::P95 => (3, 2),
    };
    let wide = |size: i128| Some(size.checked_mul(times)?.saturating_add(over - 1) / over);
    let millionths = wide(millionths(&accuracy.reading_percent)?)?;
    let nano = wide(count.checked_mul(i128::from(accuracy.digits.max(1)))?)?;
    Some(Doubt { millionths, nano })
}

/// With the value, the readings in both senses and the one afterwards hold together.
fn holds(
    record: &Record,
    (brief, job): (&Brief, &Job),
    value: &Line<ValueFact>,
    [plus, minus, after]: [i128; 3],
) -> bool {
    let all = || {
        let number = Number::parse(&value.fact.value)?;
        let first = scale::magnitude(number, value.fact.unit);
        let right = brief.off(job, job.function);
        let [first, after, plus, minus] =
            [first, after, plus, minus].map(|size| put_right(size, right).map(Nano::of));
        let shown = Shown { off: [first?, after?], on: [plus?, minus?] };
        let given = given(brief, job)?;
        let flows = driven(micro(supply(record, value)?), given.milliohms, given.millionths)?;
        let known = Known { flows, rated: given.rated };
        Some(ammeter::proves(shown, given.doubt, known, given.limit))
    };
    value.fact.indication.is_none() && all().unwrap_or(false)
}

/// Line to neutral, as the supply was checked.
fn supply(record: &Record, value: &Line<ValueFact>) -> Option<i128> {
    evidence::supply(record, value)?.fact.ln.as_deref().and_then(scale::volts)
}

fn put_right(size: i128, factor: Option<Ratio>) -> Option<i128> {
    let Some(factor) = factor else { return Some(size) };
    let (num, den) = factor.parts();
    // Whole nanoamperes are enough, and far from the end of the integers.
    let nano = Nano::of(size).least;
    nano.checked_mul(num).map(|nano| nano / den)?.checked_mul(scale::ONE / 1_000_000_000)
}

/// Readings of one position of the lever.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct TestRun {
    /// Value and position that they are for.
    of: Option<(u64, &'static str)>,
    thrown: bool,
    newest: Vec<Sample>,
}

impl TestRun {
    /// Takes a reading of the ammeter: why it is not used, or the fact that it gives.
    pub(super) fn take(
        &mut self,
        (record, brief, job): (&Record, &Brief, &Job),
        function: Function,
        sample: Sample,
    ) -> Result<Vec<Fact>, &'static str> {
        let value = runs(record, job).ok_or("window_closed")?;
        let how = next(record, brief, job).ok_or("window_closed")?;
        if self.of != Some((value.seq, how)) {
            *self = TestRun { of: Some((value.seq, how)), ..TestRun::default() };
        }
        let wrong = function != job.function || sample.relative;
        let why = match (wrong, stands(record, how)) {
            (true, _) => Some("wrong_function"),
            (false, false) => Some("window_closed"),
            (false, true) if condition::otherwise(record, job) => Some("not_live"),
            (false, true) => self.early(record, (brief, job), value, sample.at),
        };
        if let Some(why) = why {
            self.newest.clear();
            return Err(why);
        }
        if sample.says != Says::Value {
            self.newest.clear();
            return Err("window_closed");
        }
        push(&mut self.newest, sample);
        if !settled(&self.newest) {
            return Ok(Vec::new());
        }
        let fact = self.fact((record, brief, job), value, how);
        self.newest.clear();
        Ok(fact.map(Fact::Prove).into_iter().collect())
    }

    /// The lever moved a moment ago.
    fn early(
        &mut self,
        record: &Record,
        (brief, job): (&Brief, &Job),
        value: &Line<ValueFact>,
        at: Now,
    ) -> Option<&'static str> {
        let guard = job::guard_us(brief, &job.meter, job.function).unwrap_or(SLOW_GUARD_US);
        let since = record.switched.max(value.at).0.saturating_add(guard);
        if at.0 < since {
            return Some("guard");
        }
        let first = job.polled && !self.thrown;
        self.thrown = true;
        first.then_some("guard")
    }

    /// What accepts less: the smallest with the current on, the largest without.
    fn fact(
        &self,
        (record, brief, job): (&Record, &Brief, &Job),
        value: &Line<ValueFact>,
        how: &str,
    ) -> Option<ProveFact> {
        let worse = |a: Sample, b: Sample| if how == "off" { a.larger(b) } else { a.smaller(b) };
        let worst = self.newest.iter().copied().reduce(worse)?;
        let read = |how: &str| {
            let line = of(record, job, value).filter(|l| l.fact.how.as_deref() == Some(how)).last();
            line.and_then(|line| size(&line.fact))
        };
        let ok = how != "off"
            || read("plus").zip(read("minus")).is_some_and(|(plus, minus)| {
                holds(record, (brief, job), value, [plus, minus, worst.size])
            });
        Some(ProveFact {
            what: WHAT.to_string(),
            step: Some(job.step.clone()),
            set: job.set.clone(),
            how: Some(how.to_string()),
            value: Some(worst.number.text()),
            unit: Some(worst.unit),
            want: self.wanted(record, (brief, job), value),
            known: record.switches.get(&Switch::Test).map(|setting| setting.known),
            ok,
            why: (!ok).then(|| "path_not_proved".to_string()),
            from: self.newest.iter().map(|sample| sample.id).collect(),
            ..ProveFact::default()
        })
    }

    /// The known current at the supply as it was checked, in the unit of the readings.
    fn wanted(
        &self,
        record: &Record,
        (brief, job): (&Brief, &Job),
        value: &Line<ValueFact>,
    ) -> Option<alloc::string::String> {
        let given = given(brief, job)?;
        let nano = driven(micro(supply(record, value)?), given.milliohms, 0)?.least;
        let unit = self.newest.last()?.unit;
        let microampere = nano / 1_000 * (scale::ONE / 1_000_000);
        Some(scale::text(microampere, unit))
    }
}

/// An amount with the resistor that a supply box may have.
pub(crate) fn is_test_resistance(amount: Amount) -> bool {
    let size = scale::of(amount);
    (scale::ONE * 40_000..=scale::ONE * 2_000_000).contains(&size)
}

/// A tolerance that it may have, percent.
pub(crate) fn is_test_tolerance(percent: &str) -> bool {
    millionths(percent).is_some_and(|millionths| (1..=50_000).contains(&millionths))
}
