//! The same report as one HTML document, without a picture or a script from elsewhere.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::data::{Group, Report, Value};
use super::tell;
use super::{changes, checklist, head, lists, plot};
use crate::canvas::{Ink, MM, Page};
use crate::codes::{Code, NotDrawn};
use crate::seal::{Word, seal};
use crate::svg::svg;
use crate::words::{Language, Words};

const STYLE: &str = "body{font:15px/1.45 system-ui,sans-serif;max-width:60rem;margin:2rem auto;\
padding:0 1rem;color:#16181c}h1{font-size:1.3rem;margin:0}\
h2{font-size:1.05rem;margin:1.6rem 0 .4rem}.q{color:#4e545c}\
.b{display:flex;gap:1.5rem;justify-content:space-between;flex-wrap:wrap;margin:1rem 0}\
.r{border:2px solid;padding:.6rem 1rem;display:flex;gap:.8rem;align-items:center;\
max-width:27rem}.r strong{font-size:1.5rem}\
dl{display:grid;grid-template-columns:repeat(auto-fill,minmax(16rem,1fr));gap:.5rem 1rem;\
margin:0}dt{color:#4e545c;font-size:.85rem}dd{margin:0}\
table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}\
td,th{padding:.25rem .5rem;text-align:left;border-bottom:1px solid #e2e5e9;\
vertical-align:top;font-weight:normal}tr.g th,tr.g td{background:#f1f3f5;font-weight:600}\
.n{text-align:right}svg{vertical-align:middle}";

