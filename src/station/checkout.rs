//! Instruments that are at a bench, as somebody who scanned their label saw. Which line carries
//! which instrument stays the configuration's; a label never moves a line. But what is carried to
//! another bench is not measured with at this one before somebody has seen it here again.

use tapline_protocols::Fact;
use tapline_protocols::fact::CheckoutFact;

use super::command::Seat;
use super::core::Core;
use super::event::{Answer, Problem};
use super::say::conflict;
use crate::clock;

/// How long the station waits for the second scan that says so, microseconds.
const ASKED_US_MAX: u64 = 30_000_000;

/// An instrument of which the bench asks whether it was carried here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Asked {
    /// Its label.
    pub instrument: String,
    /// When, microseconds of the boot-time clock.
    pub at_us: u64,
}

impl Core {
    /// The label of an instrument was scanned at a bench.
    pub(super) fn checked_out(
        &mut self,
        seat: &Seat,
        scan: u64,
        instrument: &str,
        asked: Option<Asked>,
    ) -> Result<Answer, Problem> {
        let (bench, at) = (seat.bench.as_str(), seat.at);
        let (here, elsewhere) = self.lines_of(instrument, bench);
        if let (None, Some((link, other))) = (&here, elsewhere) {
            return Err(conflict(
                format!("`{instrument}` is on line `{link}` of bench {other}, and on none of this"),
                "Bring it back, or change its line in the configuration and start anew.",
            ));
        }
        let out = self.register.checked_out.get(instrument).filter(|out| out.fact.bench != bench);
        let from = out.map(|out| out.fact.bench.clone());
        if let Some(out) = out {
            let again = |a: &Asked| {
                a.instrument == instrument && at.boot_us.saturating_sub(a.at_us) <= ASKED_US_MAX
            };
            if !asked.as_ref().is_some_and(again) {
                let (other, since) = (out.fact.bench.clone(), clock::rfc3339(out.at.wall_us));
                let instrument = instrument.to_owned();
                let text = format!("`{instrument}` is at bench {other} since {since}");
                self.bench(bench).asked = Some(Asked { instrument, at_us: at.boot_us });
                let next = "If it was carried here, scan its label once more within 30 seconds.";
                return Err(conflict(text, next));
            }
        }
        let Some(by) = seat.by.clone() else {
            return match from {
                None => Ok(Answer::done(scan).say(&["scan.known", instrument])),
                Some(_) => Err(conflict("nobody is logged in at this bench", "Scan a badge.")),
            };
        };
        let (bench, instrument) = (bench.to_owned(), instrument.to_owned());
        let say = ["checkout.here".to_owned(), instrument.clone()];
        let fact = CheckoutFact { bench, instrument, link: here, from };
        let seq = self.put_station(at, Fact::Checkout(fact), Some(by));
        Ok(Answer::done(seq).say(&say.each_ref().map(String::as_str)))
    }

    /// The line of an instrument at a bench, and one of it at another.
    fn lines_of(
        &self,
        instrument: &str,
        bench: &str,
    ) -> (Option<String>, Option<(String, String)>) {
        let lines = self.links.values().map(|link| &link.settings);
        let lines = lines.filter(|line| line.instrument.as_deref() == Some(instrument));
        let (here, other): (Vec<_>, Vec<_>) = lines.partition(|line| line.bench == bench);
        let other = other.first().map(|line| (line.id.clone(), line.bench.clone()));
        (here.first().map(|line| line.id.clone()), other)
    }

    /// What hangs on a line of this bench and was seen at another is not measured with here.
    pub(super) fn not_elsewhere(&self, bench: &str) -> Result<(), Problem> {
        let here = self.links.values().map(|link| &link.settings).filter(|l| l.bench == bench);
        let mut named = here.filter_map(|line| line.instrument.as_ref());
        let out = |id: &String| self.register.checked_out.get(id);
        let away = named.find_map(|id| out(id).filter(|out| out.fact.bench != bench));
        away.map_or(Ok(()), |out| {
            let (instrument, other) = (&out.fact.instrument, &out.fact.bench);
            Err(conflict(
                format!("`{instrument}` is on a line of this bench and was seen at bench {other}"),
                "Bring it back and scan its label here.",
            ))
        })
    }
}
