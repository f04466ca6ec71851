//! What a verdict would be, had something been otherwise: a meter that turned out to read low, a
//! limit that turned out to be another one. The judgement is the same as at the bench; only what
//! it is given differs. Nothing is stored of it.

use alloc::format;
use alloc::string::String;

use tapline_drivers::{Function, Number};

use super::brief::Brief;
use super::job::Job;
use super::record::Line;
use crate::amount::Amount;
use crate::exact::{Arithmetic, Ratio};
use crate::fact::ProveFact;

/// What is taken to have been otherwise.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Assumed {
    /// A meter that read wrong.
    pub off: Option<Off>,
    /// A row of the limits, by its id, and the value it should have had.
    pub limit: Option<(String, Amount)>,
}

/// A meter that read wrong by a share of what it should have shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Off {
    /// The instrument, or the setup it is part of.
    pub instrument: String,
    /// The function that was wrong; without it all of them.
    pub function: Option<Function>,
    /// Percent of what it should have shown; below zero it read low. Above -100.
    pub percent: Number,
}

impl Off {
    /// Its readings times this are what it should have shown: 100 / (100 + percent).
    ///
    /// # Errors
    /// At -100 percent and below it showed nothing that anything could be told from.
    pub fn factor(&self) -> Result<Ratio, Arithmetic> {
        let hundred = Ratio::new(100, 1)?;
        let shown = hundred.minus(Ratio::new(0, 1)?.minus(Ratio::of(self.percent)?)?)?;
        match shown.is_negative() {
            true => Err(Arithmetic),
            false => hundred.over(shown),
        }
    }

    fn concerns(&self, job: &Job, function: Function) -> bool {
        let named = job.meter == self.instrument || job.setup.as_ref() == Some(&self.instrument);
        named && self.function.is_none_or(|one| one == function)
    }
}

impl Brief {
    /// Takes something to have been otherwise.
    pub(super) fn assume(&mut self, assumed: &Assumed) {
        self.off.clone_from(&assumed.off);
        if let Some((id, amount)) = &assumed.limit {
            for row in self.limits.rows.iter_mut().filter(|row| row.id == *id) {
                row.bound.amount = *amount;
            }
        }
    }

    /// What readings of this function are multiplied by, where the meter of the job read wrong.
    pub(super) fn off(&self, job: &Job, function: Function) -> Option<Ratio> {
        self.off.as_ref().filter(|off| off.concerns(job, function))?.factor().ok()
    }

    /// A reading of the network by a meter that read wrong holds only if it still does when it is
    /// put right.
    pub(super) fn still_holds(&self, job: &Job, line: &Line<ProveFact>) -> bool {
        let function = super::proof::resistance(self, job).unwrap_or(Function::Resistance2w);
        let Some(factor) = self.off(job, function) else { return true };
        let fact = &line.fact;
        let unit = fact.unit.map_or("", |unit| unit.ucum());
        let amount =
            |text: &Option<String>| Amount::parse(&format!("{} {unit}", text.as_deref()?)).ok();
        let (Some(value), Some(want)) = (amount(&fact.value), amount(&fact.want)) else {
            return false;
        };
        within(value, want, factor).unwrap_or(false)
    }
}

/// `value` times `factor` lies within the room that a proof of the network has.
fn within(value: Amount, want: Amount, factor: Ratio) -> Result<bool, Arithmetic> {
    let want = crate::correct::amount_in(want, value.unit)?;
    let right = Ratio::of(value.number)?.times(factor)?;
    let room = want.abs().times(Ratio::new(super::proof::NETWORK_PERMILLE, 1000)?)?;
    Ok(right.minus(want)?.abs().compare(room)?.is_le())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn off(percent: &str) -> Off {
        let percent = Number::parse(percent).unwrap();
        Off { instrument: "DM-01".into(), function: None, percent }
    }

    // By hand: what shows 0.285 and reads 5 % low should have shown 0.285 / 0.95 = 0.3.
    #[test]
    fn a_meter_that_reads_low_should_have_shown_more() {
        let right = |percent: &str, shown: &str| {
            let shown = Ratio::of(Number::parse(shown).unwrap()).unwrap();
            off(percent).factor().map(|factor| shown.times(factor).unwrap().text())
        };
        assert_eq!(right("-5", "0.285").as_deref(), Ok("0.3"));
        assert_eq!(right("25", "0.285").as_deref(), Ok("0.228"));
        assert_eq!(right("-0.5", "0.199").as_deref(), Ok("0.2"));
        assert_eq!(right("-100", "1"), Err(Arithmetic));
        assert_eq!(right("-101", "1"), Err(Arithmetic));
    }

    // 10.012 kohm plus and minus 0.4 %: up to 10.052048 kohm.
    #[test]
    fn a_network_that_was_read_wrong_is_no_network() {
        let amount = |text: &str| Amount::parse(text).unwrap();
        let holds = |shown: &str, percent: &str| {
            within(amount(shown), amount("10.012 kOhm"), off(percent).factor().unwrap()).unwrap()
        };
        assert!(holds("10013 Ohm", "-0.3"));
        assert!(!holds("10.013 kOhm", "-5"));
    }
}
