//! The feed: committed lines for all who look. Nobody waits for a screen.
//!
//! The last lines are kept in memory; each reader has its own place and is told when it lost it.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::watch;

use crate::station::event::{BookId, Stored};

/// Lines kept in memory.
pub const LINES_MAX: usize = 10_000;

/// A reader that has caught up once and falls so far behind has lost its place.
pub const BEHIND_MAX: usize = 1_000;

/// Lines handed out at once.
const PART_MAX: usize = 256;

/// A committed line, ready to be sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shown {
    /// Its number.
    pub seq: u64,
    /// Its kind, `k`.
    pub kind: String,
    /// Book, in words: `station`, a day, or the name of an inspection.
    pub book: String,
    /// Bench it concerns.
    pub bench: Option<String>,
    /// The stored line with `book` and `bench` in front, JSON.
    pub data: String,
}

impl Shown {
    /// A line as it was stored: `text` is the JSON object of the book.
    #[must_use]
    pub fn new(line: &Stored, text: &str) -> Shown {
        Shown::of(&line.book, line.bench.as_deref(), line.seq, text)
    }

    /// The same of a line's parts.
    #[must_use]
    pub fn of(book: &BookId, bench: Option<&str>, seq: u64, text: &str) -> Shown {
        let book = book_name(book);
        let quoted = |text: &str| serde_json::Value::from(text).to_string();
        let in_json = bench.map_or_else(|| "null".into(), quoted);
        let rest = text.strip_prefix('{').unwrap_or(text);
        let data = format!("{{\"book\":{},\"bench\":{in_json},{rest}", quoted(&book));
        Shown { seq, kind: kind_of(text), book, bench: bench.map(str::to_owned), data }
    }
}

/// How faces name a book.
#[must_use]
pub fn book_name(book: &BookId) -> String {
    match book {
        BookId::Station => "station".into(),
        BookId::Idle(day) => day.clone(),
        BookId::Inspection(id) => id.clone(),
    }
}

/// The word behind `"k":`, which the books write fourth of all keys.
fn kind_of(text: &str) -> String {
    let after = text.split_once("\"k\":\"").map_or("", |(_, rest)| rest);
    after.split('"').next().unwrap_or("").to_owned()
}

/// The feed. One writer, any number of readers.
#[derive(Debug)]
pub struct Feed {
    lines: Mutex<VecDeque<Arc<Shown>>>,
    newest: watch::Sender<u64>,
}

impl Default for Feed {
    fn default() -> Feed {
        Feed { lines: Mutex::default(), newest: watch::channel(0).0 }
    }
}

impl Feed {
    /// Shows lines that are durable. Never waits for a reader.
    pub fn show(&self, shown: Vec<Shown>) {
        let Some(newest) = shown.last().map(|line| line.seq) else { return };
        let mut lines = self.lock();
        lines.extend(shown.into_iter().map(Arc::new));
        let surplus = lines.len().saturating_sub(LINES_MAX);
        lines.drain(..surplus);
        drop(lines);
        self.newest.send_replace(newest);
    }

    /// Numbers of the oldest and the newest line in memory; both 0 while there is none.
    #[must_use]
    pub fn ends(&self) -> (u64, u64) {
        let lines = self.lock();
        let seq = |line: Option<&Arc<Shown>>| line.map_or(0, |line| line.seq);
        (seq(lines.front()), seq(lines.back()))
    }

    /// A reader that has seen everything up to `after`; `None`: it begins with the next line.
    #[must_use]
    pub fn read(self: &Arc<Feed>, after: Option<u64>) -> Place {
        let (_, newest) = self.ends();
        Place {
            feed: Arc::clone(self),
            after: after.unwrap_or(newest),
            caught_up: newest,
            wake: self.newest.subscribe(),
        }
    }

    fn lock(&self) -> MutexGuard<'_, VecDeque<Arc<Shown>>> {
        self.lines.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A reader's place in the feed.
#[derive(Debug)]
pub struct Place {
    feed: Arc<Feed>,
    after: u64,
    caught_up: u64,
    wake: watch::Receiver<u64>,
}

/// What a reader gets.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Part {
    /// Lines in order, none missing since the part before.
    Lines(Vec<Arc<Shown>>),
    /// It lost its place: what lay between is gone from here. It goes on from `oldest`.
    Lost {
        /// Last line it had.
        after: u64,
        /// First line it gets next.
        oldest: u64,
    },
}

