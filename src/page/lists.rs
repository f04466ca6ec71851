//! The worklist and the list of results.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::{View, document, say, verdict};
use crate::index::Summary;
use crate::words::english;

/// One asset of the worklist.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Due {
    pub asset: String,
    pub description: String,
    pub location: String,
    pub due: Option<String>,
    /// `overdue due no_interval never not_passed`.
    pub state: &'static str,
    /// What work orders ask for.
    pub orders: Vec<String>,
    /// Last inspection: day, name, verdict.
    pub last: Option<(String, String, String)>,
}

/// A part of the worklist.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Worklist<'a> {
    pub rows: &'a [Due],
    pub place: &'a str,
    pub summary: &'a str,
    /// Sealed records that count for nothing.
    pub damaged: &'a [String],
    /// The asset behind which it goes on.
    pub next: Option<&'a str>,
}

/// The worklist.
pub(crate) fn due(list: &Worklist<'_>) -> String {
    let Worklist { rows, place, summary, damaged, next } = *list;
    let main = html! {
        h1 { (say("due")) }
        p { (summary) " " a href="/month" { (say("month")) } }
        p.links { a href="/v1/export/calendar" { (say("as_calendar")) } }
        @for id in damaged { p.warn { (english().tell("due", "counts_for_nothing", &[("id", id)])) } }
        form.filters method="get" action="/due" {
            label { (say("location")) input name="place" value=(place) autocomplete="off"; }
            button type="submit" { (say("show")) }
        }
        div.table tabindex="0" role="region" aria-label=(say("list")) {
            table {
                thead { tr {
                    th { (say("due_on")) } th { (say("asset")) } th { (say("what")) }
                    th { (say("location")) } th { (say("last")) }
                } }
                tbody { @for row in rows { (due_row(row)) } }
            }
        }
        @if let Some(next) = next {
            p { a href={ "/due?place=" (encoded(place)) "&after=" (encoded(next)) } {
                (say("further"))
            } }
        }
    };
    document(&format!("{} · Tapline", say("due")), Some(View::Due), None, &main)
}

fn due_row(row: &Due) -> Markup {
    html! {
        tr .late[row.state == "overdue"] {
            td { (row.due.as_deref().unwrap_or("–"))
                @if row.state != "due" { br; (english().say("due_state", row.state)) }
                @for order in &row.orders { br; (order) } }
            th scope="row" { a href={ "/asset/" (row.asset) } { (row.asset) } }
            td { (row.description) }
            td { (row.location) }
            td { @if let Some((day, id, word)) = &row.last {
                a href={ "/inspection/" (id) } { (day) } " " (verdict(word))
            } @else { (english().say("due", "none")) } }
        }
    }
}

/// What the list of results was asked for.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Asked {
    pub asset: String,
    pub verdict: String,
    pub from: String,
    pub to: String,
    /// `opened asset plan verdict`.
    pub sort: String,
    pub up: bool,
    /// Today and the day a week before it.
    pub today: String,
    pub week: String,
}

/// The list of results; `older`: the last of them, where there are more behind it; `names` of
/// people by their ids.
pub(crate) fn results(
    rows: &[Summary],
    asked: &Asked,
    (older, names): (Option<&str>, &BTreeMap<String, String>),
) -> String {
    let words = ["pass", "conditional_pass", "conditional_fail", "fail", "undecided"];
    let main = html! {
        h1 { (say("results")) }
        form.filters method="get" action="/results" {
            label { (say("asset")) input name="asset" value=(asked.asset) autocomplete="off"; }
            label { (say("verdict")) select name="verdict" {
                option value="" { (say("any")) }
                @for word in words {
                    option value=(word) selected[asked.verdict == word] { (english().say("verdict", word)) }
                }
            } }
            label { (say("from")) input type="date" name="from" value=(asked.from); }
            label { (say("before")) input type="date" name="to" value=(asked.to); }
            button type="submit" { (say("show")) }
            a href={ "/results?from=" (asked.today) } { (say("today")) }
            a href={ "/results?from=" (asked.week) } { (say("week")) }
            a href="/results?from=" { (say("all")) }
        }
        p.links { a href="/reviews" { (say("reviews")) } }
        (given(asked))
        p { (super::tell("count", &[("n", &rows.len().to_string())])) @if older.is_some() { " " (say("and_more")) } }
        div.table tabindex="0" role="region" aria-label=(say("list")) {
            table {
                thead { tr {
                    (column(asked, "opened")) (column(asked, "asset")) (column(asked, "verdict"))
                    (column(asked, "plan")) th { (say("who")) } th { (say("instruments")) }
                } }
                tbody { @for row in rows { (result(row, names)) } }
            }
        }
        @if let Some(older) = older {
            p { a href={ (address(asked, (&asked.sort, asked.up))) "&after=" (encoded(older)) } {
                (say("older"))
            } }
        }
    };
    document(&format!("{} · Tapline", say("results")), Some(View::Results), None, &main)
}

