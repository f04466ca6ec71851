//! A stream cut into lines: bounded, re-synchronising, every byte accounted for.
//!
//! A line ends by one of the end bytes; CR LF counts as one end. Nobody knows at a CR whether
//! an LF follows, so the line waits for the next byte, at most [`CR_WAIT_US`]. Ends in front of
//! a line (blank lines, a late LF) belong to that line's span and say nothing. Where silence ends
//! a line, it does so whether a tick came in time or only the bytes behind it.

use alloc::string::String;
use alloc::vec::Vec;

use super::response;
use super::stream::Stream;
use crate::listen::Cutter;
use crate::reading::{Function, Indication, Note, Now, Reading, Span};
use crate::unit::Unit;

/// How long a line that ended by CR waits for its LF, microseconds. A byte takes 33 ms at 300
/// baud and 1 ms at 9600: an LF that comes later than this is counted to the next line.
pub const CR_WAIT_US: u64 = 20_000;

/// How long an end inside quotes or a block waits for more, microseconds: three bytes at 300 baud.
pub const OPEN_WAIT_US: u64 = 100_000;

/// One line or frame, or a piece of what is none.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// What stood between the ends; of a piece all its bytes.
    pub bytes: Vec<u8>,
    /// Its place in the stream, ends included.
    pub span: Span,
    /// When its first byte, ends in front not counted, was read.
    pub first: Now,
    /// When its last byte was read.
    pub last: Now,
    /// It is a piece of a line longer than the limit, and never a reading.
    pub too_long: bool,
    /// It goes on where the piece before it was cut.
    pub continued: bool,
    /// An end byte closed it; not silence, nor the end of the stream.
    pub ended: bool,
}

impl Line {
    /// A note that covers the line.
    #[must_use]
    pub fn note(&self, word: &'static str, text: Option<String>) -> Note {
        Note { word, span: self.span, text, at: self.first }
    }

    /// A reading that covers the line, without flags.
    #[must_use]
    pub fn reading(&self, indication: Indication, function: Function, unit: Unit) -> Reading {
        Reading {
            indication,
            function,
            unit,
            flags: Vec::new(),
            span: self.span,
            first: self.first,
            last: self.last,
            why: None,
        }
    }
}

/// How a stream is cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Framing {
    /// Most bytes of a line, ends included. What is longer comes out in pieces of this size.
    pub longest: usize,
    /// The bytes that end a line.
    pub ends: &'static [u8],
    /// Silence that ends a line, microseconds; `None`: only an end byte does.
    pub silence_us: Option<u64>,
    /// An end inside quotes or a block is data (IEEE 488.2), unless nothing comes behind it for
    /// [`OPEN_WAIT_US`].
    pub answers: bool,
}

impl Framing {
    /// Lines that end by LF, CR LF or CR.
    #[must_use]
    pub fn text(longest: usize) -> Framing {
        Framing { longest, ends: b"\r\n", silence_us: None, answers: false }
    }

    /// The same, but an end inside quotes or a block of known length ends nothing.
    #[must_use]
    pub fn answers(longest: usize) -> Framing {
        Framing { answers: true, ..Framing::text(longest) }
    }
}

/// How many of the held bytes come out next, and whether that is for want of an end.
#[derive(Debug, Clone, Copy)]
struct Piece {
    length: usize,
    overflow: bool,
    ended: bool,
}

/// Cuts a stream into lines. Holds what was pushed until it is taken; drained by
/// [`Lines::take`] to `None`, it holds at most `longest` bytes.
#[derive(Debug, Clone)]
pub struct Lines {
    framing: Framing,
    stream: Stream,
    cut: bool,
    due: bool,
    /// What was held up to here had waited long enough when more bytes came.
    parted: Option<u64>,
}

impl Lines {
    /// An empty stream at offset 0.
    #[must_use]
    pub fn new(framing: Framing) -> Lines {
        Lines { framing, stream: Stream::new(), cut: false, due: false, parted: None }
    }

