//! Words of a query that several paths take.

use super::problem::Refused;
use crate::index;

/// The most lines or entries of one answer.
pub(super) use index::LIST_MAX;

/// Length of `2026-11-24`.
const DAY: usize = 10;

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
