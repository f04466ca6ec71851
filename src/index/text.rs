//! An `in` line as text, taken apart without a JSON parser and put together byte for byte.
//!
//! Only the form that this program writes is taken: whatever is taken apart comes back exactly.
//! Any other line is [`None`] and kept as it is.

use std::borrow::Cow;

use crate::books::line::{time_read, time_text};

/// An `in` line, taken apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct InText<'a> {
    pub(super) seq: u64,
    pub(super) wall_us: i64,
    pub(super) boot_us: u64,
    /// As written: JSON text between its quotes.
    pub(super) link: &'a [u8],
    pub(super) at: u64,
    pub(super) raw: Vec<u8>,
    pub(super) cuts: Vec<(u32, u64)>,
    pub(super) reads: Vec<ReadText<'a>>,
}

/// One of its readings: the span, and the rest of its text around the digits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct ReadText<'a> {
    pub(super) span: (i64, i64),
    /// Text behind the span, up to the digits; up to the brace if there are none.
    pub(super) head: &'a [u8],
    /// The digits, and the text behind them up to the brace.
    pub(super) value: Option<(Cow<'a, [u8]>, &'a [u8])>,
}

/// Reads lines; knows the day of the last one, as the next is of the same.
#[derive(Debug, Default)]
pub(super) struct Apart {
    day: Option<([u8; 10], i64)>,
}

const VALUE: &[u8] = b"\"v\":\"";

impl Apart {
    /// Takes a line without its line feed apart.
    pub(super) fn line<'a>(&mut self, line: &'a [u8]) -> Option<InText<'a>> {
        let mut rest = Rest(line);
        rest.word(b"{\"seq\":")?;
        let seq = rest.number()?;
        rest.word(b",\"t\":\"")?;
        let wall_us = self.moment(rest.some(27)?.try_into().ok()?)?;
        rest.word(b"\",\"m\":")?;
        let boot_us = rest.number()?;
        rest.word(b",\"k\":\"in\",\"link\":\"")?;
        let link = rest.string()?;
        rest.word(b",\"at\":")?;
        let at = rest.number()?;
        rest.word(b",\"raw\":\"")?;
        let raw = rest.raw()?;
        let mut cuts = Vec::new();
        if rest.word(b",\"cuts\":[").is_some() {
            cuts = rest.list(Rest::cut)?;
        }
        let mut reads = Vec::new();
        if rest.word(b",\"read\":[").is_some() {
            reads = rest.list(Rest::reading)?;
        }
        (rest.0 == b"}").then_some(InText { seq, wall_us, boot_us, link, at, raw, cuts, reads })
    }

    /// `2026-11-24T08:14:03.512004Z`.
    fn moment(&mut self, text: &[u8; 27]) -> Option<i64> {
        let day: [u8; 10] = *text.first_chunk()?;
        let start = match self.day {
            Some((known, start)) if known == day => start,
            _ => {
                let day_text = std::str::from_utf8(&day).ok()?;
                let start = time_read(&format!("{day_text}T00:00:00.000000Z"))?;
                self.day = Some((day, start));
                start
            }
        };
        let form = b"T00:00:00.000000Z";
        let clock = &text[10..];
        let formed = clock.iter().zip(form).all(|(c, f)| match f {
            b'0' => c.is_ascii_digit(),
            _ => c == f,
        });
        let digits = |from: usize, to: usize| {
            clock[from..to].iter().fold(0i64, |n, d| n * 10 + i64::from(*d) - i64::from(b'0'))
        };
        let (hour, minute, second) = (digits(1, 3), digits(4, 6), digits(7, 9));
        let us = ((hour * 60 + minute) * 60 + second) * 1_000_000 + digits(10, 16);
        (formed && hour < 24 && minute < 60 && second < 60).then_some(start + us)
    }
}

/// What is left of a line.
struct Rest<'a>(&'a [u8]);

