//! Registers: assets, instruments, fixtures, operators.

use std::ops::Bound;

use axum::body::Bytes;
use axum::extract::{ConnectInfo, Path, State};
use axum::response::Json;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};
use tapline_protocols::fact::CheckFact;
use tapline_protocols::inspection::chart;
use tapline_protocols::register::{Asset, Former};

use super::Hall;
use super::acts::{ask, object};
use super::peer::Peer;
use super::problem::Refused;
use super::query::{Query, limit};
use crate::clock;
use crate::station::event::Answer;
use crate::station::register::Register;

/// The registers.
pub(super) const NAMES: &[&str] =
    &["assets", "checks", "fixtures", "instruments", "operators", "orders", "standards", "values"];

/// Those that files add to.
pub(super) const IMPORTED: &[&str] =
    &["assets", "fixtures", "instruments", "operators", "orders", "standards", "values"];

/// Where a list goes on.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct From {
    after: Option<String>,
    limit: Option<usize>,
    under: Option<String>,
}

/// `GET /v1/assets` and its like: entries in order of their ids.
pub(super) async fn list(
    State(hall): State<Hall>,
    register: &'static str,
    Query(from): Query<From>,
) -> Result<Json<Value>, Refused> {
    let limit = limit(from.limit)?;
    if from.under.is_some() && register != "assets" {
        return Err(Refused::new("bad_input", "only assets lie in places: leave `under` out"));
    }
    let part = move |register_now: &Register| match register {
        "assets" => assets(register_now, &from, limit + 1),
        "values" => values(register_now, &from, limit + 1),
        _ => {
            let mut list = entries(register_now, register);
            list.retain(|(id, _)| from.after.as_ref().is_none_or(|after| id > after));
            list
        }
    };
    let mut list = hall.shared.ask(move |core| part(core.register())).await?;
    let more = list.len() > limit;
    list.truncate(limit);
    let next = more.then(|| list.last().map(|(id, _)| id.clone()));
    let list: Vec<Value> = list.into_iter().map(|(_, entry)| entry).collect();
    Ok(Json(json!({ "items": list, "next": next })))
}

/// The first of the assets behind one, in a place; no more than are shown, of however many.
fn assets(register: &Register, from: &From, most: usize) -> Vec<(String, Value)> {
    let start = from.after.clone().map_or(Bound::Unbounded, Bound::Excluded);
    let behind = register.assets.range((start, Bound::Unbounded));
    let place = from.under.as_deref().unwrap_or_default();
    behind.filter(|(_, (_, asset))| asset.lies_in(place)).take(most).map(revised).collect()
}

/// The first of the values from before behind one.
fn values(register: &Register, from: &From, most: usize) -> Vec<(String, Value)> {
    let start = from.after.clone().map_or(Bound::Unbounded, Bound::Excluded);
    register.former.range((start, Bound::Unbounded)).take(most).map(noted).collect()
}

fn noted((id, (seq, former)): (&String, &(u64, Former))) -> (String, Value) {
    let mut json = to_json(former);
    json["seq"] = (*seq).into();
    (id.clone(), json)
}

fn revised((id, (revision, asset)): (&String, &(u64, Box<Asset>))) -> (String, Value) {
    let mut json = to_json(asset);
    json["revision"] = (*revision).into();
    (id.clone(), json)
}

/// `GET /v1/assets/{id}` and its like.
pub(super) async fn one(
    State(hall): State<Hall>,
    register: &'static str,
    Path(id): Path<String>,
) -> Result<Json<Value>, Refused> {
    let wanted = id.clone();
    let find = move |register_now: &Register| match register {
        "assets" => register_now.assets.get_key_value(&wanted).map(revised),
        "values" => register_now.former.get_key_value(&wanted).map(noted),
        _ => entries(register_now, register).into_iter().find(|(known, _)| *known == wanted),
    };
    let found = hall.shared.ask(move |core| find(core.register())).await?;
    let (_, entry) =
        found.ok_or_else(|| Refused::new("not_found", format!("the register has no `{id}`")))?;
    Ok(Json(entry))
}

/// `POST /v1/assets` and its like: `{"text", "by"}`, the text of a file in the register's format.
pub(super) async fn import(
    State(hall): State<Hall>,
    ConnectInfo(peer): ConnectInfo<Peer>,
    register: &'static str,
    body: Bytes,
) -> Result<Json<Answer>, Refused> {
    let mut body: Map<String, Value> = object(&body)?;
    body.insert("what".into(), register.into());
    ask(&hall, peer, None, "import", body).await.map(Json)
}

/// All entries of a register of [`NAMES`] with their ids.
fn entries(register: &Register, name: &str) -> Vec<(String, Value)> {
    match name {
        "assets" => register.assets.iter().map(revised).collect(),
        "instruments" => {
            let mut all: Vec<_> = pairs(register.instruments.iter());
            for (id, entry) in &mut all {
                if let Some(out) = register.checked_out.get(id) {
                    entry["seen"] = json!({
                        "bench": out.fact.bench, "t": clock::rfc3339(out.at.wall_us), "seq": out.seq,
                    });
                }
            }
            all.extend(pairs(register.setups.iter()));
            all.sort_by(|(a, _), (b, _)| a.cmp(b));
            all
        }
        "fixtures" => {
            let mut all: Vec<_> = pairs(register.fixtures.iter());
            all.extend(pairs(register.leads.iter()));
            all.sort_by(|(a, _), (b, _)| a.cmp(b));
            all
        }
        "standards" => pairs(register.standards.iter()),
        "checks" => charts(register),
        "operators" => pairs(register.operators.iter()),
        "orders" => register.orders.all().map(|one| (one.fact.order.clone(), one.json())).collect(),
        _ => Vec::new(),
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
