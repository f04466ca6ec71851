//! A power cut at every call of a day's work, in every way a disk can take it, and random days.
//!
//! Expected: what was acknowledged is there, in order, byte for byte; of the commit that was
//! being written a book has all or nothing; the work can go on. (Property of a write-ahead log;
//! common practice, no source.)

use std::collections::BTreeMap;
use std::io;
use std::sync::Arc;

use proptest::prelude::*;
use tapline::books::{Books, Crash, Disk, Line, Memory};
use tapline::station::event::{BookId, Stored};
use tapline_protocols::Fact;

use crate::bench::{
    ID, announce, as_stored, day, idle, inspection, line, note, open, stored, try_open,
};

/// What was acknowledged, and what was being written when it failed.
#[derive(Default)]
struct Model {
    kept: BTreeMap<BookId, Vec<Line>>,
    flying: BTreeMap<BookId, Vec<Line>>,
    sealed: bool,
}

impl Model {
    fn run(&mut self, books: &mut Books, commits: &[Vec<Stored>]) -> Result<(), ()> {
        for (n, commit) in commits.iter().enumerate() {
            if commit.iter().any(|l| matches!(l.fact, Fact::Stop(_))) {
                books.seal(ID).map_err(|_| ())?;
                self.sealed = true;
            }
            self.flying.clear();
            for stored in commit {
                self.flying.entry(stored.book.clone()).or_default().push(line(stored));
            }
            let texts = books.commit(commit).map_err(|_| ())?;
            assert_eq!(texts.len(), commit.len(), "commit {n}");
            for (book, mut lines) in std::mem::take(&mut self.flying) {
                self.kept.entry(book).or_default().append(&mut lines);
            }
        }
        Ok(())
    }

    /// The lines of each book are those kept, with all or nothing of what was flying.
    fn check(&self, books: &Books, next_seq: u64) {
        for book in [BookId::Station, idle(), inspection()] {
            let read: Vec<Line> = books
                .lines(&book)
                .unwrap()
                .map(Result::unwrap)
                .map(as_stored)
                .filter(|l| !matches!(l.fact, Fact::Torn(_) | Fact::Sealed(_)))
                .collect();
            assert!(read.iter().all(|l| l.seq < next_seq));
            let kept = self.kept.get(&book).cloned().unwrap_or_default();
            let flying = self.flying.get(&book).cloned().unwrap_or_default();
            if read != kept {
                assert_eq!(read, [kept, flying].concat(), "{book:?}");
            }
        }
    }
}

const CRASHES: [Crash; 6] = [
    Crash::LoseAll,
    Crash::KeepAll,
    Crash::Tear(1),
    Crash::Tear(100),
    Crash::Holes(0),
    Crash::Holes(90),
];

/// One life: works until the n-th call fails, then the power comes back. True if it got through.
fn life(n: u64, how: Crash) -> bool {
    let memory = Memory::new();
    let disk: Arc<dyn Disk> = Arc::new(memory.clone());
    let mut model = Model::default();
    memory.die_at(n);
    let through = try_open(&disk)
        .is_ok_and(|(mut books, found)| model.run(&mut books, &day(found.next_seq)).is_ok());
    memory.crash(how);

    let (mut books, found) = open(&disk);
    assert!(found.damaged.is_empty() && found.troubles.is_empty(), "{found:?}");
    model.check(&books, found.next_seq);
    if model.sealed {
        assert!(found.inspections.is_empty(), "a sealed book is in work again");
    }
    let mut seq = found.next_seq;
    for sealed in found.sealed {
        assert_eq!(sealed.id, ID);
        announce(&mut books, seq, sealed);
        seq += 1;
    }
    // Every torn byte is still there, and some book says so as soon as there is one.
    for torn in &found.torn {
        let folder = match torn.book {
            BookId::Station => "station",
            BookId::Idle(_) => "idle",
            BookId::Inspection(_) => "open",
        };
        let aside = memory.bytes(&format!("{folder}/{}", torn.fact.file)).unwrap();
        assert_eq!(aside.len() as u64, torn.fact.bytes);
    }
    books.commit(&[stored(&BookId::Station, seq, note("it goes on"))]).unwrap();
    drop(books);
    let (_, again) = open(&disk);
    assert!(again.next_seq > seq && again.sealed.is_empty() && again.station.is_some());
    // What could not be told at the last start is told now, and never a second time.
    assert_eq!(again.torn.len(), found.torn.iter().filter(|t| !t.stored).count());
    assert!(again.torn.iter().all(|torn| torn.stored));
    assert!(open(&disk).1.torn.is_empty());
    through
}

#[test]
fn a_power_cut_at_any_call_loses_nothing_that_was_acknowledged() {
    for how in CRASHES {
        let mut n = 1;
        while !life(n, how) {
            n += 1;
        }
        assert!(n > 30, "the day has more calls than {n}");
    }
}