impl<'a> Rest<'a> {
    fn some(&mut self, length: usize) -> Option<&'a [u8]> {
        let (some, rest) = self.0.split_at_checked(length)?;
        self.0 = rest;
        Some(some)
    }

    fn word(&mut self, word: &[u8]) -> Option<()> {
        self.0 = self.0.strip_prefix(word)?;
        Some(())
    }

    /// In its shortest form.
    fn number(&mut self) -> Option<u64> {
        let end = self.0.iter().take_while(|b| b.is_ascii_digit()).count();
        let digits = self.some(end)?;
        if digits.is_empty() || (digits[0] == b'0' && end > 1) {
            return None;
        }
        let add = |n: u64, d: &u8| n.checked_mul(10)?.checked_add(u64::from(d - b'0'));
        digits.iter().try_fold(0, add)
    }

    fn signed(&mut self) -> Option<i64> {
        if self.word(b"-").is_none() {
            return i64::try_from(self.number()?).ok();
        }
        0i64.checked_sub_unsigned(self.number().filter(|n| *n > 0)?)
    }

    /// The text of a string up to its closing quote, which is taken too.
    fn string(&mut self) -> Option<&'a [u8]> {
        let mut at = 0;
        loop {
            match *self.0.get(at)? {
                b'"' => break,
                b'\\' => at += 2,
                0..0x20 => return None,
                _ => at += 1,
            }
        }
        let text = self.some(at)?;
        self.word(b"\"")?;
        Some(text)
    }

    /// The bytes of raw text, with its closing quote.
    fn raw(&mut self) -> Option<Vec<u8>> {
        let mut raw = Vec::with_capacity(64);
        loop {
            let byte = match *self.some(1)?.first()? {
                b'"' => return Some(raw),
                b'\\' => self.escaped()?,
                plain @ 0x20..=0x7e => plain,
                0xc2 => *self.some(1)?.first().filter(|b| (0xa0..=0xbf).contains(*b))?,
                0xc3 => 0x40 + *self.some(1)?.first().filter(|b| (0x80..=0xbf).contains(*b))?,
                _ => return None,
            };
            raw.push(byte);
        }
    }

    fn escaped(&mut self) -> Option<u8> {
        match *self.some(1)?.first()? {
            same @ (b'"' | b'\\') => Some(same),
            b'n' => Some(b'\n'),
            b'r' => Some(b'\r'),
            b't' => Some(b'\t'),
            b'u' => {
                self.word(b"00")?;
                let digit = |b: &u8| match b {
                    b'0'..=b'9' => Some(b - b'0'),
                    b'a'..=b'f' => Some(b - b'a' + 10),
                    _ => None,
                };
                let hex = self.some(2)?;
                let byte = digit(&hex[0])? << 4 | digit(&hex[1])?;
                let long = matches!(byte, 0..0x20 | 0x7f..=0x9f);
                (long && !matches!(byte, b'\n' | b'\r' | b'\t')).then_some(byte)
            }
            _ => None,
        }
    }

    /// Items up to the closing bracket, which is taken too; at least one.
    fn list<T>(&mut self, item: impl Fn(&mut Self) -> Option<T>) -> Option<Vec<T>> {
        let mut items = vec![item(self)?];
        while self.word(b",").is_some() {
            items.push(item(self)?);
        }
        self.word(b"]")?;
        Some(items)
    }

    fn cut(&mut self) -> Option<(u32, u64)> {
        self.word(b"[")?;
        let offset = u32::try_from(self.number()?).ok()?;
        self.word(b",")?;
        let us = self.number()?;
        self.word(b"]")?;
        Some((offset, us))
    }

    fn reading(&mut self) -> Option<ReadText<'a>> {
        self.word(b"{\"b\":[")?;
        let begin = self.signed()?;
        self.word(b",")?;
        let end = self.signed()?;
        self.word(b"]")?;
        let text = self.0;
        let mut digits = None;
        // Strings, colons, commas and brackets; an object inside is not of this form.
        loop {
            match *self.some(1)?.first()? {
                b'}' => break,
                b'{' | 0..0x20 => return None,
                b'"' => {
                    let from = text.len() - self.0.len() - 1;
                    let is_value = digits.is_none() && text[from..].starts_with(VALUE);
                    let begin =
                        if is_value { self.some(VALUE.len() - 1).map(|_| from) } else { None };
                    self.string()?;
                    let end = text.len() - self.0.len() - 1;
                    digits = begin.map(|from| (from + VALUE.len(), end)).or(digits);
                }
                _ => {}
            }
        }
        let text = &text[..text.len() - self.0.len() - 1];
        let value = digits.map(|(from, to)| (Cow::Borrowed(&text[from..to]), &text[to..]));
        let head = &text[..digits.map_or(text.len(), |(from, _)| from)];
        Some(ReadText { span: (begin, end), head, value })
    }
}

impl InText<'_> {
    /// The line again, without line feed; `None` if its moment can't be written.
    pub(super) fn write(&self) -> Option<Vec<u8>> {
        let InText { seq, boot_us, at, .. } = self;
        let t = time_text(self.wall_us)?;
        let mut out =
            format!("{{\"seq\":{seq},\"t\":\"{t}\",\"m\":{boot_us},\"k\":\"in\",\"link\":\"")
                .into_bytes();
        out.extend_from_slice(self.link);
        out.extend_from_slice(format!("\",\"at\":{at},\"raw\":\"").as_bytes());
        self.raw.iter().for_each(|byte| put_raw(&mut out, *byte));
        out.push(b'"');
        put_list(&mut out, "cuts", &self.cuts, |out, (offset, us)| {
            out.extend_from_slice(format!("[{offset},{us}]").as_bytes());
        });
        put_list(&mut out, "read", &self.reads, |out, read| {
            let (begin, end) = read.span;
            out.extend_from_slice(format!("{{\"b\":[{begin},{end}]").as_bytes());
            out.extend_from_slice(read.head);
            if let Some((digits, tail)) = &read.value {
                out.extend_from_slice(digits);
                out.extend_from_slice(tail);
            }
            out.push(b'}');
        });
        out.push(b'}');
        Some(out)
    }
}

fn put_list<T>(out: &mut Vec<u8>, key: &str, items: &[T], put: impl Fn(&mut Vec<u8>, &T)) {
    for (n, item) in items.iter().enumerate() {
        match n {
            0 => out.extend_from_slice(format!(",\"{key}\":[").as_bytes()),
            _ => out.push(b','),
        }
        put(out, item);
    }
    if !items.is_empty() {
        out.push(b']');
    }
}

fn put_raw(out: &mut Vec<u8>, byte: u8) {
    match byte {
        b'"' | b'\\' => out.extend_from_slice(&[b'\\', byte]),
        b'\n' => out.extend_from_slice(b"\\n"),
        b'\r' => out.extend_from_slice(b"\\r"),
        b'\t' => out.extend_from_slice(b"\\t"),
        0..0x20 | 0x7f..=0x9f => out.extend_from_slice(format!("\\u00{byte:02x}").as_bytes()),
        0x20..=0x7e => out.push(byte),
        0xa0..=0xbf => out.extend_from_slice(&[0xc2, byte]),
        0xc0.. => out.extend_from_slice(&[0xc3, byte - 0x40]),
    }
}
