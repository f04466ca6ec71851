//! What other programs take, as addresses: just what `tapline export` gives, whole or not at all.

use std::fmt::Write;
use std::path::Path as FilePath;
use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use tapline_protocols::due::Day;
use tokio::sync::Mutex;

use super::Hall;
use super::problem::Refused;
use super::query::{Query, flag, moment};
use super::{due, paper, records::blocking};
use crate::clock;
use crate::exchange::csv::Form;
use crate::exchange::fhir;
use crate::exchange::pseudonyms::Pseudonyms;
use crate::past::due::Ledger;
use crate::past::{self, Span};
use crate::report::exports::{self, Kind};
use crate::station::event::Problem;

/// The largest export, bytes: it is held until it is known to be whole.
const BYTES_MAX: usize = 64 << 20;

/// One export is made at a time: it reads many books, and the bench goes on meanwhile.
pub(super) type Turn = Arc<Mutex<()>>;

/// Which inspections, and how a table is written.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Table {
    asset: Option<String>,
    from: Option<String>,
    to: Option<String>,
    pseudonyms: Option<u8>,
    spreadsheet: Option<u8>,
    separator: Option<String>,
}

/// Which inspections.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Lines {
    asset: Option<String>,
    from: Option<String>,
    to: Option<String>,
    pseudonyms: Option<u8>,
}

/// Which assets.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Places {
    under: Option<String>,
    before: Option<String>,
}

/// `GET /v1/export/measurements`: a line a value.
pub(super) async fn measurements(
    State(hall): State<Hall>,
    Query(wanted): Query<Table>,
) -> Result<Response, Refused> {
    table(hall, wanted, Kind::Measurements, "measurements").await
}

/// `GET /v1/export/inspections`: a line an inspection.
pub(super) async fn inspections(
    State(hall): State<Hall>,
    Query(wanted): Query<Table>,
) -> Result<Response, Refused> {
    table(hall, wanted, Kind::Inspections, "inspections").await
}

async fn table(
    hall: Hall,
    wanted: Table,
    kind: fn(Form) -> Kind,
    name: &'static str,
) -> Result<Response, Refused> {
    let Table { asset, from, to, pseudonyms, spreadsheet, separator } = wanted;
    let separator = separator.unwrap_or_else(|| ",".into());
    let form = Form::named(flag("spreadsheet", spreadsheet)?, &separator)
        .ok_or_else(|| Refused::new("bad_input", "`separator` is `,`, `;` or `tab`"))?;
    let lines = Lines { asset, from, to, pseudonyms };
    given(hall, lines, kind(form), (name, "csv", "text/csv; charset=utf-8")).await
}

/// `GET /v1/export/lines`: all that a report tells of each inspection, one JSON object a line.
pub(super) async fn lines(
    State(hall): State<Hall>,
    Query(wanted): Query<Lines>,
) -> Result<Response, Refused> {
    given(hall, wanted, Kind::Lines, ("lines", "jsonl", "application/x-ndjson")).await
}

/// `GET /v1/export/calendar`: due dates, a to-do an asset.
pub(super) async fn calendar(
    State(hall): State<Hall>,
    Query(wanted): Query<Places>,
) -> Result<Response, Refused> {
    let before = wanted.before.map(|day| due::day("before", Some(&day))).transpose()?;
    let turn = turn(&hall)?;
    blocking(move || {
        let _turn = turn;
        let text = due_dates(&hall, wanted.under.as_deref(), before)?;
        Ok(file(&hall, text, ("due", "ics", "text/calendar; charset=utf-8")))
    })
    .await
}

/// `GET /v1/export/fhir/{id}`: an inspection as a FHIR R4 bundle.
pub(super) async fn as_fhir(
    State(hall): State<Hall>,
    Path(id): Path<String>,
) -> Result<Response, Refused> {
    blocking(move || {
        let printing = hall.shared.printing.get().cloned().unwrap_or_default();
        let told = paper::told(&hall, &id, &printing)?;
        let text = fhir::bundle(&told) + "\n";
        Ok(named(text, &format!("{id}.fhir.json"), "application/fhir+json"))
    })
    .await
}

fn turn(hall: &Hall) -> Result<tokio::sync::OwnedMutexGuard<()>, Refused> {
    let busy = || {
        Problem::new("busy", "another export is being made").next("Wait a moment, then ask again.")
    };
    hall.exports.clone().try_lock_owned().map_err(|_| busy().into())
}