/// What other programs take, of these days and this asset.
fn given(asked: &Asked) -> Markup {
    let parts = [("asset", &asked.asset), ("from", &asked.from), ("to", &asked.to)];
    let parts = parts.into_iter().filter(|(_, text)| !text.is_empty());
    let query = parts.map(|(name, text)| format!("{name}={}", encoded(text)));
    let query = query.collect::<Vec<_>>().join("&");
    let [table, sheet] = ["", "&spreadsheet=1"].map(|more| match query.as_str() {
        "" => more.replace('&', "?"),
        query => format!("?{query}{more}"),
    });
    html! {
        details #given {
            summary { (say("given_out")) }
            p.quiet { (say("given_how")) }
            ul {
                @for (name, word) in [("measurements", "of_values"), ("inspections", "of_inspections")] {
                    li.links {
                        a href={ "/v1/export/" (name) (table) } { (say(word)) }
                        a href={ "/v1/export/" (name) (sheet) } { (say(word)) ", " (say("spreadsheet")) }
                    }
                }
                li.links { a href={ "/v1/export/lines" (table) } { (say("as_json_lines")) } }
            }
        }
    }
}

/// A heading that sorts; the other way, where it does already.
fn column(asked: &Asked, name: &str) -> Markup {
    let by = asked.sort == name;
    let up = if by { !asked.up } else { name != "opened" };
    let order = if by && asked.up { "ascending" } else { "descending" };
    html! {
        th aria-sort=[by.then_some(order)] {
            a href=(address(asked, (name, up))) {
                (say(&format!("by_{name}"))) @if by { @if asked.up { " ↑" } @else { " ↓" } }
            }
        }
    }
}

/// The address of what was asked for, in some order.
fn address(asked: &Asked, (sort, up): (&str, bool)) -> String {
    let Asked { asset, verdict, from, to, .. } = asked;
    let [asset, verdict, from, to, sort] = [asset, verdict, from, to, sort].map(encoded);
    let up = u8::from(up);
    format!("/results?asset={asset}&verdict={verdict}&from={from}&to={to}&sort={sort}&up={up}")
}

/// A text inside an address.
pub(super) fn encoded(text: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-._~".contains(&b);
    let each = text.bytes().map(|b| match plain(b) {
        true => char::from(b).to_string(),
        false => format!("%{b:02X}"),
    });
    each.collect()
}

fn result(row: &Summary, names: &BTreeMap<String, String>) -> Markup {
    let by = row.by.as_deref().unwrap_or("–");
    let asset = row.later.as_ref().map_or(&row.asset, |later| &later.asset);
    let opened = row.opened.get(..16).unwrap_or(&row.opened).replace('T', " ");
    html! {
        tr {
            td { a href={ "/inspection/" (row.id) } { (opened) } }
            th scope="row" { a href={ "/asset/" (asset) } { (asset) } }
            td {
                @if let Some(word) = row.outcome() { (verdict(&super::word(word))) }
                @else if let Some(ended) = &row.ended { (english().say("ended", ended)) }
                @else { (say("in_work")) }
                @if let Some(later) = &row.later {
                    br; (english().say("life", &later.state))
                    @if let Some(first) = row.verdict.filter(|first| *first != later.outcome) {
                        br; (say("signed_first")) " " (verdict(&super::word(first)))
                    }
                }
                @if row.damaged { br; strong { (say("damaged")) } }
            }
            td { (row.plan) }
            td { (names.get(by).map_or(by, String::as_str)) }
            td { (row.instruments.join(", ")) }
        }
    }
}

/// An inspection that waits for a review.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Waiting {
    /// As the list has it.
    Known(Box<Summary>),
    /// Its name: the list is away.
    Name(String),
}

/// The list of what waits for a review; `next`: the last of them, where there are more behind it.
pub(crate) fn waits(
    rows: &[Waiting],
    next: Option<&str>,
    names: &BTreeMap<String, String>,
) -> String {
    let main = html! {
        h1 { (say("reviews")) }
        p { (say("reviews_how")) }
        @if rows.is_empty() { p { (english().say("say", "life.none_waits")) } }
        @else { div.table tabindex="0" role="region" aria-label=(say("list")) {
            table {
                thead { tr {
                    th { (say("by_opened")) } th { (say("asset")) } th { (say("verdict")) }
                    th { (say("by_plan")) } th { (say("who")) } th { (say("instruments")) }
                } }
                tbody { @for row in rows { @match row {
                    Waiting::Known(known) => (result(known, names)),
                    Waiting::Name(id) => tr { td colspan="6" { a href={ "/inspection/" (id) } { (id) } } },
                } } }
            }
        } }
        @if let Some(next) = next {
            p { a href={ "/reviews?after=" (encoded(next)) } { (say("further")) } }
        }
    };
    document(&format!("{} · Tapline", say("reviews")), Some(View::Results), None, &main)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_given_out_is_of_what_is_shown() {
        let asked = Asked { from: "2026-11-20".into(), asset: "A&1".into(), ..Asked::default() };
        let html = given(&asked).into_string();
        let want = "/v1/export/measurements?asset=A%261&amp;from=2026-11-20&amp;spreadsheet=1";
        assert!(html.contains(want), "{html}");
        let html = given(&Asked::default()).into_string();
        assert!(
            html.contains("/v1/export/inspections\"") && html.contains("?spreadsheet=1"),
            "{html}"
        );
    }

    #[test]
    fn what_was_asked_for_stays_in_the_address_and_can_not_leave_it() {
        assert_eq!(encoded("A-1_é \"&<"), "A-1_%C3%A9%20%22%26%3C");
        let asked = Asked { asset: "\"><script>".into(), sort: "asset".into(), ..Asked::default() };
        let html = results(&[], &asked, (Some("K3\"><script>"), &BTreeMap::new()));
        assert!(!html.contains("<script>"), "{html}");
        assert!(html.contains("aria-sort=\"descending\""));
    }
}
