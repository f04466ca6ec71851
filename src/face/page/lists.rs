//! The worklist and the list of results.

use std::path::Path;

use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::response::Html;
use serde::Deserialize;
use tapline_protocols::due::Day;

use super::Desk;
use crate::clock;
use crate::face::problem::Refused;
use crate::face::records::{ask, blocking};
use crate::index;
use crate::page::lists::{self, Asked};
use crate::page::word;
use crate::past;
use crate::past::due::{Counted, Ledger, Row, summary};

/// Microseconds of a week.
const WEEK_US: i64 = 7 * 86_400_000_000;

/// Which part of the worklist.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Place {
    #[serde(default)]
    place: String,
}

/// `GET /due?place=`: assets in the order of their dates, of one place.
pub(super) async fn due(
    State(desk): State<Desk>,
    wanted: Result<Query<Place>, QueryRejection>,
) -> Result<Html<String>, Refused> {
    let Query(Place { place }) =
        wanted.map_err(|why| Refused::new("bad_input", why.body_text()))?;
    // The books of all inspections are read: once at a time.
    let _turn = desk.turn.clone().lock_owned().await;
    let folder = desk.hall.shared.folder.clone();
    blocking(move || {
        let today = Day::parse(&clock::utc_day(clock::now().wall_us)).expect("a clock shows a day");
        let read = rows(&folder, today);
        let (mut rows, troubles) = read.map_err(|trouble| Refused::new("busy", trouble))?;
        let within = |text: &str| text.to_lowercase().contains(&place.to_lowercase());
        rows.retain(|row| row.asset.as_ref().is_some_and(|asset| within(&asset.location)));
        let shown: Vec<lists::Due> = rows
            .iter()
            .filter_map(|row| {
                let asset = row.asset.as_ref()?;
                let last = row.last.as_ref();
                Some(lists::Due {
                    asset: asset.id.clone(),
                    description: asset.description.clone(),
                    location: asset.location.clone(),
                    due: row.due.map(Day::text),
                    state: row.state(today),
                    last: last.map(|(id, day, outcome)| (day.text(), id.clone(), word(*outcome))),
                })
            })
            .collect();
        Ok(Html(lists::due(&shown, &place, (&summary(&rows, today), &troubles))))
    })
    .await
}

/// All assets in the order of their dates, with what could not be read, in words.
fn rows(folder: &Path, today: Day) -> Result<(Vec<Row>, Vec<String>), String> {
    let mut ledger = Ledger::of(folder, None)?;
    let mut troubles = Vec::new();
    for record in past::records(folder)? {
        match past::read(folder, &record, None) {
            Ok(past) => past.into_iter().for_each(|past| ledger.take(past)),
            Err(why) => troubles.push(format!("{}: {why}", record.id)),
        }
    }
    Ok((ledger.rows(Counted::default(), today), troubles))
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
}

/// `GET /results`: the last seven days, unless something else is asked for.
pub(super) async fn results(
    State(desk): State<Desk>,
    wanted: Result<Query<Wanted>, QueryRejection>,
) -> Result<Html<String>, Refused> {
    let Query(wanted) = wanted.map_err(|why| Refused::new("bad_input", why.body_text()))?;
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
            ..index::Query::default()
        };
        let mut found = ask(&desk.hall, |index| index.inspections(&query))?;
        let more = found.len() == index::LIST_MAX;
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
        Ok(Html(lists::results(&found, &asked, more)))
    })
    .await
}

/// They come in the order of their opening; what is alike stays so.
fn order(found: &mut [index::Summary], asked: &Asked) {
    match asked.sort.as_str() {
        "asset" => found.sort_by(|a, b| a.asset.cmp(&b.asset)),
        "plan" => found.sort_by(|a, b| a.plan.cmp(&b.plan)),
        "verdict" => found.sort_by_key(|one| one.verdict),
        _ => {}
    }
    if !asked.up {
        found.reverse();
    }
}
