//! All rules over one story: what is stored and shown, after each step and after each start.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use tapline::books::{Line, Shelf};
use tapline::station::event::BookId;
use tapline_protocols::Fact;
use tapline_protocols::fact::{ReadingId, ValueFact};
use tapline_protocols::register::Known;

use super::bench::FIRST;
use super::ledger::Ledger;
use super::world::World;
use super::{lines, state};
use state::hold;

/// Everything that was shown, and what follows from it.
#[derive(Default)]
pub(crate) struct Check {
    pub(crate) ledger: Ledger,
    /// Signed or ended, not yet replayed.
    finished: BTreeSet<BookId>,
    /// Replayed.
    pub(crate) replayed: BTreeSet<BookId>,
    /// When the readings of the voltmeter came.
    came: BTreeMap<ReadingId, u64>,
    /// The register changed since it was compared.
    fresh: bool,
    /// How often what was shown or checked.
    pub(crate) kinds: BTreeMap<String, usize>,
}

impl Check {
    /// After a step.
    pub(crate) fn step(&mut self, world: &mut World) {
        for (book, text) in std::mem::take(&mut world.fresh) {
            self.take(world, &book, &text);
        }
        hold("queues_are_bounded", state::queues_are_bounded(world.most));
        let told = std::mem::take(&mut world.told);
        hold("outcomes_are_stored", state::outcomes_are_stored(&self.ledger, &told));
        if world.halted {
            return;
        }
        let (stored, streams) = (&mut self.ledger.stored, &self.ledger.streams);
        let of = |link: &str| streams.get(link).map(|stream| &stream.book);
        let idle = |link: &str| !matches!(of(link), Some(BookId::Inspection(_)));
        let kept = state::bytes_are_kept(&mut world.delivered, stored, &idle, world.now);
        hold("bytes_are_kept", kept);
        // While a line waits for its commit, what lives is ahead of what is stored.
        if world.core.last_seq() == self.ledger.last {
            self.compare(world);
        }
        self.replay_finished(world);
    }

    fn compare(&mut self, world: &World) {
        self.count("compared");
        let changed = self.ledger.shadows.iter_mut().filter(|(_, shadow)| shadow.fresh);
        for (id, shadow) in changed {
            shadow.fresh = false;
            let phase = state::the_phase_is_what_was_stored(id, shadow);
            hold("the_phase_is_what_was_stored", phase);
            if let Some(lives) = world.core.record(id) {
                let stored = shadow.inspection.record();
                let same = state::the_fold_is_what_lives(id, stored, lives);
                hold("the_fold_is_what_lives", same);
            }
        }
        if std::mem::take(&mut self.fresh) {
            let same = state::the_register_is_what_lives(world, &self.ledger);
            hold("the_register_is_what_lives", same);
        }
        if let Some(status) = &world.status {
            let same = state::the_status_is_what_is_stored(&self.ledger, status);
            hold("the_status_is_what_is_stored", same);
        }
    }

    /// A line that was shown.
    fn take(&mut self, world: &World, book: &BookId, text: &str) {
        let line = Line::read(text.as_bytes()).unwrap();
        if let Some(broken) = lines::broken(&self.ledger, book, &line) {
            panic!("{broken}");
        }
        self.apply(world, book, &line, text);
    }

    fn apply(&mut self, world: &World, book: &BookId, line: &Line, text: &str) {
        *self.kinds.entry(kind(&line.fact)).or_default() += 1;
        self.fresh |= *book == BookId::Station;
        match &line.fact {
            Fact::In(read) if read.link == FIRST.dmm => {
                let at = world.station.since(line.at.boot_us);
                let all = u32::try_from(read.read.len()).unwrap();
                self.came.extend((0..all).map(|n| ((line.seq, n), at)));
            }
            Fact::Value(value) => self.condition(world, value),
            Fact::Sign(_) | Fact::End(_) => {
                self.finished.insert(book.clone());
            }
            _ => {}
        }
        self.ledger.apply(book, line, text);
    }

