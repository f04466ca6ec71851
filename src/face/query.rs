//! Words of a query that several paths take.

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use serde::de::DeserializeOwned;

use super::problem::Refused;
use crate::index;

/// The most lines or entries of one answer.
pub(super) use index::LIST_MAX;

/// Length of `2026-11-24`.
const DAY: usize = 10;

/// The query of a request; one that can't be read is refused as everything here is.
#[derive(Debug)]
pub(super) struct Query<T>(pub(super) T);

impl<S: Send + Sync, T: DeserializeOwned> FromRequestParts<S> for Query<T> {
    type Rejection = Refused;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Query<T>, Refused> {
        let read = axum::extract::Query::<T>::from_request_parts(parts, state).await;
        let bad = |why: axum::extract::rejection::QueryRejection| {
            Refused::new("bad_input", why.body_text())
        };
        read.map(|axum::extract::Query(query)| Query(query)).map_err(bad)
    }
}

/// How many are wanted: 1 to [`LIST_MAX`], that without a word.
pub(super) fn limit(wanted: Option<usize>) -> Result<usize, Refused> {
    match wanted {
        None => Ok(LIST_MAX),
        Some(limit) if (1..=LIST_MAX).contains(&limit) => Ok(limit),
        Some(_) => Err(Refused::new("bad_input", format!("`limit` is 1 to {LIST_MAX}"))),
    }
}

/// Whether a moment is one: a day, or the beginning of a stamp, UTC.
pub(super) fn moment(name: &str, text: Option<&str>) -> Result<(), Refused> {
    match text {
        Some(text) if text.len() < DAY || !index::is_moment(text) => Err(Refused::new(
            "bad_input",
            format!("`{name}` is a day or the beginning of a moment in UTC: 2026-11-24T08"),
        )),
        _ => Ok(()),
    }
}

/// A word that is 0 or 1; 0 without it.
pub(super) fn flag(name: &str, word: Option<u8>) -> Result<bool, Refused> {
    match word.unwrap_or(0) {
        0 => Ok(false),
        1 => Ok(true),
        _ => Err(Refused::new("bad_input", format!("`{name}` is 0 or 1"))),
    }
}