impl Place {
    /// The next lines, as soon as there are any. `None` when the station ends.
    pub async fn next(&mut self) -> Option<Part> {
        loop {
            self.wake.borrow_and_update();
            if let Some(part) = self.part() {
                return Some(part);
            }
            self.wake.changed().await.ok()?;
        }
    }

    /// What is there now, `None` if nothing is new.
    pub fn part(&mut self) -> Option<Part> {
        let lines = self.feed.lock();
        let from = lines.partition_point(|line| line.seq <= self.after);
        let (oldest, newest) = (lines.front()?.seq, lines.back()?.seq);
        let behind = lines.len() - from;
        // Numbers have no gap: an older line than the oldest here was there to be had.
        let missed = self.after + 1 < oldest;
        let slow = self.after >= self.caught_up && behind > BEHIND_MAX;
        if missed || slow {
            let oldest = if missed { oldest } else { newest };
            let lost = Part::Lost { after: self.after, oldest };
            self.after = oldest - 1;
            self.caught_up = newest;
            return Some(lost);
        }
        let part: Vec<_> = lines.range(from..).take(PART_MAX).cloned().collect();
        self.after = part.last()?.seq;
        Some(Part::Lines(part))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Stamp;
    use tapline_protocols::Fact;
    use tapline_protocols::fact::NoteFact;

    fn shown(seqs: std::ops::RangeInclusive<u64>) -> Vec<Shown> {
        let one = |seq| Shown {
            seq,
            kind: "note".into(),
            book: "station".into(),
            bench: None,
            data: String::new(),
        };
        seqs.map(one).collect()
    }

    fn seqs(part: Option<Part>) -> (u64, u64) {
        let Some(Part::Lines(lines)) = part else { panic!("lines, not {part:?}") };
        (lines[0].seq, lines[lines.len() - 1].seq)
    }

    #[test]
    fn a_line_is_shown_with_book_and_bench_in_front() {
        let line = Stored {
            book: BookId::Inspection("K3-20261124-0007".into()),
            bench: Some("b1".into()),
            seq: 7,
            at: Stamp { wall_us: 0, boot_us: 0 },
            fact: Fact::Note(NoteFact { text: "x".into() }),
            by: None,
        };
        let shown = Shown::new(&line, r#"{"seq":7,"t":"T","m":1,"k":"note","text":"x"}"#);
        let want = r#"{"book":"K3-20261124-0007","bench":"b1","seq":7,"t":"T","m":1,"k":"note","text":"x"}"#;
        assert_eq!(shown.data, want);
        assert_eq!(shown.kind, "note");
    }

    #[test]
    fn a_reader_gets_each_line_once_and_in_order() {
        let feed = Arc::new(Feed::default());
        feed.show(shown(1..=300));
        let mut place = feed.read(Some(10));
        assert_eq!(seqs(place.part()), (11, 266));
        assert_eq!(seqs(place.part()), (267, 300));
        assert_eq!(place.part(), None);
        feed.show(shown(301..=301));
        assert_eq!(seqs(place.part()), (301, 301));
    }

    #[test]
    fn without_a_place_a_reader_begins_now() {
        let feed = Arc::new(Feed::default());
        feed.show(shown(1..=5));
        let mut place = feed.read(None);
        assert_eq!(place.part(), None);
        feed.show(shown(6..=6));
        assert_eq!(seqs(place.part()), (6, 6));
    }

    #[test]
    fn memory_is_bounded_and_who_asks_for_older_is_told() {
        let feed = Arc::new(Feed::default());
        feed.show(shown(1..=10_500));
        assert_eq!(feed.ends(), (501, 10_500));
        let mut place = feed.read(Some(400));
        assert_eq!(place.part(), Some(Part::Lost { after: 400, oldest: 501 }));
        assert_eq!(seqs(place.part()).0, 501);
    }

    #[test]
    fn a_slow_reader_loses_its_place_and_one_that_catches_up_does_not() {
        let feed = Arc::new(Feed::default());
        feed.show(shown(1..=5_000));
        let mut late = feed.read(Some(0));
        assert_eq!(seqs(late.part()).0, 1);
        let mut slow = feed.read(Some(5_000));
        feed.show(shown(5_001..=6_001));
        assert_eq!(slow.part(), Some(Part::Lost { after: 5_000, oldest: 6_001 }));
        assert_eq!(seqs(slow.part()), (6_001, 6_001));
        assert_eq!(seqs(late.part()).0, 257);
    }
}
