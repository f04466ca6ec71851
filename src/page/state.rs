//! The station: benches, links, instruments with their calibration and last check, disk, index.

use maud::{Markup, html};
use serde_json::Value;

use super::lists::encoded;
use super::{View, document, say};
use crate::told::copies::late_copies;
use crate::words::english;

/// An instrument of the register.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Instrument {
    pub id: String,
    pub what: String,
    pub serial: String,
    pub due: String,
    /// It has run out, by this machine's clock.
    pub overdue: bool,
    /// Newest check on each standard: standard, day, mark in words.
    pub checks: Vec<(String, String, String)>,
}

/// The document; `status` is the one that faces serve; `leads`: lead sets that a code nulls.
pub(crate) fn page(status: &Value, instruments: &[Instrument], leads: &[String]) -> String {
    let list = |value: &Value| value.as_array().cloned().unwrap_or_default();
    let main = html! {
        h1 { (status["name"].as_str().unwrap_or_default()) }
        p.quiet {
            (status["station"].as_str().unwrap_or_default()) " · Tapline "
            (status["version"].as_str().unwrap_or_default())
        }
        @if let Some(why) = status["halted"].as_str() {
            p.warn { strong { (english().say("prompt", "halted")) } " " (why) }
        }
        @for book in list(&status["damaged"]) {
            p.warn { strong { (say("damaged")) } " " (book.as_str().unwrap_or_default()) }
        }
        p { (super::tell("room", &[("mb", &status["room_mb"].to_string())])) }
        @for late in late_copies(&status["copies"]) { p.warn { (late) } }
        @if let Some(state) = status["index"]["state"].as_str().filter(|state| *state != "ready") {
            p.warn { (english().say("index", state)) }
        }
        p.links { a href="/reviews" { (say("reviews")) } }
        @for bench in list(&status["benches"]) { (links(&bench)) }
        h2 { (say("sheets")) }
        p.links {
            a href={ "/v1/sheets/control.pdf" @if !leads.is_empty() { "?leads=" (encoded(&leads.join(","))) } } { (say("sheet_control")) }
            a href="/v1/sheets/selftest.pdf" { (say("sheet_selftest")) }
            a href="/v1/sheets/cautions.pdf" { (say("sheet_cautions")) }
        }
        h2 { (say("instruments")) }
        div.table tabindex="0" role="region" aria-label=(say("list")) { table {
            thead { tr {
                th { (say("label")) } th { (say("what")) } th { (say("serial")) }
                th { (say("calibration")) } th { (say("checks")) }
            } }
            tbody { @for one in instruments { (instrument(one)) } }
        } }
    };
    document(&format!("{} · Tapline", say("state")), Some(View::State), None, &main)
}

fn links(bench: &Value) -> Markup {
    let of = |value: &Value| value.as_str().unwrap_or("–").to_owned();
    let links = bench["links"].as_array().map_or(&[][..], Vec::as_slice);
    html! {
        h2 { (of(&bench["name"])) }
        div.table tabindex="0" role="region" aria-label=(say("list")) { table {
            thead { tr {
                th { (say("link")) } th { (say("label")) } th { (say("driver")) } th { (say("link_state")) }
            } }
            tbody { @for link in links {
                @let state = of(&link["state"]);
                tr .late[state != "up"] {
                    th scope="row" { (of(&link["id"])) }
                    td { (of(&link["instrument"])) }
                    td { (of(&link["driver"])) }
                    td {
                        @if state == "up" { "● " } @else { "▲ " }
                        (english().say("link", &state))
                        @if let Some(why) = link["why"].as_str() { " · " (why) }
                        @if link["unconfirmed"] == true { br; (english().say("link", "unconfirmed")) }
                    }
                }
            } }
        } }
    }
}

fn instrument(one: &Instrument) -> Markup {
    html! {
        tr .late[one.overdue] {
            th scope="row" { (one.id) }
            td { (one.what) }
            td { (one.serial) }
            td { (one.due) @if one.overdue { br; strong { (say("run_out")) } } }
            td {
                @for (standard, day, mark) in &one.checks { (standard) " · " (day) " · " (mark) br; }
                @if one.checks.is_empty() { "–" }
            }
        }
    }
}
