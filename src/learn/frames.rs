//! Where one frame ends and the next begins.

use std::collections::BTreeMap;

use tapline_drivers::described::fixed::Kind;
use tapline_drivers::wire::parity;

/// Fewest frames that are called alike.
const FRAMES_MIN: usize = 3;
/// Longest frame that is looked for.
const LENGTH_MAX: usize = 128;
/// Most bytes that are compared with themselves.
const COMPARED_MAX: usize = 4096;

/// How frames seem to be told apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Shape {
    /// Text that ends so.
    Lines(Vec<u8>),
    /// Text between two marks.
    Between(Vec<u8>, Vec<u8>),
    /// So many bytes.
    Fixed(usize),
    /// So many bytes, of which the upper half counts from 1.
    Indexed(usize),
    /// Nothing was found.
    Unknown,
}

/// A checksum that holds in every frame; places from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Candidate {
    /// How it is made.
    pub kind: Kind,
    /// First byte that it covers.
    pub from: usize,
    /// Last byte that it covers.
    pub to: usize,
    /// Where it stands.
    pub at: usize,
}

/// What was guessed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Guess {
    /// All bytes, the parity bit taken off where there is one.
    pub bytes: usize,
    /// Parity that was left in bit 7.
    pub parity: Option<&'static str>,
    /// How frames are told apart.
    pub shape: Shape,
    /// Whole frames, ends included.
    pub frames: Vec<Vec<u8>>,
    /// Each frame is sent twice.
    pub twice: bool,
    /// Milliseconds from the beginning of one frame to the next, in the middle of all.
    pub period_ms: Option<u64>,
    /// Milliseconds of silence that part frames, the shortest, where silence does.
    pub silence_ms: Option<u64>,
    /// Places that always hold the same byte, from 0; of fixed frames.
    pub always: Vec<(usize, u8)>,
    /// Checksums that hold in every frame; of fixed frames.
    pub checks: Vec<Candidate>,
}

/// Guesses by bytes and the moments of their reads, microseconds.
#[must_use]
pub fn guess(reads: &[(u64, Vec<u8>)]) -> Guess {
    let raw: Vec<u8> = reads.iter().flat_map(|(_, bytes)| bytes.clone()).collect();
    let parity = parity_of(&raw);
    let off = |byte: &u8| if parity.is_some() { byte & 0x7f } else { *byte };
    let bytes: Vec<u8> = raw.iter().map(off).collect();
    let (parts, silence_ms) = by_silence(reads, &bytes);
    let shape = shape(&bytes, &parts);
    let starts = starts(&bytes, &shape, &parts);
    let frames: Vec<Vec<u8>> = starts.iter().map(|(from, to)| bytes[*from..*to].to_vec()).collect();
    let fixed = matches!(shape, Shape::Fixed(_) | Shape::Indexed(_));
    let always = if fixed { always(&frames) } else { Vec::new() };
    let checks = if fixed { checks(&frames, &always) } else { Vec::new() };
    Guess {
        bytes: bytes.len(),
        parity,
        twice: twice(&frames),
        period_ms: period(reads, &starts),
        silence_ms,
        shape,
        frames,
        always,
        checks,
    }
}

/// Not every byte needs to agree: there may be noise at the beginning.
fn parity_of(bytes: &[u8]) -> Option<&'static str> {
    let later = bytes.get(bytes.len() / 4..).unwrap_or_default();
    parity::left_in(bytes).or_else(|| parity::left_in(later))
}

/// Pieces between silences, as places of bytes, when silence parts them clearly: the shortest
/// silence between them is four times the longest within, and 10 ms at least.
fn by_silence(reads: &[(u64, Vec<u8>)], bytes: &[u8]) -> (Vec<(usize, usize)>, Option<u64>) {
    let gaps: Vec<u64> = reads.windows(2).map(|two| two[1].0.saturating_sub(two[0].0)).collect();
    let mut sorted = gaps.clone();
    sorted.sort_unstable();
    let jump = sorted.windows(2).find(|two| two[1] >= 10_000 && two[1] >= two[0].max(500) * 4);
    let least = match (jump, sorted.first()) {
        (Some(two), _) => two[1],
        (None, Some(first)) if *first >= 10_000 => *first,
        _ => return (vec![(0, bytes.len())], None),
    };
    let (mut parts, mut from, mut at) = (Vec::new(), 0, 0);
    for (n, (_, read)) in reads.iter().enumerate() {
        at += read.len();
        if gaps.get(n).is_none_or(|gap| *gap >= least) {
            parts.push((from, at));
            from = at;
        }
    }
    (parts, Some(least / 1_000))
}

