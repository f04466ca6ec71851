//! The life of an inspection after its seal: what was added to it, and what waits for a review.

use std::path::Path;

use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::response::Json;
use serde::Deserialize;
use serde_json::{Value, json};
use tapline_protocols::life::Life;

use super::Hall;
use super::problem::Refused;
use super::query::limit;
use super::records::{ask, blocking};
use crate::clock;
use crate::past;
use crate::past::life::Added;

/// Tells of a sealed inspection where it stands (`state`: `unsigned signed reviewed rejected
/// amended reattached released`), whether it `waits` for a review, its `addenda`, and what it comes
/// to now; what was signed first is `first`.
///
/// # Errors
/// Its addenda can't be believed: a sentence.
pub(super) fn tell(folder: &Path, id: &str, json: &mut Value) -> Result<(), String> {
    let (life, added) = past::life::life(folder, id)?;
    put(&life, &added, json);
    Ok(())
}

/// Puts what was read of its life into what is told of an inspection.
pub(super) fn put(life: &Life, added: &[Added], json: &mut Value) {
    let asset = life.asset().map(|asset| asset.id.clone());
    json["first"] = json!({ "outcome": json["outcome"], "asset": json["asset"] });
    json["state"] = life.state().word().into();
    json["waits"] = life.waits().into();
    json["reviewed"] = life.is_reviewed().into();
    json["released"] = life.is_released().into();
    json["acted"] = json!(life.acted);
    json["why_not"] = json!(life.why_not());
    json["addenda"] = added.iter().map(|one| addendum(life, one)).collect();
    if !added.is_empty() && life.signed().is_some() {
        json["outcome"] = json!(life.outcome());
        json["words"] = json!(life.words());
        json["asset"] = json!(asset);
    }
}

fn addendum(life: &Life, one: &Added) -> Value {
    json!({
        "id": one.id,
        "head": one.head,
        "at": clock::rfc3339(one.wall_us),
        "by": one.by,
        "name": life.names.get(&one.by),
        "as": one.sign.meaning,
        "auth": one.sign.auth,
        "outcome": one.sign.outcome,
        "facts": one.facts,
    })
}

/// A page of a list.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    after: Option<String>,
    limit: Option<usize>,
}

/// `GET /v1/reviews`: inspections that wait for somebody else to look through them.
pub(super) async fn reviews(
    State(hall): State<Hall>,
    wanted: Result<Query<Wanted>, QueryRejection>,
) -> Result<Json<Value>, Refused> {
    let Query(wanted) = wanted.map_err(|why| Refused::new("bad_input", why.body_text()))?;
    let limit = limit(wanted.limit)?;
    let after = wanted.after.unwrap_or_default();
    let (ids, next) = waiting(&hall, after, limit).await?;
    blocking(move || {
        let items = ids.iter().map(|id| item(&hall, id)).collect::<Vec<Value>>();
        Ok(Json(json!({ "items": items, "next": next })))
    })
    .await
}

/// Names of those that wait, and behind which it goes on.
pub(super) async fn waiting(
    hall: &Hall,
    after: String,
    limit: usize,
) -> Result<(Vec<String>, Option<String>), Refused> {
    let ids = hall.shared.ask(move |core| {
        let all = core.waiting().filter(|id| *id > after.as_str());
        all.take(limit).map(str::to_owned).collect::<Vec<String>>()
    });
    let ids = ids.await?;
    let full = ids.len() == limit;
    let next = ids.last().filter(|_| full).cloned();
    Ok((ids, next))
}

/// As the list has it; its name alone where the list is away.
fn item(hall: &Hall, id: &str) -> Value {
    match ask(hall, |index| index.inspection(id)) {
        Ok(Some(summary)) => json!(summary),
        _ => json!({ "id": id }),
    }
}
