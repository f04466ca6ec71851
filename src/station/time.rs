//! What befalls the clocks: a wall clock that was set, a machine that slept, a day that ends.
//!
//! Ages and durations are counted by the boot-time clock alone. The wall clock says what day it
//! is, and nothing else.

use tapline_protocols::Fact;
use tapline_protocols::fact::ClockFact;

use super::bench::Bench;
use super::core::Core;
use super::event::Problem;
use super::say::conflict;
use crate::clock::{Change, Stamp, rfc3339, step_us, utc_day};

const DAY_US: i64 = 24 * 3600 * 1_000_000;
/// Nothing that was proved for a day is older, microseconds of the boot-time clock.
const DAY_US_MAX: u64 = DAY_US.unsigned_abs();
/// How far the wall clock may lie before the last line of the station, microseconds.
const CLOCK_BACK_MAX_US: i64 = DAY_US;
/// What to do about a wrong wall clock.
const SET_THE_CLOCK: &str = "Set the clock of this machine, or let it synchronise (a synchronised \
                             clock is believed), then begin. What is open goes on.";

impl Core {
    /// The wall clock is kept right by a time service, or is not.
    pub fn synchronised(&mut self, synced: bool) {
        self.context.synced = synced;
    }

    /// By how much the wall clock was set while the station did not run, as far as that can be
    /// known: under the same boot. 0: it was not.
    pub(super) fn set_meanwhile(&self, at: Stamp) -> i64 {
        let told = self.register.told.as_ref().filter(|told| told.boot == self.context.boot);
        told.map_or(0, |told| step_us(told.at, at))
    }

    /// The wall clock was set, or the machine slept: a fact of the station and of every open
    /// inspection whose stamps count from this boot.
    pub(super) fn clock_changed(&mut self, change: Change) {
        let at = change.at;
        let was = at.wall_us.saturating_sub(change.step_us);
        let fact = || {
            Fact::Clock(ClockFact {
                step_us: change.step_us,
                synced: self.context.synced,
                was: (change.step_us != 0).then(|| rfc3339(was)),
                slept_us: (change.slept_us != 0).then_some(change.slept_us),
            })
        };
        let fact = fact();
        self.put_station(at, fact.clone(), None);
        let boot = &self.context.boot;
        let concerned = self.cases.iter().filter(|(_, case)| {
            let record = case.inspection.record();
            !case.closed && record.boot == *boot
        });
        for id in concerned.map(|(id, _)| id.clone()).collect::<Vec<_>>() {
            self.put_case(&id, at, fact.clone(), None);
        }
        if change.slept_us != 0 {
            self.woke(at);
        }
        if change.step_us < 0 {
            self.set_back(at);
        }
        self.midnight(at);
    }

    /// The machine slept, and nobody watched meanwhile: what hangs on the bench may be something
    /// else, what was live may still be. Every stream begins anew, so that instruments that can be
    /// asked say who they are.
    fn woke(&mut self, at: Stamp) {
        for bench in self.benches.keys().cloned().collect::<Vec<_>>() {
            let place = self.bench(&bench);
            let active = place.active.take();
            let acted_us = place.acted_us;
            *place = Bench { acted_us, ..Bench::default() };
            place.active.clone_from(&active);
            match active {
                Some(id) => self.resume(&id, &bench, at, "suspend"),
                None => {
                    self.tap_bench(&bench, at);
                    let last = self.last_seq();
                    self.bench(&bench).relinked = last;
                }
            }
        }
    }

    /// A wall clock that was set back to a day before ends what was proved for the day: else that
    /// would hold longer than a day.
    fn set_back(&mut self, at: Stamp) {
        self.end_days(at, "clock", |day, today| today < day);
    }

    /// A day that ends while an inspection is open ends what was proved for it; also where the
    /// wall clock was set back and never comes to its end.
    pub(super) fn midnight(&mut self, at: Stamp) {
        self.end_days(at, "midnight", |day, today| day < today);
    }

    fn end_days(&mut self, at: Stamp, after: &str, is_over: fn(&str, &str) -> bool) {
        let today = self.settings.zone.date(at.wall_us);
        let over = |id: &&String| {
            self.cases.get(*id).is_some_and(|case| {
                let day = case.inspection.record().day();
                let old = DAY_US_MAX <= at.boot_us.saturating_sub(case.day_us);
                day.is_some_and(|day| old || is_over(&day, &today))
            })
        };
        let open = self.benches.iter().filter_map(|(bench, b)| Some((bench, b.active.as_ref()?)));
        let over = open.filter(|(_, id)| over(id)).map(|(b, i)| (b.clone(), i.clone()));
        for (bench, id) in over.collect::<Vec<_>>() {
            self.resume(&id, &bench, at, after);
        }
    }

    /// Names, dates and folders of an inspection come from the wall clock: none is opened while
    /// that is known to be wrong.
    pub(super) fn clock_may_be_right(&self, at: Stamp) -> Result<(), Problem> {
        let shows = utc_day(at.wall_us);
        if at.wall_us < self.context.earliest_us {
            let detail = format!("the wall clock shows {shows}, before this program was made");
            return Err(conflict(detail, SET_THE_CLOCK));
        }
        let last = self.register.latest_us.unwrap_or(at.wall_us);
        if !self.context.synced && at.wall_us < last.saturating_sub(CLOCK_BACK_MAX_US) {
            let last = utc_day(last);
            let detail = format!(
                "the wall clock shows {shows}, more than a day before a line of the station of {last}"
            );
            return Err(conflict(detail, SET_THE_CLOCK));
        }
        Ok(())
    }
}
