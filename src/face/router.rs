//! All paths.

use axum::Router;
use axum::extract::{DefaultBodyLimit, State};
use axum::response::Json;
use axum::routing::{get, post};
use serde_json::Value;

use super::problem::Refused;
use super::{Hall, acts, plans, plug, records, registers, stream};

/// All paths; no body of more than so many bytes is taken.
pub(super) fn routes(hall: Hall, body_bytes_max: usize) -> Router {
    Router::new()
        .route("/v1/status", get(status))
        .route("/v1/feed", get(stream::feed))
        .route("/v1/ports", get(plug::ports))
        .route("/v1/scan", post(acts::scan))
        .route("/v1/inspections", get(records::list).post(acts::begin))
        .route("/v1/inspections/{id}", get(records::one))
        .route("/v1/inspections/{id}/facts", get(records::facts))
        .route("/v1/inspections/{id}/evidence", get(records::evidence))
        .route("/v1/rebuild", post(records::rebuild))
        .route("/v1/verify/{id}", get(records::verify))
        .route("/v1/benches/{bench}/{act}", post(acts::act))
        .route("/v1/limits", get(plans::limits).post(acts::confirm))
        .route("/v1/plans", get(plans::list))
        .route("/v1/plans/{id}", get(plans::one))
        .route("/v1/{register}", get(registers::list).post(registers::import))
        .route("/v1/{register}/{id}", get(registers::one))
        .fallback(nowhere)
        .layer(DefaultBodyLimit::max(body_bytes_max))
        .with_state(hall)
}

async fn status(State(hall): State<Hall>) -> Json<Value> {
    Json(hall.shared.status_json())
}

async fn nowhere() -> Refused {
    Refused::new("not_found", "there is nothing at this path")
}
