//! What a driver made of bytes, as JSON lines.

pub(crate) mod scan;

use serde::Serialize;
use serde_json::Value;
use tapline_drivers::{
    Contacts, Function, Indication, Message, Note, Output, Reading, Span, Unit, catalogue,
};

use crate::books::line::{RawText, raw_text};

#[derive(Serialize)]
struct ReadingLine<'a> {
    link: Option<&'a str>,
    driver: &'a str,
    function: Function,
    indication: &'a str,
    value: Option<String>,
    unit: Option<Unit>,
    flags: Vec<Value>,
    raw: String,
    offset: u64,
    /// Why it would not be judged.
    #[serde(skip_serializing_if = "Option::is_none")]
    why: Option<&'a str>,
}

#[derive(Serialize)]
struct NoteLine<'a> {
    note: &'a str,
    offset: u64,
    #[serde(skip_serializing_if = "Option::is_none")]
    raw: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    text: Option<&'a str>,
}

/// One output as a JSON line. `stream` is the driver's stream since it was opened.
#[must_use]
pub fn render(driver: &str, output: &Output<Message>, stream: &[u8]) -> String {
    match output {
        Output::Reading(reading) => json(&reading_line(driver, reading, stream)),
        Output::Contacts(contacts) => json(&contacts_line(driver, contacts, stream)),
        Output::Note(note) => json(&note_line(driver, note, stream)),
        Output::Scan(scan) => scan::line(scan),
        Output::Identity(identity) => {
            let raw = raw(identity.span, stream);
            let (text, offset) = (&identity.text, identity.span.from);
            json(&serde_json::json!({ "identity": text, "offset": offset, "raw": raw }))
        }
        Output::Ready(function) => json(&serde_json::json!({ "ready": function })),
        Output::Send(message) => json(&serde_json::json!({ "send": raw_text(message.bytes()) })),
    }
}

fn raw(span: Span, stream: &[u8]) -> String {
    let place = usize::try_from(span.from).ok().zip(usize::try_from(span.to).ok());
    let bytes = place.and_then(|(from, to)| stream.get(from..to));
    raw_text(bytes.unwrap_or_default())
}

fn reading_line<'a>(driver: &'a str, reading: &Reading, stream: &[u8]) -> ReadingLine<'a> {
    let (indication, number) = match reading.indication {
        Indication::Value(number) => ("value", Some(number)),
        Indication::Above(number) => ("above", Some(number)),
        Indication::Below(number) => ("below", Some(number)),
        Indication::Overload => ("overload", None),
        Indication::NoValue => ("none", None),
    };
    ReadingLine {
        link: None,
        driver,
        function: reading.function,
        indication,
        value: number.map(|number| number.text()),
        unit: Some(reading.unit),
        flags: reading.flags.iter().map(|flag| serde_json::json!(flag)).collect(),
        raw: raw(reading.span, stream),
        offset: reading.span.from,
        why: reading.why,
    }
}

fn contacts_line<'a>(driver: &'a str, contacts: &Contacts, stream: &[u8]) -> ReadingLine<'a> {
    let names = ["c1", "c2", "c3", "c4"].into_iter().zip(contacts.closed);
    ReadingLine {
        link: None,
        driver,
        function: Function::Contacts,
        indication: "none",
        value: None,
        unit: None,
        flags: names.filter(|(_, closed)| *closed).map(|(name, _)| name.into()).collect(),
        raw: raw(contacts.span, stream),
        offset: contacts.span.from,
        why: None,
    }
}

/// The bytes of a scanner are shown in its scans only: a piece of a code may be a patient's.
fn note_line<'a>(driver: &str, note: &'a Note, stream: &[u8]) -> NoteLine<'a> {
    NoteLine {
        note: note.word,
        offset: note.span.from,
        raw: (!catalogue::is_scanner(driver)).then(|| raw(note.span, stream)),
        text: note.text.as_deref(),
    }
}

/// JSON with the escapes of stored lines: no control byte of a wire reaches a terminal.
fn json<T: Serialize>(value: &T) -> String {
    let mut out = Vec::new();
    let mut writer = serde_json::Serializer::with_formatter(&mut out, RawText);
    value.serialize(&mut writer).expect("plain fields and strings can be written to memory");
    String::from_utf8(out).expect("JSON is UTF-8")
}