    /// A value whose condition was seen by contacts was taken in that condition.
    fn condition(&mut self, world: &World, value: &ValueFact) {
        if value.known != Some(Known::Witnessed) || !world.contacts_are_honest() {
            return;
        }
        self.count("condition seen");
        let times = value.from.iter().filter_map(|id| self.came.get(id).copied());
        let stood = &world.first().stood;
        let true_ = state::the_condition_was_true(&value.set, times, stood);
        hold("the_condition_was_true", true_);
    }

    fn count(&mut self, what: &str) {
        *self.kinds.entry(what.into()).or_default() += 1;
    }

    /// Every finished book gives its facts once more.
    fn replay_finished(&mut self, world: &World) {
        for book in std::mem::take(&mut self.finished) {
            replays(&world.lines(&book), &book);
            self.count("replayed");
            self.replayed.insert(book);
        }
    }

    /// What a power cut now would leave holds everything that was shown.
    pub(crate) fn durable(&self, world: &World) {
        let survives =
            state::what_was_shown_survives(&self.ledger, &world.disk, &world.station, world.now);
        hold("what_was_shown_survives", survives);
    }

    /// At the end: open inspections and days of idle bytes replay, too, and seals fit.
    pub(crate) fn end(&mut self, world: &World) {
        let books: Vec<BookId> = self.ledger.texts.keys().cloned().collect();
        for book in books.iter().filter(|book| **book != BookId::Station) {
            replays(&world.lines(book), book);
        }
        let fit = state::seals_fit(&world.disk, &world.lines(&BookId::Station));
        hold("seals_fit", fit);
    }

    /// After a start: what was shown is there, and if it came to its end, what is there besides
    /// is taken as shown.
    pub(crate) fn after_start(&mut self, world: &mut World) {
        let fresh = std::mem::take(&mut world.fresh);
        let mut known: BTreeSet<BookId> = self.ledger.texts.keys().cloned().collect();
        known.extend(world.disk.paths().iter().filter_map(|path| book_at(path)));
        let mut more = Vec::new();
        let shelf = Shelf::new(Arc::new(world.disk.image()));
        for book in known {
            let kept = shelf.texts(&book).unwrap();
            let kept: Vec<Vec<u8>> = kept.map(|text| text.unwrap().bytes).collect();
            let shown = self.ledger.texts.get(&book).map_or(&[][..], Vec::as_slice);
            hold("what_was_shown_survives", state::begins_with(&book, &kept, shown));
            for text in &kept[shown.len()..] {
                let line = Line::read(text).unwrap();
                let text = String::from_utf8(text.clone()).unwrap();
                more.push((line.seq, book.clone(), line, text));
            }
        }
        more.retain(|(seq, ..)| *seq < world.begins);
        more.sort_by_key(|(seq, ..)| *seq);
        for (seq, book, line, text) in more {
            assert!(self.ledger.last < seq, "a number is given once: {text}");
            self.apply(world, &book, &line, &text);
        }
        self.ledger.begin_life();
        for (book, text) in fresh {
            self.take(world, &book, &text);
        }
    }
}

/// The bytes of a book give its facts once more.
pub(crate) fn replays(lines: &[Line], book: &BookId) {
    hold("the_book_replays", state::the_book_replays(lines, book));
}

fn kind(fact: &Fact) -> String {
    match fact {
        Fact::Sign(sign) => format!("sign {}", word(&sign.outcome)),
        Fact::Verdict(verdict) => format!("verdict {}", word(&verdict.judged.verdict)),
        Fact::Resume(resume) => format!("resume after {}", resume.after),
        Fact::Link(link) => format!("link {}", link.state),
        fact => word_of(&serde_json::to_value(fact).unwrap()["k"]),
    }
}

fn word(word: &tapline_protocols::fact::Word) -> String {
    word_of(&serde_json::to_value(word).unwrap())
}

fn word_of(value: &serde_json::Value) -> String {
    value.as_str().unwrap_or_default().to_string()
}

/// The book of a path; a commit that failed may have made one that nobody was shown.
fn book_at(path: &str) -> Option<BookId> {
    let (folder, name) = path.strip_suffix(".jsonl")?.rsplit_once('/')?;
    Some(match folder {
        "station" => BookId::Station,
        "idle" => BookId::Idle(name.get(..10)?.into()),
        _ => BookId::Inspection(name.into()),
    })
}