    /// Bytes that one read returned.
    pub fn push(&mut self, now: Now, bytes: &[u8]) {
        if bytes.is_empty() {
            return;
        }
        if self.deadline().is_some_and(|deadline| now >= deadline) {
            self.parted = Some(self.stream.end());
        }
        self.stream.push(now, bytes);
    }

    /// The next line, `None` when more bytes or the deadline are needed.
    pub fn take(&mut self) -> Option<Line> {
        let Some(piece) = self.piece() else {
            self.due = false;
            return self.parted.take().and_then(|_| self.take());
        };
        let (lead, continued) = (self.lead(self.stream.tail()), self.cut);
        let line = self.give(piece.length, piece.overflow || continued);
        self.cut = piece.overflow && lead < piece.length;
        self.parted = self.parted.filter(|parted| *parted > self.stream.offset());
        Some(Line { continued, ended: piece.ended, ..line })
    }

    /// The deadline has come: what waits ends now. Does nothing before it.
    pub fn tick(&mut self, now: Now) {
        self.due = self.deadline().is_some_and(|deadline| now >= deadline);
    }

    /// When [`Lines::tick`] would end what waits.
    #[must_use]
    pub fn deadline(&self) -> Option<Now> {
        let tail = self.stream.tail();
        let rest = tail.get(self.lead(tail)..)?;
        let last = *rest.last()?;
        let wait = match self.framing.silence_us {
            _ if self.enclosed(rest) => OPEN_WAIT_US,
            _ if last == b'\r' && self.framing.ends.contains(&last) => CR_WAIT_US,
            silence => silence?,
        };
        Some(Now(self.stream.newest()?.0 + wait))
    }

    /// Starts a fresh stream at offset 0 and gives up what was held.
    pub fn open(&mut self) -> Option<Line> {
        let length = self.stream.tail().len();
        let given_up = (length > 0).then(|| self.give(length, true));
        *self = Lines::new(self.framing);
        given_up
    }

    /// Offset of the first byte that is not yet given out.
    #[must_use]
    pub fn offset(&self) -> u64 {
        self.stream.offset()
    }

    fn is_end(&self, byte: u8) -> bool {
        self.framing.ends.contains(&byte)
    }

    /// Ends in front of the line. Behind a cut there are none: the first end closes it.
    fn lead(&self, tail: &[u8]) -> usize {
        if self.cut {
            return 0;
        }
        tail.iter().take_while(|byte| self.is_end(**byte)).count()
    }

    /// The first end of a line; `due`: one inside quotes or a block will do.
    fn end(&self, line: &[u8], due: bool) -> Option<usize> {
        if !self.framing.answers || due {
            return line.iter().position(|byte| self.is_end(*byte));
        }
        response::end(line, self.framing.longest, |byte| self.is_end(byte))
    }

    /// There is an end, and it is data so far.
    fn enclosed(&self, line: &[u8]) -> bool {
        self.framing.answers && self.end(line, true).is_some() && self.end(line, false).is_none()
    }

    /// The next piece. Depends on the bytes and on when they came, never on how they were cut.
    fn piece(&self) -> Option<Piece> {
        let tail = self.stream.tail();
        let Some(parted) = self.parted else { return self.found(tail, self.due) };
        let before = usize::try_from(parted - self.stream.offset()).unwrap_or(usize::MAX);
        self.found(&tail[..before.min(tail.len())], true)
    }

    /// The first piece of `tail`; `due`: nothing belongs to it any more.
    fn found(&self, tail: &[u8], due: bool) -> Option<Piece> {
        let (lead, longest) = (self.lead(tail), self.framing.longest);
        let piece = |length| Some(Piece { length, overflow: false, ended: true });
        let overflow = Some(Piece { length: longest, overflow: true, ended: false });
        let Some(found) = self.end(&tail[lead..], due) else {
            if tail.len() >= longest {
                return overflow;
            }
            let silent = due && self.framing.silence_us.is_some() && lead < tail.len();
            let length = tail.len();
            return silent.then_some(Piece { length, overflow: false, ended: false });
        };
        let end = lead + found + 1;
        if end > longest {
            return overflow;
        }
        if tail[end - 1] != b'\r' {
            return piece(end);
        }
        match tail.get(end) {
            Some(b'\n') if end < longest => piece(end + 1),
            None if end < longest && !due => None,
            _ => piece(end),
        }
    }

