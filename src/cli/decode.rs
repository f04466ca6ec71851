//! `tapline decode`: bytes in, what a driver makes of them out, as JSON lines. No daemon.
//!
//! The driver is not opened and nothing is asked: a file has no first frame to suspect and nobody
//! to answer. For a polled meter this means that its numbers stay answers, because what was asked
//! is not in the file. A capture is played in its own time, its openings included.

use std::fmt;

use tapline_drivers::{AnyDriver, Driver, Input, Now, Output, by_name, catalogue};

use crate::capture::{Capture, Deed, Happened};
use crate::told::reading::render;

/// Between two lines of a file lies more time than between two sights of one code.
const LINE_US: u64 = 2_000_000;

/// Most bytes that a driver is given at once.
const READ: usize = 4096;

/// There is no driver of this name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnknownDriver {
    /// The name that was asked for.
    pub name: String,
}

impl fmt::Display for UnknownDriver {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let known: Vec<_> = catalogue::names().collect();
        write!(f, "there is no driver `{}`: use one of {}", self.name, known.join(", "))
    }
}

impl std::error::Error for UnknownDriver {}

/// Decodes a stream: one JSON line for each reading, note, identity, contact state and scan, in
/// order; together they cover every byte.
///
/// # Errors
/// [`UnknownDriver`] when no driver has that name. Bytes that can't be read are no error.
pub fn decode(driver: &str, bytes: &[u8]) -> Result<Vec<String>, UnknownDriver> {
    Ok(decode_by(named(driver)?, bytes))
}

/// A fresh built-in driver.
///
/// # Errors
/// [`UnknownDriver`] when no driver has that name.
pub fn named(driver: &str) -> Result<AnyDriver, UnknownDriver> {
    by_name(driver).ok_or_else(|| UnknownDriver { name: driver.to_string() })
}

/// Decodes a stream with a fresh driver.
#[must_use]
pub fn decode_by(mut driver: AnyDriver, bytes: &[u8]) -> Vec<String> {
    let mut out = Vec::new();
    let mut now = Now(0);
    for read in reads(bytes) {
        driver.handle(now, Input::Bytes(read));
        drain(&mut driver, bytes, &mut out);
        // A file has no time. Only a scanner needs some, and a frame must not be torn by it.
        if catalogue::is_scanner(driver.name())
            && matches!(read.last(), Some(b'\n' | b'\r' | b'\t'))
        {
            now.0 += LINE_US;
        }
    }
    if let Some(deadline) = driver.deadline() {
        driver.handle(deadline, Input::Tick);
        drain(&mut driver, bytes, &mut out);
    }
    driver.handle(now, Input::Open);
    if let Some(output @ Output::Note(_)) = driver.poll() {
        out.push(render(driver.name(), &output, bytes));
    }
    out
}

/// Decodes a capture with a fresh driver, in the time of the capture: what silence tore is torn.
#[must_use]
pub fn decode_capture(mut driver: AnyDriver, capture: &Capture) -> Vec<String> {
    let (mut stream, mut out) = (Vec::new(), Vec::new());
    for (at, happened) in &capture.events {
        while let Some(due) = driver.deadline().filter(|due| due.0 <= *at) {
            driver.handle(due, Input::Tick);
            drain(&mut driver, &stream, &mut out);
        }
        match happened {
            Happened::In(bytes) => {
                for read in bytes.chunks(READ) {
                    stream.extend_from_slice(read);
                    driver.handle(Now(*at), Input::Bytes(read));
                    drain(&mut driver, &stream, &mut out);
                }
            }
            Happened::Station(deed) => match Deed::parse(deed) {
                Ok(Deed::Open) => {
                    driver.handle(Now(*at), Input::Open);
                    drain(&mut driver, &stream, &mut out);
                    stream.clear();
                }
                Ok(Deed::Want(want)) => {
                    driver.handle(Now(*at), Input::Want(want));
                    drain(&mut driver, &stream, &mut out);
                }
                // What was written by hand or by a later program.
                Ok(Deed::Wait) | Err(_) => {}
            },
            Happened::Sent(_) => {}
        }
    }
    if let Some(deadline) = driver.deadline() {
        driver.handle(deadline, Input::Tick);
        drain(&mut driver, &stream, &mut out);
    }
    driver.handle(Now(u64::MAX / 2), Input::Open);
    if let Some(output @ Output::Note(_)) = driver.poll() {
        out.push(render(driver.name(), &output, &stream));
    }
    out
}

