//! A stream cut into frames by their shape: bounded, re-synchronising, every byte accounted for.
//!
//! Where no frame begins, one byte is dropped and the next one tried. Dropped bytes that follow
//! each other come out as one piece. Silence ends a damaged frame: what is held then is no frame,
//! but a whole one may still stand inside it, so it is searched to its end.

use alloc::vec::Vec;

use super::lines::Line;
use super::stream::Stream;
use crate::listen::Cutter;
use crate::reading::Now;

/// Most dropped bytes of one piece.
pub const DROPPED_MAX: usize = 256;

/// What the first bytes of something are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Look {
    /// They may become a frame.
    More,
    /// A whole frame of so many bytes.
    Frame(usize),
    /// No frame begins so.
    No,
}

/// The shape of a frame.
#[derive(Debug, Clone, Copy)]
pub struct Shape {
    /// Looks at the bytes from a possible beginning on; at least one. A frame has at most 256
    /// bytes, and more bytes never change what was said of fewer, `More` apart.
    pub look: fn(&[u8]) -> Look,
    /// Silence that ends a damaged frame, microseconds.
    pub silence_us: u64,
}

/// What tells frames from the rest: a [`Shape`], or one that was read from a description.
pub trait Looks: Clone + Send + Sync + core::fmt::Debug {
    /// What the first bytes of something are; the rules of [`Shape::look`] hold.
    fn look(&self, bytes: &[u8]) -> Look;

    /// Silence that ends a damaged frame, microseconds.
    fn silence_us(&self) -> u64;
}

impl Looks for Shape {
    fn look(&self, bytes: &[u8]) -> Look {
        (self.look)(bytes)
    }

    fn silence_us(&self) -> u64 {
        self.silence_us
    }
}

/// Bytes of a frame of a fixed length, each checked by its place.
#[must_use]
pub fn fixed(bytes: &[u8], length: usize, fits: impl Fn(usize, u8) -> bool) -> Look {
    let seen = bytes.iter().take(length).enumerate();
    match seen.into_iter().all(|(at, byte)| fits(at, *byte)) {
        false => Look::No,
        true if bytes.len() < length => Look::More,
        true => Look::Frame(length),
    }
}

/// Cuts a stream into frames.
#[derive(Debug)]
pub struct Frames<S = Shape> {
    shape: S,
    stream: Stream,
    dropped: usize,
    due: bool,
    /// What was held up to here had waited long enough when more bytes came.
    parted: Option<u64>,
}

impl<S: Looks> Frames<S> {
    /// An empty stream at offset 0.
    #[must_use]
    pub fn new(shape: S) -> Frames<S> {
        Frames { shape, stream: Stream::new(), dropped: 0, due: false, parted: None }
    }

    /// Bytes that may still belong together, and whether none will follow them.
    fn window(&self) -> (&[u8], bool) {
        let tail = self.stream.tail();
        let Some(parted) = self.parted else { return (tail, self.due) };
        let before = usize::try_from(parted - self.stream.offset()).unwrap_or(usize::MAX);
        (&tail[..before.min(tail.len())], true)
    }

    fn give(&mut self, length: usize, frame: bool) -> Line {
        let bytes: Vec<u8> = self.stream.tail()[..length].into();
        let from = self.stream.offset();
        let (first, last) = (self.stream.stamp(from), self.stream.stamp(from + length as u64 - 1));
        let span = self.stream.give(length);
        self.dropped = 0;
        self.parted = self.parted.filter(|parted| *parted > span.to);
        Line { bytes, span, first, last, too_long: false, continued: false, ended: frame }
    }

    /// The next piece of what is held, without a word on what comes behind it.
    fn found(&mut self) -> Option<Line> {
        loop {
            let (window, closed) = self.window();
            let rest = window.get(self.dropped..).unwrap_or_default();
            let look = if rest.is_empty() { Look::More } else { self.shape.look(rest) };
            match look {
                Look::Frame(length) if self.dropped == 0 => return Some(self.give(length, true)),
                Look::Frame(_) => return Some(self.give(self.dropped, false)),
                Look::More if rest.is_empty() => {
                    let over = closed && self.dropped > 0;
                    return over.then(|| self.give(self.dropped, false));
                }
                Look::More if !closed => return None,
                Look::More | Look::No => self.dropped += 1,
            }
            if self.dropped >= DROPPED_MAX {
                return Some(self.give(self.dropped, false));
            }
        }
    }
}

impl<S: Looks> Cutter for Frames<S> {
    fn push(&mut self, now: Now, bytes: &[u8]) {
        if bytes.is_empty() {
            return;
        }
        if self.deadline().is_some_and(|deadline| now >= deadline) {
            self.parted = Some(self.stream.end());
        }
        self.stream.push(now, bytes);
    }

