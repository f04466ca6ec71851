//! Inspections on paper.

use std::path::{Path as FilePath, PathBuf};

use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use tapline_paper::canvas::Page;
use tapline_paper::label::{Size, result};
use tapline_paper::pdf::{About, pdf};
use tapline_paper::report::{Paper, Report, about, html, pages};
use tapline_paper::svg::svg;
use tapline_paper::words::Language;

use super::Hall;
use super::problem::Refused;
use super::query;
use super::records::{ask, blocking, path, unknown};
use crate::books::OnShelf;
use crate::books::verify::is_in_work;
use crate::past::{self, Past};
use crate::report::{Of, report};
use crate::serve::shared::Printing;
use crate::station::event::Problem;
use crate::told::label::{USUAL_DPI, USUAL_SIZE, none};

/// How it is printed; left out: as the configuration says.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    language: Option<String>,
    paper: Option<String>,
}

const LOOK: &str = "Look at the inspection.";

type Asked = Result<Query<Wanted>, QueryRejection>;

/// `GET /v1/inspections/{id}/report.pdf`.
pub(super) async fn as_pdf(
    State(hall): State<Hall>,
    Path(id): Path<String>,
    wanted: Asked,
) -> Result<Response, Refused> {
    printed(hall, id, wanted, |report, language, paper| {
        let failed = |why: String| Refused::new("not_found", why);
        let pages = pages(report, language, paper).map_err(|why| failed(why.to_string()))?;
        let bytes = pdf(&pages, &about(report, language)).map_err(|why| failed(why.to_string()))?;
        Ok(([(header::CONTENT_TYPE, "application/pdf")], bytes).into_response())
    })
    .await
}

/// `GET /v1/inspections/{id}/report.html`.
pub(super) async fn as_html(
    State(hall): State<Hall>,
    Path(id): Path<String>,
    wanted: Asked,
) -> Result<Response, Refused> {
    printed(hall, id, wanted, |report, language, _| {
        let html = html::html(report, language);
        let html = html.map_err(|why| Refused::new("not_found", why.to_string()))?;
        Ok(([(header::CONTENT_TYPE, "text/html; charset=utf-8")], html).into_response())
    })
    .await
}

/// Which label, and how it is printed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct OfLabel {
    language: Option<String>,
    size: Option<String>,
    dpi: Option<u16>,
}

/// `GET /v1/inspections/{id}/label.pdf`: what came of it, to be stuck on the asset.
pub(super) async fn label_pdf(
    State(hall): State<Hall>,
    Path(id): Path<String>,
    query::Query(wanted): query::Query<OfLabel>,
) -> Result<Response, Refused> {
    labelled(hall, id, wanted, |page, id| {
        let (title, language) = (id.to_owned(), "en".to_owned());
        let about = About { title: title.clone(), id: title, language, date: None };
        let bytes =
            pdf(&[page], &about).map_err(|why| Refused::new("not_found", why.to_string()))?;
        Ok(([(header::CONTENT_TYPE, "application/pdf")], bytes).into_response())
    })
    .await
}

/// `GET /v1/inspections/{id}/label.svg`.
pub(super) async fn label_svg(
    State(hall): State<Hall>,
    Path(id): Path<String>,
    query::Query(wanted): query::Query<OfLabel>,
) -> Result<Response, Refused> {
    labelled(hall, id, wanted, |page, _| {
        Ok(([(header::CONTENT_TYPE, "image/svg+xml")], svg(&page)).into_response())
    })
    .await
}

async fn labelled(
    hall: Hall,
    id: String,
    wanted: OfLabel,
    print: impl FnOnce(Page, &str) -> Result<Response, Refused> + Send + 'static,
) -> Result<Response, Refused> {
    let OfLabel { language, size, dpi } = wanted;
    blocking(move || {
        let printing = hall.shared.printing.get().cloned().unwrap_or_default();
        let language = language.unwrap_or_else(|| printing.usual.language.clone());
        let language = Language::named(&language).ok_or_else(|| wrong("language", "en or de"))?;
        let size = Size::read(size.as_deref().unwrap_or(USUAL_SIZE), dpi.unwrap_or(USUAL_DPI));
        let most = "38x20mm to 150x100mm, `dpi` 150 to 600";
        let size = size.ok_or_else(|| wrong("size", most))?;
        let told = told(&hall, &id, &printing)?;
        let page = result(&told, language.words(), size).map_err(|why| {
            let text = none(&told.id, &why);
            let (detail, next) = text.split_once("\n  next: ").unwrap_or((&text, LOOK));
            Refused(Problem::new("conflict", detail).next(next))
        })?;
        print(page, &told.id)
    })
    .await
}

async fn printed(
    hall: Hall,
    id: String,
    wanted: Asked,
    print: impl FnOnce(&Report, Language, Paper) -> Result<Response, Refused> + Send + 'static,
) -> Result<Response, Refused> {
    let Query(wanted) = wanted.map_err(|why| Refused::new("bad_input", why.body_text()))?;
    blocking(move || {
        let printing = hall.shared.printing.get().cloned().unwrap_or_default();
        let (language, paper) = usual(&printing, wanted.language, wanted.paper)?;
        print(&told(&hall, &id, &printing)?, language, paper)
    })
    .await
}

/// Language and size of the paper; as the configuration says where none is named.
pub(super) fn usual(
    printing: &Printing,
    language: Option<String>,
    paper: Option<String>,
) -> Result<(Language, Paper), Refused> {
    let language = language.unwrap_or_else(|| printing.usual.language.clone());
    let language = Language::named(&language).ok_or_else(|| wrong("language", "en or de"))?;
    let paper = paper.unwrap_or_else(|| printing.usual.size.clone());
    let paper = Paper::named(&paper).ok_or_else(|| wrong("paper", "a4 or letter"))?;
    Ok((language, paper))
}

fn wrong(name: &str, of: &str) -> Refused {
    Refused::new("bad_input", format!("`{name}` must be {of}"))
}

/// What the record tells, with the asset's earlier records as the index knows them.
pub(super) fn told(hall: &Hall, id: &str, printing: &Printing) -> Result<Report, Refused> {
    let folder = &hall.shared.folder;
    let file: PathBuf = path(folder, id).ok_or_else(|| unknown(id))?;
    let failed = |why| Refused::new("not_found", why);
    let in_work = is_in_work(&file);
    let of = Of { file: &file, in_work, until: None };
    let alone = report(of, &printing.house, &[]).map_err(failed)?;
    if in_work {
        return Ok(alone);
    }
    let names = ask(hall, |index| index.closed_of(&alone.asset.id))?;
    let pasts = pasts(folder, &alone.asset.id, &names, id);
    report(of, &printing.house, &pasts).map_err(failed)
}

/// Up to this one; what can't be read is left out, as a damaged record says nothing.
fn pasts(folder: &FilePath, asset: &str, names: &[String], last: &str) -> Vec<Past> {
    let until = names.iter().position(|name| name == last).map_or(names.len(), |at| at + 1);
    let records = names[..until].iter().map(|id| OnShelf { id: id.clone(), sealed: true });
    let read = records.filter_map(|one| past::read(folder, &one, Some(asset)).ok().flatten());
    let mut found: Vec<Past> = read.filter(|past| past.signed.is_some()).collect();
    found.sort_by_key(|past| past.signed.map(|(seq, _)| seq));
    found
}
