//! A scanned code as a JSON line.

use serde::Serialize;
use serde_json::{Map, Value};
use tapline_drivers::scan::{Content, Said};
use tapline_drivers::{Scan, ScanKind};

use super::json;
use crate::books::line::raw_text;
use crate::clock;

#[derive(Serialize)]
struct ScanLine<'a> {
    raw: String,
    aim: Option<&'a str>,
    kind: ScanKind,
    sniffed: bool,
    fields: Value,
    elements: Vec<[&'a str; 2]>,
    asset: Option<&'a str>,
    warnings: &'a [&'static str],
    refused: Option<&'a str>,
}

#[derive(Serialize)]
struct RefusedLine<'a> {
    kind: ScanKind,
    refused: &'a str,
    length: usize,
    /// Byte behind the symbology identifier, and the element there; of a patient nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    at: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    element: Option<&'a str>,
}

pub(super) fn line(scan: &Scan) -> String {
    match (&scan.content, scan.refused) {
        (Some(content), None) => said(scan, content),
        (_, why) => refused(scan, why.unwrap_or("damaged_code")),
    }
}

fn refused(scan: &Scan, why: &str) -> String {
    let whole = ["patient_identifier", "too_long", "damaged_code"].contains(&why);
    let fault = scan.fault.as_ref().filter(|_| !whole);
    json(&RefusedLine {
        kind: scan.kind,
        refused: why,
        length: scan.length,
        at: fault.map(|fault| fault.at),
        element: fault.and_then(|fault| fault.key.as_deref()),
    })
}

fn said(scan: &Scan, content: &Content) -> String {
    let fields: Map<String, Value> =
        fields(content).into_iter().map(|(k, v)| (k.into(), v.into())).collect();
    let elements = content.elements.iter().map(|one| [one.key.as_str(), one.value.as_str()]);
    let found = scan.kind == ScanKind::Asset;
    json(&ScanLine {
        raw: raw_text(&scan.raw),
        aim: scan.aim.as_deref(),
        kind: scan.kind,
        sniffed: content.sniffed,
        fields: Value::Object(fields),
        elements: elements.collect(),
        asset: content.text.as_deref().filter(|_| found),
        warnings: &content.warnings,
        refused: None,
    })
}

/// The fields as text. Of a year that has two digits the one nearest to now is meant.
pub(crate) fn fields(content: &Content) -> Vec<(&'static str, String)> {
    let now = clock::rfc3339(clock::now().wall_us);
    let year = now.get(..4).and_then(|year| year.parse().ok()).unwrap_or(2000);
    let text = |said: &Said| match said {
        Said::Text(text) => text.clone(),
        Said::Day(day) => day.text(year),
    };
    content.fields.iter().map(|(name, said)| (*name, text(said))).collect()
}
