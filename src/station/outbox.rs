//! When lines are committed, and what waits behind them.

use std::collections::VecDeque;

use tapline_protocols::Fact;

use super::event::{BookId, Effect, Stored};
use crate::clock::Stamp;

/// At this many lines a commit no longer waits for its time.
const LINES_MAX: usize = 512;

/// The shortest gap between commits of bytes that belong to no inspection: a screen that nobody
/// measures by need not move more often, and a sync costs more than everything else together.
const QUIET_US: u64 = 100_000;

/// Bytes of a link that may be held back so long: several times what a meter sends in that time.
/// Holding back a line that pours in costs memory and time, and saves no sync worth having.
pub(super) const LITTLE: usize = 128;

/// Bytes that have not become a line yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Waiting {
    /// When the first of them was read, boot-time microseconds.
    pub first_us: u64,
    /// Something in them was understood.
    pub understood: bool,
    /// None of them belongs to an inspection, and no link sent more than [`LITTLE`].
    pub quiet: bool,
}

impl Waiting {
    /// These bytes and others.
    pub(super) fn and(self, other: Waiting) -> Waiting {
        Waiting {
            first_us: self.first_us.min(other.first_us),
            understood: self.understood || other.understood,
            quiet: self.quiet && other.quiet,
        }
    }
}

/// Lines on their way to disk. A lone one goes at once; the next commit starts no sooner than
/// `gap_us` after the last, or [`QUIET_US`] when all are a few bytes of no inspection;
/// values, verdicts and signatures never wait.
#[derive(Debug)]
pub(super) struct Outbox {
    gap_us: u64,
    batch: Vec<Stored>,
    behind: Vec<Effect>,
    urgent: bool,
    loud: bool,
    last_us: Option<u64>,
    out: VecDeque<Effect>,
}

impl Outbox {
    pub(super) fn new(commit_ms: u32) -> Outbox {
        Outbox {
            gap_us: u64::from(commit_ms) * 1000,
            batch: Vec::new(),
            behind: Vec::new(),
            urgent: false,
            loud: false,
            last_us: None,
            out: VecDeque::new(),
        }
    }

    /// Takes a line.
    pub(super) fn line(&mut self, line: Stored) {
        let hurry = matches!(
            line.fact,
            Fact::Value(_) | Fact::Verdict(_) | Fact::Sign(_) | Fact::End(_) | Fact::Sealed(_)
        );
        self.urgent |= hurry;
        self.loud |= !matches!(line.book, BookId::Idle(_)) || pours(&line.fact);
        self.batch.push(line);
    }

    /// An effect that needs nothing to be durable.
    pub(super) fn at_once(&mut self, effect: Effect) {
        self.out.push_back(effect);
    }

    /// An effect that waits until everything so far is durable.
    pub(super) fn behind(&mut self, effect: Effect) {
        self.loud = true;
        self.behind.push(effect);
    }

    /// When the next commit is due; zero means now. Bytes in which nothing was understood yet
    /// wait for their company, but no longer than the gap.
    pub(super) fn due_us(&self, waiting: Option<Waiting>) -> Option<u64> {
        if self.urgent || self.batch.len() >= LINES_MAX {
            return Some(0);
        }
        let quiet = !self.loud && waiting.is_none_or(|waiting| waiting.quiet);
        let gap_us = if quiet { self.gap_us.max(QUIET_US) } else { self.gap_us };
        let earliest = self.last_us.map_or(0, |last| last + gap_us);
        match waiting {
            _ if !self.batch.is_empty() => Some(earliest),
            Some(waiting) if waiting.understood => Some(earliest),
            Some(waiting) => Some(earliest.max(waiting.first_us + self.gap_us)),
            None if !self.behind.is_empty() => Some(0),
            None => None,
        }
    }

    /// Commits what there is; what waits goes behind it. Says whether there were lines.
    pub(super) fn commit(&mut self, at: Stamp) -> bool {
        let lines = !self.batch.is_empty();
        if lines {
            self.out.push_back(Effect::Commit(std::mem::take(&mut self.batch)));
            self.last_us = Some(at.boot_us);
        }
        (self.urgent, self.loud) = (false, false);
        lines
    }

