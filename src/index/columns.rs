//! A block of `in` lines as columns: what repeats or runs on costs next to nothing behind zstd.
//!
//! Numbers are kept as what a simple guess misses: moments as differences of differences,
//! offsets and spans against the line before, digits as the place in the raw bytes where they
//! stand. Text around the digits (function, unit, flags, step) is kept once for each shape.

use std::borrow::Cow;
use std::collections::BTreeMap;

use super::bytes::{put, put_bytes, put_column, put_signed};
use super::bytes::{take, take_bytes, take_column, take_len, take_signed};
use super::digits::plain;
use super::text::{Apart, InText, ReadText};

/// Number of columns.
const COLUMNS: usize = 17;
/// No column is longer, bytes: a block is far smaller.
const COLUMN_MAX: usize = 1 << 20;
/// Between the text before and after the digits; no control byte stands in a line.
const GAP: u8 = 0;

/// One column after the other.
#[derive(Debug, Clone, Copy)]
enum Is {
    /// Link and 1, or 0 for a line that is kept as it is.
    Link,
    Seq,
    Boot,
    Wall,
    At,
    Length,
    Raw,
    Cuts,
    CutOffset,
    CutTime,
    Reads,
    Shape,
    Begin,
    Span,
    Digits,
    Place,
    /// Digits that do not stand in the raw bytes, and lines that are kept as they are.
    Text,
}

/// Lines that become a block.
#[derive(Debug, Default)]
pub(super) struct Columns {
    columns: [Vec<u8>; COLUMNS],
    texts: BTreeMap<Vec<u8>, u64>,
    apart: Apart,
    guess: Guess,
    lines: u64,
    readings: usize,
    first_seq: u64,
}

/// Where the digits of a reading are: in the column of texts, at the begin of its span in
/// scientific form, or in the raw bytes, so far from where those of the last reading were.
const IN_TEXT: u64 = 0;
const SCIENTIFIC: u64 = 1;
const FROM_LAST: u64 = 2;

/// What the next line is taken to be like.
#[derive(Debug, Default)]
struct Guess {
    seq: u64,
    boot: u64,
    step: i64,
    /// Wall clock less boot clock.
    ahead: i64,
    /// Offset of the next byte, by link.
    at: BTreeMap<u64, u64>,
    /// By shape of the reading.
    shape: BTreeMap<u64, Last>,
}

/// The last reading of a shape.
#[derive(Debug, Default, Clone, Copy)]
struct Last {
    span: i64,
    digits: i64,
    /// Where the digits stand, from the begin of the span.
    place: i64,
}

impl Columns {
    /// Appends a stored line, without line feed. `seq` is its number.
    pub(super) fn push(&mut self, seq: u64, line: &[u8]) {
        if self.lines == 0 {
            self.first_seq = seq;
        }
        self.lines += 1;
        let mut apart = std::mem::take(&mut self.apart);
        match apart.line(line) {
            Some(text) => self.push_text(&text),
            None => {
                self.put(Is::Link, 0);
                put_bytes(&mut self.columns[Is::Text as usize], line);
                self.readings += 1;
            }
        }
        self.apart = apart;
    }

    pub(super) fn is_empty(&self) -> bool {
        self.lines == 0
    }

    /// Readings in it; a line without any counts as one.
    pub(super) fn readings(&self) -> usize {
        self.readings
    }

    pub(super) fn first_seq(&self) -> u64 {
        self.first_seq
    }

    /// Bytes before they are pressed, about.
    pub(super) fn size(&self) -> usize {
        self.columns.iter().map(Vec::len).sum()
    }

    /// The block, to be pressed.
    pub(super) fn block(&self) -> Vec<u8> {
        let mut out = Vec::with_capacity(self.size() + 256);
        put(&mut out, self.lines);
        let mut texts: Vec<_> = self.texts.iter().collect();
        texts.sort_by_key(|(_, number)| **number);
        put(&mut out, texts.len() as u64);
        texts.iter().for_each(|(text, _)| put_bytes(&mut out, text));
        self.columns.iter().for_each(|column| put_column(&mut out, column));
        out
    }

