//! The bench page's paths: they gather what a view shows and hand it to `src/page`.

mod asset;
mod bench;
mod lists;
mod live;
mod month;
mod past;
mod reading;
mod review;
mod state;
mod waits;

use std::sync::Arc;

use axum::Router;
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Json, Redirect, Response};
use axum::routing::{get, post};
use serde_json::{Value, json};
use tokio::sync::Mutex;

use super::Hall;
use super::problem::Refused;
use crate::page;
use crate::station::event::Answer;
use crate::words::{english, said};
use past::Memory;

/// What a browser may have before it has shown the secret: nothing of the station's.
pub(super) const OPEN: &[&str] = &["/page.css", "/page.js", "/icon.svg", super::key::PATH];

/// What the handlers of the page share.
#[derive(Debug, Clone)]
struct Desk {
    hall: Hall,
    memory: Memory,
    /// Views that read many books take turns.
    turn: Arc<Mutex<()>>,
}

/// All paths of the page.
pub(super) fn routes(hall: Hall) -> Router {
    let desk = Desk { hall, memory: Memory::default(), turn: Arc::default() };
    Router::new()
        .route("/", get(first))
        .route("/page.css", get(async || text("text/css; charset=utf-8", page::STYLE)))
        .route("/page.js", get(async || text("text/javascript; charset=utf-8", page::SCRIPT)))
        .route("/icon.svg", get(async || text("image/svg+xml", page::ICON)))
        .route("/bench/{bench}", get(bench::view))
        .route("/bench/{bench}/live", get(live::live))
        .route("/bench/{bench}/{act}", post(bench::act))
        .route("/due", get(lists::due))
        .route("/month", get(month::view))
        .route("/results", get(lists::results))
        .route("/asset/{id}", get(asset::view))
        .route("/inspection/{id}", get(review::view))
        .route("/inspection/{id}/{act}", post(review::act))
        .route("/reviews", get(waits::view))
        .route("/state", get(state::view))
        .with_state(desk)
}

/// The page for a browser that has shown no secret.
pub(super) fn door() -> Response {
    (StatusCode::FORBIDDEN, Html(page::door())).into_response()
}

fn text(kind: &'static str, text: &'static str) -> Response {
    ([(header::CONTENT_TYPE, kind)], text).into_response()
}

/// What came of an act, in words.
fn in_words(answer: &Answer) -> Json<Value> {
    let mut sentences: Vec<String> = said(&json!(answer.say)).into_iter().collect();
    sentences.extend(answer.besides.iter().filter_map(|one| said(&json!(one))));
    if let Some(outcome) = &answer.outcome {
        let id = answer.id.as_deref().unwrap_or_default();
        sentences.push(format!("{id}: {}", english().say("verdict", outcome)));
    }
    Json(json!({ "said": sentences, "outcome": answer.outcome }))
}

/// The only bench, or all to choose from.
async fn first(desk: axum::extract::State<Desk>) -> Result<Response, Refused> {
    let status = desk.hall.shared.status();
    let status = status.ok_or_else(|| Refused::new("starting", "the station is starting"))?;
    Ok(match status.benches.as_slice() {
        [only] => Redirect::to(&format!("/bench/{}", only.id)).into_response(),
        several => {
            let opened = desk.hall.shared.ask(|core| core.opened()).await.unwrap_or_default();
            Html(page::bench::choice(several, &opened)).into_response()
        }
    })
}
