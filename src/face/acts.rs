//! Acts: whatever changes something.

use axum::body::Bytes;
use axum::extract::{ConnectInfo, Path, State};
use axum::http::StatusCode;
use axum::response::Json;
use serde_json::{Map, Value};

use super::Hall;
use super::peer::Peer;
use super::problem::Refused;
use super::records;
use crate::serve::pins::{Pin, Typed, Wish};
use crate::station::event::{Answer, Problem, Request};

/// What can be asked of a bench, besides the paths of their own.
pub(super) const ACTS: &[&str] = &[
    "act",
    "answer",
    "begin",
    "capture",
    "check",
    "describe",
    "discard",
    "end",
    "enter",
    "login",
    "note",
    "null",
    "override",
    "park",
    "prove",
    "repeat",
    "resume",
    "scan",
    "sign",
    "skip",
    "switch",
    "temperature",
];

/// Acts that sign: a PIN may come with them, and with those of two persons two.
const SIGNING: &[&str] = &["amend", "reattach", "release", "review", "sign"];

type Done = Result<Json<Answer>, Refused>;

/// `POST /v1/scan`: `{"bench","code"}`.
pub(super) async fn scan(hall: State<Hall>, peer: ConnectInfo<Peer>, body: Bytes) -> Done {
    let mut body = object(&body)?;
    let bench = take(&mut body, "bench")?;
    ask(&hall, peer.0, bench, "scan", body).await.map(Json)
}

/// `POST /v1/inspections`: `{"bench","asset","plan","reason","by"}`.
pub(super) async fn begin(
    hall: State<Hall>,
    peer: ConnectInfo<Peer>,
    body: Bytes,
) -> Result<(StatusCode, Json<Answer>), Refused> {
    let mut body = object(&body)?;
    let bench = take(&mut body, "bench")?;
    let answer = ask(&hall, peer.0, bench, "begin", body).await?;
    Ok((StatusCode::CREATED, Json(answer)))
}

/// `POST /v1/benches/{bench}/{act}`: an act of the command line with its fields.
pub(super) async fn act(
    hall: State<Hall>,
    peer: ConnectInfo<Peer>,
    Path((bench, act)): Path<(String, String)>,
    body: Bytes,
) -> Done {
    let body = object(&body)?;
    if !ACTS.contains(&act.as_str()) {
        return Err(Refused::new("not_found", format!("`{act}` is no act of a bench")));
    }
    ask(&hall, peer.0, Some(bench), &act, body).await.map(Json)
}

/// `POST /v1/limits`: `{"rows","document","clause","by"}`.
pub(super) async fn confirm(hall: State<Hall>, peer: ConnectInfo<Peer>, body: Bytes) -> Done {
    let body = object(&body)?;
    ask(&hall, peer.0, None, "confirm", body).await.map(Json)
}

/// `POST /v1/assets/{id}/visits`: `{"outcome","place","retry","reason","bench","by"}`.
pub(super) async fn visit(
    hall: State<Hall>,
    peer: ConnectInfo<Peer>,
    Path(asset): Path<String>,
    body: Bytes,
) -> Done {
    let mut body = object(&body)?;
    let bench = take(&mut body, "bench")?;
    body.insert("asset".into(), asset.into());
    ask(&hall, peer.0, bench, "visit", body).await.map(Json)
}

/// `POST /v1/inspections/{id}/review`: `{"remark"}` or `{"reject"}`, with `"by"`.
pub(super) async fn review(
    hall: State<Hall>,
    peer: ConnectInfo<Peer>,
    id: Path<String>,
    body: Bytes,
) -> Done {
    later(&hall, peer.0, ("review", id.0), &body).await
}

/// `POST /v1/inspections/{id}/amend`: `{"reason","text","change","second","by"}`.
pub(super) async fn amend(
    hall: State<Hall>,
    peer: ConnectInfo<Peer>,
    id: Path<String>,
    body: Bytes,
) -> Done {
    later(&hall, peer.0, ("amend", id.0), &body).await
}

/// `POST /v1/inspections/{id}/reattach`: `{"to","text","second","by"}`.
pub(super) async fn reattach(
    hall: State<Hall>,
    peer: ConnectInfo<Peer>,
    id: Path<String>,
    body: Bytes,
) -> Done {
    later(&hall, peer.0, ("reattach", id.0), &body).await
}

/// `POST /v1/inspections/{id}/release`: `{"by"}`.
pub(super) async fn release(
    hall: State<Hall>,
    peer: ConnectInfo<Peer>,
    id: Path<String>,
    body: Bytes,
) -> Done {
    later(&hall, peer.0, ("release", id.0), &body).await
}

/// Something is added to a sealed inspection.
async fn later(hall: &Hall, peer: Peer, (act, id): (&str, String), body: &[u8]) -> Done {
    let mut body = object(body)?;
    let bench = take(&mut body, "bench")?;
    body.insert("id".into(), id.into());
    ask(hall, peer, bench, act, body).await.map(Json)
}