    fn push_text(&mut self, text: &InText<'_>) {
        let link = self.number(text.link.to_vec());
        self.put(Is::Link, link + 1);
        let guess = &mut self.guess;
        let seq = text.seq.wrapping_sub(guess.seq).cast_signed();
        let step = text.boot_us.wrapping_sub(guess.boot).cast_signed();
        let ahead = text.wall_us.wrapping_sub(text.boot_us.cast_signed());
        let next_at = guess.at.entry(link).or_default();
        let at = text.at.wrapping_sub(*next_at).cast_signed();
        *next_at = text.at.wrapping_add(text.raw.len() as u64);
        let (bend, drift) = (step.wrapping_sub(guess.step), ahead.wrapping_sub(guess.ahead));
        (guess.seq, guess.boot, guess.step, guess.ahead) = (text.seq, text.boot_us, step, ahead);
        for (column, number) in [(Is::Seq, seq), (Is::Boot, bend), (Is::Wall, drift), (Is::At, at)]
        {
            self.put_signed(column, number);
        }
        self.put(Is::Length, text.raw.len() as u64);
        self.columns[Is::Raw as usize].extend_from_slice(&text.raw);
        self.put(Is::Cuts, text.cuts.len() as u64);
        let mut last = (0i64, 0u64);
        for (offset, us) in &text.cuts {
            self.put_signed(Is::CutOffset, i64::from(*offset) - last.0);
            self.put_signed(Is::CutTime, us.wrapping_sub(last.1).cast_signed());
            last = (i64::from(*offset), *us);
        }
        self.put(Is::Reads, text.reads.len() as u64);
        self.readings += text.reads.len().max(1);
        let mut next = 0;
        for read in &text.reads {
            self.push_read(read, &text.raw, next);
            next = read.span.1;
        }
    }

    /// `next` is where the reading before ends.
    fn push_read(&mut self, read: &ReadText<'_>, raw: &[u8], next: i64) {
        let shape = match &read.value {
            Some((_, tail)) => [read.head, &[GAP], tail].concat(),
            None => read.head.to_vec(),
        };
        let shape = self.number(shape);
        self.put(Is::Shape, shape);
        let (begin, end) = read.span;
        let mut last = self.guess.shape.get(&shape).copied().unwrap_or_default();
        let span = end.wrapping_sub(begin);
        self.put_signed(Is::Begin, begin.wrapping_sub(next));
        self.put_signed(Is::Span, span.wrapping_sub(last.span));
        last.span = span;
        if let Some((digits, _)) = &read.value {
            let length = i64::try_from(digits.len()).expect("a line is short");
            self.put_signed(Is::Digits, length - last.digits);
            last.digits = length;
            match place(raw, digits, begin.wrapping_add(last.place)) {
                Some(at) => {
                    let at = at.wrapping_sub(begin);
                    let off = at.wrapping_sub(last.place);
                    self.put(Is::Place, FROM_LAST + (off << 1 ^ off >> 63).cast_unsigned());
                    last.place = at;
                }
                None if scientific(raw, begin).is_some_and(|plain| plain == **digits) => {
                    self.put(Is::Place, SCIENTIFIC);
                }
                None => {
                    self.put(Is::Place, IN_TEXT);
                    self.columns[Is::Text as usize].extend_from_slice(digits);
                }
            }
        }
        self.guess.shape.insert(shape, last);
    }

    fn number(&mut self, text: Vec<u8>) -> u64 {
        let next = self.texts.len() as u64;
        *self.texts.entry(text).or_insert(next)
    }

    fn put(&mut self, column: Is, number: u64) {
        put(&mut self.columns[column as usize], number);
    }

