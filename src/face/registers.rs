//! Registers: assets, instruments, fixtures, operators.

use axum::body::Bytes;
use axum::extract::{ConnectInfo, Path, Query, State};
use axum::response::Json;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};
use tapline_protocols::fact::CheckFact;
use tapline_protocols::inspection::chart;

use super::Hall;
use super::acts::{ask, object};
use super::peer::Peer;
use super::problem::Refused;
use crate::clock;
use crate::station::event::Answer;
use crate::station::register::Register;

/// The most entries of one answer.
const LIST_MAX: usize = 500;

/// Where a list goes on.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct From {
    after: Option<String>,
    limit: Option<usize>,
}

/// `GET /v1/assets` and its like: entries in order of their ids.
pub(super) async fn list(
    State(hall): State<Hall>,
    Path(register): Path<String>,
    Query(from): Query<From>,
) -> Result<Json<Value>, Refused> {
    let name = register.clone();
    let all = hall.shared.ask(move |core| entries(core.register(), &register)).await?;
    let mut list = all.ok_or_else(|| nothing(&name))?;
    if let Some(after) = from.after {
        list.retain(|(id, _)| *id > after);
    }
    let limit = from.limit.unwrap_or(LIST_MAX).clamp(1, LIST_MAX);
    let more = list.len() > limit;
    list.truncate(limit);
    let next = more.then(|| list.last().map(|(id, _)| id.clone()));
    let list: Vec<Value> = list.into_iter().map(|(_, entry)| entry).collect();
    Ok(Json(json!({ "items": list, "next": next })))
}

/// `GET /v1/assets/{id}` and its like.
pub(super) async fn one(
    State(hall): State<Hall>,
    Path((register, id)): Path<(String, String)>,
) -> Result<Json<Value>, Refused> {
    let name = register.clone();
    let all = hall.shared.ask(move |core| entries(core.register(), &register)).await?;
    let all = all.ok_or_else(|| nothing(&name))?;
    let found = all.into_iter().find(|(known, _)| *known == id);
    let (_, entry) =
        found.ok_or_else(|| Refused::new("not_found", format!("the register has no `{id}`")))?;
    Ok(Json(entry))
}

/// `POST /v1/assets` and its like: `{"text", "by"}`, the text of a file in the register's format.
pub(super) async fn import(
    State(hall): State<Hall>,
    ConnectInfo(peer): ConnectInfo<Peer>,
    Path(register): Path<String>,
    body: Bytes,
) -> Result<Json<Answer>, Refused> {
    if !matches!(
        register.as_str(),
        "assets" | "instruments" | "fixtures" | "standards" | "operators"
    ) {
        return Err(nothing(&register));
    }
    let mut body: Map<String, Value> = object(&body)?;
    body.insert("what".into(), register.into());
    ask(&hall, peer, None, "import", body).await.map(Json)
}

fn nothing(register: &str) -> Refused {
    Refused::new("not_found", format!("there is no register `{register}`"))
}

/// All entries of a register with their ids, `None` for an unknown register.
fn entries(register: &Register, name: &str) -> Option<Vec<(String, Value)>> {
    match name {
        "assets" => Some(
            register
                .assets
                .iter()
                .map(|(id, (revision, asset))| {
                    let mut json = to_json(asset);
                    json["revision"] = (*revision).into();
                    (id.clone(), json)
                })
                .collect(),
        ),
        "instruments" => {
            let mut all: Vec<_> = pairs(register.instruments.iter());
            all.extend(pairs(register.setups.iter()));
            all.sort_by(|(a, _), (b, _)| a.cmp(b));
            Some(all)
        }
        "fixtures" => {
            let mut all: Vec<_> = pairs(register.fixtures.iter());
            all.extend(pairs(register.leads.iter()));
            all.sort_by(|(a, _), (b, _)| a.cmp(b));
            Some(all)
        }
        "standards" => Some(pairs(register.standards.iter())),
        "checks" => Some(charts(register)),
        "operators" => Some(pairs(register.operators.iter())),
        _ => None,
    }
}

/// The points of all charts, each with what it asked for when it was made.
fn charts(register: &Register) -> Vec<(String, Value)> {
    let mut all = Vec::new();
    for ((instrument, standard), points) in &register.checks {
        let facts: Vec<&CheckFact> = points.iter().map(|point| &point.fact).collect();
        for (n, point) in points.iter().enumerate() {
            let mut json = to_json(&point.fact);
            json["id"] = format!("{instrument}/{standard}/{:020}", point.seq).into();
            json["t"] = clock::rfc3339(point.at.wall_us).into();
            json["mark"] = chart::mark(&facts[..=n]).word().into();
            json["percent_of_room"] = chart::percent_of_room(&point.fact).into();
            all.push((json["id"].as_str().unwrap_or_default().to_owned(), json));
        }
    }
    all.sort_by(|(a, _), (b, _)| a.cmp(b));
    all
}

fn pairs<'a, T: Serialize + 'a>(
    entries: impl Iterator<Item = (&'a String, &'a T)>,
) -> Vec<(String, Value)> {
    entries.map(|(id, entry)| (id.clone(), to_json(entry))).collect()
}

fn to_json<T: Serialize>(entry: &T) -> Value {
    serde_json::to_value(entry).expect("register entries are plain fields and strings")
}
