//! One stored line, to bytes and back.
//!
//! Keys stand in this order: `seq t m k`, the fact's own, `by`, `sig`. What the bytes are is what
//! is hashed and signed: a line is never serialised a second time.

use std::fmt;
use std::io;

use serde::Serialize;
use serde_json::ser::{CharEscape, Formatter, Serializer};
use tapline_protocols::Fact;

use super::read::Read;
use crate::clock::Stamp;

/// Longest line, bytes, with its line feed.
pub const LINE_BYTES_MAX: usize = 65_536;

/// One line of a book.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Number, rising over the station.
    pub seq: u64,
    /// When it happened.
    pub at: Stamp,
    /// What happened.
    pub fact: Fact,
    /// Who acted.
    pub by: Option<String>,
    /// Base64 Ed25519 signature of the bytes before it, on `confirm` and `key` lines; on `sign`
    /// lines over all that stands above them, too. Earlier programs wrote none on `sign` lines.
    pub sig: Option<String>,
}

impl Line {
    /// The line with its line feed.
    ///
    /// # Errors
    /// It is longer than [`LINE_BYTES_MAX`], or its wall clock lies outside the years 0 to 9999.
    pub fn bytes(&self) -> Result<Vec<u8>, LineFault> {
        let mut bytes = Vec::with_capacity(256);
        let form = Form {
            seq: self.seq,
            t: time_text(self.at.wall_us).ok_or(LineFault::Time(self.at.wall_us))?,
            m: self.at.boot_us,
            fact: &self.fact,
            by: self.by.as_deref(),
            sig: self.sig.as_deref(),
        };
        let mut serializer = Serializer::with_formatter(&mut bytes, RawText);
        form.serialize(&mut serializer).map_err(|e| LineFault::Json(e.to_string()))?;
        bytes.push(b'\n');
        match bytes.len() {
            0..=LINE_BYTES_MAX => Ok(bytes),
            long => Err(LineFault::TooLong(long)),
        }
    }

    /// Reads a line, with or without its line feed. Keys that this version does not know are
    /// passed over.
    ///
    /// # Errors
    /// It is no JSON, no line of a book, or a kind of fact that this version does not know.
    pub fn read(bytes: &[u8]) -> Result<Line, LineFault> {
        let form: Read =
            serde_json::from_slice(bytes).map_err(|e| LineFault::Json(e.to_string()))?;
        let wall_us = time_read(&form.t).ok_or(LineFault::Stamp(form.t))?;
        let at = Stamp { wall_us, boot_us: form.m };
        Ok(Line { seq: form.seq, at, fact: form.fact, by: form.by, sig: form.sig })
    }
}

/// Why a line can't be written or read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LineFault {
    /// Longer than [`LINE_BYTES_MAX`].
    TooLong(usize),
    /// Wall clock outside the years 0 to 9999, microseconds since 1970.
    Time(i64),
    /// `t` is not UTC with six decimals.
    Stamp(String),
    /// Not JSON, or not a line of a book.
    Json(String),
}

impl fmt::Display for LineFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            LineFault::TooLong(n) => {
                write!(f, "a line has {n} bytes and at most {LINE_BYTES_MAX} may be stored")
            }
            LineFault::Time(us) => {
                write!(f, "the wall clock ({us} us since 1970) can't be written: set the clock")
            }
            LineFault::Stamp(t) => write!(f, "`{t}` is not UTC with six decimals and a `Z`"),
            LineFault::Json(why) => write!(f, "not a line of a book: {why}"),
        }
    }
}

impl std::error::Error for LineFault {}

/// Bytes as raw text: byte n is code point n.
#[must_use]
pub fn raw_text(bytes: &[u8]) -> String {
    bytes.iter().map(|&b| char::from(b)).collect()
}

/// The bytes of raw text; `None` if a code point is above 255, so that it is no raw text.
#[must_use]
pub fn raw_bytes(text: &str) -> Option<Vec<u8>> {
    text.chars().map(|c| u8::try_from(c).ok()).collect()
}

