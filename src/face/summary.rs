//! Summaries of a day, a week or a month: on paper, as a table, as data.

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Json, Response};
use serde::Deserialize;
use tapline_paper::pdf::pdf;
use tapline_paper::report::Paper;
use tapline_paper::summary::{MISSING_MAX, Summary, about, html, pages};
use tapline_paper::words::Language;
use tapline_protocols::due::{Day, Period};

use super::Hall;
use super::month::grace;
use super::paper::usual;
use super::problem::Refused;
use super::query::Query;
use super::records::{ask, blocking};
use crate::clock;
use crate::exchange::csv::Form;
use crate::exchange::summary::table;
use crate::index::NumbersQuery;
use crate::report::summary::summary;

/// How it is counted and printed; left out: as the configuration says.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    grace: Option<u32>,
    language: Option<String>,
    paper: Option<String>,
}

/// `GET /v1/periods/{period}/summary.pdf`.
pub(super) async fn as_pdf(
    State(hall): State<Hall>,
    Path(period): Path<String>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Refused> {
    told(hall, period, wanted, MISSING_MAX, |summary, language, paper| {
        let pages = pages(summary, language, paper);
        let bytes = pdf(&pages, &about(summary, language))
            .map_err(|why| Refused::new("not_found", why.to_string()))?;
        Ok(([(header::CONTENT_TYPE, "application/pdf")], bytes).into_response())
    })
    .await
}

/// `GET /v1/periods/{period}/summary.html`.
pub(super) async fn as_html(
    State(hall): State<Hall>,
    Path(period): Path<String>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Refused> {
    told(hall, period, wanted, MISSING_MAX, |summary, language, _| {
        let html = html::html(summary, language);
        Ok(([(header::CONTENT_TYPE, "text/html; charset=utf-8")], html).into_response())
    })
    .await
}

/// `GET /v1/periods/{period}/summary.csv`: all that is missing.
pub(super) async fn as_csv(
    State(hall): State<Hall>,
    Path(period): Path<String>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Refused> {
    told(hall, period, wanted, usize::MAX, |summary, _, _| {
        let csv = table(summary, Form::default());
        Ok(([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], csv).into_response())
    })
    .await
}

/// `GET /v1/periods/{period}/summary.json`: all that is missing.
pub(super) async fn as_json(
    State(hall): State<Hall>,
    Path(period): Path<String>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Refused> {
    told(hall, period, wanted, usize::MAX, |summary, _, _| Ok(Json(summary).into_response())).await
}

async fn told(
    hall: Hall,
    period: String,
    wanted: Wanted,
    limit: usize,
    print: impl FnOnce(&Summary, Language, Paper) -> Result<Response, Refused> + Send + 'static,
) -> Result<Response, Refused> {
    blocking(move || {
        let printing = hall.shared.printing.get().cloned().unwrap_or_default();
        let (language, paper) = usual(&printing, wanted.language, wanted.paper)?;
        let now = clock::now().wall_us;
        let query = NumbersQuery {
            period: named(&period)?,
            today: Day::parse(&clock::utc_day(now)).expect("a clock shows a day"),
            grace: grace(wanted.grace)?,
            after: None,
            limit,
        };
        let numbers = ask(&hall, |index| index.numbers(&query))?;
        print(&summary(&numbers, &query, &printing.house, now), language, paper)
    })
    .await
}

fn named(period: &str) -> Result<Period, Refused> {
    Period::parse(period).ok_or_else(|| {
        let why = "`period` is a day, a week or a month from 1900 to 2999: 2026-11-27, 2026-W48, \
                   2026-11";
        Refused::new("bad_input", why)
    })
}
