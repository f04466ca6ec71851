//! When each asset is to be inspected next, from the register and the sealed books.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use tapline_protocols::Fact;
use tapline_protocols::due::{Anchor, Counting, Day, Every, Snap};
use tapline_protocols::fact::{VisitFact, Word};
use tapline_protocols::register::Asset;

use super::Past;
use super::course::{Course, done};
use super::visited::Visited;
use crate::books::Shelf;
use crate::orders::Orders;
use crate::station::event::BookId;
use crate::words::english;

/// How days are counted, where that is asked for: goes before what the station was told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub(crate) struct Counted {
    /// From the day on which it was due.
    pub(crate) from_due: bool,
    /// To the end of the month.
    pub(crate) month_end: bool,
}

/// What happened to assets, as it is read.
pub(crate) struct Ledger(Vec<(u64, Event)>, Orders);

impl Ledger {
    /// What the station books say, of one asset or of all.
    ///
    /// # Errors
    /// They can't be read, or are damaged: a sentence.
    pub(crate) fn of(folder: &Path, asset: Option<&str>) -> Result<Ledger, String> {
        registered(folder, asset).map(|(events, orders)| Ledger(events, orders))
    }

    /// Some asset is registered.
    pub(crate) fn knows_an_asset(&self) -> bool {
        self.0.iter().any(|(_, event)| matches!(event, Event::Registered(_)))
    }

    /// What is ordered for an asset, what is wanted first before the other.
    pub(crate) fn orders(&self) -> &Orders {
        &self.1
    }

    /// Takes what a sealed inspection came to; what nobody signed moves no date.
    pub(crate) fn take(&mut self, past: Past) {
        if let Some((seq, _)) = past.signed {
            self.0.push((seq, Event::Inspected(Box::new(past))));
        }
    }

    /// Registered assets in the order of their dates; what has no date comes last.
    ///
    /// What is out of use for good on the day is left out.
    pub(crate) fn rows(self, counted: Counted, today: Day) -> Vec<Row> {
        let mut rows = sorted(walked(self.0, counted));
        let today = today.text();
        rows.retain(|row| row.asset.as_ref().is_none_or(|asset| !asset.is_retired(&today)));
        rows
    }
}

/// What happened to an asset, in the order of the station's lines.
enum Event {
    /// The station counts so from here on.
    Counts(Counting),
    Registered(Box<Asset>),
    Visited(Box<VisitFact>, Option<String>),
    Inspected(Box<Past>),
}

/// An asset on its way through the books.
#[derive(Default)]
pub(crate) struct Row {
    pub(crate) asset: Option<Asset>,
    course: Course,
    pub(crate) last: Option<(String, Day, Word)>,
    /// It was looked for since.
    pub(crate) visited: Option<Visited>,
    /// Number of the newest line that says something of it.
    pub(crate) changed: u64,
}

fn sorted(rows: BTreeMap<String, Row>) -> Vec<Row> {
    let mut rows: Vec<Row> = rows.into_values().filter(|row| row.asset.is_some()).collect();
    rows.sort_by_key(|row| (row.due().is_none(), row.due()));
    rows
}

/// Assets as they were registered, each time, and how the station counted.
fn registered(folder: &Path, wanted: Option<&str>) -> Result<(Vec<(u64, Event)>, Orders), String> {
    let shelf = Shelf::new(Arc::new(super::folder(folder)?));
    let halted = |halted: crate::books::Halted| halted.to_string();
    let mut lines = shelf.lines(&BookId::Station).map_err(halted)?;
    let (mut events, mut orders) = (Vec::new(), Orders::default());
    for line in lines.by_ref() {
        let line = line.map_err(halted)?;
        orders.apply(line.seq, &line.fact);
        match line.fact {
            Fact::Asset(asset) if wanted.is_none_or(|wanted| wanted == asset.id) => {
                events.push((line.seq, Event::Registered(asset)));
            }
            Fact::Visit(visit) if wanted.is_none_or(|wanted| wanted == visit.asset) => {
                events.push((line.seq, Event::Visited(visit, line.by)));
            }
            Fact::Start(start) => events.push((line.seq, Event::Counts(start.due))),
            _ => {}
        }
    }
    match lines.damaged() {
        Some(_) => Err(english().say("due", "damaged").into()),
        None => Ok((events, orders)),
    }
}

fn walked(mut events: Vec<(u64, Event)>, counted: Counted) -> BTreeMap<String, Row> {
    events.sort_by_key(|(seq, _)| *seq);
    let mut rows: BTreeMap<String, Row> = BTreeMap::new();
    let mut counting = Counting::default();
    for (seq, event) in events {
        match event {
            Event::Counts(so) => counting = so,
            Event::Registered(asset) => {
                let row = rows.entry(asset.id.clone()).or_default();
                row.changed = seq;
                row.register(*asset);
            }
            Event::Visited(visit, by) => {
                let row = rows.entry(visit.asset.clone()).or_default();
                row.visited = Some(Visited::then(row.visited.as_ref(), *visit, by));
            }
            Event::Inspected(past) => {
                let row = rows.entry(past.asset.id.clone()).or_default();
                row.changed = seq;
                row.inspect(&past, counted.or(counting));
            }
        }
    }
    rows
}

impl Row {
    fn register(&mut self, asset: Asset) {
        self.course.register(asset.due.as_deref().and_then(Day::parse));
        self.asset = Some(asset);
    }