    fn give(&mut self, length: usize, whole: bool) -> Line {
        let lead = self.lead(self.stream.tail()).min(length.saturating_sub(1));
        let piece = &self.stream.tail()[..length];
        let bytes = if whole {
            piece.to_vec()
        } else {
            // One end: what stands in front of it may be the end of a block.
            let ends = match piece {
                [.., b'\r', b'\n'] if self.is_end(b'\r') => 2,
                [.., last] => usize::from(self.is_end(*last)),
                [] => 0,
            };
            piece[lead..(length - ends).max(lead)].to_vec()
        };
        let (from, to) = (self.stream.offset(), self.stream.offset() + length as u64);
        let (first, last) = (self.stream.stamp(from + lead as u64), self.stream.stamp(to - 1));
        let span = self.stream.give(length);
        Line { bytes, span, first, last, too_long: whole, continued: false, ended: false }
    }
}

impl Cutter for Lines {
    fn push(&mut self, now: Now, bytes: &[u8]) {
        Lines::push(self, now, bytes);
    }

    fn take(&mut self) -> Option<Line> {
        Lines::take(self)
    }

    fn tick(&mut self, now: Now) {
        Lines::tick(self, now);
    }

    fn deadline(&self) -> Option<Now> {
        Lines::deadline(self)
    }

    fn open(&mut self) -> Option<Line> {
        Lines::open(self)
    }

