//! The numbers of a month.

use maud::{Markup, html};
use tapline_paper::words::Language;

use super::lists::encoded;
use super::{document, say, tell};
use crate::index::{Missing, Numbers, Share};
use crate::words::english;

/// What the view shows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Shown<'a> {
    /// `2026-11`.
    pub name: &'a str,
    pub month: &'a Numbers,
    /// The months before and after it.
    pub beside: [String; 2],
}

/// The document.
pub(crate) fn page(shown: &Shown<'_>) -> String {
    let Shown { name, month, beside: [before, after] } = shown;
    let main = html! {
        h1 { (say("month")) " " (name) }
        p {
            a href={ "/month?of=" (before) } { (before) } " · "
            a href={ "/month?of=" (after) } { (after) } " · "
            (tell("month_as_of", &[("day", &month.as_of.text())]))
        }
        p {
            (say("summary")) ": "
            @for (n, form) in ["pdf", "csv"].iter().enumerate() {
                @if n > 0 { " · " }
                a href={ "/v1/periods/" (name) "/summary." (form) } download { (form.to_uppercase()) }
            }
        }
        div.table tabindex="0" role="region" aria-label=(say("numbers")) { table {
            thead { tr { th { (say("number")) } th { "%" } th { (say("of_all")) } th { (say("means")) } } }
            tbody {
                @for (code, of) in &month.shares { (share(word(code), &means(code), *of)) }
                (minutes(month))
                @for (risk, of) in &month.risks {
                    (share(&overdue(risk.map(|risk| super::code(&risk))), &means("overdue"), of.overdue))
                }
            }
        } }
        @if !month.set_aside.is_empty() { (set_aside(month)) }
        h2 { (tell("missing", &[("n", &month.missing_all.to_string())])) }
        div.table tabindex="0" role="region" aria-label=(say("list")) { table {
            thead { tr {
                th { (say("due_on")) } th { (say("asset")) } th { (say("what")) }
                th { (say("location")) } th { (say("since_then")) }
            } }
            tbody { @for one in &month.missing { (missing(one)) } }
        } }
        @if let Some(next) = &month.next {
            p { a href={ "/month?of=" (name) "&after=" (encoded(next)) } { (say("further")) } }
        }
    };
    document(&format!("{} {name} · Tapline", say("month")), None, None, &main)
}

fn word(code: &str) -> &str {
    english().say("month", code)
}

fn means(code: &str) -> String {
    Language::English.words().say("number_means", code)
}

fn overdue(risk: Option<String>) -> String {
    let risk = risk.unwrap_or_else(|| word("no_risk").to_owned());
    tell("overdue_risk", &[("risk", &risk)])
}

fn share(name: &str, means: &str, of: Share) -> Markup {
    html! {
        tr {
            th scope="row" { (name) }
            td { (of.percent().as_deref().unwrap_or("–")) }
            td { (of.of) " / " (of.all) }
            td { small { (means) } }
        }
    }
}

fn minutes(month: &Numbers) -> Markup {
    let at = |percent| month.minutes_at(percent).unwrap_or_else(|| "–".to_owned());
    html! {
        tr {
            th scope="row" { (word("minutes_of")) }
            td { (at(50)) " (90 %: " (at(90)) ")" }
            td { (month.worked_us.len()) }
            td { small { (means("minutes")) } }
        }
    }
}

fn set_aside(month: &Numbers) -> Markup {
    html! {
        h2 { (say("set_aside_by")) }
        p { small { (means("set_aside")) } }
        ul { @for (by, values, kept) in &month.set_aside {
            li { @if by.is_empty() { (word("nobody")) } @else { (by) }
                ": " (values) @if *kept > 0 { " (" (tell("kept", &[("n", &kept.to_string())])) ")" } }
        } }
    }
}

fn missing(one: &Missing) -> Markup {
    let due = &one.due;
    html! {
        tr {
            td { (due.due.map(|day| day.text()).unwrap_or_default()) }
            th scope="row" { a href={ "/asset/" (encoded(&due.asset)) } { (due.asset) } }
            td { (due.description) }
            td { (due.location) }
            td {
                @if let Some(day) = one.late { (tell("late", &[("day", &day.text())])) " " }
                @if let Some(visit) = &one.visit { (english().say("ended", visit)) }
            }
        }
    }
}