#[test]
fn a_power_cut_during_recovery_does_no_harm() {
    // The first cut leaves a torn commit and an unfinished seal; the second hits the repair.
    for first in 1..80 {
        for second in 1..40 {
            let memory = Memory::new();
            let disk: Arc<dyn Disk> = Arc::new(memory.clone());
            let mut model = Model::default();
            memory.die_at(first);
            let opened = try_open(&disk);
            let through = opened.is_ok_and(|(mut books, found)| {
                model.run(&mut books, &day(found.next_seq)).is_ok()
            });
            memory.crash(Crash::Tear(60));
            memory.die_at(second);
            let repaired = try_open(&disk).is_ok();
            memory.crash(Crash::LoseAll);
            let (books, found) = open(&disk);
            assert!(found.damaged.is_empty() && found.troubles.is_empty(), "{found:?}");
            model.check(&books, found.next_seq);
            if through || repaired {
                break;
            }
        }
    }
}

#[test]
fn after_an_error_everything_is_refused_until_the_books_are_opened_again() {
    for kind in [io::ErrorKind::StorageFull, io::ErrorKind::Other] {
        let mut n = 1;
        loop {
            let memory = Memory::new();
            let disk: Arc<dyn Disk> = Arc::new(memory.clone());
            let (mut books, found) = open(&disk);
            let mut model = Model::default();
            memory.fail_at(n, kind);
            if model.run(&mut books, &day(found.next_seq)).is_ok() {
                break;
            }
            // The disk is well again; the writer still believes nothing.
            let more = [stored(&BookId::Station, 1000, note("more"))];
            let refused = books.commit(&more).unwrap_err();
            assert!(refused.to_string().contains("read again from disk"), "{refused}");
            assert!(books.seal(ID).is_err() && books.is_halted());
            let (books, found) = open(&disk);
            model.check(&books, found.next_seq);
            n += 1;
        }
        assert!(n > 15, "only {n} calls");
    }
}

#[test]
fn a_full_disk_halts_with_what_to_do_and_goes_on_when_there_is_room() {
    let mut room = 0;
    loop {
        let memory = Memory::new();
        let disk: Arc<dyn Disk> = Arc::new(memory.clone());
        let (mut books, found) = open(&disk);
        let mut model = Model::default();
        memory.room(Some(room));
        let mut halted = None;
        for commit in &day(found.next_seq)[..6] {
            match books.commit(commit) {
                Ok(_) => {
                    for stored in commit {
                        model.kept.entry(stored.book.clone()).or_default().push(line(stored));
                    }
                }
                Err(e) => {
                    for stored in commit {
                        model.flying.entry(stored.book.clone()).or_default().push(line(stored));
                    }
                    halted = Some(e);
                    break;
                }
            }
        }
        let Some(halted) = halted else { break };
        assert!(halted.waits_for_room() && halted.to_string().contains("make room"), "{halted}");
        memory.room(None);
        let (books, found) = open(&disk);
        model.check(&books, found.next_seq);
        room += 61;
    }
    assert!(room > 1000, "only {room} bytes were written");
}

fn days() -> impl Strategy<Value = Vec<Vec<(u8, String)>>> {
    let text = proptest::collection::vec(any::<u8>(), 0..80)
        .prop_map(|bytes| bytes.iter().map(|&b| char::from(b)).collect::<String>());
    let commit = proptest::collection::vec((0u8..3, text), 1..5);
    proptest::collection::vec(commit, 1..12)
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 64,
        failure_persistence: None,
        ..Default::default()
    })]

    /// Random commits over three books, a cut at a random call, twice; a `Vec` a book is the
    /// model.
    #[test]
    fn any_day_survives_any_cut(days in days(), cuts in [1u64..60, 1u64..60], how in 0usize..6) {
        let memory = Memory::new();
        let disk: Arc<dyn Disk> = Arc::new(memory.clone());
        let mut model = Model::default();
        for cut in cuts {
            let (mut books, found) = open(&disk);
            model.check(&books, found.next_seq);
            // What flew is decided now.
            for book in [BookId::Station, idle(), inspection()] {
                let lines = books.lines(&book).unwrap().map(Result::unwrap);
                let lines = lines.filter(|l| !matches!(l.fact, Fact::Torn(_)));
                model.kept.insert(book, lines.collect());
            }
            model.flying.clear();
            let mut seq = found.next_seq..;
            let books_of = [BookId::Station, idle(), inspection()];
            let commits: Vec<Vec<Stored>> = days
                .iter()
                .map(|commit| {
                    let make = |(book, text): &(u8, String)| {
                        stored(&books_of[usize::from(*book)], seq.next().unwrap(), note(text))
                    };
                    commit.iter().map(make).collect()
                })
                .collect();
            memory.die_at(cut);
            let _ = model.run(&mut books, &commits);
            memory.crash(CRASHES[how]);
        }
        let (books, found) = open(&disk);
        model.check(&books, found.next_seq);
    }
}
