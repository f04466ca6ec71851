//! The bench check: a reading of an idle bench that is held against a check standard.

use tapline_drivers::Now;
use tapline_drivers::driver::{Input, Want};
use tapline_drivers::reading::Reading;
use tapline_protocols::Fact;
use tapline_protocols::fact::ReadingId;
use tapline_protocols::inspection::CheckRun;
use tapline_protocols::register::{Instrument, SourceClass};

use super::command::Seat;
use super::core::Core;
use super::event::{Answer, BookId, Problem};
use super::say::{bad, conflict, missing};
use super::wire::Wire;
use crate::clock::Stamp;

impl Core {
    /// Begins a bench check, instead of the one in progress if there is one.
    pub(super) fn begin_check(
        &mut self,
        seat: &Seat,
        standard: &str,
        instrument: Option<&str>,
    ) -> Result<Answer, Problem> {
        let Seat { bench, at, .. } = seat;
        if self.benches[bench].active.is_some() {
            let detail = "an inspection is open on this bench";
            return Err(conflict(detail, "Sign, end or park it, then check the bench."));
        }
        if seat.by.is_none() {
            return Err(conflict("nobody is logged in at this bench", "Scan a badge."));
        }
        self.not_elsewhere(bench)?;
        let Some(standard) = self.register.standards.get(standard).cloned() else {
            return Err(missing("check standard", standard)
                .next("Import it with `tapline standard import FILE`, or correct its label."));
        };
        if standard.calibration_due < self.settings.zone.date(at.wall_us) {
            let detail = format!("the certificate of {} has ended", standard.id);
            return Err(conflict(detail, "Have it calibrated, or take another one."));
        }
        let meter = self.meter_for(bench, standard.function, instrument)?.clone();
        let run = CheckRun::begin(bench, &standard, &meter, Now(at.boot_us));
        let of = standard.of.as_ref().and_then(|id| self.register.instruments.get(id));
        let hazard = of.is_some_and(|one| one.source_class == SourceClass::Hazardous);
        let key = if hazard { "check.hazard" } else { "check.begun" };
        let said = [key, &standard.id, &meter.id, &standard.what];
        self.drop_check(bench, *at);
        self.bench(bench).check = Some(run);
        for link in self.links_of(bench) {
            self.tune_check(&link, *at);
        }
        self.unseen = true;
        Ok(Answer::done(self.seq).say(&said))
    }

    /// The instrument of a bench that measures a function: the named one, else the only one.
    fn meter_for(
        &self,
        bench: &str,
        function: tapline_drivers::Function,
        named: Option<&str>,
    ) -> Result<&Instrument, Problem> {
        let here = self.links.values().filter(|link| link.settings.bench == bench && link.up);
        let meters = here.filter_map(|link| {
            let id = link.settings.instrument.as_ref()?;
            self.register.instruments.get(id)
        });
        let fits = |one: &&Instrument| one.ranges.iter().any(|range| range.function == function);
        let meters: Vec<&Instrument> = meters.filter(fits).collect();
        match named {
            Some(id) => meters.into_iter().find(|one| one.id == id).ok_or_else(|| {
                conflict(
                    format!("{id} is not up on this bench, or measures something else"),
                    "Look at the status for what is up, and at the register for its ranges.",
                )
            }),
            None => match meters[..] {
                [only] => Ok(only),
                [] => Err(conflict(
                    "no instrument that is up on this bench measures what the standard is",
                    "Plug it in, or register its range.",
                )),
                _ => Err(bad("several instruments of this bench fit the standard")
                    .next("Name one with --instrument.")),
            },
        }
    }

    fn links_of(&self, bench: &str) -> Vec<String> {
        let links = self.links.values().filter(|link| link.settings.bench == bench);
        links.map(|link| link.settings.id.clone()).collect()
    }

    /// An instrument that is asked is told what is wanted of it, where its bench is checked.
    pub(super) fn tune_check(&mut self, link: &str, at: Stamp) {
        let known = &self.links[link];
        let idle = matches!(known.book, Some(BookId::Idle(_)));
        let run = self.benches[&known.settings.bench].check.as_ref();
        let run = run.filter(|run| known.settings.instrument.as_deref() == Some(run.instrument()));
        let want = run.map(|run| Want { function: run.standard().function, live: false });
        let asks = known.wire.as_ref().is_some_and(Wire::sends);
        if idle && asks && want != known.want {
            self.links.get_mut(link).expect("looked up above").want = want;
            self.feed(link, at, Input::Want(want));
        }
    }

    /// A check is over, or another one begins.
    fn drop_check(&mut self, bench: &str, at: Stamp) {
        if self.bench(bench).check.take().is_some() {
            for link in self.links_of(bench) {
                self.tune_check(&link, at);
            }
        }
    }

    /// A reading of an idle bench may be one of its check.
    pub(super) fn checked(&mut self, link: &str, at: Stamp, (id, reading): (ReadingId, &Reading)) {
        let known = &self.links[link];
        let (bench, changed) = (known.settings.bench.clone(), known.changed);
        let instrument = known.settings.instrument.clone().filter(|_| !changed);
        let run = self.bench(&bench).check.as_mut();
        let run = run.filter(|run| instrument.as_deref() == Some(run.instrument()));
        let Some(fact) = run.and_then(|run| run.take(id, reading)) else { return };
        self.drop_check(&bench, at);
        let by = self.register.logins.get(&bench).cloned();
        self.put_station(at, Fact::Check(Box::new(fact)), by);
    }
}
