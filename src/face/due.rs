//! The worklist: when each asset is due, as the index has it.

use std::collections::{BTreeMap, BTreeSet};

use axum::extract::State;
use axum::response::Json;
use serde::Deserialize;
use serde_json::{Value, json};
use tapline_protocols::due::Day;

use super::Hall;
use super::problem::Refused;
use super::query::{LIST_MAX, Query, flag, limit};
use super::records::{ask, blocking};
use crate::clock;
use crate::index::{Due, DueCount, DueList, DueQuery};
use crate::station::register::Register;

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
    ordered: Option<u8>,
    back: Option<u8>,
    after: Option<String>,
    limit: Option<usize>,
}

/// `GET /v1/due`: in the order of their dates; what has none comes last.
pub(super) async fn list(
    State(hall): State<Hall>,
    Query(wanted): Query<Wanted>,
) -> Result<Json<Value>, Refused> {
    let (ordered, back) = (flag("ordered", wanted.ordered)?, flag("back", wanted.back)?);
    let among = among(&hall, ordered, back).await?;
    // Where nothing is judged, nobody knows what is ordered: the list says so.
    let orders = hall.shared.ask(|core| marks(core.register())).await.ok();
    blocking(move || {
        let query = DueQuery { among, ..wanted.query()? };
        let list = ask(&hall, |index| index.due(&query))?;
        Ok(Json(answer(&list, query.today, orders.as_ref())))
    })
    .await
}

/// Open orders, by asset.
pub(super) type Marks = BTreeMap<String, Vec<Value>>;

/// What is ordered, by asset, what is wanted first before the other.
pub(super) fn marks(register: &Register) -> Marks {
    let mut marks = Marks::new();
    for order in register.orders.open() {
        marks.entry(order.fact.asset.clone()).or_default().push(order.mark());
    }
    marks
}

/// The assets for which something is ordered, those that go back; `None`: all of them.
async fn among(
    hall: &Hall,
    ordered: bool,
    back: bool,
) -> Result<Option<BTreeSet<String>>, Refused> {
    if !ordered && !back {
        return Ok(None);
    }
    let part = move |register: &Register| -> BTreeSet<String> {
        let goes_back =
            |id: &String| register.asset(id).is_some_and(|asset| asset.return_by.is_some());
        match ordered {
            true => marks(register).into_keys().filter(|id| !back || goes_back(id)).collect(),
            false => register.assets.keys().filter(|id| goes_back(id)).cloned().collect(),
        }
    };
    Ok(Some(hall.shared.ask(move |core| part(core.register())).await?))
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
            among: None,
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

fn answer(list: &DueList, today: Day, orders: Option<&Marks>) -> Value {
    let DueCount { registered, assets, overdue, without } = list.count;
    let items: Vec<Value> = list.rows.iter().map(|one| ordered(one, orders)).collect();
    let damaged: Vec<&String> = list.damaged.iter().take(LIST_MAX).collect();
    json!({
        "items": items, "next": list.next, "today": today.text(), "damaged": damaged,
        "count": {
            "registered": registered, "assets": assets, "overdue": overdue, "without": without,
        },
    })
}

/// An asset of the worklist with what is ordered for it; `null`: nobody knows.
fn ordered(due: &Due, orders: Option<&Marks>) -> Value {
    let mut json = row(due);
    json["orders"] = match orders {
        Some(orders) => json!(orders.get(&due.asset).map_or(&[][..], Vec::as_slice)),
        None => Value::Null,
    };
    json
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
        "visited": row.visited, "ownership": row.ownership, "return_by": row.return_by,
    })
}
