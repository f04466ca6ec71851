//! Inspections as they stand in their books.

use std::fs::File;
use std::path::{Path as FilePath, PathBuf};

use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Json, Response};
use serde::Deserialize;
use serde_json::{Value, json};
use tapline_protocols::Fact;
use tapline_protocols::fact::Word;

use super::acts::{object, take};
use super::problem::Refused;
use super::query::{LIST_MAX, Query, flag, limit, moment};
use super::{Hall, life};
use crate::books::place::{InspectionName, sealed_path};
use crate::books::verify::doubt;
use crate::books::{Line, Reader};
use crate::index::{self, Index, IndexFault};
use crate::serve::summary::Summary;

/// Which inspections are wanted; from and to are days or moments of opening, UTC.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    asset: Option<String>,
    from: Option<String>,
    to: Option<String>,
    verdict: Option<Word>,
    instrument: Option<String>,
    driver: Option<String>,
    limit_table: Option<String>,
    limit_row: Option<String>,
    standard: Option<String>,
    edition: Option<String>,
    newest: Option<u8>,
    after: Option<String>,
    limit: Option<usize>,
}

/// `GET /v1/inspections`: in the order of their opening; `newest=1`: from the newest back.
pub(super) async fn list(
    State(hall): State<Hall>,
    Query(wanted): Query<Wanted>,
) -> Result<Json<Value>, Refused> {
    blocking(move || {
        let limit = limit(wanted.limit)?;
        for (name, text) in [("from", &wanted.from), ("to", &wanted.to)] {
            moment(name, text.as_deref())?;
        }
        let query = index::Query {
            asset: wanted.asset,
            from: wanted.from,
            to: wanted.to,
            verdict: wanted.verdict,
            instrument: wanted.instrument,
            driver: wanted.driver,
            limit_table: wanted.limit_table,
            limit_row: wanted.limit_row,
            standard: wanted.standard,
            edition: wanted.edition,
            newest: flag("newest", wanted.newest)?,
            after: wanted.after,
            limit,
        };
        let found = ask(&hall, |index| index.inspections(&query))?;
        let full = found.len() == limit;
        let next = found.last().filter(|_| full).map(|last| last.id.clone());
        Ok(Json(json!({ "items": found, "next": next })))
    })
    .await
}

pub(super) fn ask<T>(
    hall: &Hall,
    question: impl FnOnce(&Index) -> Result<T, IndexFault>,
) -> Result<T, Refused> {
    let indexer = hall.shared.indexer.get();
    let indexer = indexer.ok_or_else(|| Refused::new("busy", "the index is not open yet"))?;
    indexer.ask(question).map_err(|why| Refused::new("busy", why))
}

/// `POST /v1/rebuild`: the index is built again from the books; the station goes on meanwhile.
pub(super) async fn rebuild(State(hall): State<Hall>, body: Bytes) -> Result<Json<Value>, Refused> {
    let mut body = object(&body)?;
    take(&mut body, "by")?;
    if let Some((key, _)) = body.iter().next() {
        return Err(Refused::new("bad_input", format!("`{key}` is not known here")));
    }
    blocking(move || {
        let indexer = hall.shared.indexer.get();
        let indexer = indexer.ok_or_else(|| Refused::new("busy", "the index is not open yet"))?;
        let books = indexer.renew().map_err(|why| Refused::new("busy", why))?;
        Ok(Json(json!({ "books": books })))
    })
    .await
}

/// The file of an inspection, open or sealed.
pub(super) fn path(folder: &FilePath, id: &str) -> Option<PathBuf> {
    InspectionName::read(id)?;
    let open = folder.join("open").join(format!("{id}.jsonl"));
    let sealed = sealed_path(id).map(|path| folder.join(path));
    [Some(open), sealed].into_iter().flatten().find(|path| path.is_file())
}

fn file(hall: &Hall, id: &str) -> Result<PathBuf, Refused> {
    path(&hall.shared.folder, id).ok_or_else(|| unknown(id))
}

/// `GET /v1/inspections/{id}`: what it came to; `damaged` and `why`, where it must not be believed
/// as it stands. `source` says `index` where its book is away.
pub(super) async fn one(
    State(hall): State<Hall>,
    Path(id): Path<String>,
) -> Result<Json<Value>, Refused> {
    blocking(move || match path(&hall.shared.folder, &id) {
        Some(path) => {
            let summary = Summary::read(&path).map_err(|why| Refused::new("not_found", why))?;
            let mut json = summary.json();
            if json["sealed"] == true
                && let Err(why) = life::tell(&hall.shared.folder, &id, &mut json)
            {
                (json["damaged"], json["why"]) = (true.into(), why.into());
            }
            Ok(Json(json))
        }
        None => from_index(&hall, &id).map(Json),
    })
    .await
}