/// Microseconds since 1970 as UTC with exactly six decimals; `None` outside the years 0 to 9999.
#[must_use]
pub fn time_text(wall_us: i64) -> Option<String> {
    let time = jiff::Timestamp::from_microsecond(wall_us).ok()?;
    let text = format!("{time:.6}");
    (text.len() == "2026-11-24T08:14:03.512004Z".len()).then_some(text)
}

/// Reads what [`time_text`] writes, and nothing else.
#[must_use]
pub fn time_read(text: &str) -> Option<i64> {
    let form = b"0000-00-00T00:00:00.000000Z";
    let fits = |(is, wanted): (&u8, &u8)| is == wanted || (*wanted == b'0' && is.is_ascii_digit());
    let second = text.as_bytes().get(17..19)?;
    // A leap second is read by the library as the one before.
    let same = text.len() == form.len() && text.as_bytes().iter().zip(form).all(fits);
    let read = (same && second < b"60".as_slice()).then(|| text.parse::<jiff::Timestamp>());
    Some(read?.ok()?.as_microsecond())
}

/// Wall clock of a line as its text says it, from its fixed beginning.
#[must_use]
pub fn wall_text(line: &[u8]) -> Option<&str> {
    let (_, rest) = number(line.strip_prefix(b"{\"seq\":")?)?;
    let text = rest.strip_prefix(b",\"t\":\"")?.get(.."2026-11-24T08:14:03.512004Z".len())?;
    std::str::from_utf8(text).ok()
}

/// Boot-time clock of a line, microseconds, from its fixed beginning.
#[must_use]
pub fn boot_us(line: &[u8]) -> Option<u64> {
    let (_, rest) = number(line.strip_prefix(b"{\"seq\":")?)?;
    let rest = rest.strip_prefix(b",\"t\":\"")?;
    let rest = rest.get("2026-11-24T08:14:03.512004Z".len()..)?.strip_prefix(b"\",\"m\":")?;
    Some(number(rest)?.0)
}

/// `seq` and kind of a line, read from its fixed beginning `{"seq":N,"t":"…","m":N,"k":"…"`.
#[must_use]
pub fn outline(line: &[u8]) -> Option<(u64, &[u8])> {
    let (seq, rest) = number(line.strip_prefix(b"{\"seq\":")?)?;
    let rest = rest.strip_prefix(b",\"t\":\"")?;
    let rest = rest.get("2026-11-24T08:14:03.512004Z".len()..)?.strip_prefix(b"\",\"m\":")?;
    let kind = number(rest)?.1.strip_prefix(b",\"k\":\"")?;
    let end = kind.iter().position(|&b| b == b'"')?;
    Some((seq, &kind[..end]))
}

fn number(text: &[u8]) -> Option<(u64, &[u8])> {
    let end = text.iter().take_while(|b| b.is_ascii_digit()).count();
    let digits = std::str::from_utf8(&text[..end]).ok()?;
    Some((digits.parse().ok()?, &text[end..]))
}

#[derive(Serialize)]
struct Form<'a> {
    seq: u64,
    t: String,
    m: u64,
    #[serde(flatten)]
    fact: &'a Fact,
    #[serde(skip_serializing_if = "Option::is_none")]
    by: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    sig: Option<&'a str>,
}

/// Escapes `"` `\` LF CR TAB by their short forms, 00-1F and 7F-9F as `\u00xx`; all else is
/// itself. A control byte of a wire so never reaches a terminal that prints a book.
pub(crate) struct RawText;

impl Formatter for RawText {
    fn write_string_fragment<W>(&mut self, writer: &mut W, fragment: &str) -> io::Result<()>
    where
        W: ?Sized + io::Write,
    {
        let mut rest = fragment;
        while let Some(at) = rest.find(|c| matches!(c, '\u{7f}'..='\u{9f}')) {
            let (plain, from) = rest.split_at(at);
            writer.write_all(plain.as_bytes())?;
            let mut chars = from.chars();
            let control = chars.next().map_or(0, u32::from);
            write!(writer, "\\u{control:04x}")?;
            rest = chars.as_str();
        }
        writer.write_all(rest.as_bytes())
    }

