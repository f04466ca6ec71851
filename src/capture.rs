//! Captures (`.cap`): what came over a link and when, as text.
//!
//! Header lines `# key: text`, then lines of milliseconds, a direction and text with the escapes
//! `\n \r \t \\ \xNN`. `<` came in, `>` was sent, `!` is the station's doing ([`Deed`]).

use std::fmt::{self, Write};

use tapline_drivers::Want;

/// What happened at a moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Happened {
    /// Bytes came in.
    In(Vec<u8>),
    /// Bytes were sent.
    Sent(Vec<u8>),
    /// The station did something.
    Station(String),
}

/// What the station does to a driver, as a `!` line writes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Deed {
    /// `open`: a fresh stream begins.
    Open,
    /// `want FUNCTION`, `want FUNCTION live` (the asset may be energised), `want none`.
    Want(Option<Want>),
    /// `wait`: time passes until here.
    Wait,
}

impl Deed {
    /// Reads what stands behind a `!`.
    ///
    /// # Errors
    /// What a station can do.
    pub fn parse(text: &str) -> Result<Deed, String> {
        match text.split_once(' ') {
            None if text == "open" => Ok(Deed::Open),
            None if text == "wait" => Ok(Deed::Wait),
            Some(("want", "none")) => Ok(Deed::Want(None)),
            Some(("want", text)) => {
                let function = text.strip_suffix(" live").unwrap_or(text);
                let live = function != text;
                let function = serde_json::from_value(function.into());
                let function = function.map_err(|fault| fault.to_string())?;
                Ok(Deed::Want(Some(Want { function, live })))
            }
            _ => Err("the station can `open`, `wait`, `want FUNCTION`, `want FUNCTION live` and \
                      `want none`"
                .into()),
        }
    }
}

impl fmt::Display for Deed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Deed::Open => f.write_str("open"),
            Deed::Wait => f.write_str("wait"),
            Deed::Want(None) => f.write_str("want none"),
            Deed::Want(Some(want)) => {
                let word = serde_json::to_value(want.function).map_err(|_| fmt::Error)?;
                let live = if want.live { " live" } else { "" };
                write!(f, "want {}{live}", word.as_str().unwrap_or_default())
            }
        }
    }
}

/// A capture.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Capture {
    /// Headers in order.
    pub head: Vec<(String, String)>,
    /// Microseconds, and what happened then.
    pub events: Vec<(u64, Happened)>,
}

impl Capture {
    /// Reads the text of a capture.
    ///
    /// # Errors
    /// The first line that is none of a capture, and why.
    pub fn read(text: &str) -> Result<Capture, String> {
        let mut capture = Capture::default();
        for (number, line) in text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty()) {
            let fault = |why: &str| format!("line {}: `{line}`: {why}", number + 1);
            capture.take(line).map_err(|why| fault(&why))?;
        }
        Ok(capture)
    }

    fn take(&mut self, line: &str) -> Result<(), String> {
        if let Some(head) = line.strip_prefix("# ") {
            let (key, value) = head.split_once(": ").ok_or("a header is `# key: text`")?;
            self.head.push((key.into(), value.into()));
            return Ok(());
        }
        let form = "a line is `MILLISECONDS DIRECTION TEXT`, such as `405 < R=OL\\r\\n`";
        let (ms, rest) = line.trim_start().split_once(' ').ok_or(form)?;
        let (direction, what) = rest.split_once(' ').ok_or(form)?;
        let at = ms.parse::<u64>().ok().and_then(|ms| ms.checked_mul(1_000)).ok_or(form)?;
        let happened = match direction {
            "<" => Happened::In(unescape(what)?),
            ">" => Happened::Sent(unescape(what)?),
            "!" => Happened::Station(what.into()),
            _ => return Err("a direction is `<` (came in), `>` (was sent) or `!`".into()),
        };
        self.events.push((at, happened));
        Ok(())
    }

    /// Everything that came in.
    #[must_use]
    pub fn bytes(&self) -> Vec<u8> {
        let came = self.events.iter().filter_map(|(_, happened)| match happened {
            Happened::In(bytes) => Some(bytes.as_slice()),
            _ => None,
        });
        came.flatten().copied().collect()
    }

    /// What came in with the moment of each read, microseconds.
    pub fn reads(&self) -> impl Iterator<Item = (u64, &[u8])> {
        self.events.iter().filter_map(|(at, happened)| match happened {
            Happened::In(bytes) => Some((*at, bytes.as_slice())),
            _ => None,
        })
    }
}

/// Bytes as a capture writes them.
#[must_use]
pub fn escape(bytes: &[u8]) -> String {
    let mut text = String::new();
    for byte in bytes {
        match byte {
            b'\n' => text.push_str("\\n"),
            b'\r' => text.push_str("\\r"),
            b'\t' => text.push_str("\\t"),
            b'\\' => text.push_str("\\\\"),
            b' '..=b'~' => text.push(char::from(*byte)),
            byte => write!(text, "\\x{byte:02x}").expect("a string takes any text"),
        }
    }
    text
}

/// The bytes that a capture writes so.
///
/// # Errors
/// What is no such text.
pub fn unescape(text: &str) -> Result<Vec<u8>, String> {
    let mut out = Vec::new();
    let mut rest = text.chars();
    while let Some(c) = rest.next() {
        if c != '\\' {
            let ascii = u8::try_from(c).ok().filter(u8::is_ascii);
            out.push(ascii.ok_or("other bytes than ASCII are written \\xNN")?);
            continue;
        }
        out.push(match rest.next() {
            Some('n') => b'\n',
            Some('r') => b'\r',
            Some('t') => b'\t',
            Some('\\') => b'\\',
            Some('x') => {
                let hex: String = rest.by_ref().take(2).collect();
                let whole = hex.len() == 2 && hex.bytes().all(|b| b.is_ascii_hexdigit());
                let byte = u8::from_str_radix(&hex, 16).ok().filter(|_| whole);
                byte.ok_or("\\x needs two hexadecimal digits")?
            }
            _ => return Err("the escapes are \\n \\r \\t \\\\ \\xNN".into()),
        });
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read_back() {
        let all: Vec<u8> = (0..=255).collect();
        assert_eq!(unescape(&escape(&all)), Ok(all.clone()));
        let text = format!("# kind: x\n    5 < {}\n  7 ! open\n  9 < b\n", escape(&all));
        let capture = Capture::read(&text).unwrap();
        assert_eq!(capture.bytes(), [&all[..], b"b"].concat());
        assert_eq!(capture.reads().map(|(at, _)| at).collect::<Vec<_>>(), [5_000, 9_000]);
    }

    #[test]
    fn what_a_station_does_is_read_back() {
        for text in ["open", "wait", "want none", "want resistance_2w", "want voltage_ac live"] {
            assert_eq!(Deed::parse(text).unwrap().to_string(), text);
        }
        for text in ["", "opens", "want", "want volts", "want none live"] {
            assert!(Deed::parse(text).is_err(), "{text}");
        }
    }

    #[test]
    fn what_is_none_is_told_with_its_line() {
        for (text, part) in [
            ("x", "line 1: `x`: a line is"),
            ("# a: b\n5 ? x", "line 2: `5 ? x`: a direction is"),
            ("5 < \\xg0", "two hexadecimal digits"),
            ("5 < \\q", "the escapes are"),
            ("5 < µ", "written \\xNN"),
            ("# a", "a header is"),
        ] {
            let fault = Capture::read(text).unwrap_err();
            assert!(fault.contains(part), "{fault}");
        }
    }
}
