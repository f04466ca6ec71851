//! What is hung up or laid beside a bench, as `tapline sheet` draws it.

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use tapline_paper::pdf::pdf;

use super::Hall;
use super::paper::usual;
use super::problem::Refused;
use super::query::{Query, flag};
use super::records::blocking;
use crate::told::sheet::{Sheet, pages};

/// Most lead sets of one sheet.
pub(super) const LEADS_MAX: usize = 20;

/// How it is printed; left out: as the configuration says.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    language: Option<String>,
    paper: Option<String>,
}

/// The same, and which lead sets are nulled by a code, with `,` between them.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct OfControl {
    leads: Option<String>,
    lines: Option<u8>,
    language: Option<String>,
    paper: Option<String>,
}

/// `GET /v1/sheets/control.pdf`: control codes, and the card for steps that are live.
pub(super) async fn control(
    hall: State<Hall>,
    Query(wanted): Query<OfControl>,
) -> Result<Response, Refused> {
    let OfControl { leads, lines, language, paper } = wanted;
    let leads = leads.unwrap_or_default();
    let leads: Vec<String> =
        leads.split(',').filter(|lead| !lead.is_empty()).map(str::to_owned).collect();
    if leads.len() > LEADS_MAX {
        return Err(Refused::new("bad_input", format!("`leads` are {LEADS_MAX} at most")));
    }
    let lines = flag("lines", lines)?;
    let named = leads.clone();
    let unknown = hall
        .shared
        .ask(move |core| named.into_iter().find(|lead| !core.register().leads.contains_key(lead)));
    if let Some(lead) = unknown.await? {
        let text = format!("there is no lead set `{lead}`: its code would do nothing");
        return Err(Refused::new("not_found", text));
    }
    drawn(hall, Sheet::Control { leads, lines }, Wanted { language, paper }).await
}

/// `GET /v1/sheets/selftest.pdf`: known codes, for `tapline scanner test`.
pub(super) async fn selftest(
    hall: State<Hall>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Refused> {
    drawn(hall, Sheet::Selftest, wanted).await
}

/// `GET /v1/sheets/cautions.pdf`: what can hurt, to be hung up.
pub(super) async fn cautions(
    hall: State<Hall>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Refused> {
    drawn(hall, Sheet::Cautions, wanted).await
}

async fn drawn(
    State(hall): State<Hall>,
    sheet: Sheet,
    Wanted { language, paper }: Wanted,
) -> Result<Response, Refused> {
    blocking(move || {
        let printing = hall.shared.printing.get().cloned().unwrap_or_default();
        let (language, paper) = usual(&printing, language, paper)?;
        let failed = |why: String| Refused::new("conflict", why);
        let (pages, about) =
            pages(&sheet, language, paper).map_err(|why| failed(why.to_string()))?;
        let bytes = pdf(&pages, &about).map_err(|why| failed(why.to_string()))?;
        Ok(([(header::CONTENT_TYPE, "application/pdf")], bytes).into_response())
    })
    .await
}
