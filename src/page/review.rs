//! A record for the second person: what it came to, each verdict from its bytes on, what was set
//! aside with its bytes, and the readings that belong to nothing.

use std::collections::BTreeMap;

use maud::{Markup, html};
use serde_json::Value;

use super::life::Forms;
use super::{document, say, tell};
use crate::station::status::Opened;
use crate::words::english;

/// What the view shows.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Review {
    /// The record as faces serve it.
    pub record: Value,
    /// Verdicts in force: step, code, value in words, limit in words, the chain line by line.
    pub verdicts: Vec<Judgement>,
    /// Values that were set aside.
    pub aside: Vec<Aside>,
    /// Readings: all, belonging to a step, and why the others do not, with their number.
    pub readings: (usize, usize, Vec<(String, usize)>),
    /// Switches by how each was known, in words.
    pub known: Vec<String>,
    /// What was heard, line by line with its bytes, as far as it is shown; there is more.
    pub heard: (Vec<String>, bool),
    /// What clocks did meanwhile.
    pub clocks: Vec<String>,
    /// What can be done with it, where it is sealed and signed.
    pub forms: Option<Forms>,
    /// Where it goes on, while it is not at its end.
    pub opened: Option<Opened>,
    /// Names of people by what stands for them in the record.
    pub names: BTreeMap<String, String>,
    /// Why the chain can't be told here.
    pub trouble: Option<String>,
}

/// A verdict.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Judgement {
    pub step: String,
    pub code: String,
    pub value: String,
    pub limit: String,
    pub share: String,
    pub reasons: Vec<String>,
    pub told: Vec<String>,
}

/// A value that was set aside.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Aside {
    pub step: String,
    pub amount: String,
    pub cause: String,
    pub who: String,
    pub second: Option<String>,
    /// It was no longer in force.
    pub dropped: bool,
    /// Lines that it rests on, with their bytes.
    pub raw: Vec<String>,
}

/// The document.
pub(crate) fn page(review: &Review) -> String {
    let id = review.record["id"].as_str().unwrap_or_default();
    let main = html! {
        p #gone hidden { (say("gone")) }
        p #said role="status" tabindex="-1" {}
        div #record data-of=(id) { (record(review)) }
    };
    document(&format!("{id} · Tapline"), None, None, &main)
}

/// What the reviewer sees before the act, and the acts.
fn record(review: &Review) -> Markup {
    let record = &review.record;
    let of = |key: &str| record[key].as_str().unwrap_or_default();
    html! {
        section.asset aria-label=(say("asset")) {
            h1 { a href={ "/asset/" (of("asset")) } { (of("asset")) } }
            p.what { (of("id")) }
            p.where { (of("plan")) }
            @if let Some(outcome) = record["outcome"].as_str() {
                @if english().find("ended", outcome).is_some() { p { (english().say("ended", outcome)) } }
                @else { (super::verdict(outcome)) }
            }
        }
        (state(review))
        @if let Some(opened) = &review.opened { (super::goes_on(opened)) }
        @if let Some(trouble) = &review.trouble { p.warn { (trouble) } }
        @if record["state"].is_string() { (super::life::added(record, &review.names)) }
        @if review.forms.is_some() { p.links { a href="#acts" { (say("acts_after")) } } }
        h2 { (say("verdicts")) }
        @if record["addenda"].as_array().is_some_and(|all| !all.is_empty()) {
            p.quiet { (say("as_sealed")) }
        }
        div.table tabindex="0" role="region" aria-label=(say("list")) { table {
            thead { tr {
                th { (say("step")) } th { (say("verdict")) } th { (say("value")) }
                th { (say("the_limit")) } th { (say("of_limit")) }
            } }
            tbody { @for one in &review.verdicts { (row(one)) } }
        } }
        (asides(review))
        (readings(review))
        h2 { (say("chains")) }
        @for one in &review.verdicts {
            details id={ "chain-" (one.step) } {
                summary { (super::steps::name(&one.step)) " " (super::verdict(&one.code)) }
                @for line in &one.told { p.raw { (line) } }
            }
        }
        (papers(of("id"), record["sealed"] == true))
        @if let Some(forms) = &review.forms { (super::life::forms(forms)) }
    }
}

