//! The worklist: when each asset is due, as the index has it.

use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::response::Json;
use serde::Deserialize;
use serde_json::{Value, json};
use tapline_protocols::due::Day;

use super::Hall;
use super::problem::Refused;
use super::query::{LIST_MAX, flag, limit};
use super::records::{ask, blocking};
use crate::clock;
use crate::index::{Due, DueCount, DueList, DueQuery};

/// How an asset may stand.
pub(super) const STATES: [&str; 5] = ["overdue", "due", "no_interval", "never", "not_passed"];

/// Which assets are wanted.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    under: Option<String>,
    asset: Option<String>,
    state: Option<String>,
    on: Option<String>,
    from_due: Option<u8>,
    month_end: Option<u8>,
    after: Option<String>,
    limit: Option<usize>,
}

/// `GET /v1/due`: in the order of their dates; what has none comes last.
pub(super) async fn list(
    State(hall): State<Hall>,
    wanted: Result<Query<Wanted>, QueryRejection>,
) -> Result<Json<Value>, Refused> {
    let Query(wanted) = wanted.map_err(|why| Refused::new("bad_input", why.body_text()))?;
    blocking(move || {
        let query = wanted.query()?;
        let list = ask(&hall, |index| index.due(&query))?;
        Ok(Json(answer(&list, query.today)))
    })
    .await
}

impl Wanted {
    fn query(self) -> Result<DueQuery, Refused> {
        if let Some(state) = self.state.as_ref().filter(|state| !STATES.contains(&state.as_str())) {
            let states = STATES.join(", ");
            return Err(Refused::new("bad_input", format!("`{state}` is none of {states}")));
        }
        Ok(DueQuery {
            today: day("on", self.on.as_deref())?,
            under: self.under.unwrap_or_default(),
            place: String::new(),
            asset: self.asset,
            state: self.state,
            from_due: flag("from_due", self.from_due)?,
            month_end: flag("month_end", self.month_end)?,
            after: self.after,
            limit: limit(self.limit)?,
        })
    }
}

/// A day that is named; without one today, UTC.
pub(super) fn day(name: &str, text: Option<&str>) -> Result<Day, Refused> {
    match text {
        None => Ok(today()),
        Some(text) => Day::parse(text).ok_or_else(|| {
            Refused::new("bad_input", format!("`{name}` is a day from 1900 to 2999: 2026-11-24"))
        }),
    }
}

/// This day, UTC.
pub(super) fn today() -> Day {
    Day::parse(&clock::utc_day(clock::now().wall_us)).expect("a clock shows a day")
}

fn answer(list: &DueList, today: Day) -> Value {
    let DueCount { registered, assets, overdue, without } = list.count;
    let items: Vec<Value> = list.rows.iter().map(row).collect();
    let damaged: Vec<&String> = list.damaged.iter().take(LIST_MAX).collect();
    json!({
        "items": items, "next": list.next, "today": today.text(), "damaged": damaged,
        "count": {
            "registered": registered, "assets": assets, "overdue": overdue, "without": without,
        },
    })
}

/// An asset of the worklist.
pub(super) fn row(row: &Due) -> Value {
    let last = row.last.as_ref();
    json!({
        "asset": row.asset, "description": row.description, "location": row.location,
        "risk": row.risk,
        "interval": row.interval, "due": row.due.map(Day::text), "state": row.state,
        "last": last.map(|(id, day, outcome)| json!({
            "id": id, "day": day.text(), "outcome": outcome,
        })),
        "visited": row.visited,
    })
}