fn from_index(hall: &Hall, id: &str) -> Result<Value, Refused> {
    let summary = ask(hall, |index| index.inspection(id))?.ok_or_else(|| unknown(id))?;
    let verdicts = ask(hall, |index| index.verdicts(id))?.ok_or_else(|| unknown(id))?;
    let verdicts: Vec<Value> =
        verdicts.iter().filter_map(|line| serde_json::from_str(line).ok()).collect();
    let mut json = json!(summary);
    json["outcome"] = json!(summary.outcome());
    json["verdicts"] = json!(verdicts);
    json["source"] = "index".into();
    Ok(json)
}

pub(super) fn unknown(id: &str) -> Refused {
    Refused::new("not_found", format!("there is no inspection `{id}`"))
}

/// Which lines are wanted; `raw`: only what arrived and what it came to.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Lines {
    after: Option<u64>,
    limit: Option<usize>,
    raw: Option<u8>,
}

/// `GET /v1/inspections/{id}/facts`: lines as stored, and whether the book is `damaged`. Where the
/// book is away and only raw bytes and verdicts are wanted, the index has them, and `source` says
/// so.
pub(super) async fn facts(
    State(hall): State<Hall>,
    Path(id): Path<String>,
    Query(wanted): Query<Lines>,
) -> Result<Response, Refused> {
    blocking(move || {
        let raw = flag("raw", wanted.raw)?;
        limit(wanted.limit)?;
        let text = match path(&hall.shared.folder, &id) {
            Some(path) => lines(&path, &wanted, raw)
                .map_err(|error| Refused::new("not_found", error.to_string()))?,
            None if raw => raw_of_index(&hall, &id, &wanted)?,
            None => return Err(unknown(&id)),
        };
        Ok(([(header::CONTENT_TYPE, "application/json")], text).into_response())
    })
    .await
}

fn lines(path: &FilePath, wanted: &Lines, raw: bool) -> std::io::Result<String> {
    let after = wanted.after.unwrap_or(0);
    let limit = wanted.limit.unwrap_or(LIST_MAX);
    let mut reader = Reader::new(File::open(path)?);
    let mut list: Vec<String> = Vec::new();
    let (mut last, mut more) = (after, false);
    // To the end, also past what is wanted: nobody reads a damaged book without being told.
    while let Some(commit) = reader.commit()? {
        for bytes in commit.lines() {
            let Ok(line) = Line::read(bytes) else { continue };
            let kept = !raw || matches!(line.fact, Fact::In(_) | Fact::Verdict(_));
            if line.seq <= after || !kept {
                continue;
            }
            if list.len() == limit {
                more = true;
                break;
            }
            last = line.seq;
            list.push(String::from_utf8_lossy(bytes).trim_end().to_owned());
        }
    }
    Ok(page_of(("book", doubt(path)), more.then_some(last), &list))
}

fn raw_of_index(hall: &Hall, id: &str, wanted: &Lines) -> Result<String, Refused> {
    let limit = wanted.limit.unwrap_or(LIST_MAX);
    let after = wanted.after.unwrap_or(0);
    let page = ask(hall, |index| index.raw(id, after, limit))?.ok_or_else(|| unknown(id))?;
    Ok(page_of(("index", None), page.next, &page.lines))
}

/// Put together as text: the lines keep their keys in the order in which they are stored.
fn page_of(
    (source, damaged): (&str, Option<String>),
    next: Option<u64>,
    lines: &[String],
) -> String {
    let (next, damaged, facts) = (Value::from(next), Value::from(damaged), lines.join(","));
    format!("{{\"source\":\"{source}\",\"damaged\":{damaged},\"next\":{next},\"facts\":[{facts}]}}")
}

/// `GET /v1/inspections/{id}/evidence`: the file as stored.
pub(super) async fn evidence(
    State(hall): State<Hall>,
    Path(id): Path<String>,
) -> Result<Response, Refused> {
    let path = file(&hall, &id)?;
    let bytes = tokio::fs::read(&path).await;
    let bytes = bytes.map_err(|error| Refused::new("not_found", error.to_string()))?;
    Ok(([(header::CONTENT_TYPE, "application/x-ndjson")], bytes).into_response())
}

/// `GET /v1/verify/{id}`: marks, head and signature, as a stranger would check them.
pub(super) async fn verify(
    State(hall): State<Hall>,
    Path(id): Path<String>,
) -> Result<Json<Value>, Refused> {
    let path = file(&hall, &id)?;
    blocking(move || {
        let report = crate::books::verify::verify(&path, None);
        let report = report.map_err(|trouble| Refused::new("not_found", trouble.to_string()))?;
        Ok(Json(serde_json::to_value(report).expect("a report is plain fields and strings")))
    })
    .await
}

/// Files are read off the runtime's thread.
pub(super) async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refused> + Send + 'static,
) -> Result<T, Refused> {
    let done = tokio::task::spawn_blocking(work).await;
    done.unwrap_or_else(|_| Err(Refused::new("busy", "the record could not be read")))
}
