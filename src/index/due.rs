//! The worklist: when each asset is due, from the ledger.

use std::collections::BTreeSet;

use serde_json::Value;
use tapline_protocols::due::Day;
use tapline_protocols::fact::Word;
use tapline_protocols::register::{Ownership, Risk, lies_in};

use super::IndexFault;
use super::ledger::{Ledger, Stand, Standing};
use super::query::LIST_MAX;
use super::store::Index;
use crate::past::due::Counted;

/// Which assets, and how days are counted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DueQuery {
    /// The day by which what is due before is overdue.
    pub today: Day,
    /// In this place or one within it, `North/2`; the place without a name holds all.
    pub under: String,
    /// With this in their location, in capitals or not.
    pub place: String,
    /// This one.
    pub asset: Option<String>,
    /// One of these.
    pub among: Option<BTreeSet<String>>,
    /// Standing so: `overdue due no_interval never not_passed`.
    pub state: Option<String>,
    /// Counted from the day on which it was due, whatever the station was told.
    pub from_due: bool,
    /// To the end of the month, whatever the station was told.
    pub month_end: bool,
    /// After this one, in the order of the list.
    pub after: Option<String>,
    /// At most so many, never more than [`LIST_MAX`]; 0: as many as may be.
    pub limit: usize,
}

impl DueQuery {
    /// All assets, as the station counts.
    #[must_use]
    pub fn on(today: Day) -> DueQuery {
        DueQuery {
            today,
            under: String::new(),
            place: String::new(),
            asset: None,
            among: None,
            state: None,
            from_due: false,
            month_end: false,
            after: None,
            limit: 0,
        }
    }
}

/// A part of the worklist.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct DueList {
    /// Those that are due first come first; what has no date comes last.
    pub rows: Vec<Due>,
    /// Ask for more after this one; `None`: that was all.
    pub next: Option<String>,
    /// Of all that were asked for, on this page or not.
    pub count: DueCount,
    /// Sealed inspections that count for nothing, since their book is damaged.
    pub damaged: Vec<String>,
}

/// How many assets there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct DueCount {
    /// In the register, there or not, out of use for good or not.
    pub registered: usize,
    /// On the list.
    pub assets: usize,
    /// Due before today.
    pub overdue: usize,
    /// Without a date.
    pub without: usize,
}

/// An asset of the worklist.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Due {
    /// Asset.
    pub asset: String,
    /// What it is.
    pub description: String,
    /// Location path.
    pub location: String,
    /// How much harm a fault of it does.
    pub risk: Option<Risk>,
    /// Interval, as the register has it.
    pub interval: Option<String>,
    /// The day on which it is due.
    pub due: Option<Day>,
    /// `overdue due no_interval never not_passed`.
    pub state: &'static str,
    /// Last signed inspection, its day, and its outcome.
    pub last: Option<(String, Day, Word)>,
    /// What came of looking for it since.
    pub visited: Option<Value>,
    /// Whose it is, where it is not the hospital's own alone.
    pub ownership: Option<Ownership>,
    /// Day on which it goes back.
    pub return_by: Option<String>,
}

impl Index {
    /// A part of the worklist.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn due(&self, query: &DueQuery) -> Result<DueList, IndexFault> {
        Index::guarded(|| {
            let counted = Counted { from_due: query.from_due, month_end: query.month_end };
            let (mut list, page) = {
                let mut ledger = self.ledger();
                let all = ledger.sorted(counted);
                page(&ledger, &all, query)
            };
            list.rows = page.iter().map(|one| row(one, query.today)).collect();
            Ok(list)
        })
    }
}

/// An asset as it is shown.
pub(super) fn row(one: &Standing, today: Day) -> Due {
    Due {
        asset: one.asset.to_string(),
        description: one.description.to_string(),
        location: one.location.to_string(),
        risk: one.risk,
        interval: one.interval.as_deref().map(str::to_owned),
        due: one.course.due,
        state: one.state(today),
        last: one.last.as_ref().map(|last| (last.id.to_string(), last.day, last.outcome)),
        visited: one.visited.as_ref().map(|visited| visited.json(today)),
        ownership: one.ownership,
        return_by: one.return_by.as_deref().map(str::to_owned),
    }
}

/// Counts all that is asked for, and picks what is on the page.
fn page(ledger: &Ledger, all: &[Stand], query: &DueQuery) -> (DueList, Vec<Standing>) {
    let most = if query.limit == 0 { LIST_MAX } else { query.limit.min(LIST_MAX) };
    let mut list = DueList { damaged: ledger.damaged(), ..DueList::default() };
    let mut rows: Vec<Standing> = Vec::new();
    let mut wanted = Wanted::new(query, ledger);
    let mut behind = query.after.is_none();
    for one in all {
        let id = ledger.id(one);
        let named = query.asset.as_deref().is_none_or(|asset| *asset == **id);
        list.count.registered += usize::from(named);
        if named && wanted.wants(one) {
            list.count.add(ledger.state(one, query.today));
            match rows.last() {
                Some(last) if behind && rows.len() == most => {
                    list.next = Some(last.asset.to_string());
                }
                _ if behind => rows.push(ledger.standing(one, None)),
                _ => {}
            }
        }
        behind |= query.after.as_deref().is_some_and(|after| *after == **id);
    }
    (list, rows)
}

/// What is asked for; each place is compared once.
struct Wanted<'a> {
    query: &'a DueQuery,
    ledger: &'a Ledger,
    place: String,
    today: String,
    /// By the number of the location.
    places: Vec<Option<bool>>,
}

impl<'a> Wanted<'a> {
    fn new(query: &'a DueQuery, ledger: &'a Ledger) -> Wanted<'a> {
        let (place, today) = (query.place.to_lowercase(), query.today.text());
        Wanted { query, ledger, place, today, places: Vec::new() }
    }

    fn wants(&mut self, one: &Stand) -> bool {
        let (query, ledger) = (self.query, self.ledger);
        !ledger.is_retired(one, &self.today)
            && query.among.as_ref().is_none_or(|among| among.contains(&**ledger.id(one)))
            && query.state.as_deref().is_none_or(|state| ledger.state(one, query.today) == state)
            && self.is_there(ledger.registered(one).location)
    }

    fn is_there(&mut self, location: usize) -> bool {
        if self.place.is_empty() && self.query.under.is_empty() {
            return true;
        }
        if self.places.len() <= location {
            self.places.resize(location + 1, None);
        }
        *self.places[location].get_or_insert_with(|| {
            let text = self.ledger.name(location);
            text.to_lowercase().contains(&self.place) && lies_in(text, &self.query.under)
        })
    }
}

impl DueCount {
    fn add(&mut self, state: &str) {
        self.assets += 1;
        match state {
            "overdue" => self.overdue += 1,
            "due" => {}
            _ => self.without += 1,
        }
    }
}

#[cfg(test)]
mod tests;
