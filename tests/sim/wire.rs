//! What can happen to bytes between an instrument and the station.

use std::collections::BTreeMap;

use super::rng::Rng;

/// How a line treats what is said on it: each number is "once in so many sayings", 0 is never.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Spite {
    /// In pieces, each read for itself.
    pub(crate) cut: u64,
    /// Late, so that several sayings come in one read.
    pub(crate) late: u64,
    /// A byte or all of it twice.
    pub(crate) twice: u64,
    /// A bit is wrong.
    pub(crate) bend: u64,
    /// A byte or all of it is lost.
    pub(crate) lose: u64,
    /// Garbage before or behind it.
    pub(crate) noise: u64,
}

impl Spite {
    /// A line that is only cut and joined: no byte is wrong.
    pub(crate) fn honest() -> Spite {
        Spite { cut: 2, late: 12, ..Spite::default() }
    }

    /// A bad line.
    pub(crate) fn full() -> Spite {
        Spite { cut: 2, late: 8, twice: 25, bend: 25, lose: 25, noise: 15 }
    }
}

/// The most that one read returns.
const READ_MAX: usize = 4096;
/// The longest that a saying is late, microseconds; shorter than the guard of a capture, so that
/// what contacts say is true when it counts.
const LATE_US_MAX: u64 = 300_000;

const GARBAGE: [&[u8]; 14] = [
    b"\0\0\xff\xfe",
    b"\r\n\r\n",
    b"R4 +0.1.2 Ohm\r\n",
    b"R4 0,182 Ohm\r\n",
    b"R4 +0.182\r\n",
    b"R4 +0.182 V\r\n",
    b"R4 +0.182 Ohm HOLD\r\n",
    b"R4 -0 Ohm\r\n",
    b"R4 +1E99999 Ohm\r\n",
    b"C 2222\r\n",
    b"+9.9E+37\r\n",
    b"-113,\"Undefined header\"\r\n",
    b"]C18018950110153123456781\r",
    b"\x1b[2J{\"k\":\"verdict\"}\r\n",
];

/// Bytes on their way, by link in order.
#[derive(Debug, Clone, Default)]
pub(crate) struct Wire {
    /// When, link, bytes.
    way: Vec<(u64, &'static str, Vec<u8>)>,
    /// When the last byte of a link arrives: nothing overtakes it.
    last: BTreeMap<&'static str, u64>,
    pub(crate) spite: BTreeMap<&'static str, Spite>,
    /// How often each of it happened.
    pub(crate) met: BTreeMap<&'static str, usize>,
}

impl Wire {
    /// Something is said at `at`.
    pub(crate) fn say(&mut self, at: u64, link: &'static str, bytes: &[u8], rng: &mut Rng) {
        let Some(spite) = self.spite.get(link).copied() else {
            return self.send(at, link, bytes.to_vec());
        };
        if bytes.is_empty() {
            return;
        }
        let bytes = self.spoilt(spite, bytes, rng);
        let late = self.once(spite.late, "late", rng);
        let mut at = at + if late { rng.below(LATE_US_MAX) } else { 0 };
        let cut = self.once(spite.cut, "cut", rng);
        let mut rest = &bytes[..];
        while !rest.is_empty() {
            let all = rest.len() as u64;
            let n = if cut { 1 + rng.below(all) } else { all };
            let (piece, more) = rest.split_at(usize::try_from(n).unwrap());
            self.send(at, link, piece.to_vec());
            at += rng.below(15_000);
            rest = more;
        }
    }

    fn send(&mut self, at: u64, link: &'static str, bytes: Vec<u8>) {
        let last = self.last.entry(link).or_default();
        *last = at.max(*last);
        self.way.push((*last, link, bytes));
    }

    fn once(&mut self, n: u64, what: &'static str, rng: &mut Rng) -> bool {
        let met = n > 0 && rng.once_in(n);
        if met {
            *self.met.entry(what).or_default() += 1;
        }
        met
    }

    fn spoilt(&mut self, spite: Spite, bytes: &[u8], rng: &mut Rng) -> Vec<u8> {
        let mut bytes = bytes.to_vec();
        if self.once(spite.twice, "twice", rng) {
            let again = bytes[place(rng, &bytes)..].to_vec();
            bytes.extend(again);
        }
        if self.once(spite.bend, "bent", rng) {
            let at = place(rng, &bytes);
            bytes[at] ^= 1 << rng.below(8);
        }
        if self.once(spite.lose, "lost", rng) {
            let at = place(rng, &bytes);
            match rng.once_in(2) {
                true => bytes.truncate(at),
                false => drop(bytes.remove(at)),
            }
        }
        if self.once(spite.noise, "noise", rng) {
            let noise = self.noise(rng);
            let at = if rng.once_in(2) { 0 } else { bytes.len() };
            bytes.splice(at..at, noise);
        }
        bytes
    }

    fn noise(&mut self, rng: &mut Rng) -> Vec<u8> {
        match rng.below(12) {
            0 => {
                *self.met.entry("overlong").or_default() += 1;
                vec![b'8'; 1000 + usize::try_from(rng.below(6000)).unwrap()]
            }
            1..4 => (0..rng.below(40)).map(|_| rng.byte()).collect(),
            _ => rng.one(&GARBAGE).to_vec(),
        }
    }

    /// When the next byte arrives.
    pub(crate) fn next(&self) -> u64 {
        self.way.iter().map(|(at, ..)| *at).min().unwrap_or(u64::MAX)
    }

    /// What has arrived by `now`: what arrived together comes in one read, up to its size.
    pub(crate) fn arrived(&mut self, now: u64) -> Vec<(&'static str, Vec<u8>)> {
        let (mut now, later): (Vec<_>, Vec<_>) =
            std::mem::take(&mut self.way).into_iter().partition(|(at, ..)| *at <= now);
        self.way = later;
        now.sort_by_key(|(at, ..)| *at);
        let mut reads: Vec<(&'static str, Vec<u8>)> = Vec::new();
        for (_, link, bytes) in now {
            match reads.iter_mut().find(|(known, _)| *known == link) {
                Some((_, read)) => read.extend(bytes),
                None => reads.push((link, bytes)),
            }
        }
        let cut = |(link, bytes): (&'static str, Vec<u8>)| {
            bytes.chunks(READ_MAX).map(|read| (link, read.to_vec())).collect::<Vec<_>>()
        };
        reads.into_iter().flat_map(cut).collect()
    }

    /// Everything on its way is lost.
    pub(crate) fn lose(&mut self) {
        self.way.clear();
        self.last.clear();
    }

    /// Everything on its way on a link is lost with it.
    pub(crate) fn hang_up(&mut self, link: &str) {
        self.way.retain(|(_, on, _)| *on != link);
        self.last.remove(link);
    }
}

fn place(rng: &mut Rng, bytes: &[u8]) -> usize {
    usize::try_from(rng.below(bytes.len() as u64)).unwrap()
}
