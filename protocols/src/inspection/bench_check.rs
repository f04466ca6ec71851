//! The bench check: an instrument is held against a standard near the limits that it will be
//! judged by, before anything is measured with it.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::{Now, Reading};

use super::null::SLOW_GUARD_US;
use super::sample::{Sample, Says};
use super::scale;
use super::window::{push, settled};
use crate::fact::{CheckFact, ReadingId};
use crate::register::{CheckStandard, Instrument};

/// Readings that show an open end.
const OPEN_READINGS: usize = 3;
/// Shortest time that they span, microseconds.
const OPEN_US: u64 = 500_000;

/// A bench check in progress. It lives until its readings agree.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckRun {
    bench: String,
    standard: CheckStandard,
    instrument: String,
    /// Readings before this say nothing: the leads were not there yet.
    from: Now,
    newest: Vec<Sample>,
}

impl CheckRun {
    /// Begins one at `at`.
    #[must_use]
    pub fn begin(
        bench: &str,
        standard: &CheckStandard,
        instrument: &Instrument,
        at: Now,
    ) -> CheckRun {
        let ranges = instrument.ranges.iter().filter(|range| range.function == standard.function);
        let response = ranges.filter_map(|range| range.response_ms).max();
        let guard_us = response.map_or(SLOW_GUARD_US, |ms| u64::from(ms) * 2000);
        CheckRun {
            bench: bench.to_string(),
            standard: standard.clone(),
            instrument: instrument.id.clone(),
            from: Now(at.0.saturating_add(guard_us)),
            newest: Vec::new(),
        }
    }

    /// Standard that is checked against.
    #[must_use]
    pub fn standard(&self) -> &CheckStandard {
        &self.standard
    }

    /// Instrument that is checked.
    #[must_use]
    pub fn instrument(&self) -> &str {
        &self.instrument
    }

    /// Takes a reading of the instrument. The point, once three readings agree: the one of them
    /// that is farthest from the certificate counts. Three open ones agree, too, where an open end
    /// is what is asked for. Over a resistor they are clips that do not touch it yet.
    pub fn take(&mut self, id: ReadingId, reading: &Reading) -> Option<CheckFact> {
        let sample = Sample::of(id, reading);
        let wanted = reading.function == self.standard.function && reading.why.is_none();
        let touches = |one: &Sample| self.standard.value.is_none() || !is_open(one);
        let counts = |one: &Sample| !one.relative && self.from <= one.at && touches(one);
        let Some(sample) = sample.filter(|one| wanted && counts(one)) else {
            self.newest.clear();
            return None;
        };
        push(&mut self.newest, sample);
        (settled(&self.newest) || open(&self.newest)).then(|| self.fact())
    }

    fn fact(&self) -> CheckFact {
        let want = self.standard.value.map(scale::of);
        let off = |sample: &&Sample| match want {
            Some(want) => sample.size.saturating_sub(want.abs()).saturating_abs(),
            None => i128::MAX - sample.size,
        };
        let farthest = self.newest.iter().max_by_key(off);
        let ok = farthest.is_some_and(|sample| match (want, self.standard.room) {
            (Some(_), Some(room)) => {
                sample.says == Says::Value && off(&sample) <= scale::of(room).abs()
            }
            _ => is_open(sample),
        });
        let number = farthest.filter(|sample| sample.says != Says::Overload);
        CheckFact {
            bench: self.bench.clone(),
            standard: self.standard.id.clone(),
            certificate: self.standard.certificate.clone(),
            instrument: self.instrument.clone(),
            of: self.standard.of.clone(),
            function: self.standard.function,
            indication: farthest.and_then(word).map(ToString::to_string),
            value: number.map(|sample| sample.number.text()),
            unit: number.map(|sample| sample.unit),
            want: self.standard.value,
            room: self.standard.room,
            ok,
            from: self.newest.iter().map(|sample| sample.id).collect(),
        }
    }
}

fn word(sample: &Sample) -> Option<&'static str> {
    match sample.says {
        Says::Value => None,
        Says::Above => Some("above"),
        Says::Below => Some("below"),
        Says::Overload => Some("overload"),
    }
}

fn is_open(sample: &Sample) -> bool {
    matches!(sample.says, Says::Above | Says::Overload)
}