/// `POST /v1/orders/{id}/withdraw`: `{"reason","bench","by"}`.
pub(super) async fn withdraw(
    hall: State<Hall>,
    peer: ConnectInfo<Peer>,
    Path(order): Path<String>,
    body: Bytes,
) -> Done {
    let mut body = object(&body)?;
    let bench = take(&mut body, "bench")?;
    body.insert("order".into(), order.into());
    ask(&hall, peer.0, bench, "withdraw", body).await.map(Json)
}

/// Asks the station for something whose fields stand in a body.
pub(super) async fn ask(
    hall: &Hall,
    peer: Peer,
    bench: Option<String>,
    act: &str,
    mut body: Map<String, Value>,
) -> Result<Answer, Refused> {
    let by = take(&mut body, "by")?;
    let typed = match SIGNING.contains(&act) {
        true => Typed { pin: pin(&mut body, "pin")?, second: pin(&mut body, "second_pin")? },
        false => Typed::default(),
    };
    body.insert("do".into(), act.into());
    let request: Request = serde_json::from_value(body.into())
        .map_err(|error| Refused::new("bad_input", format!("`{act}`: {error}")))?;
    let answer = hall.shared.command_with(peer.0, (bench, by), request, typed).await?;
    Ok(with_first(hall, answer).await)
}

/// Says of an asset that has no inspection yet that its first one may be its acceptance. Where the
/// index can't tell yet, nothing is said.
async fn with_first(hall: &Hall, mut answer: Answer) -> Answer {
    let (asset, key) = match answer.say.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["scan.selected", asset, ..] => (asset.to_owned(), "scan.never"),
        ["begin.open" | "begin.unproved", id, ..] => (id.to_owned(), "begin.never"),
        _ => return answer,
    };
    let Ok(Some(asset)) = hall.shared.ask(move |core| core.may_be_new(&asset)).await else {
        return answer;
    };
    let (shared, of) = (hall.shared.clone(), asset.clone());
    let known = records::blocking(move || {
        let indexer = shared.indexer.get().filter(|indexer| indexer.is_level());
        let closed = indexer.and_then(|indexer| indexer.ask(|index| index.closed_of(&of)).ok());
        Ok(closed.map(|closed| closed.is_empty()))
    });
    if let Ok(Some(true)) = known.await {
        answer.besides.push(vec![key.into(), asset]);
    }
    answer
}

/// `POST /v1/operators/{id}/pin`: `{"badge","pin","before"}`, or `{"reset":true}`.
pub(super) async fn set_pin(
    hall: State<Hall>,
    peer: ConnectInfo<Peer>,
    Path(operator): Path<String>,
    body: Bytes,
) -> Done {
    let mut body = object(&body)?;
    // The badge says who it is.
    take(&mut body, "by")?;
    let wish = match body.remove("reset") {
        Some(Value::Bool(true)) => Wish::Reset,
        None | Some(Value::Bool(false)) => {
            let needs = |name: &str| Problem::new("bad_input", format!("`{name}` is missing"));
            let badge = take(&mut body, "badge")?.ok_or_else(|| needs("badge"))?;
            let before = pin(&mut body, "before")?;
            let pin = pin(&mut body, "pin")?.ok_or_else(|| needs("pin"))?;
            Wish::Set { badge, pin, before }
        }
        Some(_) => return Err(Refused::new("bad_input", "`reset` must be true or false")),
    };
    if let Some(name) = body.keys().next() {
        return Err(Refused::new("bad_input", format!("`{name}` has no meaning here")));
    }
    Ok(Json(hall.shared.set_pin(peer.0.0, operator, wish).await?))
}

/// Takes a PIN out of a body, which then has it no more; an empty one counts as absent.
fn pin(body: &mut Map<String, Value>, key: &str) -> Result<Option<Pin>, Problem> {
    match take(body, key)?.filter(|text| !text.is_empty()) {
        None => Ok(None),
        Some(text) => Pin::typed(text).map(Some),
    }
}

/// The body as an object; empty where there is none.
pub(super) fn object(body: &[u8]) -> Result<Map<String, Value>, Refused> {
    if body.is_empty() {
        return Ok(Map::new());
    }
    serde_json::from_slice(body)
        .map_err(|error| Refused::new("bad_input", format!("the body is no JSON object: {error}")))
}

/// Takes a text out of a body; `null` counts as absent.
pub(super) fn take(body: &mut Map<String, Value>, key: &str) -> Result<Option<String>, Problem> {
    match body.remove(key) {
        None | Some(Value::Null) => Ok(None),
        Some(Value::String(text)) => Ok(Some(text)),
        Some(_) => Err(Problem::new("bad_input", format!("`{key}` must be a text"))),
    }
}