    fn inspect(&mut self, past: &Past, counting: Counting) {
        let Some((_, outcome)) = past.signed else { return };
        self.last = Some((past.id.clone(), past.day, outcome));
        self.visited = None;
        let interval = self.asset.as_ref().and_then(|asset| asset.interval.as_deref());
        let done = done(past.day, &past.reason, past.by_its_plan, outcome);
        self.course.inspect(interval.and_then(Every::parse), counting, &done);
    }

    /// The day on which it is due.
    pub(crate) fn due(&self) -> Option<Day> {
        self.course.due
    }

    /// Why there is no date, or how it stands to the day; a code of the words.
    pub(crate) fn state(&self, today: Day) -> &'static str {
        let interval = self.asset.as_ref().and_then(|asset| asset.interval.as_ref());
        self.course.state(interval.is_some(), self.last.is_some(), today)
    }
}

impl Counted {
    /// What is asked for goes before what the station was told.
    pub(crate) fn or(self, told: Counting) -> Counting {
        Counting {
            anchor: if self.from_due { Anchor::LastDue } else { told.anchor },
            snap: if self.month_end { Snap::MonthEnd } else { told.snap },
        }
    }
}

/// How many assets there are, how many are overdue and how many have no date, in words.
pub(crate) fn summary(rows: &[Row], today: Day) -> String {
    let count = |state: &str| rows.iter().filter(|row| row.state(today) == state).count();
    let overdue = count("overdue");
    summed(rows.len(), overdue, rows.len() - overdue - count("due"), today)
}

/// As [`summary`], of what was counted elsewhere.
pub(crate) fn summed(assets: usize, overdue: usize, without: usize, today: Day) -> String {
    let values = [
        ("assets", assets.to_string()),
        ("overdue", overdue.to_string()),
        ("without", without.to_string()),
        ("today", today.text()),
    ];
    let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
    english().tell("due", if assets == 0 { "empty" } else { "summary" }, &values)
}

#[cfg(test)]
mod tests {
    use tapline_protocols::register::read_assets;

    use super::*;

    fn inspected(seq: u64, day: &str) -> (u64, Event) {
        let day = Day::parse(day).unwrap();
        let past = Past {
            id: format!("K3-{}-0001", day.text().replace('-', "")),
            asset: lamp(),
            day,
            reason: "scheduled".into(),
            signed: Some((seq, Word::Pass)),
            by_its_plan: true,
            retest_of: None,
            verdicts: Vec::new(),
        };
        (seq, Event::Inspected(Box::new(past)))
    }

    fn visited(seq: u64, outcome: &str) -> (u64, Event) {
        let outcome = outcome.into();
        let day = "2026-11-24".into();
        let fact = VisitFact { asset: "P-1".into(), outcome, day, ..VisitFact::default() };
        (seq, Event::Visited(Box::new(fact), Some("op-7".into())))
    }

    #[test]
    fn what_was_inspected_was_found() {
        let lamp = || (1, Event::Registered(Box::new(lamp())));
        let row = |events| walked(events, Counted::default()).remove("P-1").unwrap();
        let lost = [lamp(), visited(5, "not_found"), visited(6, "not_found")];
        assert_eq!(row(lost.into()).visited.unwrap().since.as_deref(), Some("2026-11-24"));
        let found = [lamp(), visited(5, "not_found"), inspected(10, "2026-11-24")];
        assert_eq!(row(found.into()).visited, None);
        let again = [lamp(), inspected(10, "2026-11-24"), visited(15, "in_use")];
        assert_eq!(row(again.into()).visited.unwrap().last.outcome, "in_use");
    }

    fn lamp() -> Asset {
        let text = include_str!("../../contrib/example/assets.csv");
        let lamp = read_assets(text).unwrap().into_iter().find(|one| one.id == "P-0109");
        Asset { id: "P-1".into(), interval: Some("P2Y".into()), due: None, ..lamp.unwrap() }
    }

    /// Section 12 of Germany's ordinance on operating medical products (in force since 2025-02-20,
    /// excerpt seen): from 2024-05-06 to 2026-05-31. What was inspected before the site counted so
    /// keeps its day.
    #[test]
    fn an_inspection_is_counted_as_the_site_did_then() {
        let month_end = Counting { snap: Snap::MonthEnd, ..Counting::default() };
        let events = |counts: Vec<(u64, Event)>| {
            let lamp = (1, Event::Registered(Box::new(lamp())));
            [lamp, inspected(10, "2024-05-06")].into_iter().chain(counts).collect::<Vec<_>>()
        };
        let due =
            |counts, counted: Counted| walked(events(counts), counted)["P-1"].due().unwrap().text();
        assert_eq!(due(vec![], Counted::default()), "2026-05-06");
        assert_eq!(due(vec![(5, Event::Counts(month_end))], Counted::default()), "2026-05-31");
        assert_eq!(due(vec![(15, Event::Counts(month_end))], Counted::default()), "2026-05-06");
        let asked = Counted { month_end: true, ..Counted::default() };
        assert_eq!(due(vec![], asked), "2026-05-31");
        let from_due = Counting { anchor: Anchor::LastDue, ..Counting::default() };
        let later = vec![(15, Event::Counts(from_due)), inspected(20, "2026-04-20")];
        assert_eq!(due(later, Counted::default()), "2028-05-06");
    }
}
