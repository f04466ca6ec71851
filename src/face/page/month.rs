//! The numbers of a month.

use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::response::Html;
use serde::Deserialize;
use tapline_protocols::due::Day;

use super::Desk;
use crate::face::due::today;
use crate::face::month::named;
use crate::face::problem::Refused;
use crate::face::records::{ask, blocking};
use crate::index::NumbersQuery;
use crate::page::month::{Shown, page};

/// Rows of what is missing.
const ROWS_MAX: usize = 100;

/// Which month is wanted.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    of: Option<String>,
    after: Option<String>,
}

/// `GET /month?of=2026-11`: this month without `of`.
pub(super) async fn view(
    State(desk): State<Desk>,
    wanted: Result<Query<Wanted>, QueryRejection>,
) -> Result<Html<String>, Refused> {
    let Query(wanted) = wanted.map_err(|why| Refused::new("bad_input", why.body_text()))?;
    blocking(move || {
        let today = today();
        let period = named(wanted.of.as_deref(), today)?;
        let first = period.first();
        let (after, limit) = (wanted.after, ROWS_MAX);
        let query = NumbersQuery { period, today, grace: 0, after, limit };
        let month = ask(&desk.hall, |index| index.numbers(&query))?;
        let beside = [before(first), first.plus_months(1).unwrap_or(first)].map(name);
        Ok(Html(page(&Shown { name: &name(first), month: &month, beside })))
    })
    .await
}

fn name(day: Day) -> String {
    day.text()[..7].to_owned()
}

/// The first of the month before, or of this one where there is none.
fn before(first: Day) -> Day {
    let text = first.text();
    let number = |from: usize, to: usize| text[from..to].parse::<u32>().unwrap_or_default();
    let months = number(0, 4) * 12 + number(5, 7) - 2;
    Day::parse(&format!("{:04}-{:02}-01", months / 12, months % 12 + 1)).unwrap_or(first)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_month_before_january_is_december() {
        let of = |text| name(before(Day::parse(text).unwrap()));
        assert_eq!(
            ["2026-11-01", "2026-01-01", "1900-01-01"].map(of),
            ["2026-10", "2025-12", "1900-01"]
        );
    }
}