    fn offset(&self) -> u64 {
        Lines::offset(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec;
    use proptest::prelude::*;

    fn lines(reads: &[(u64, &[u8])]) -> (Vec<Line>, Lines) {
        let mut lines = Lines::new(Framing::text(8));
        let mut out = Vec::new();
        for (now, bytes) in reads {
            lines.push(Now(*now), bytes);
            out.extend(core::iter::from_fn(|| lines.take()));
        }
        (out, lines)
    }

    fn texts(bytes: &[u8]) -> Vec<Vec<u8>> {
        lines(&[(0, bytes)]).0.into_iter().map(|line| line.bytes).collect()
    }

    #[test]
    fn three_ends_and_blank_lines() {
        assert_eq!(texts(b"ab\ncd\r\nef\rgh\n"), [b"ab", b"cd", b"ef", b"gh"]);
        assert_eq!(texts(b"ab\r\n\r\n\r\ncd\n\ref\n"), [b"ab", b"cd", b"ef"]);
    }

    #[test]
    fn stamps_are_of_the_first_and_last_byte() {
        let (out, _) = lines(&[(1, b"\n"), (2, b"a"), (3, b"b\r"), (4, b"\nc\n")]);
        assert_eq!((out[0].first, out[0].last), (Now(2), Now(4)));
        assert_eq!(out[0].span, Span { from: 0, to: 5 });
        assert_eq!((out[1].first, out[1].last), (Now(4), Now(4)));
        assert_eq!(out[1].span, Span { from: 5, to: 7 });
    }

    #[test]
    fn a_line_that_ended_by_cr_waits_for_its_lf_and_not_for_ever() {
        let (out, mut lines) = lines(&[(5, b"ab\r")]);
        assert!(out.is_empty());
        assert_eq!(lines.deadline(), Some(Now(5 + CR_WAIT_US)));
        lines.tick(Now(4 + CR_WAIT_US));
        assert_eq!(lines.take(), None);
        lines.tick(Now(5 + CR_WAIT_US));
        assert_eq!(lines.take().unwrap().span, Span { from: 0, to: 3 });
        assert_eq!(lines.deadline(), None);
    }

    #[test]
    fn what_is_too_long_comes_in_pieces_until_its_end() {
        let (out, _) = lines(&[(0, b"0123456789ABCDEFxyz\nok\n")]);
        let got: Vec<_> = out.iter().map(|line| (line.bytes.len(), line.too_long)).collect();
        assert_eq!(got, [(8, true), (8, true), (4, true), (2, false)]);
    }

    #[test]
    fn silence_ends_a_line_only_where_it_is_asked_for() {
        let framing =
            Framing { longest: 8, ends: b"\r\n\t", silence_us: Some(50_000), answers: false };
        let mut lines = Lines::new(framing);
        lines.push(Now(1), b"ab");
        lines.tick(Now(50_000));
        assert_eq!(lines.take(), None);
        lines.tick(Now(50_001));
        assert_eq!(lines.take().unwrap().bytes, b"ab");
        // Silence closes a line that was too long as well: the next is read again.
        lines.push(Now(60_000), b"0123456789");
        assert!(lines.take().unwrap().too_long);
        lines.tick(Now(110_000));
        assert!(lines.take().unwrap().continued);
        lines.push(Now(120_000), b"cd\n");
        assert_eq!(lines.take().unwrap().bytes, b"cd");
        lines = Lines::new(Framing::text(8));
        lines.push(Now(1), b"ab");
        lines.tick(Now(1_000_000));
        assert_eq!(lines.take(), None);
    }

    #[test]
    fn bytes_that_come_after_the_silence_are_another_line_with_or_without_a_tick() {
        for tick in [false, true] {
            let framing =
                Framing { longest: 8, ends: b"\r\n", silence_us: Some(50_000), answers: false };
            let mut lines = Lines::new(framing);
            lines.push(Now(1), b"\nab");
            lines.push(Now(40_000), b"c");
            let mut out = Vec::new();
            if tick {
                lines.tick(Now(90_000));
                out.extend(core::iter::from_fn(|| lines.take()));
            }
            lines.push(Now(95_000), b"de\r");
            out.extend(core::iter::from_fn(|| lines.take()));
            lines.push(Now(300_000), b"\nf\n");
            out.extend(core::iter::from_fn(|| lines.take()));
            let got: Vec<_> = out.iter().map(|l| (&l.bytes[..], l.ended, l.span.to)).collect();
            assert_eq!(got, [(&b"abc"[..], false, 4), (b"de", true, 7), (b"f", true, 10)]);
        }
    }

    #[test]
    fn opening_gives_up_the_tail_and_counts_from_zero() {
        let (_, mut lines) = lines(&[(1, b"ab\nc"), (2, b"d")]);
        let tail = lines.open().unwrap();
        assert_eq!((tail.bytes.as_slice(), tail.first), (b"cd".as_slice(), Now(1)));
        assert_eq!(lines.open(), None);
        assert_eq!(lines.offset(), 0);
    }

    #[test]
    fn a_block_whose_length_can_be_none_is_not_waited_for() {
        for (bytes, waits) in [(&b"#9.\r\n"[..], false), (b"#91\r\n", false), (b"#13\r\n", true)] {
            let mut lines = Lines::new(Framing::answers(64));
            lines.push(Now(0), bytes);
            assert_eq!(lines.take().is_none(), waits, "{}", bytes.escape_ascii());
            assert_eq!(lines.deadline().is_some(), waits, "{}", bytes.escape_ascii());
        }
    }

    proptest! {
        #[test]
        fn no_byte_is_lost_whatever_the_cuts(
            bytes in prop::collection::vec(prop::sample::select(b"ab\r\n\0".to_vec()), 0..200),
            cuts in prop::collection::vec(1usize..9, 200),
        ) {
            let (whole, _) = lines(&[(0, &bytes)]);
            let mut reads = vec![];
            let mut rest = bytes.as_slice();
            for cut in cuts {
                let (read, after) = rest.split_at(cut.min(rest.len()));
                reads.push((0, read));
                rest = after;
            }
            let (pieces, held) = lines(&reads);
            prop_assert_eq!(&pieces, &whole);
            let mut at = 0;
            for piece in &pieces {
                prop_assert_eq!(piece.span.from, at);
                at = piece.span.to;
            }
            prop_assert_eq!(held.offset(), at);
            prop_assert!(bytes.len() as u64 - at <= 8);
        }
    }
}
