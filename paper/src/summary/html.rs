//! The same summary as one HTML document, without a picture or a script from elsewhere.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::data::{Part, Summary};
use super::{plot, tables, tell};
use crate::svg::svg;
use crate::words::{Language, Words};

const STYLE: &str = "body{font:15px/1.45 system-ui,sans-serif;max-width:64rem;margin:2rem auto;\
padding:0 1rem;color:#16181c}h1{font-size:1.3rem;margin:0}\
h2{font-size:1.05rem;margin:1.6rem 0 .4rem}.q{color:#4e545c}\
table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}\
td,th{padding:.25rem .5rem;text-align:left;border-bottom:1px solid #e2e5e9;\
vertical-align:top;font-weight:normal}thead th{color:#4e545c;font-size:.85rem}\
.n{text-align:right;white-space:nowrap}.a td,.a th,b{font-weight:600}svg{max-width:100%;height:auto}";

/// The document.
#[must_use]
pub fn html(summary: &Summary, language: Language) -> String {
    let words = language.words();
    let say = |code: &str| words.say("summary", code);
    let period = tell::period(words, summary);
    let document = html! {
        (DOCTYPE)
        html lang=(language.code()) {
            head {
                meta charset="utf-8";
                title { (words.tell("summary", "name", &[("period", &period)])) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                h1 { (say("title")) " " (period) }
                p.q { (tell::days(words, summary)) br; (summary.site.workshop) " · "
                    (summary.site.address.join(", ")) " · " (summary.site.station) br;
                    (tell::state(words, summary)) }
                (numbers(words, summary))
                @if let Some(page) = plot::page(words, summary) { p { (PreEscaped(svg(&page))) } }
                (parts(words, ("places", "place"), &tell::places(words, summary)))
                (parts(words, ("risks", "risk"), &tell::risks(words, summary)))
                (set_aside(words, summary))
                (missing(words, summary))
                h2 { (words.say("heading", "about")) }
                @for line in tell::says(words, summary) { p.q { (line) } }
                p.q { b { (words.tell("summary", "end", &[("period", &period)])) } }
            }
        }
    };
    document.into_string()
}

fn numbers(words: &Words, summary: &Summary) -> Markup {
    html! {
        h2 { (words.say("heading", "numbers")) }
        table { tbody { @for [name, means, shown, of] in tell::numbers(words, summary) { tr {
            th { b { (name) } br; span.q { (means) } } td.n { b { (shown) } } td.n { (of) }
        } } } }
    }
}

fn parts(words: &Words, (heading, first): (&str, &str), list: &[Part]) -> Markup {
    let all = Part::sum(words.say("summary", "all"), list.iter());
    html! { @if !list.is_empty() {
        h2 { (words.say("heading", heading)) }
        table {
            thead { tr { @for (n, name) in tables::heads(words, first).iter().enumerate() {
                th .n[n > 0] { (name) }
            } } }
            tbody { @for (n, part) in list.iter().chain([&all]).enumerate() {
                tr .a[n == list.len()] {
                    th { (part.name) }
                    @for cell in tables::cells(words, part) { td.n { (cell) } }
                }
            } }
        }
    } }
}

fn set_aside(words: &Words, summary: &Summary) -> Markup {
    let rows = tell::set_aside(words, summary);
    html! {
        h2 { (words.say("heading", "set_aside")) }
        @if rows.is_empty() {
            p { (words.say("summary", "none_set_aside")) }
        } @else {
            p.q { (words.say("number_means", "set_aside")) }
            table {
                thead { tr { @for (n, code) in ["by", "values", "in_force"].iter().enumerate() {
                    th .n[n > 0] { (words.say("summed", code)) }
                } } }
                tbody { @for [by, values, kept] in rows { tr {
                    th { (by) } td.n { (values) } td.n { (kept) }
                } } }
            }
        }
    }
}

fn missing(words: &Words, summary: &Summary) -> Markup {
    html! {
        h2 { (words.say("heading", "missing")) }
        p { (tell::missing(words, summary)) }
        @if !summary.missing.is_empty() { table {
            thead { tr { @for code in ["due_on", "asset", "what", "place", "since"] {
                th { (words.say("summed", code)) }
            } } }
            tbody { @for one in summary.missing.iter().take(tell::MISSING_MAX) { tr {
                td { (words.day(&one.due)) } th { (one.asset) } td { (one.what) } td { (one.place) }
                td { (tell::since(words, one)) }
            } } }
        } }
        @if let Some(more) = tell::missing_more(words, summary) { p { b { (more) } } }
    }
}
