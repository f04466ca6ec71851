//! The numbers of a month, as the index counts them.

use axum::extract::State;
use axum::response::Json;
use serde::Deserialize;
use serde_json::{Value, json};
use tapline_paper::words::Language;
use tapline_protocols::due::Day;
use tapline_protocols::due::period::{Kind, Period};

use super::Hall;
use super::due::{row, today};
use super::problem::Refused;
use super::query::{Query, limit};
use super::records::{ask, blocking};
use crate::index::{Missing, Numbers, NumbersQuery, Share};

/// Most days of grace.
const GRACE_MAX: u32 = 366;

/// Which month is wanted.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    of: Option<String>,
    grace: Option<u32>,
    after: Option<String>,
    limit: Option<usize>,
}

/// `GET /v1/month?of=2026-11`: this month without `of`.
pub(super) async fn month(
    State(hall): State<Hall>,
    Query(wanted): Query<Wanted>,
) -> Result<Json<Value>, Refused> {
    blocking(move || {
        let query = wanted.query()?;
        let month = ask(&hall, |index| index.numbers(&query))?;
        Ok(Json(json(&month, &query)))
    })
    .await
}

impl Wanted {
    fn query(self) -> Result<NumbersQuery, Refused> {
        let today = today();
        Ok(NumbersQuery {
            period: named(self.of.as_deref(), today)?,
            today,
            grace: grace(self.grace)?,
            after: self.after,
            limit: limit(self.limit)?,
        })
    }
}

/// Days that are in time yet.
pub(super) fn grace(days: Option<u32>) -> Result<u32, Refused> {
    let why =
        || Refused::new("bad_input", format!("`grace` is a number of days, at most {GRACE_MAX}"));
    Some(days.unwrap_or_default()).filter(|days| *days <= GRACE_MAX).ok_or_else(why)
}

/// The month that is named, `2026-11`; without a name this one.
pub(super) fn named(of: Option<&str>, today: Day) -> Result<Period, Refused> {
    let period = of.map_or(Some(Period::month_of(today)), Period::parse);
    period.filter(|period| period.kind() == Kind::Month).ok_or_else(|| {
        Refused::new("bad_input", "`of` is a month from 1900-01 to 2999-12: 2026-11".to_owned())
    })
}

/// What a number means, as paper says it.
pub(crate) fn means_of(code: &str) -> String {
    Language::English.words().say("number_means", code)
}

fn json(month: &Numbers, query: &NumbersQuery) -> Value {
    let share = |of: &Share| json!({ "of": of.of, "all": of.all, "percent": of.percent() });
    let mut numbers = json!({});
    for (code, of) in &month.shares {
        numbers[*code] = share(of);
        numbers[*code]["means"] = means_of(code).into();
    }
    let risks: Vec<Value> = month
        .risks
        .iter()
        .map(|(risk, of)| {
            let mut json = share(&of.overdue);
            json["risk"] = json!(risk);
            json
        })
        .collect();
    let people: Vec<Value> = month
        .set_aside
        .iter()
        .map(|(by, values, kept)| json!({ "by": by, "values": values, "in_force": kept }))
        .collect();
    json!({
        "month": query.period.name(), "as_of": month.as_of.text(), "grace": query.grace,
        "numbers": numbers,
        "minutes": {
            "median": month.minutes_at(50), "p90": month.minutes_at(90),
            "inspections": month.worked_us.len(), "means": means_of("minutes"),
        },
        "overdue": { "by_risk": risks, "means": means_of("overdue") },
        "set_aside": { "by_operator": people, "means": means_of("set_aside") },
        "missing": month.missing.iter().map(missing).collect::<Vec<Value>>(),
        "missing_all": month.missing_all, "next": month.next, "damaged": month.damaged,
    })
}

fn missing(one: &Missing) -> Value {
    let mut json = row(&one.due);
    json["late"] = one.late.map(Day::text).into();
    json["visit"] = one.visit.as_deref().into();
    json
}