    fn take(&mut self) -> Option<Line> {
        loop {
            if let Some(piece) = self.found() {
                return Some(piece);
            }
            self.due = false;
            self.parted.take()?;
        }
    }

    fn tick(&mut self, now: Now) {
        self.due = self.deadline().is_some_and(|deadline| now >= deadline);
    }

    fn deadline(&self) -> Option<Now> {
        Some(Now(self.stream.newest()?.0 + self.shape.silence_us()))
    }

    fn open(&mut self) -> Option<Line> {
        let length = self.stream.tail().len();
        let given_up = (length > 0).then(|| self.give(length, false));
        *self = Frames::new(self.shape.clone());
        given_up
    }

    fn offset(&self) -> u64 {
        self.stream.offset()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// `<`, three digits, `>`.
    const SHAPE: Shape = Shape {
        look: |bytes| {
            fixed(bytes, 5, |at, byte| match at {
                0 => byte == b'<',
                4 => byte == b'>',
                _ => byte.is_ascii_digit(),
            })
        },
        silence_us: 50_000,
    };

    fn pieces(reads: &[(u64, &[u8])]) -> (Vec<(Vec<u8>, bool)>, Frames) {
        let mut frames = Frames::new(SHAPE);
        let mut out = Vec::new();
        for (now, bytes) in reads {
            frames.push(Now(*now), bytes);
            out.extend(core::iter::from_fn(|| frames.take()).map(|l| (l.bytes, l.ended)));
        }
        (out, frames)
    }

    fn piece(bytes: &[u8], frame: bool) -> (Vec<u8>, bool) {
        (bytes.to_vec(), frame)
    }

    #[test]
    fn what_is_no_frame_is_dropped_byte_by_byte_and_comes_out_as_one_piece() {
        let (out, _) = pieces(&[(0, b"9><12<345>xx<<678>")]);
        let want = [
            piece(b"9><12", false),
            piece(b"<345>", true),
            piece(b"xx<", false),
            piece(b"<678>", true),
        ];
        assert_eq!(out, want);
    }

    #[test]
    fn silence_ends_a_damaged_frame_with_or_without_a_tick() {
        for tick in [false, true] {
            let (mut out, mut frames) = pieces(&[(1, b"<12")]);
            assert_eq!(frames.deadline(), Some(Now(50_001)));
            frames.tick(Now(50_000));
            assert_eq!(frames.take(), None);
            if tick {
                frames.tick(Now(50_001));
            }
            out.extend(core::iter::from_fn(|| frames.take()).map(|l| (l.bytes, l.ended)));
            frames.push(Now(50_001), b"3><456>");
            out.extend(core::iter::from_fn(|| frames.take()).map(|l| (l.bytes, l.ended)));
            let want = [piece(b"<12", false), piece(b"3>", false), piece(b"<456>", true)];
            assert_eq!(out, want);
            assert_eq!(frames.deadline(), None);
        }
    }

    #[test]
    fn what_never_is_a_frame_comes_in_bounded_pieces() {
        let (out, frames) = pieces(&[(0, &[b'x'; 3 * DROPPED_MAX + 5])]);
        assert_eq!(out, [(); 3].map(|()| piece(&[b'x'; DROPPED_MAX], false)));
        assert_eq!(frames.stream.tail().len(), 5);
    }

    #[test]
    fn opening_gives_up_what_is_held_and_counts_from_zero() {
        let (_, mut frames) = pieces(&[(1, b"<123>xx<1")]);
        let given_up = frames.open().unwrap();
        assert_eq!((given_up.bytes.as_slice(), given_up.span.from), (b"xx<1".as_slice(), 5));
        assert_eq!(frames.open(), None);
    }

    proptest! {
        #[test]
        fn no_byte_is_lost_whatever_the_cuts(
            bytes in prop::collection::vec(prop::sample::select(b"<<123>>x".to_vec()), 0..900),
            cut in 1..40_usize,
        ) {
            let (whole, held) = pieces(&[(0, &bytes)]);
            let reads: Vec<_> = bytes.chunks(cut).map(|read| (0, read)).collect();
            let (cut, _) = pieces(&reads);
            prop_assert_eq!(&cut, &whole);
            let told: Vec<u8> = whole.iter().flat_map(|(bytes, _)| bytes.clone()).collect();
            prop_assert_eq!(&told[..], &bytes[..told.len()]);
            prop_assert_eq!(told.len() + held.stream.tail().len(), bytes.len());
            prop_assert!(held.stream.tail().len() < DROPPED_MAX + 5);
        }
    }
}
