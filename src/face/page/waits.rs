//! What waits for a review.

use axum::extract::State;
use axum::response::Html;
use serde::Deserialize;

use super::Desk;
use super::review::names;
use crate::face::life::waiting;
use crate::face::problem::Refused;
use crate::face::query::Query;
use crate::face::records::{ask, blocking};
use crate::page::lists::{Waiting, waits};

/// Rows of a page.
const ROWS_MAX: usize = 100;

/// Where the page begins.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct From {
    #[serde(default)]
    after: String,
}

/// `GET /reviews`: inspections that wait for somebody else to look through them, the oldest first.
pub(super) async fn view(
    State(desk): State<Desk>,
    Query(from): Query<From>,
) -> Result<Html<String>, Refused> {
    let names = desk.hall.shared.ask(names).await.unwrap_or_default();
    let (ids, next) = waiting(&desk.hall, from.after, ROWS_MAX).await?;
    blocking(move || {
        let rows = ids.into_iter().map(|id| {
            // Its name alone where the list is away.
            let known = ask(&desk.hall, |index| index.inspection(&id)).ok().flatten();
            known.map_or(Waiting::Name(id), |one| Waiting::Known(Box::new(one)))
        });
        let rows: Vec<Waiting> = rows.collect();
        Ok(Html(waits(&rows, next.as_deref(), &names)))
    })
    .await
}
