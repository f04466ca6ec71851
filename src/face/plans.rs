//! Plans, and limits with what the workshop has confirmed.

use std::collections::BTreeSet;

use axum::extract::{Path, State};
use axum::response::Json;
use serde::Deserialize;
use serde_json::{Value, json};
use tapline_protocols::limits::{Bound, Row};
use tapline_protocols::plan::Plan;

use super::Hall;
use super::problem::Refused;
use super::query::Query;
use crate::clock;
use crate::station::Core;
use crate::station::event::Problem;
use crate::told::outline;

/// `GET /v1/plans`: what inspections can be opened by.
pub(super) async fn list(State(hall): State<Hall>) -> Json<Value> {
    let row = |plan: &Plan| {
        json!({
            "id": plan.id,
            "title": plan.title,
            "standard": plan.standard,
            "edition": plan.edition,
            "for": plan.for_assets,
        })
    };
    let items: Vec<Value> = hall.library.plans().iter().map(row).collect();
    Json(json!({ "items": items, "next": null }))
}

/// For which asset and bench.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct For {
    asset: String,
    bench: Option<String>,
}

/// `GET /v1/plans/{id}?asset=&bench=`: expanded steps with limits, what is missing, what it costs;
/// `text` is the same for people.
pub(super) async fn one(
    State(hall): State<Hall>,
    Path(plan): Path<String>,
    Query(wanted): Query<For>,
) -> Result<Json<Value>, Refused> {
    let For { asset, bench } = wanted;
    let at = clock::now();
    let found = hall.shared.ask(move |core| {
        let benches = core.snapshot().benches;
        let bench = match (bench, benches.as_slice()) {
            (Some(bench), _) => bench,
            (None, [only]) => only.id.clone(),
            (None, _) => return Err(Problem::new("bad_input", "name a bench: there are several")),
        };
        core.outline(at, &bench, &plan, &asset)
    });
    let (outline, asset) = found.await??;
    let text = outline::show(&outline, &asset, false);
    let mut json = json!(outline);
    json["text"] = text.into();
    Ok(Json(json))
}

/// `GET /v1/limits`: every row in force, with its source and how sure we are of it.
pub(super) async fn limits(State(hall): State<Hall>) -> Result<Json<Value>, Refused> {
    let tables = hall.library.clone();
    let rows = move |core: &Core| -> BTreeSet<String> {
        let rows = tables.tables().iter().flat_map(|table| &table.rows);
        rows.filter(|row| core.has_confirmed(row)).map(|row| row.id.clone()).collect()
    };
    let confirmed = hall.shared.ask(rows).await?;
    let mut items: Vec<Value> = Vec::new();
    for table in hall.library.tables() {
        for row in &table.rows {
            let mut json = limit(row);
            json["standard"] = json!(table.standard);
            json["edition"] = json!(table.edition);
            json["confirmed"] = confirmed.contains(&row.id).into();
            items.push(json);
        }
    }
    Ok(Json(json!({ "items": items, "next": null })))
}

fn limit(row: &Row) -> Value {
    json!({
        "id": row.id,
        "clause": row.clause,
        "limit": bound(&row.bound),
        "confidence": row.confidence.word(),
        "source": row.source,
        "layer": row.layer.word(),
        "how": row.how(),
    })
}

fn bound(bound: &Bound) -> String {
    format!("{} {}", bound.direction.word(), bound.amount)
}