    fn put_signed(&mut self, column: Is, number: i64) {
        put_signed(&mut self.columns[column as usize], number);
    }
}

/// Where the digits stand in the raw bytes: at the guess, or the first place.
fn place(raw: &[u8], digits: &[u8], guess: i64) -> Option<i64> {
    let guessed = usize::try_from(guess).ok().and_then(|at| raw.get(at..));
    if guessed.is_some_and(|from| from.starts_with(digits)) {
        return Some(guess);
    }
    // Spans, and with them guesses, that no raw text has are left to the column of texts.
    let windows = &mut raw.windows(digits.len().max(1));
    windows.position(|window| window == digits).and_then(|at| i64::try_from(at).ok())
}

/// The plain form of the number at the begin of a span.
fn scientific(raw: &[u8], begin: i64) -> Option<Vec<u8>> {
    plain(raw.get(usize::try_from(begin).ok()?..)?)
}

/// The lines of a block with their numbers; `None` if it is none.
pub(super) fn lines(block: &[u8]) -> Option<Vec<(u64, Vec<u8>)>> {
    let mut from = block;
    let count = take_len(&mut from).filter(|n| *n <= COLUMN_MAX)?;
    let texts = take_len(&mut from).filter(|n| *n <= block.len())?;
    let texts: Vec<&[u8]> = (0..texts).map(|_| take_bytes(&mut from)).collect::<Option<_>>()?;
    let columns: Vec<Vec<u8>> =
        (0..COLUMNS).map(|_| take_column(&mut from, COLUMN_MAX)).collect::<Option<_>>()?;
    let mut reading = Reading {
        columns: columns.iter().map(Vec::as_slice).collect(),
        texts,
        guess: Guess::default(),
    };
    let lines = (0..count).map(|_| reading.line()).collect::<Option<_>>()?;
    (from.is_empty() && reading.columns.iter().all(|c| c.is_empty())).then_some(lines)
}

/// Columns that are read, each from its begin.
struct Reading<'a> {
    columns: Vec<&'a [u8]>,
    texts: Vec<&'a [u8]>,
    guess: Guess,
}

impl<'a> Reading<'a> {
    fn line(&mut self) -> Option<(u64, Vec<u8>)> {
        let Some(link) = self.take(Is::Link)?.checked_sub(1) else {
            let line = take_bytes(&mut self.columns[Is::Text as usize])?;
            return Some((crate::books::line::outline(line)?.0, line.to_vec()));
        };
        let text = self.text(link)?;
        Some((text.seq, text.write()?))
    }