    /// Lets go what waited for the commit.
    pub(super) fn release(&mut self) {
        self.out.extend(self.behind.drain(..));
    }

    /// Everything to do, in order.
    pub(super) fn drain(&mut self) -> Vec<Effect> {
        self.out.drain(..).collect()
    }
}

/// Bytes that came faster than a meter speaks.
fn pours(fact: &Fact) -> bool {
    matches!(fact, Fact::In(bytes) if bytes.raw.len() > LITTLE)
}

#[cfg(test)]
mod tests {
    use super::*;
    use tapline_protocols::fact::{In, NoteFact, Tick};

    fn at(boot_us: u64) -> Stamp {
        Stamp { wall_us: 0, boot_us }
    }

    fn note(seq: u64) -> Stored {
        let fact = Fact::Note(NoteFact { text: "x".into() });
        Stored { book: BookId::Station, bench: None, seq, at: at(0), fact, by: None }
    }

    #[test]
    fn a_lone_line_goes_at_once_and_the_next_waits_for_the_gap() {
        let mut outbox = Outbox::new(20);
        outbox.line(note(1));
        assert_eq!(outbox.due_us(None), Some(0));
        assert!(outbox.commit(at(5_000)));
        outbox.line(note(2));
        assert_eq!(outbox.due_us(None), Some(25_000));
    }

    #[test]
    fn half_a_frame_waits_a_gap_and_a_reading_does_not() {
        let mut outbox = Outbox::new(20);
        let half = Waiting { first_us: 7_000, understood: false, quiet: false };
        assert_eq!(outbox.due_us(Some(half)), Some(27_000));
        assert_eq!(outbox.due_us(Some(Waiting { understood: true, ..half })), Some(0));
        outbox.line(Stored { fact: Fact::Tick(Tick { link: "a".into() }), ..note(1) });
        outbox.commit(at(8_000));
        assert_eq!(outbox.due_us(Some(Waiting { understood: true, ..half })), Some(28_000));
    }

    #[test]
    fn what_is_of_no_inspection_waits_longer_unless_it_has_company() {
        let mut outbox = Outbox::new(20);
        outbox.commit(at(5_000));
        outbox.line(note(1));
        outbox.commit(at(5_000));
        let idle = BookId::Idle("2026-11-24".into());
        outbox.line(Stored { book: idle, ..note(2) });
        let mut bytes = Waiting { first_us: 7_000, understood: true, quiet: true };
        assert_eq!(outbox.due_us(Some(bytes)), Some(105_000));
        bytes.quiet = false;
        assert_eq!(outbox.due_us(Some(bytes)), Some(25_000));
        outbox.line(note(3));
        assert_eq!(outbox.due_us(None), Some(25_000));
    }

    #[test]
    fn what_pours_in_is_not_held_back() {
        let mut outbox = Outbox::new(20);
        outbox.line(note(1));
        outbox.commit(at(5_000));
        let bytes = |raw: usize| {
            let (raw, cuts, read) = ("x".repeat(raw), Vec::new(), Vec::new());
            let fact = Fact::In(In { link: "a".into(), at: 0, raw, cuts, read });
            Stored { book: BookId::Idle("2026-11-24".into()), fact, ..note(2) }
        };
        outbox.line(bytes(LITTLE));
        assert_eq!(outbox.due_us(None), Some(105_000));
        outbox.line(bytes(LITTLE + 1));
        assert_eq!(outbox.due_us(None), Some(25_000));
    }

    #[test]
    fn an_answer_leaves_behind_the_lines_before_it() {
        let mut outbox = Outbox::new(20);
        outbox.commit(at(1));
        outbox.line(note(1));
        outbox.behind(Effect::Seal { id: "K3".into() });
        assert_eq!(outbox.drain(), []);
        outbox.commit(at(2));
        outbox.release();
        let done = outbox.drain();
        assert!(matches!(done[..], [Effect::Commit(_), Effect::Seal { .. }]), "{done:?}");
    }
}
