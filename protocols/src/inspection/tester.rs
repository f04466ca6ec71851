//! A test voltage, as far as the instrument that puts it out shows it.
//!
//! The voltage is switched on by its operator, by the instrument's own key. It is shown by what
//! the instrument says of its own terminals, or by a number that follows "no voltage". What merely
//! goes on saying numbers may be a display that stands still.

use tapline_drivers::Now;

use super::channel::FRESH_US;
use super::job::Job;
use super::sample::{Sample, Says};
use super::scale;
use crate::register::Known;

/// Above this a direct voltage is dangerous: 60 V (IEC 61140, from memory).
pub(super) const DANGEROUS: i128 = scale::ONE * 60;
/// An insulation tester drives 1 mA through less than its rated voltage per milliampere, with less
/// than that voltage (IEC 61557-2:2019, excerpt seen): ohms for each volt.
const OHMS_PER_VOLT: i128 = 1000;

/// What is known of the voltage of one instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Volts {
    /// Its newest word on its own terminals, 10^-24 volts.
    told: Option<(Now, i128)>,
    /// When the leads were laid or the voltage was off last: what it said before shows nothing of
    /// this run.
    since: Now,
    /// It was seen without voltage since.
    none: bool,
}

impl Volts {
    /// The instrument says what lies on its own terminals.
    pub(super) fn tell(&mut self, sample: Sample) {
        self.told = Some((sample.at, sample.size));
        self.none |= self.since <= sample.at && sample.size <= DANGEROUS;
    }

    /// The instrument states nothing: there is no test voltage.
    pub(super) fn nothing(&mut self, at: Now) {
        self.none |= self.since <= at;
    }

    /// The leads are laid, or the voltage is off again: it is yet to come.
    pub(super) fn begin(&mut self, at: Now) {
        self.since = at;
        self.none = false;
    }

    /// It says that a dangerous voltage lies on its terminals now.
    pub(super) fn dangerous(&self, now: Now) -> bool {
        self.told.is_some_and(|(at, size)| DANGEROUS < size && fresh(at, now))
    }

    /// How the voltage behind a reading is known; `None` where it is not there.
    pub(super) fn behind(&self, job: &Job, sample: Sample) -> Option<Known> {
        let enough = job.tested.unwrap_or(0);
        match self.told.filter(|(at, _)| self.since <= *at) {
            Some((at, size)) => {
                let there = enough <= size || loaded(sample, size);
                (there && fresh(at, sample.at)).then_some(Known::Witnessed)
            }
            None if self.none => Some(Known::Witnessed),
            None => Some(Known::Declared),
        }
    }
}

/// So little is between the clips that the instrument can't hold its voltage.
fn loaded(sample: Sample, volts: i128) -> bool {
    sample.says == Says::Value && sample.size / OHMS_PER_VOLT <= volts
}

fn fresh(at: Now, now: Now) -> bool {
    now.0.saturating_sub(at.0) <= FRESH_US
}
