//! The printed control codes: a sheet, the labels beside the levers, and on a page of its own the
//! card for steps that are live, so that no hand that reaches for a harmless code finds one of
//! those.

use std::fmt::Write;

use tapline_drivers::scan::control::{ACT_WORDS, code, read};
use tapline_protocols::plan::Switch;

use super::draw::{NotDrawn, SET_B, bars, squares};
use crate::station::codes::{CAUSES, NOTES, SKIPS, TELLS};
use crate::words::english;

/// Codes that need no other word.
const BARE: &[&str] = &["BEGIN", "CAPTURE", "PASS", "FAIL", "REPEAT", "PARK", "SIGN", "SIGN.TAG"];

/// A code, and what stands below it.
type Printed = (String, String);

/// The pages: HTML with the codes as SVG, each with its words. `leads`: lead sets that have a code.
///
/// # Errors
/// The name of a lead set has characters that no code has.
pub fn codes(leads: &[String], lines: bool) -> Result<String, NotDrawn> {
    let title = words("codes_title");
    let mut page = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<meta charset=\"utf-8\">\n<title>{title}</title>\n{STYLE}"
    );
    for (name, list) in
        [("codes", sheet(leads)), ("tells", tells()), ("levers", levers()), ("card", acts())]
    {
        let (title, how) = (words(&format!("{name}_title")), words(&format!("{name}_how")));
        write!(page, "<section>\n<h1>{title}</h1>\n<p>{how}</p>\n<div>\n")
            .expect("a string takes everything");
        for (word, says) in list {
            let code = code(&word);
            if read(code.as_bytes()).is_err() {
                return Err(NotDrawn(format!("`{word}` has characters that no code has")));
            }
            let drawn =
                if lines { bars(&format!("{SET_B}{code}"))? } else { squares(&code, false)? };
            writeln!(page, "<figure>{drawn}<figcaption>{says}</figcaption></figure>")
                .expect("a string takes everything");
        }
        page.push_str("</div>\n</section>\n");
    }
    page.push_str("</html>\n");
    Ok(page)
}

const STYLE: &str = "<style>body { font-family: sans-serif; font-size: 9pt; margin: 12mm }\n\
    section { break-after: page } div { display: flex; flex-wrap: wrap; gap: 3mm }\n\
    figure { margin: 0; width: min-content; min-width: 34mm; break-inside: avoid }\n\
    svg { display: block }</style>\n";

fn words(name: &str) -> String {
    english().say("scanner", name).to_owned()
}

fn said(word: &str) -> String {
    english().say("said", word).to_owned()
}

/// What is harmless to scan: nothing of it makes a step live.
fn sheet(leads: &[String]) -> Vec<Printed> {
    let bare = BARE.iter().map(|act| ((*act).to_owned(), said(&act.to_lowercase())));
    let nulls =
        leads.iter().map(|lead| (format!("NULL.{lead}"), format!("{}: {lead}", said("null"))));
    let items: Vec<&str> = english().codes("item").collect();
    let of_items = ["FAIL", "NA"].into_iter().flat_map(|act| {
        items.iter().map(move |item| (worded(act, item), act_of(act, english().say("item", item))))
    });
    let lists = [("SKIP", SKIPS), ("DISCARD", CAUSES), ("NOTE", NOTES)];
    let of_lists = lists.into_iter().flat_map(|(act, list)| {
        let table = if act == "DISCARD" { "cause" } else { "said" };
        list.iter().map(move |word| (worded(act, word), act_of(act, english().say(table, word))))
    });
    let proofs = ["network_resistance", "closed_path"];
    let proofs = proofs.iter().map(|what| (worded("PROVE", what), act_of("PROVE", &said(what))));
    bare.chain(nulls).chain(of_items).chain(of_lists).chain(proofs).collect()
}

/// `Leave this step out: the point …`.
fn act_of(act: &str, what: &str) -> String {
    let act = match act {
        "FAIL" => english().say("answer", "fail").to_owned(),
        other => said(&other.to_lowercase()),
    };
    format!("<b>{act}:</b> {what}")
}

fn worded(act: &str, word: &str) -> String {
    format!("{act}.{}", word.replace('_', "-").to_uppercase())
}

/// What is told of a new asset.
fn tells() -> Vec<Printed> {
    let tell = |(word, ..): &(&str, &str, &str)| {
        (worded("ASSET", word), english().say("tell", word).to_owned())
    };
    TELLS.iter().map(tell).collect()
}

fn levers() -> Vec<Printed> {
    let switches = [Switch::S1, Switch::S5, Switch::S7, Switch::S10, Switch::Test];
    let positions = switches.into_iter().flat_map(|switch| {
        switch.words().iter().map(move |word| {
            let code = format!("SWITCH.{}-{word}", switch.name());
            (code, format!("{}: <b>{word}</b>", english().say("switch", switch.name())))
        })
    });
    positions.collect()
}

fn acts() -> Vec<Printed> {
    ACT_WORDS.iter().map(|act| ((*act).to_owned(), said(&act.to_lowercase()))).collect()
}