/// The document.
///
/// # Errors
/// Its head can't be drawn.
pub fn html(report: &Report, language: Language) -> Result<String, NotDrawn> {
    let words = language.words();
    let page = |code: &str| words.say("page", code);
    let (word, said, means) = tell::outcome(words, &report.outcome);
    let asset = &report.asset;
    let ink = word.ink();
    let colour = format!("color:#{:02x}{:02x}{:02x}", ink.0, ink.1, ink.2);
    let document = html! {
        (DOCTYPE)
        html lang=(language.code()) {
            head {
                meta charset="utf-8";
                title { (words.tell("page", "name", &[("id", report.number())])) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                h1 { (changes::title(words, report)) }
                p.q { (changes::number(words, report)) " · " (report.site.workshop) " · " (report.site.address.join(", ")) }
                div.b {
                    div {
                        strong { (asset.what) } br; strong { (asset.id) } br;
                        (asset.maker) " " (asset.model) " · "
                        (words.tell("page", "serial", &[("n", &asset.serial)]))
                    }
                    div.r style=(colour) { (shape(word)) div { strong { (said) } br; (means) } }
                }
                dl { @for (name, text) in head::fields(words, report) {
                    div { dt { (name) } dd { (text) } }
                } }
                (changed(words, report))
                (measured(words, report))
                (below(words, report))
                (signed(words, report))
                @if let Some(head) = &report.printed_head() {
                    p.q { (page("head")) }
                    p { (code(head)?) " " strong { (tell::head_code(head)) } }
                    p.q { (tell::verify(words, report)) br;
                        (words.tell("page", "key", &[("key", &report.key)])) br;
                        (words.tell("page", "program", &[("program", &report.program), ("judge", &report.judge)])) }
                } @else { p { strong { (page("unsealed")) } } }
                (gaps(words, report))
                p.q { (page("says")) }
                p.q { strong { (words.tell("page", "end", &[("id", report.number())])) } }
            }
        }
    };
    Ok(document.into_string())
}

/// The shape of a word.
fn shape(word: Word) -> Markup {
    let mut page = Page::new(30.0, 30.0);
    seal(&mut page, word, (15.0, 15.0), 13.0, word.ink());
    PreEscaped(svg(&page))
}

fn code(head: &[u8; 32]) -> Result<Markup, NotDrawn> {
    let code = Code::squares(head, false)?;
    let module = 0.7 * MM;
    let side = code.wide(module) + 4.0 * module;
    let mut page = Page::new(side, side);
    code.draw(&mut page, (2.0 * module, 2.0 * module), module, Ink::FULL);
    Ok(PreEscaped(svg(&page)))
}

fn changed(words: &Words, report: &Report) -> Markup {
    html! { @if !report.changes.is_empty() {
        h2 { (words.say("heading", "changes")) }
        @for line in changes::first(words, report) { p { strong { (line) } } }
        @for one in &report.changes {
            @let (head, lines) = changes::told(words, one);
            p { strong { (head) } @for line in lines { br; (line) } }
        }
    } }
}

fn measured(words: &Words, report: &Report) -> Markup {
    let column = |code: &str| words.say("column", code);
    html! { @if !report.groups.is_empty() {
        h2 { (words.say("heading", "measured")) }
        table {
            thead { tr {
                th { (column("place")) } th.n { (column("sent")) } th { (column("corrections")) }
                th.n { (column("result")) } th { (column("rests")) }
            } }
            tbody { @for one in &report.groups {
                (group(words, one))
                @for value in &one.values { (row(words, value)) }
            } }
        }
    } }
}

fn group(words: &Words, group: &Group) -> Markup {
    let result = group.result.as_ref().map(|result| tell::amount(words, result));
    let reasons = group.reasons.iter().map(|reason| words.say("reason", reason));
    html! {
        tr.g {
            th { (tell::name(words, group)) }
            td.n colspan="2" { @if let Some(limit) = &group.limit { (tell::limit(words, limit)) } }
            td.n { (result.unwrap_or_else(|| words.say("mark", "none"))) }
            td { (shape_small(group.word)) " " (words.say("verdict", group.word.code())) }
        }
        tr { td.q colspan="5" {
            @if let Some(limit) = &group.limit { (tell::source(words, limit)) "; " }
            (tell::doubt(words, group)) " "
            @if let Some(share) = &group.share {
                (words.tell("mark", "share", &[("share", &words.number(share))])) ". "
            }
            @for reason in reasons { (reason) " " }
            @if let Some(asides) = tell::asides(words, group) { (asides) }
        } }
    }
}

fn shape_small(word: Word) -> Markup {
    let mut page = Page::new(12.0, 12.0);
    seal(&mut page, word, (6.0, 6.0), 5.0, word.ink());
    PreEscaped(svg(&page))
}

fn row(words: &Words, value: &Value) -> Markup {
    let result = value.result.as_ref().map(|result| tell::amount(words, result));
    html! { tr {
        td { (tell::place(words, value)) } td.n { (tell::amount(words, &value.sent)) }
        td { (tell::corrections(words, value)) } td.n { (result.unwrap_or_default()) }
        td { (tell::rests(words, value)) }
    } }
}

/// What stands below the measurements.
fn below(words: &Words, report: &Report) -> Markup {
    let heading = |code: &str| words.say("heading", code);
    let answers = report.answers.iter().map(|one| lists::answered(words, one));
    let answers: Vec<String> = answers.collect();
    html! {
        (listed(&heading("answers"), &answers))
        (listed(&heading("conditions"), &lists::conditions_of(words, report)))
        (listed(&heading("history"), &plot::told(words, report)))
        @if !report.meters.is_empty() {
            h2 { (heading("meters")) }
            table { tbody { @for meter in &report.meters { tr {
                td { (meter.id) } td { (lists::kind(words, meter)) } td { (meter.serial) }
                td { (meter.certificate) } td { (words.day(&meter.due)) }
            } } } }
        }
        (listed(&heading("remarks"), &lists::remarks_of(words, report)))
    }
}

fn listed(heading: &str, lines: &[String]) -> Markup {
    html! { @if !lines.is_empty() {
        h2 { (heading) }
        ul { @for line in lines { li { (line) } } }
    } }
}

fn signed(words: &Words, report: &Report) -> Markup {
    html! {
        h2 { (words.say("heading", "signatures")) }
        @if report.signatures.is_empty() { p { (words.say("page", "unsigned")) } }
        @for one in &report.signatures { p {
            (words.say("meaning", &one.meaning)) ": " strong { (one.name) } " (" (one.id) "), "
            (one.at.map(|at| words.moment(at)).unwrap_or_default()) ", "
            (words.say("auth", &one.auth))
        } }
    }
}

fn gaps(words: &Words, report: &Report) -> Markup {
    let gaps: Vec<String> =
        checklist::gaps(report).iter().map(|gap| words.say("gap", gap)).collect();
    html! { @if !gaps.is_empty() {
        p { strong { (words.tell("page", "gaps", &[("what", &gaps.join(", "))])) } }
    } }
}