fn shape(bytes: &[u8], parts: &[(usize, usize)]) -> Shape {
    if let Some(length) = indexed(bytes) {
        return Shape::Indexed(length);
    }
    let text = |byte: &&u8| matches!(byte, b' '..=b'~' | b'\r' | b'\n' | b'\t' | 2 | 3);
    let readable = bytes.iter().filter(text).count() * 20 >= bytes.len() * 19;
    if readable && let Some(shape) = text_shape(bytes) {
        return shape;
    }
    fixed_shape(bytes, parts).unwrap_or(Shape::Unknown)
}

/// Upper halves that count from 1 up and begin again, over at least three frames.
fn indexed(bytes: &[u8]) -> Option<usize> {
    let halves: Vec<u8> = bytes.iter().map(|byte| byte >> 4).collect();
    let begins: Vec<usize> = (0..halves.len()).filter(|at| halves[*at] == 1).collect();
    let runs = begins.windows(2).filter(|two| {
        let run = &halves[two[0]..two[1]];
        run.len() >= 4 && run.iter().zip(1..).all(|(half, n)| *half == n)
    });
    let lengths: Vec<usize> = runs.map(|two| two[1] - two[0]).collect();
    let length = most_common(lengths.iter().copied())?;
    let same = lengths.iter().filter(|other| **other == length).count();
    (same + 1 >= FRAMES_MIN && same * (length + 1) >= bytes.len() * 2 / 3).then_some(length)
}

fn text_shape(bytes: &[u8]) -> Option<Shape> {
    let count = |part: &[u8]| bytes.windows(part.len()).filter(|at| *at == part).count();
    let begun = count(b"\x02");
    let ends: [&[u8]; 4] = [b"\r\n", b"\n", b"\r", b"\x03"];
    let pairs = count(ends[0]);
    let end = match (pairs, count(b"\n"), count(b"\r"), count(b"\x03")) {
        (pairs, lf, ..) if pairs >= 2 && pairs * 10 >= lf * 9 => ends[0],
        (_, lf, ..) if lf >= 2 => ends[1],
        (.., etx) if etx >= 2 && etx + 1 >= begun => ends[3],
        (_, _, cr, _) if cr >= 2 => ends[2],
        _ => return None,
    };
    let ended = count(end);
    Some(match begun >= 2 && begun + 1 >= ended && ended + 1 >= begun {
        true => Shape::Between(vec![2], end.to_vec()),
        false => Shape::Lines(end.to_vec()),
    })
}

/// The length that pieces between silences share, else that at which the stream is most like
/// itself.
fn fixed_shape(bytes: &[u8], parts: &[(usize, usize)]) -> Option<Shape> {
    let lengths = parts.iter().map(|(from, to)| to - from);
    let common = most_common(lengths.clone()).filter(|length| (2..=LENGTH_MAX).contains(length));
    if let Some(length) = common {
        let same = lengths.filter(|other| *other == length).count();
        if same >= FRAMES_MIN && same * 2 > parts.len() {
            return Some(Shape::Fixed(length));
        }
    }
    let bytes = &bytes[..bytes.len().min(COMPARED_MAX)];
    let alike = |length: usize| {
        let pairs = bytes.len().saturating_sub(length);
        let same = bytes.iter().zip(&bytes[length.min(bytes.len())..]).filter(|(a, b)| a == b);
        same.count() * 1_000 / pairs.max(1)
    };
    let lengths = 4..=LENGTH_MAX.min(bytes.len() / FRAMES_MIN);
    let best = lengths.clone().map(alike).max().filter(|best| *best >= 500)?;
    lengths.into_iter().find(|length| alike(*length) + 30 >= best).map(Shape::Fixed)
}

fn most_common(all: impl Iterator<Item = usize>) -> Option<usize> {
    let mut counts: BTreeMap<usize, usize> = BTreeMap::new();
    all.for_each(|one| *counts.entry(one).or_default() += 1);
    counts.into_iter().max_by_key(|(_, count)| *count).map(|(one, _)| one)
}

/// The places of whole frames.
fn starts(bytes: &[u8], shape: &Shape, parts: &[(usize, usize)]) -> Vec<(usize, usize)> {
    match shape {
        Shape::Unknown => Vec::new(),
        Shape::Lines(end) => ended(bytes, end).collect(),
        Shape::Between(start, end) => {
            let whole = ended(bytes, end).filter_map(|(from, to)| {
                let at = bytes[from..to].iter().rposition(|byte| start.contains(byte))?;
                Some((from + at, to))
            });
            whole.collect()
        }
        Shape::Indexed(length) => {
            let begins = (0..bytes.len().saturating_sub(length - 1)).filter(|at| {
                bytes[*at..at + length].iter().zip(1..).all(|(byte, n)| byte >> 4 == n)
            });
            begins.map(|from| (from, from + length)).collect()
        }
        Shape::Fixed(length) => {
            let own: Vec<_> =
                parts.iter().filter(|(from, to)| to - from == *length).copied().collect();
            if own.len() >= FRAMES_MIN {
                return own;
            }
            let phase = phase(bytes, *length);
            let whole = bytes.len().saturating_sub(phase) / length;
            (0..whole).map(|n| (phase + n * length, phase + (n + 1) * length)).collect()
        }
    }
}