    fn text(&mut self, link: u64) -> Option<InText<'a>> {
        let seq = self.guess.seq.wrapping_add_signed(self.signed(Is::Seq)?);
        let step = self.guess.step.wrapping_add(self.signed(Is::Boot)?);
        let boot_us = self.guess.boot.wrapping_add_signed(step);
        let ahead = self.guess.ahead.wrapping_add(self.signed(Is::Wall)?);
        let wall_us = ahead.wrapping_add(boot_us.cast_signed());
        let off = self.signed(Is::At)?;
        let length = usize::try_from(self.take(Is::Length)?).ok()?;
        let raw = self.some(Is::Raw, length)?;
        let guess = &mut self.guess;
        (guess.seq, guess.boot, guess.step, guess.ahead) = (seq, boot_us, step, ahead);
        let next_at = guess.at.entry(link).or_default();
        let at = next_at.wrapping_add_signed(off);
        *next_at = at.wrapping_add(length as u64);
        let cuts = self.cuts()?;
        let mut reads = Vec::new();
        let mut next = 0;
        for _ in 0..self.take(Is::Reads)? {
            let read = self.read(raw, next)?;
            next = read.span.1;
            reads.push(read);
        }
        let link = self.texts.get(usize::try_from(link).ok()?)?;
        Some(InText { seq, wall_us, boot_us, link, at, raw: raw.to_vec(), cuts, reads })
    }

    fn cuts(&mut self) -> Option<Vec<(u32, u64)>> {
        let mut cuts = Vec::new();
        let mut last = (0i64, 0u64);
        for _ in 0..self.take(Is::Cuts)? {
            last.0 = last.0.checked_add(self.signed(Is::CutOffset)?)?;
            last.1 = last.1.wrapping_add_signed(self.signed(Is::CutTime)?);
            cuts.push((u32::try_from(last.0).ok()?, last.1));
        }
        Some(cuts)
    }

    fn read(&mut self, raw: &'a [u8], next: i64) -> Option<ReadText<'a>> {
        let shape = self.take(Is::Shape)?;
        let text = *self.texts.get(usize::try_from(shape).ok()?)?;
        let mut last = self.guess.shape.get(&shape).copied().unwrap_or_default();
        let begin = next.wrapping_add(self.signed(Is::Begin)?);
        last.span = last.span.wrapping_add(self.signed(Is::Span)?);
        let span = (begin, begin.wrapping_add(last.span));
        let gap = text.iter().position(|b| *b == GAP);
        let (head, mut value) = (&text[..gap.unwrap_or(text.len())], None);
        if let Some(gap) = gap {
            last.digits = last.digits.wrapping_add(self.signed(Is::Digits)?);
            let length = usize::try_from(last.digits).ok()?;
            let digits = match self.take(Is::Place)? {
                IN_TEXT => Cow::Borrowed(self.some(Is::Text, length)?),
                SCIENTIFIC => Cow::Owned(scientific(raw, begin)?),
                off => {
                    let off = off - FROM_LAST;
                    let off = (off >> 1).cast_signed() ^ -(off & 1).cast_signed();
                    last.place = last.place.wrapping_add(off);
                    let at = usize::try_from(begin.wrapping_add(last.place)).ok()?;
                    Cow::Borrowed(raw.get(at..at.checked_add(length)?)?)
                }
            };
            value = Some((digits, &text[gap + 1..]));
        }
        self.guess.shape.insert(shape, last);
        Some(ReadText { span, head, value })
    }

    fn take(&mut self, column: Is) -> Option<u64> {
        take(&mut self.columns[column as usize])
    }

    fn signed(&mut self, column: Is) -> Option<i64> {
        take_signed(&mut self.columns[column as usize])
    }

    fn some(&mut self, column: Is, length: usize) -> Option<&'a [u8]> {
        super::bytes::take_some(&mut self.columns[column as usize], length)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use tapline_protocols::Fact;
    use tapline_protocols::fact::{In, Read};

    use super::*;
    use crate::books::Line;
    use crate::books::line::raw_text;
    use crate::clock::Stamp;

    fn back(stored: &[Vec<u8>]) -> Option<Vec<Vec<u8>>> {
        let mut columns = Columns::default();
        for line in stored {
            columns.push(crate::books::line::outline(line).unwrap().0, line);
        }
        lines(&columns.block()).map(|lines| lines.into_iter().map(|(_, text)| text).collect())
    }

    fn stored(seq: u64, at: Stamp, fact: In) -> Vec<u8> {
        let line = Line { seq, at, fact: Fact::In(fact), by: None, sig: None };
        let mut bytes = line.bytes().unwrap();
        bytes.pop();
        bytes
    }

    fn read() -> impl Strategy<Value = Read> {
        let text = prop::option::of(prop_oneof!["pe/1", "\\PC{0,8}", "[\\x00-\\xff]{0,4}"]);
        let digits = prop_oneof!["-?[0-9]{1,3}[.][0-9]{0,4}", "0[.]0{0,4}[0-9]{2}", "\\PC{0,4}"];
        let digits = prop::option::of(digits);
        let flags = prop::collection::vec("[a-z\"{}]{0,4}", 0..3);
        (any::<(i64, i16)>(), digits, text, flags, any::<bool>()).prop_map(|(b, v, s, x, far)| {
            let json = r#"{"b":[0,0],"f":"resistance_4w","u":"Ohm"}"#;
            let read: Read = serde_json::from_str(json).unwrap();
            let b = if far { (b.0, b.0.wrapping_add(b.1.into())) } else { (0, b.1.into()) };
            Read { b, v, why: s.clone(), s, x, ..read }
        })
    }

    prop_compose! {
        fn any_line()(
            seq in any::<u64>(),
            wall_us in -60_000_000_000_000_000i64..250_000_000_000_000_000,
            boot_us in any::<u64>(),
            at in any::<u64>(),
            link in prop_oneof!["ohm", "\\PC{0,6}"],
            raw in prop_oneof![
                prop::collection::vec(any::<u8>(), 0..40),
                "R4 [+][0-9][.][0-9]{3} Ohm\r\n".prop_map(String::into_bytes),
                "[+-][0-9][.][0-9]{0,4}E[+-]0[0-5]\r\n".prop_map(String::into_bytes),
            ],
            cuts in prop::collection::vec(any::<(u32, u64)>(), 0..3),
            read in prop::collection::vec(read(), 0..3),
        ) -> Vec<u8> {
            let fact = In { link, at, raw: raw_text(&raw), cuts, read };
            stored(seq, Stamp { wall_us, boot_us }, fact)
        }
    }

    #[test]
    fn a_hundred_readings_of_a_meter_are_a_few_bytes_each() {
        let line = |n: u64| {
            let noise = (n * 7919) % 97;
            let raw = format!("R4 +0.{:03} Ohm\r\n", 140 + noise);
            let read = serde_json::json!([{ "b": [0, raw.len()], "f": "resistance_4w",
                "v": format!("0.{:03}", 140 + noise), "u": "Ohm", "s": "pe/1" }]);
            let read = serde_json::from_value(read).unwrap();
            let us = n * 200_000 + noise * 13;
            let at = Stamp { wall_us: 1_795_508_043_512_004 + us.cast_signed(), boot_us: us };
            stored(4712 + n, at, In { link: "ohm".into(), at: n * 15, raw, cuts: vec![], read })
        };
        let all: Vec<_> = (0..100).map(line).collect();
        assert_eq!(back(&all).unwrap(), all);
        let mut columns = Columns::default();
        all.iter().zip(4712..).for_each(|(line, seq)| columns.push(seq, line));
        let mut press = crate::index::press::Press::new().unwrap();
        let value = press.value(b"", &columns.block()).unwrap();
        assert!(value.len() < 1000, "{}", value.len());
        assert_eq!((columns.lines, columns.readings()), (100, 100));
    }

    proptest! {
        #[test]
        fn any_lines_come_back_byte_for_byte(all in prop::collection::vec(any_line(), 1..12)) {
            prop_assert_eq!(back(&all).unwrap(), all);
        }

        #[test]
        fn lines_that_were_changed_come_back_as_they_are(
            line in any_line(), at in any::<prop::sample::Index>(), byte in 0x20u8..0x7f,
        ) {
            let mut line = line;
            let at = at.index(line.len());
            line[at] = byte;
            if crate::books::line::outline(&line).is_some() {
                prop_assert_eq!(back(std::slice::from_ref(&line)).unwrap(), vec![line]);
            }
        }

        #[test]
        fn any_bytes_are_no_block(block in prop::collection::vec(any::<u8>(), 0..80)) {
            let _ = lines(&block);
        }

        #[test]
        fn a_block_that_was_changed_is_a_block_or_is_refused(
            all in prop::collection::vec(any_line(), 1..4),
            at in any::<prop::sample::Index>(),
            byte in any::<u8>(),
        ) {
            let mut columns = Columns::default();
            all.iter().for_each(|line| columns.push(1, line));
            let mut block = columns.block();
            let at = at.index(block.len());
            block[at] = byte;
            let _ = lines(&block);
        }
    }
}