fn drain(driver: &mut AnyDriver, bytes: &[u8], out: &mut Vec<String>) {
    while let Some(output) = driver.poll() {
        out.push(render(driver.name(), &output, bytes));
    }
}

/// The stream line by line, so that time can pass between the lines.
fn reads(mut bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    std::iter::from_fn(move || {
        let end = bytes.iter().position(|b| matches!(b, b'\r' | b'\n' | b'\t'));
        let line =
            end.map_or(bytes.len(), |end| end + 1 + usize::from(bytes[end..].starts_with(b"\r\n")));
        let read;
        (read, bytes) = bytes.split_at(line.min(READ));
        (!read.is_empty()).then_some(read)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(driver: &str, bytes: &[u8]) -> Vec<String> {
        decode(driver, bytes).unwrap()
    }

    #[test]
    fn a_line_a_bound_an_overload_and_what_is_not_understood() {
        let got = lines(
            "val-unit-line",
            b"R4 +0.182 Ohm\r\nINS >200 MOhm HOLD\r\nR4 OL Ohm\r\nR4 \xb1\x07\r\nR4 +0.1",
        );
        let reading =
            |rest: &str| format!(r#"{{"link":null,"driver":"val-unit-line","function":{rest}}}"#);
        let value = r#""resistance_4w","indication":"value","value":"0.182","unit":"Ohm","#;
        let above = r#""insulation_resistance","indication":"above","value":"200","#;
        let over = r#""resistance_4w","indication":"overload","value":null,"unit":"Ohm","#;
        let held = r#""unit":"MOhm","flags":["hold"],"raw":"INS >200 MOhm HOLD\r\n","offset":15"#;
        assert_eq!(
            got,
            [
                reading(&format!(r#"{value}"flags":[],"raw":"R4 +0.182 Ohm\r\n","offset":0"#)),
                reading(&format!("{above}{held}")),
                reading(&format!(r#"{over}"flags":[],"raw":"R4 OL Ohm\r\n","offset":35"#)),
                "{\"note\":\"malformed\",\"offset\":46,\"raw\":\"R4 ±\\u0007\\r\\n\"}".to_string(),
                r#"{"note":"malformed","offset":53,"raw":"R4 +0.1"}"#.to_string(),
            ]
        );
    }

    #[test]
    fn contacts_are_a_reading_without_value() {
        assert_eq!(
            lines("contacts", b"C 1010\r"),
            [concat!(
                r#"{"link":null,"driver":"contacts","function":"contacts","indication":"none","#,
                r#""value":null,"unit":null,"flags":["c1","c3"],"raw":"C 1010\r","offset":0}"#,
            )]
        );
    }

    #[test]
    fn scans_and_a_patient_of_whom_nothing_is_kept() {
        let got =
            lines("scan", b"]C0P-0107\r\nP-0107\r\nP-0107\r\n]C18018950110153123456781\r\nP-01");
        let patient = r#"{"kind":"gs1","refused":"patient_identifier","length":22}"#;
        let text = |aim: &str, raw: &str| {
            let rest = r#""fields":{},"elements":[],"asset":null,"warnings":[],"refused":null}"#;
            let sniffed = aim == "null";
            format!(r#"{{"raw":"{raw}","aim":{aim},"kind":"text","sniffed":{sniffed},{rest}"#)
        };
        assert_eq!(
            got,
            [
                text("\"]C0\"", "]C0P-0107"),
                text("null", "P-0107"),
                text("null", "P-0107"),
                patient.to_string(),
                text("null", "P-01"),
            ]
        );
    }

    #[test]
    fn a_meter_that_was_not_asked_gives_answers() {
        assert_eq!(
            lines("scpi", b"+1.82E-01\r\n"),
            [r#"{"note":"answer","offset":0,"raw":"+1.82E-01\r\n","text":"+1.82E-01"}"#]
        );
    }

    #[test]
    fn an_unknown_driver_is_told_with_the_known_ones() {
        let fault = decode("ohm", b"").unwrap_err();
        let said = fault.to_string();
        assert!(said.starts_with("there is no driver `ohm`: use one of scpi, "), "{said}");
        assert!(catalogue::names().all(|name| said.contains(name)), "{said}");
    }
}
