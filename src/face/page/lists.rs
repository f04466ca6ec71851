//! The worklist and the list of results.

use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::response::Html;
use serde::Deserialize;
use serde_json::Value;
use tapline_protocols::due::Day;

use super::Desk;
use super::review::names;
use crate::clock;
use crate::face::due::{marks, today};
use crate::face::problem::Refused;
use crate::face::records::{ask, blocking};
use crate::index::{self, DueQuery};
use crate::page::lists::{self, Asked, Worklist};
use crate::page::word;
use crate::past::due::summed;
use crate::words::english;

/// Microseconds of a week.
const WEEK_US: i64 = 7 * 86_400_000_000;
/// Rows of a page: each has up to a thousand bytes.
const ROWS_MAX: usize = 100;
/// Damaged records that are named.
const NAMED_MAX: usize = 20;

/// Which part of the worklist.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Place {
    #[serde(default)]
    place: String,
    after: Option<String>,
}

/// `GET /due?place=`: assets in the order of their dates, of one place, as the index has them.
pub(super) async fn due(
    State(desk): State<Desk>,
    wanted: Result<Query<Place>, QueryRejection>,
) -> Result<Html<String>, Refused> {
    let Query(Place { place, after }) =
        wanted.map_err(|why| Refused::new("bad_input", why.body_text()))?;
    let orders = desk.hall.shared.ask(|core| marks(core.register())).await.unwrap_or_default();
    blocking(move || {
        let today = today();
        let query =
            DueQuery { place: place.clone(), after, limit: ROWS_MAX, ..DueQuery::on(today) };
        let list = ask(&desk.hall, |index| index.due(&query))?;
        let shown = |row: &index::Due| lists::Due {
            asset: row.asset.clone(),
            description: row.description.clone(),
            location: row.location.clone(),
            due: row.due.map(Day::text),
            state: row.state,
            orders: orders.get(&row.asset).into_iter().flatten().map(asked_for).collect(),
            last: row
                .last
                .as_ref()
                .map(|(id, day, outcome)| (day.text(), id.clone(), word(*outcome))),
        };
        let rows: Vec<lists::Due> = list.rows.iter().map(shown).collect();
        let count = list.count;
        let summary = summed(count.assets, count.overdue, count.without, today);
        let damaged = &list.damaged[..list.damaged.len().min(NAMED_MAX)];
        let next = list.next.as_deref();
        let worklist = Worklist { rows: &rows, place: &place, summary: &summary, damaged, next };
        Ok(Html(lists::due(&worklist)))
    })
    .await
}

/// An order in few words.
fn asked_for(order: &Value) -> String {
    let of = |name: &str| order[name].as_str().unwrap_or_default();
    let day = order["wanted_by"].as_str().map(|day| format!(", {day}")).unwrap_or_default();
    let reason = english().say("why_inspected", of("reason"));
    format!("{} {}: {reason}{day}", english().say("page", "order"), of("order"))
}

/// Which results, and in which order.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    #[serde(default)]
    asset: String,
    #[serde(default)]
    verdict: String,
    from: Option<String>,
    #[serde(default)]
    to: String,
    #[serde(default)]
    sort: String,
    #[serde(default)]
    up: u8,
    after: Option<String>,
}

/// `GET /results`: the last seven days, unless something else is asked for.
pub(super) async fn results(
    State(desk): State<Desk>,
    wanted: Result<Query<Wanted>, QueryRejection>,
) -> Result<Html<String>, Refused> {
    let Query(wanted) = wanted.map_err(|why| Refused::new("bad_input", why.body_text()))?;
    let names = desk.hall.shared.ask(names).await.unwrap_or_default();
    blocking(move || {
        let now_us = clock::now().wall_us;
        let week = clock::utc_day(now_us - WEEK_US);
        let some = |text: &str| (!text.is_empty()).then(|| text.to_owned());
        let from = wanted.from.clone().unwrap_or_else(|| week.clone());
        let verdict = some(&wanted.verdict).map(|word| serde_json::from_value(word.into()));
        let verdict = verdict.transpose().map_err(|_| {
            Refused::new("bad_input", format!("`{}` is no verdict", wanted.verdict))
        })?;
        let query = index::Query {
            asset: some(&wanted.asset),
            from: some(&from),
            to: some(&wanted.to),
            verdict,
            newest: true,
            after: wanted.after.clone(),
            limit: ROWS_MAX,
            ..index::Query::default()
        };
        let mut found = ask(&desk.hall, |index| index.inspections(&query))?;
        let full = found.len() == ROWS_MAX;
        let older = found.last().filter(|_| full).map(|last| last.id.clone());
        let asked = Asked {
            asset: wanted.asset,
            verdict: wanted.verdict,
            from,
            to: wanted.to,
            sort: some(&wanted.sort).unwrap_or_else(|| "opened".into()),
            up: wanted.up != 0,
            today: clock::utc_day(now_us),
            week,
        };
        order(&mut found, &asked);
        Ok(Html(lists::results(&found, &asked, (older.as_deref(), &names))))
    })
    .await
}

/// They come from the newest back; what is alike stays so.
fn order(found: &mut [index::Summary], asked: &Asked) {
    found.reverse();
    match asked.sort.as_str() {
        "asset" => found.sort_by(|a, b| a.asset.cmp(&b.asset)),
        "plan" => found.sort_by(|a, b| a.plan.cmp(&b.plan)),
        "verdict" => found.sort_by_key(index::Summary::outcome),
        _ => {}
    }
    if !asked.up {
        found.reverse();
    }
}