fn open(newest: &[Sample]) -> bool {
    let (Some(first), Some(last)) = (newest.first(), newest.last()) else { return false };
    newest.len() >= OPEN_READINGS
        && newest.iter().all(is_open)
        && OPEN_US <= last.at.0.saturating_sub(first.at.0)
}

#[cfg(test)]
mod tests {
    use tapline_drivers::Function;

    use super::super::tests::bench::reading;
    use super::*;
    use crate::register::{read_instruments, read_standards};

    const INSTRUMENTS: &str = include_str!("../../../contrib/example/instruments.toml");
    const STANDARDS: &str = include_str!("../../../contrib/example/standards.toml");

    fn begin(standard: &str) -> CheckRun {
        let (instruments, _) = read_instruments(INSTRUMENTS).unwrap();
        let meter = instruments.iter().find(|one| one.id == "LR-01").unwrap();
        let standards = read_standards(STANDARDS).unwrap();
        let standard = standards.iter().find(|one| one.id == standard).unwrap();
        CheckRun::begin("b1", standard, meter, Now(0))
    }

    /// What a meter that shows this from the beginning comes to, a reading each 0.4 s.
    fn shown(standard: &str, shows: &[&str]) -> Option<CheckFact> {
        let mut run = begin(standard);
        shows.iter().enumerate().find_map(|(n, shows)| {
            let mut one = reading(Function::Resistance4w, shows);
            one.first = Now(n as u64 * 400_000);
            run.take((n as u64, 0), &one)
        })
    }

    #[test]
    fn three_readings_that_agree_are_a_point_and_the_farthest_counts() {
        let fact =
            shown("CS-1", &["0.500 Ohm", "0.400 Ohm", "0.201 Ohm", "0.199 Ohm", "0.202 Ohm"]);
        let fact = fact.unwrap();
        assert_eq!((fact.ok, fact.value.as_deref()), (true, Some("0.202")));
        assert_eq!(fact.from, [(2, 0), (3, 0), (4, 0)]);
        let fact = shown("CS-1", &["0.150 Ohm"; 5]).unwrap();
        assert!(!fact.ok, "a meter that shows a third less");
        assert_eq!(shown("CS-1", &["0.200 Ohm"; 4]), None, "the guard, and then three");
    }

    #[test]
    fn an_open_end_is_open_and_a_resistor_is_not() {
        let fact = shown("CS-9", &["OL"; 6]).unwrap();
        assert_eq!((fact.ok, fact.indication.as_deref()), (true, Some("overload")));
        assert!(!shown("CS-9", &["0.200 Ohm"; 6]).unwrap().ok, "a lead that is shorted");
        assert_eq!(shown("CS-1", &["OL"; 9]), None, "clips that touch nothing yet are no point");
        let held = ["OL", "OL", "OL", "OL", "OL", "0.199 Ohm", "0.201 Ohm", "0.200 Ohm"];
        assert!(shown("CS-1", &held).unwrap().ok, "the contact is waited for");
    }

    /// Fifty readings a second: three of them span no half second, those of one do.
    #[test]
    fn a_fast_meter_settles_too() {
        let mut run = begin("CS-1");
        let point = (0..200u64).find_map(|n| {
            let mut one = reading(Function::Resistance4w, "0.200 Ohm");
            one.first = Now(n * 20_000);
            run.take((n, 0), &one).map(|fact| (n, fact.from.len()))
        });
        // The guard of 0.8 s, then half a second.
        assert_eq!(point, Some((65, 26)));
    }

    #[test]
    fn what_does_not_settle_is_no_point() {
        let shows = ["0.200 Ohm", "0.300 Ohm", "0.100 Ohm", "0.400 Ohm", "0.250 Ohm", "0.1 Ohm"];
        assert_eq!(shown("CS-1", &shows), None);
    }

    #[test]
    fn faults_of_a_file_have_their_lines() {
        let text = STANDARDS.replacen("room = \"0.006 Ohm\"\n", "", 1);
        let faults = read_standards(&text).unwrap_err();
        assert!(faults[0].to_string().contains("room"), "{faults:?}");
        let text = STANDARDS.replacen("0.006 Ohm", "0.006 V", 1);
        assert!(read_standards(&text).is_err());
    }
}