/// The record on paper, as a label, and for other programs.
fn papers(id: &str, sealed: bool) -> Markup {
    let own = format!("/v1/inspections/{id}");
    html! {
        h2 { (say("papers")) }
        p.links {
            a href={ (own) "/report.pdf" } { (say("report_pdf")) }
            a href={ (own) "/report.html" } { (say("report_html")) }
            @if sealed {
                a href={ (own) "/label.pdf" } { (say("label_pdf")) }
                a href={ "/v1/export/fhir/" (id) } { (say("as_fhir")) }
            }
            a href={ (own) "/evidence" } { (say("evidence")) }
        }
    }
}

/// Opened, signed, sealed; damage first.
fn state(review: &Review) -> Markup {
    let record = &review.record;
    let of = |value: &Value| value.as_str().unwrap_or("–").to_owned();
    let reason = of(&record["reason"]);
    let opened = [
        ("at", second(&of(&record["opened"]))),
        ("who", review.who(&of(&record["by"]))),
        ("reason", english().say("why_inspected", &reason).to_owned()),
    ];
    let opened: Vec<(&str, &str)> = opened.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let closed = &record["closed"];
    html! {
        @if record["damaged"] == true { p.warn { strong { (say("damaged")) } " " (of(&record["why"])) } }
        p { (english().tell("show", "opened", &opened)) }
        @if closed.is_object() {
            p { (tell("closed", &[
                ("at", &second(&of(&closed["at"]))),
                ("who", &review.who(&of(&closed["by"]))),
            ])) }
        }
        @if record["damaged"] != true {
            p { @if record["sealed"] == true { (say("sealed")) } @else { (say("in_work")) } }
        }
        @if record["synced"] == false { p.warn { (english().say("clock", "unsynced")) } }
        @else { p { (english().say("clock", "synced")) } }
        @for line in &review.clocks { p.warn { (line) } }
    }
}

/// A moment without what lies below a second.
pub(super) fn second(at: &str) -> String {
    at.get(..19).map_or_else(|| at.to_owned(), |second| format!("{} UTC", second.replace('T', " ")))
}

impl Review {
    /// A person as people know them: name and id.
    fn who(&self, id: &str) -> String {
        super::life::who(id, &self.names)
    }
}

fn row(one: &Judgement) -> Markup {
    html! {
        tr {
            th scope="row" { (super::steps::name(&one.step)) }
            td {
                (super::verdict(&one.code))
                @for reason in &one.reasons { p.quiet { (english().say("reason", reason)) } }
            }
            td { (one.value) }
            td.bound { (one.limit) }
            td { (one.share) }
        }
    }
}

fn asides(review: &Review) -> Markup {
    let list = &review.aside;
    html! {
        h2 { (say("asides")) }
        @if list.is_empty() { p { (say("no_asides")) } }
        @for one in list {
            details {
                summary {
                    strong { (one.amount) } " " (super::steps::full(&one.step)) " · " (english().say("cause", &one.cause)) " · "
                    (review.who(&one.who))
                    @if let Some(second) = &one.second { " + " (review.who(second)) }
                    @if !one.dropped { " · " (say("still_counts")) }
                }
                @for line in &one.raw { p.raw { (line) } }
            }
        }
    }
}

fn readings(review: &Review) -> Markup {
    let (all, used, others) = &review.readings;
    html! {
        h2 { (say("readings")) }
        p {
            (tell("readings_of", &[("all", &all.to_string()), ("used", &used.to_string())]))
            @if !others.is_empty() { " " (say("readings_else")) }
        }
        ul { @for (why, count) in others { li { (count) " · " (english().say("why", why)) } } }
        @for line in &review.known { p { (line) } }
        @let (heard, more) = &review.heard;
        @if !heard.is_empty() {
            details #heard {
                summary { (say("heard")) }
                @for line in heard { p.raw { (line) } }
                @if *more { p { a href={ "/v1/inspections/" (review.record["id"].as_str().unwrap_or_default()) "/facts?raw=1" } { (say("heard_more")) } } }
            }
        }
    }
}
