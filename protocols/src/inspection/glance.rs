//! What a reading would come to, were it captured now: for a screen. Nothing is judged by it.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::{Function, Indication, Now, Number, Prefix, Unit};

use super::Inspection;
use super::brief::Brief;
use super::job::Job;
use super::record::{Line, Record};
use super::weigh;
use crate::fact::{Read, ValueFact};
use crate::judge::{Measured, Seen, Way};
use crate::plan::Step;

/// The way of the active step's readings to their limit, as it is at one moment: by the nulls, the
/// supply check, the temperature and the certificates of that moment.
#[derive(Debug, Clone)]
pub struct Glance {
    step: String,
    function: Function,
    /// Of a meter that shows all it sees, and of one that subtracts by itself.
    ways: [(Way, Measured); 2],
}

impl Glance {
    /// What a reading would come to; `None` where it is of another step or function, or of another
    /// quantity than its limit.
    #[must_use]
    pub fn see(&self, read: &Read) -> Option<Seen> {
        let other = read.s.as_ref().is_some_and(|step| *step != self.step);
        if other || read.f != self.function {
            return None;
        }
        let relative = read.x.iter().any(|flag| flag == "relative");
        let (way, measured) = &self.ways[usize::from(relative)];
        let indication = indication(read)?;
        way.see(Measured { indication, unit: read.u?, ..measured.clone() })
    }
}

impl Inspection {
    /// The way of the active step's readings; `None` where it has no limit, or its leads are being
    /// nulled.
    #[must_use]
    pub fn glance(&self, at: Now) -> Option<Glance> {
        let brief = self.brief.as_ref().filter(|_| self.watch.null.is_none())?;
        let (_, job) = self.active_job()?;
        let of = (job, brief.step(&job.of)?);
        Some(Glance {
            step: job.step.clone(),
            function: job.function,
            ways: [
                way(&self.record, brief, of, &to_come(job, at, None)?)?,
                way(&self.record, brief, of, &to_come(job, at, Some("relative"))?)?,
            ],
        })
    }

    /// What a captured value comes to by itself, in the unit of its limit.
    #[must_use]
    pub fn came_to(&self, value: &Line<ValueFact>) -> Option<Seen> {
        let brief = self.brief.as_ref()?;
        let job = brief.job(&value.fact.step)?;
        let (way, measured) = way(&self.record, brief, (job, brief.step(&job.of)?), value)?;
        way.see(measured)
    }
}

fn way(
    record: &Record,
    brief: &Brief,
    (job, step): (&Job, &Step),
    value: &Line<ValueFact>,
) -> Option<(Way, Measured)> {
    let row = brief.row(&record.step_named(&job.step)?.expanded)?;
    let measured = weigh::weighed(record, brief, (job, step), value);
    let question = weigh::question(record, brief, (job, step), (Vec::new(), &[value]));
    Some((Way::new(question, row), measured))
}

/// A value that is captured at this moment, of the quantity that the meter reads.
fn to_come(job: &Job, at: Now, word: Option<&str>) -> Option<Line<ValueFact>> {
    let fact = ValueFact {
        step: job.step.clone(),
        rule: String::new(),
        from: Vec::new(),
        indication: None,
        value: String::new(),
        unit: Unit { prefix: Prefix::One, quantity: job.function.quantity()? },
        scatter: None,
        set: job.set.clone(),
        operating: None,
        known: None,
        words: word.into_iter().map(ToString::to_string).collect(),
    };
    Some(Line { seq: u64::MAX, at, by: None, fact })
}

fn indication(read: &Read) -> Option<Indication> {
    let number = || Number::parse(read.v.as_deref()?);
    Some(match read.i.as_deref() {
        None => Indication::Value(number()?),
        Some("above") => Indication::Above(number()?),
        Some("below") => Indication::Below(number()?),
        Some(_) => return None,
    })
}
