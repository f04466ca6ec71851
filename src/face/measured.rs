//! What an asset measured, and which verdicts rest on something, as the index has it.

use std::borrow::Cow;

use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Json, Response};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use tapline_protocols::doubt::trend;
use tapline_protocols::fact::Judged;
use tapline_protocols::register::Former;

use super::Hall;
use super::problem::Refused;
use super::query::{LIST_MAX, flag, limit, moment};
use super::records::{ask, blocking};
use crate::books::OnShelf;
use crate::index::{Measurements, RestPage, RestQuery, RestsIn};
use crate::past::history::{Group, Of, groups};
use crate::past::{self, Measured, Past};
use crate::replay::Basis;
use crate::station::Core;

/// `GET /v1/assets/{id}/history`: like values of its newest signed inspections, oldest first, and
/// what was measured before the station was.
pub(super) async fn history(
    State(hall): State<Hall>,
    Path(id): Path<String>,
) -> Result<Response, Refused> {
    let name = id.clone();
    let former = move |core: &Core| -> Vec<Former> {
        let counts = |one: &&Former| one.withdrawn.is_none();
        core.register().former_of(&name).filter(counts).cloned().collect()
    };
    let former = hall.shared.ask(former).await?;
    blocking(move || {
        let mut found = measured(&hall, &id)?;
        // How a value came about stands in its book.
        for (_, judged) in found.all.iter_mut().flat_map(|one| &mut one.verdicts) {
            judged.from.clear();
            judged.chain.clear();
        }
        let answer = Answer {
            asset: &id,
            inspections: found.all.len(),
            older: found.older,
            retests: found.all.iter().filter_map(retest).collect(),
            groups: groups(found.all.iter().map(Measured::values)).into_iter().map(group).collect(),
            damaged: &found.damaged,
            former,
        };
        // Written at once: a tree of a thousand inspections takes longer than all the rest.
        let text = serde_json::to_vec(&answer)
            .map_err(|error| Refused::new("busy", format!("the answer: {error}")))?;
        Ok(([(header::CONTENT_TYPE, "application/json")], text).into_response())
    })
    .await
}

/// What an asset measured.
#[derive(Serialize)]
struct Answer<'a> {
    asset: &'a str,
    inspections: usize,
    older: bool,
    retests: Vec<Value>,
    groups: Vec<Like<'a>>,
    damaged: &'a [String],
    /// What was measured before the station was.
    former: Vec<Former>,
}

/// Values that may be compared.
#[derive(Serialize)]
struct Like<'a> {
    like: trend::Like,
    values: Vec<Kept<'a>>,
}

#[derive(Serialize)]
struct Kept<'a> {
    id: Cow<'a, str>,
    day: String,
    judged: Cow<'a, Judged>,
}

/// What the index has of an asset; where something was added after the seal, the books tell.
pub(in crate::face) fn measured(hall: &Hall, asset: &str) -> Result<Measurements, Refused> {
    let mut found = ask(hall, |index| index.measured(asset))?;
    for id in std::mem::take(&mut found.added_to) {
        let record = OnShelf { id, sealed: true };
        match past::read(&hall.shared.folder, &record, Some(asset)) {
            Ok(past) => found.all.extend(past.and_then(Past::measured)),
            Err(_) => found.damaged.push(record.id),
        }
    }
    found.all.sort_by_key(|one| one.signed.0);
    Ok(found)
}

fn retest(one: &Measured) -> Option<Value> {
    let of = one.retest_of.as_ref()?;
    Some(json!({
        "id": one.id, "day": one.day.text(), "of": of, "reason": one.reason,
        "outcome": one.signed.1,
    }))
}

fn group(group: Group<'_>) -> Like<'_> {
    Like { like: group.like, values: group.values.into_iter().map(kept).collect() }
}

fn kept((id, day, judged): Of<'_>) -> Kept<'_> {
    Kept { id, day: day.text(), judged }
}

/// What verdicts may rest on.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
enum By {
    Instrument,
    Fixture,
    Limit,
    Driver,
}

/// Which verdicts are wanted.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    by: By,
    of: String,
    asset: Option<String>,
    from: Option<String>,
    to: Option<String>,
    brief: Option<u8>,
    after: Option<String>,
    limit: Option<usize>,
}

/// `GET /v1/verdicts`: inspections in the order of their opening, each with its verdicts in force
/// that rest on what is asked for. A page may have fewer than `limit`, or none, and still a `next`.
pub(super) async fn verdicts(
    State(hall): State<Hall>,
    wanted: Result<Query<Wanted>, QueryRejection>,
) -> Result<Json<Value>, Refused> {
    let Query(wanted) = wanted.map_err(|why| Refused::new("bad_input", why.body_text()))?;
    blocking(move || {
        let brief = flag("brief", wanted.brief)?;
        let query = wanted.query()?;
        let page = ask(&hall, |index| index.resting(&query))?;
        let RestPage { items, records, damaged, next } = page;
        let items: Vec<Value> = items.iter().map(|one| item(one, brief)).collect();
        let folder = hall.shared.folder.display().to_string();
        let damaged = &damaged[..damaged.len().min(LIST_MAX)];
        Ok(Json(json!({
            "items": items, "next": next, "records": records, "damaged": damaged,
            "folder": folder,
        })))
    })
    .await
}

impl Wanted {
    fn query(self) -> Result<RestQuery, Refused> {
        for (name, text) in [("from", &self.from), ("to", &self.to)] {
            moment(name, text.as_deref())?;
        }
        let basis = match self.by {
            By::Instrument => Basis::Instrument(self.of),
            By::Fixture => Basis::Fixture(self.of),
            By::Limit => Basis::Limits(self.of),
            // No driver has a name with such a version in it: nothing rests on it.
            By::Driver => Basis::driver(&self.of).unwrap_or(Basis::Driver(self.of, None)),
        };
        let (limit, asset, after) = (limit(self.limit)?, self.asset, self.after);
        Ok(RestQuery { basis, asset, from: self.from, to: self.to, after, limit })
    }
}

fn item(one: &RestsIn, brief: bool) -> Value {
    let verdict = |(seq, step, recorded): &(u64, String, Judged)| match brief {
        true => json!({ "seq": seq, "step": step }),
        false => json!({ "seq": seq, "step": step, "recorded": recorded }),
    };
    let verdicts: Vec<Value> = one.verdicts.iter().map(verdict).collect();
    json!({
        "id": one.id, "asset": one.asset, "opened": one.opened, "sealed": one.sealed,
        "verdicts": verdicts,
    })
}