fn ended(bytes: &[u8], end: &[u8]) -> impl Iterator<Item = (usize, usize)> {
    let ends = (0..bytes.len()).filter(|at| bytes[*at..].starts_with(end));
    let mut from = 0;
    let pieces = ends.map(move |at| {
        let piece = (from, at + end.len());
        from = piece.1;
        piece
    });
    pieces.filter(|(from, to)| to - from > end.len()).collect::<Vec<_>>().into_iter()
}

/// Where frames of a fixed length begin, when nothing but their bytes tells: behind a CR or LF
/// that always ends them, else at a byte that is always the same and no text.
fn phase(bytes: &[u8], length: usize) -> usize {
    let constant = |phase: usize| {
        let first = bytes.get(phase).copied()?;
        bytes.iter().skip(phase).step_by(length).all(|byte| *byte == first).then_some(first)
    };
    let behind = |phase: &usize| {
        let last = constant((phase + length - 1) % length);
        let next = constant(*phase);
        matches!(last, Some(b'\n' | b'\r')) && !matches!(next, Some(b'\n' | b'\r'))
    };
    let binary = |phase: &usize| constant(*phase).is_some_and(|b| !(b' '..=b'~').contains(&b));
    let any = |phase: &usize| constant(*phase).is_some();
    let all = || 0..length;
    all().find(behind).or_else(|| all().find(binary)).or_else(|| all().find(any)).unwrap_or(0)
}

/// Places that hold the same byte in nearly every frame: one in ten may be damaged.
fn always(frames: &[Vec<u8>]) -> Vec<(usize, u8)> {
    let length = frames.first().map_or(0, Vec::len);
    let place = |at: usize| {
        let byte = most_common(frames.iter().map(|frame| usize::from(frame[at])))?;
        let same = frames.iter().filter(|frame| usize::from(frame[at]) == byte).count();
        let all = frames.len() >= FRAMES_MIN && same * 10 >= frames.len() * 9;
        all.then(|| (at, u8::try_from(byte).unwrap_or_default()))
    };
    (0..length).filter_map(place).collect()
}

/// Checksums that hold in every frame, when there are enough that differ.
fn checks(frames: &[Vec<u8>], always: &[(usize, u8)]) -> Vec<Candidate> {
    let mut distinct: Vec<&Vec<u8>> = frames.iter().collect();
    distinct.sort();
    distinct.dedup();
    let length = frames.first().map_or(0, Vec::len);
    if distinct.len() < FRAMES_MIN || length < 4 {
        return Vec::new();
    }
    let mut found = Vec::new();
    for kind in [Kind::Sum8, Kind::Xor8, Kind::Sum16, Kind::Sum16LowFirst] {
        for at in (length.saturating_sub(4)..length).rev() {
            if at + kind.width() > length || always.iter().any(|(place, _)| *place == at) {
                continue;
            }
            let from = (0..4.min(at)).find(|from| {
                let holds =
                    |frame: &&Vec<u8>| kind.of(&frame[*from..at]) == frame[at..at + kind.width()];
                // One in ten may be damaged.
                distinct.iter().filter(|frame| holds(frame)).count() * 10 >= distinct.len() * 9
            });
            found.extend(from.map(|from| Candidate { kind, from: from + 1, to: at, at: at + 1 }));
        }
    }
    found
}

/// Frames come in equal pairs, and not all are equal.
fn twice(frames: &[Vec<u8>]) -> bool {
    let paired = |skip: usize| {
        let pairs: Vec<_> = frames[skip.min(frames.len())..].chunks_exact(2).collect();
        let same = pairs.iter().filter(|pair| pair[0] == pair[1]).count();
        pairs.len() >= 2 && same * 10 >= pairs.len() * 9
    };
    let differ = frames.windows(2).filter(|two| two[0] != two[1]).count();
    differ > 0 && (paired(0) || paired(1))
}

/// From the beginning of one frame to the next, in the middle of all.
fn period(reads: &[(u64, Vec<u8>)], starts: &[(usize, usize)]) -> Option<u64> {
    let mut at = 0;
    let mut begins: Vec<(usize, u64)> = Vec::new();
    for (moment, bytes) in reads {
        begins.push((at, *moment));
        at += bytes.len();
    }
    let moment = |place: usize| {
        let after = begins.partition_point(|(from, _)| *from <= place);
        begins[after.saturating_sub(1)].1
    };
    let moments: Vec<u64> = starts.iter().map(|(from, _)| moment(*from)).collect();
    let mut gaps: Vec<u64> = moments.windows(2).map(|two| two[1].saturating_sub(two[0])).collect();
    gaps.sort_unstable();
    gaps.get(gaps.len() / 2).map(|gap| gap / 1_000).filter(|gap| *gap > 0)
}