    fn write_char_escape<W>(&mut self, writer: &mut W, escape: CharEscape) -> io::Result<()>
    where
        W: ?Sized + io::Write,
    {
        match escape {
            CharEscape::Quote => writer.write_all(b"\\\""),
            CharEscape::ReverseSolidus => writer.write_all(b"\\\\"),
            CharEscape::Solidus => writer.write_all(b"/"),
            CharEscape::LineFeed => writer.write_all(b"\\n"),
            CharEscape::CarriageReturn => writer.write_all(b"\\r"),
            CharEscape::Tab => writer.write_all(b"\\t"),
            CharEscape::Backspace => writer.write_all(b"\\u0008"),
            CharEscape::FormFeed => writer.write_all(b"\\u000c"),
            CharEscape::AsciiControl(byte) => write!(writer, "\\u{byte:04x}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use tapline_protocols::fact::{In, NoteFact};

    use super::*;

    fn line(fact: Fact) -> Line {
        let at = Stamp { wall_us: 1_795_508_043_512_004, boot_us: 83_512_004 };
        Line { seq: 4712, at, fact, by: None, sig: None }
    }

    #[test]
    fn the_lines_of_the_format_text_are_read_and_written_byte_for_byte() {
        let lines = [
            r#"{"seq":4712,"t":"2026-11-24T08:14:03.512004Z","m":83512004,"k":"in","link":"ohm","at":1802,"raw":"R4 +0.182 Ohm\r\n","cuts":[[0,0],[9,1042]],"read":[{"b":[0,15],"f":"resistance_4w","v":"0.182","u":"Ohm","s":"pe/1"}]}"#,
            r#"{"seq":4713,"t":"2026-11-24T08:14:03.530551Z","m":83530551,"k":"value","step":"pe/1","rule":"worst_over","from":[[4708,0],[4710,0],[4712,0]],"value":"0.182","unit":"Ohm"}"#,
            r#"{"seq":4701,"t":"2026-11-24T08:14:03.530551Z","m":83530551,"k":"act","what":"connected","step":"leak/1","by":"op-7"}"#,
            r#"{"seq":4400,"t":"2026-11-24T08:14:03.530551Z","m":83530551,"k":"login","bench":"b1","operator":"op-7"}"#,
        ];
        for text in lines {
            let line = Line::read(text.as_bytes()).unwrap();
            assert_eq!(String::from_utf8(line.bytes().unwrap()).unwrap(), format!("{text}\n"));
        }
    }

    #[test]
    fn all_byte_values_of_raw_text_have_the_form_of_the_format() {
        let all: Vec<u8> = (0..=255).collect();
        let fact = Fact::In(In {
            link: "a".into(),
            at: 0,
            raw: raw_text(&all),
            cuts: vec![],
            read: vec![],
        });
        let bytes = line(fact.clone()).bytes().unwrap();
        let text = String::from_utf8(bytes.clone()).unwrap();
        let raw = text.split(r#""raw":""#).nth(1).unwrap().strip_suffix("\"}\n").unwrap();
        let want: String = (0u8..=255)
            .map(|b| match b {
                b'"' => "\\\"".to_string(),
                b'\\' => "\\\\".to_string(),
                b'\n' => "\\n".to_string(),
                b'\r' => "\\r".to_string(),
                b'\t' => "\\t".to_string(),
                0..=0x1f | 0x7f..=0x9f => format!("\\u00{b:02x}"),
                _ => char::from(b).to_string(),
            })
            .collect();
        assert_eq!(raw, want);
        assert_eq!(Line::read(&bytes).unwrap().fact, fact);
        assert_eq!(raw_bytes(&raw_text(&all)), Some(all));
        assert_eq!(raw_bytes("µ\u{100}"), None);
    }

    #[test]
    fn unknown_keys_are_passed_over() {
        let text = r#"{"seq":1,"t":"2026-11-24T08:14:03.530551Z","m":2,"k":"note","text":"x","later":[1,{"a":2}],"by":"op-7"}"#;
        let read = Line::read(text.as_bytes()).unwrap();
        assert_eq!(read.fact, Fact::Note(NoteFact { text: "x".into() }));
        assert_eq!(read.by.as_deref(), Some("op-7"));
    }

    /// As JSON has it, whatever the order.
    #[test]
    fn keys_may_stand_in_any_order_and_each_once() {
        let text = r#"{"by":"op-7","k":"note","m":2,"text":"x","t":"2026-11-24T08:14:03.530551Z","seq":1}"#;
        let read = Line::read(text.as_bytes()).unwrap();
        assert_eq!((read.seq, read.by.as_deref()), (1, Some("op-7")));
        for bad in [
            r#"{"seq":1,"seq":1,"t":"2026-11-24T08:14:03.530551Z","m":2,"k":"note","text":"x"}"#,
            r#"{"t":"2026-11-24T08:14:03.530551Z","m":2,"k":"note","text":"x"}"#,
            r#"{"seq":1,"t":"2026-11-24T08:14:03.530551Z","m":2,"text":"x"}"#,
            r#"{"seq":1,"t":"2026-11-24T08:14:03.530551Z","m":2,"k":"nought","text":"x"}"#,
            r#"{"seq":-1,"t":"2026-11-24T08:14:03.530551Z","m":2,"k":"note","text":"x"}"#,
            "[]",
        ] {
            assert!(matches!(Line::read(bad.as_bytes()), Err(LineFault::Json(_))), "{bad}");
        }
    }

    #[test]
    fn a_line_that_is_too_long_is_refused_and_the_longest_is_not() {
        let empty = line(Fact::Note(NoteFact { text: String::new() })).bytes().unwrap().len();
        let note = |n: usize| line(Fact::Note(NoteFact { text: "x".repeat(n) })).bytes();
        assert_eq!(note(LINE_BYTES_MAX - empty).map(|b| b.len()), Ok(LINE_BYTES_MAX));
        assert_eq!(note(LINE_BYTES_MAX - empty + 1), Err(LineFault::TooLong(LINE_BYTES_MAX + 1)));
    }

    #[test]
    fn a_stamp_has_six_decimals_and_a_z_and_no_other_form_is_read() {
        assert_eq!(time_text(0).unwrap(), "1970-01-01T00:00:00.000000Z");
        assert_eq!(time_text(1_795_508_043_512_004).unwrap(), "2026-11-24T08:14:03.512004Z");
        for other in [
            "2026-11-24T08:14:03.512Z",
            "2026-11-24T08:14:03.512004+00:00",
            "2026-11-24 08:14:03.512004Z",
            "2026-11-24T09:14:03.512004+01:00",
            "2026-06-30T23:59:60.000000Z",
            "2026-13-24T08:14:03.512004Z",
            "-026-11-24T08:14:03.512004Z",
            "2026-11-24t08:14:03.512004z",
            "",
        ] {
            assert_eq!(time_read(other), None, "{other}");
        }
        assert_eq!(time_text(i64::MAX), None);
    }

    #[test]
    fn the_outline_of_a_line_is_its_number_and_kind() {
        let line = br#"{"seq":4713,"t":"2026-11-24T08:14:03.530551Z","m":83530551,"k":"value"}"#;
        assert_eq!(outline(line), Some((4713, &b"value"[..])));
        for bad in [&b""[..], b"{\"seq\":", b"{\"seq\":4713,\"t\":\"20", b"{\"mark\":\"\"}"] {
            assert_eq!(outline(bad), None);
        }
    }

    proptest! {
        #[test]
        fn any_text_comes_back_and_stays_on_its_line(text in "\\PC*|[\\x00-\\xff]*") {
            let want = line(Fact::Note(NoteFact { text }));
            let bytes = want.bytes().unwrap();
            prop_assert_eq!(bytes.iter().filter(|&&b| b < 0x20 || b == 0x7f).count(), 1);
            prop_assert_eq!(Line::read(&bytes).unwrap(), want);
        }

        #[test]
        fn any_moment_comes_back(wall_us in -2_000_000_000_000_000i64..200_000_000_000_000_000) {
            prop_assert_eq!(time_read(&time_text(wall_us).unwrap()), Some(wall_us));
        }
    }
}
