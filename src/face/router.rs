//! All paths.

use axum::Router;
use axum::extract::{DefaultBodyLimit, State};
use axum::response::Json;
use axum::routing::{get, post};
use serde_json::Value;

use super::problem::Refused;
use super::{
    Hall, acts, due, exports, life, measured, month, openapi, paper, plans, plug, records,
    registers, sheets, stream, summary,
};

/// All paths; no body of more than so many bytes is taken.
pub(super) fn routes(hall: Hall, body_bytes_max: usize) -> Router {
    let registers =
        registers::NAMES.iter().fold(Router::new(), |router, name| register(router, name));
    registers
        .route("/v1/status", get(status))
        .route("/v1/feed", get(stream::feed))
        .route("/v1/ports", get(plug::ports))
        .route("/v1/scan", post(acts::scan))
        .route("/v1/inspections", get(records::list).post(acts::begin))
        .route("/v1/inspections/{id}", get(records::one))
        .route("/v1/inspections/{id}/facts", get(records::facts))
        .route("/v1/inspections/{id}/evidence", get(records::evidence))
        .route("/v1/inspections/{id}/review", post(acts::review))
        .route("/v1/inspections/{id}/amend", post(acts::amend))
        .route("/v1/inspections/{id}/reattach", post(acts::reattach))
        .route("/v1/inspections/{id}/release", post(acts::release))
        .route("/v1/reviews", get(life::reviews))
        .route("/v1/inspections/{id}/report.pdf", get(paper::as_pdf))
        .route("/v1/inspections/{id}/report.html", get(paper::as_html))
        .route("/v1/inspections/{id}/label.pdf", get(paper::label_pdf))
        .route("/v1/inspections/{id}/label.svg", get(paper::label_svg))
        .route("/v1/sheets/control.pdf", get(sheets::control))
        .route("/v1/sheets/selftest.pdf", get(sheets::selftest))
        .route("/v1/sheets/cautions.pdf", get(sheets::cautions))
        .route("/v1/export/measurements", get(exports::measurements))
        .route("/v1/export/inspections", get(exports::inspections))
        .route("/v1/export/lines", get(exports::lines))
        .route("/v1/export/calendar", get(exports::calendar))
        .route("/v1/export/fhir/{id}", get(exports::as_fhir))
        .route("/v1/due", get(due::list))
        .route("/v1/month", get(month::month))
        .route("/v1/periods/{period}/summary.pdf", get(summary::as_pdf))
        .route("/v1/periods/{period}/summary.html", get(summary::as_html))
        .route("/v1/periods/{period}/summary.csv", get(summary::as_csv))
        .route("/v1/periods/{period}/summary.json", get(summary::as_json))
        .route("/v1/verdicts", get(measured::verdicts))
        .route("/v1/assets/{id}/history", get(measured::history))
        .route("/v1/rebuild", post(records::rebuild))
        .route("/v1/verify/{id}", get(records::verify))
        .route("/v1/assets/{id}/visits", post(acts::visit))
        .route("/v1/orders/{id}/withdraw", post(acts::withdraw))
        .route("/v1/operators/{id}/pin", post(acts::set_pin))
        .route("/v1/benches/{bench}/{act}", post(acts::act))
        .route("/v1/limits", get(plans::limits).post(acts::confirm))
        .route("/v1/plans", get(plans::list))
        .route("/v1/plans/{id}", get(plans::one))
        .route("/v1/openapi.json", get(openapi::openapi))
        .fallback(nowhere)
        .method_not_allowed_fallback(otherwise)
        .layer(DefaultBodyLimit::max(body_bytes_max))
        .with_state(hall)
}

/// The paths of a register.
fn register(router: Router<Hall>, name: &'static str) -> Router<Hall> {
    let mut list = get(move |hall, from| registers::list(hall, name, from));
    if registers::IMPORTED.contains(&name) {
        list = list.post(move |hall, peer, body| registers::import(hall, peer, name, body));
    }
    let one = get(move |hall, id| registers::one(hall, name, id));
    router.route(&format!("/v1/{name}"), list).route(&format!("/v1/{name}/{{id}}"), one)
}

async fn status(State(hall): State<Hall>) -> Json<Value> {
    Json(hall.shared.status_json())
}

async fn nowhere() -> Refused {
    Refused::new("not_found", "there is nothing at this path")
}

async fn otherwise() -> Refused {
    Refused::new("not_allowed", "nothing is asked that way here")
}
