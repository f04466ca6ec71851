//! Assets that were looked for and not inspected: where, when, and when again. No inspection is
//! opened for that.

use tapline_protocols::Fact;
use tapline_protocols::fact::VisitFact;
use tapline_protocols::read::{is_date, plain_text};
use tapline_protocols::register::Asset;

use super::command::Seat;
use super::core::Core;
use super::event::{Answer, Problem, Request};
use super::say::{bad, conflict, missing};
use crate::clock::Stamp;

/// What came of looking for an asset, besides its inspection.
pub const OUTCOMES: [&str; 5] = ["not_found", "in_use", "with_patient", "sent_out", "retired"];

/// What is asked when an asset was looked for.
pub(super) struct Visit {
    pub asset: String,
    pub outcome: String,
    pub place: Option<String>,
    pub retry: Option<String>,
    pub reason: Option<String>,
}

impl Core {
    /// Notes that an asset was looked for. Who retires it takes it off the lists.
    pub(super) fn visit(
        &mut self,
        at: Stamp,
        by: Option<String>,
        visit: Visit,
    ) -> Result<Answer, Problem> {
        self.clock_may_be_right(at)?;
        let Some(by) = by else {
            return Err(bad("nobody is named who looked for it").next("Name one with --by."));
        };
        let known = self.register.asset(&visit.asset);
        let asset = known.cloned().ok_or_else(|| missing("asset", &visit.asset))?;
        let day = self.settings.zone.date(at.wall_us);
        if let (true, Some(since)) = (asset.is_retired(&day), &asset.retired) {
            let text = format!("`{}` is retired since {since}: nobody looks for it", asset.id);
            let next = "If it is in use again, import it with an empty `retired`.";
            return Err(conflict(text, next));
        }
        if let Some(case) = self.cases.values().find(|case| case.asset() == asset.id) {
            let text = format!("{} about `{}` is open", case.id, asset.id);
            return Err(conflict(text, "End that inspection with the same outcome."));
        }
        let fact = fact(visit, day)?;
        Ok(self.visited(at, &by, fact, asset))
    }

    fn visited(&mut self, at: Stamp, by: &str, fact: VisitFact, asset: Asset) -> Answer {
        let (outcome, day) = (fact.outcome.clone(), fact.day.clone());
        let id = asset.id.clone();
        let mut seq = self.put_station(at, Fact::Visit(Box::new(fact)), Some(by.into()));
        if outcome == "retired" {
            let asset = Asset { retired: Some(day), ..asset };
            seq = self.put_station(at, Fact::Asset(Box::new(asset)), Some(by.into()));
            self.close_orders_of(at, &id);
        }
        Answer::done(seq).say(&[&format!("visit.{outcome}"), &id])
    }

    /// Ends the open inspection of a bench. Why its asset could not be measured is known of the
    /// asset, too.
    pub(super) fn end(
        &mut self,
        seat: &Seat,
        outcome: String,
        reason: String,
    ) -> Result<Answer, Problem> {
        let active = self.benches[&seat.bench].active.clone();
        let asset = active.and_then(|id| self.register.asset(self.cases[&id].asset()).cloned());
        let note = VisitFact {
            asset: asset.as_ref().map(|asset| asset.id.clone()).unwrap_or_default(),
            outcome: outcome.clone(),
            day: self.settings.zone.date(seat.at.wall_us),
            place: None,
            retry: None,
            reason: Some(reason.clone()),
        };
        let answer = self.act(seat, Request::End { outcome, reason })?;
        if let (Some(asset), Some(by)) = (asset, &seat.by)
            && OUTCOMES.contains(&note.outcome.as_str())
        {
            self.visited(seat.at, by, note, asset);
        }
        Ok(answer)
    }
}

fn fact(visit: Visit, day: String) -> Result<VisitFact, Problem> {
    let Visit { asset, outcome, place, retry, reason } = visit;
    if !OUTCOMES.contains(&outcome.as_str()) {
        return Err(bad(format!("`{outcome}` is no outcome: {}", OUTCOMES.join(", "))));
    }
    for (name, text) in [("place", &place), ("reason", &reason)] {
        if text.as_ref().is_some_and(|text| !plain_text(text)) {
            return Err(bad(format!("`{name}` needs 1 to 500 characters on one row")));
        }
    }
    if let Some(again) = &retry {
        if !is_date(again) || *again < day {
            let text = format!("`retry` needs a day from {day} on, such as 2026-11-30");
            return Err(bad(text));
        }
        if outcome == "retired" {
            return Err(bad("what is retired is not looked for again: leave `retry` out"));
        }
    }
    Ok(VisitFact { asset, outcome, day, place, retry, reason })
}
