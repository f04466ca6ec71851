//! Plans, and limits with what the workshop has confirmed.

use axum::extract::State;
use axum::response::Json;
use serde_json::{Value, json};
use tapline_protocols::limits::{Bound, Row};
use tapline_protocols::plan::Plan;

use super::Hall;
use super::problem::Refused;

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

/// `GET /v1/limits`: every row in force, with its source and how sure we are of it.
pub(super) async fn limits(State(hall): State<Hall>) -> Result<Json<Value>, Refused> {
    let confirmed = hall.shared.ask(|core| core.register().confirmed.clone()).await?;
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
    })
}

fn bound(bound: &Bound) -> String {
    format!("{} {}", bound.direction.word(), bound.amount)
}