/// A file of many inspections, in the order of their names.
async fn given(
    hall: Hall,
    wanted: Lines,
    kind: Kind,
    of: (&'static str, &'static str, &'static str),
) -> Result<Response, Refused> {
    for (name, text) in [("from", &wanted.from), ("to", &wanted.to)] {
        moment(name, text.as_deref())?;
    }
    let hide = flag("pseudonyms", wanted.pseudonyms)?;
    let Lines { asset, from, to, .. } = wanted;
    let turn = turn(&hall)?;
    blocking(move || {
        let _turn = turn;
        let text = gathered(&hall, &Span { asset, from, to }, kind, hide)?;
        Ok(file(&hall, text, of))
    })
    .await
}

fn gathered(hall: &Hall, span: &Span, kind: Kind, hide: bool) -> Result<String, Refused> {
    let folder = &hall.shared.folder;
    let house = hall.shared.printing.get().cloned().unwrap_or_default().house;
    let mut names = Pseudonyms::default();
    let mut text = kind.heading();
    for record in &records(folder)? {
        let wants = |asset: &str, at: &str| span.wants(Some(asset), at);
        let told = exports::told(folder, record, wants, &house);
        let told = told.map_err(|why| in_doubt(&record.id, &why))?;
        let Some(mut report) = told else { continue };
        if hide {
            names.hide(&mut report);
        }
        text.push_str(&kind.text(&report));
        if text.len() > BYTES_MAX {
            let most = BYTES_MAX >> 20;
            let problem = Problem::new("bad_input", format!("that is more than {most} MB"));
            let next = "Ask for fewer days with `from` and `to`, or run `tapline export`.";
            return Err(problem.next(next).into());
        }
    }
    Ok(text)
}

/// Every book is read: a calendar that leaves an asset out is worse than none.
fn due_dates(hall: &Hall, under: Option<&str>, before: Option<Day>) -> Result<String, Refused> {
    let folder = &hall.shared.folder;
    let failed = |why: String| Refused::from(Problem::new("conflict", why).next(VERIFY));
    let mut ledger = Ledger::of(folder, None).map_err(failed)?;
    for record in &records(folder)? {
        let past = past::read(folder, record, None).map_err(|why| in_doubt(&record.id, &why))?;
        past.into_iter().for_each(|past| ledger.take(past));
    }
    let status = hall.shared.status_json();
    let of = |key: &str| status[key].as_str().unwrap_or_default();
    Ok(exports::due(ledger, (of("station"), of("name")), (under, before)))
}

const VERIFY: &str = "Run `tapline verify` on the data folder, and restore it from a copy; \
                      `tapline export` gives out tables without what is in doubt.";

/// Nothing is given out that silently lacks a record.
fn in_doubt(id: &str, why: &str) -> Refused {
    Problem::new("conflict", format!("{id} is in doubt: {why}")).next(VERIFY).into()
}

fn records(folder: &FilePath) -> Result<Vec<crate::books::OnShelf>, Refused> {
    past::records(folder).map_err(|why| Refused::new("busy", why))
}

/// A file of this day: `K3-measurements-2026-11-27.csv`.
fn file(hall: &Hall, text: String, (name, ending, kind): (&str, &str, &str)) -> Response {
    let status = hall.shared.status_json();
    let station = status["station"].as_str().unwrap_or_default();
    let day = clock::utc_day(clock::now().wall_us);
    named(text, &format!("{station}-{name}-{day}.{ending}"), kind)
}

/// Under a name that every system takes (RFC 6266, section 4.3: the plain form).
pub(super) fn named(body: impl IntoResponse, name: &str, kind: &str) -> Response {
    let mut safe = String::from("attachment; filename=\"");
    for c in name.chars() {
        let plain = c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
        write!(safe, "{}", if plain { c } else { '_' }).expect("a string takes everything");
    }
    safe.push('"');
    let heads = [(header::CONTENT_TYPE, kind), (header::CONTENT_DISPOSITION, safe.as_str())];
    (heads, body).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_of_a_file_says_no_more_than_a_name() {
        let response = named("", "K/3\"\r\nx: ü-due.ics", "text/plain");
        let said = response.headers()[header::CONTENT_DISPOSITION].to_str().unwrap();
        assert_eq!(said, "attachment; filename=\"K_3___x___-due.ics\"");
    }
}
