//! Reads many books at once: threads read and press, one stores.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use data_encoding::HEXLOWER;
use sha2::Digest;
use sled::Batch;

use super::IndexFault;
use super::level::{Progress, Told};
use super::lists::Once;
use super::press::Press;
use super::sheet::{Listed, Seal};
use super::store::Index;
use super::work::Work;
use crate::books::{Ending, Shelf};
use crate::station::event::BookId;

/// Threads that read. More help little: one that stores is as busy as two that read.
const READERS: usize = 2;
/// Books that are read and not stored yet.
const READ_MAX: usize = 16;
/// So many bytes are stored at once. sled takes a batch in no order, so that large ones split its
/// leaves anywhere: with 50 000 rows of 700 bytes, batches of 300, 4 000 and 25 000 rows came to
/// 1.6, 2.3 and 2.8 times what they hold.
const BATCH_BYTES: usize = 256 << 10;
/// So many inspections are listed at once.
const LIST_BATCH: usize = 32 * super::sheet::SHEET_MAX;
/// So many are held for the histories of their assets: some 100 bytes each.
const HISTORY_BATCH: usize = 200_000;

/// A book to read.
#[derive(Debug, Clone)]
pub(super) struct Load {
    pub(super) id: String,
    pub(super) sealed: bool,
    /// What the station book says that it was sealed as.
    pub(super) seal: Option<Seal>,
}

/// A book that was read.
struct Read {
    work: Work,
    sealed: bool,
    seal: Seal,
}

/// What came of a book: its name, whether it is sealed, and what was read if it could be.
type Done = (String, bool, Option<Read>);

/// Reads the books. Those that can't be read are left out: returns how many.
pub(super) fn load(
    index: &Index,
    shelf: &Shelf,
    books: &[Load],
    told: Told<'_>,
) -> Result<u64, IndexFault> {
    let next = AtomicUsize::new(0);
    let (send, receive) = sync_channel(READ_MAX);
    std::thread::scope(|scope| {
        for _ in 0..READERS.min(books.len()) {
            let (send, next) = (send.clone(), &next);
            std::thread::Builder::new()
                .name("index-read".into())
                .spawn_scoped(scope, move || read_books(shelf, books, next, &send))?;
        }
        drop(send);
        Storing::new(index).all(&receive, books.len() as u64, told)
    })
}

fn read_books(
    shelf: &Shelf,
    books: &[Load],
    next: &AtomicUsize,
    done: &SyncSender<Result<Done, IndexFault>>,
) {
    let mut press = match Press::new() {
        Ok(press) => press,
        Err(error) => return drop(done.send(Err(error.into()))),
    };
    while let Some(load) = books.get(next.fetch_add(1, Ordering::Relaxed)) {
        let read = read_book(shelf, load, &mut press);
        if let Err(fault) = &read {
            tracing::warn!(%fault, book = load.id, "A book is left out of the index.");
        }
        // Who stores has stopped: nothing more is wanted.
        if done.send(Ok((load.id.clone(), load.sealed, read.unwrap_or(None)))).is_err() {
            return;
        }
    }
}

/// `None` if there is nothing to be listed: no inspection begins in it.
fn read_book(shelf: &Shelf, load: &Load, press: &mut Press) -> Result<Option<Read>, IndexFault> {
    let paths = shelf.paths(&BookId::Inspection(load.id.clone()))?;
    let Some(path) = paths.first() else { return Ok(None) };
    let mut reader = shelf.reader(path)?;
    let mut work = None;
    while let Some(commit) = reader.commit().map_err(|e| IndexFault::Store(e.to_string()))? {
        for line in commit.lines() {
            match &mut work {
                None => work = Work::begin(line)?,
                Some(work) => work.take(line, press)?,
            }
        }
    }
    let Some(mut work) = work else { return Ok(None) };
    let head = *reader.above().finalize().first_chunk().expect("SHA-256 has 32 bytes");
    let seal = Seal { head, bytes: reader.believed() };
    let whole = reader.ending().is_some_and(Ending::is_whole);
    if load.sealed {
        work.summary.damaged = !whole || load.seal.is_some_and(|said| said != seal);
        work.finish(press)?;
    } else {
        work.summary.damaged = matches!(reader.ending(), Some(Ending::Damaged(_)));
    }
    if work.summary.damaged {
        tracing::warn!(book = load.id, head = HEXLOWER.encode(&seal.head), "A book is damaged.");
    }
    Ok(Some(Read { work, sealed: load.sealed, seal }))
}

/// The one that stores.
struct Storing<'a> {
    index: &'a Index,
    rows: Batch,
    bytes: usize,
    listed: Vec<Listed>,
    histories: BTreeMap<String, Vec<Once>>,
    remembered: usize,
}

impl<'a> Storing<'a> {
    fn new(index: &'a Index) -> Storing<'a> {
        Storing {
            index,
            rows: Batch::default(),
            bytes: 0,
            listed: Vec::new(),
            histories: BTreeMap::new(),
            remembered: 0,
        }
    }

    fn all(
        mut self,
        reads: &Receiver<Result<Done, IndexFault>>,
        of: u64,
        told: Told<'_>,
    ) -> Result<u64, IndexFault> {
        let (mut done, mut unread) = (0, 0);
        told(Progress { done, of });
        for read in reads {
            match read? {
                (.., Some(read)) => self.one(read)?,
                (id, sealed, None) => {
                    unread += 1;
                    if sealed {
                        self.index.ledger().unread(id);
                    }
                }
            }
            done += 1;
            told(Progress { done, of });
        }
        if done < of {
            // A thread that reads has panicked.
            return Err(IndexFault::Panic);
        }
        self.rows()?;
        self.list()?;
        self.remember()?;
        Ok(unread)
    }

    fn one(&mut self, read: Read) -> Result<(), IndexFault> {
        let Read { mut work, sealed, seal } = read;
        for (key, value) in std::mem::take(&mut work.rows) {
            self.bytes += key.len() + value.len();
            self.rows.insert(key, value);
        }
        if self.bytes > BATCH_BYTES {
            self.rows()?;
        }
        if !sealed {
            let id = work.summary.id.clone();
            self.index.live().works.insert(id, work);
            return Ok(());
        }
        let rests = work.names();
        let Work { opened_us, mark, summary, tally, .. } = work;
        let history = self.histories.entry(summary.asset.clone()).or_default();
        history.push((opened_us, summary.id.clone()));
        self.remembered += 1;
        if self.remembered > HISTORY_BATCH {
            self.remember()?;
        }
        let listed = Listed { opened_us, summary, tally, rests, mark, seal: Some(seal) };
        self.index.ledger().listed(&listed);
        self.listed.push(listed);
        if self.listed.len() > LIST_BATCH {
            self.list()?;
        }
        Ok(())
    }

    fn rows(&mut self) -> Result<(), IndexFault> {
        self.bytes = 0;
        Ok(self.index.record.apply_batch(std::mem::take(&mut self.rows))?)
    }

    fn list(&mut self) -> Result<(), IndexFault> {
        let listed = std::mem::take(&mut self.listed);
        self.index.list(listed, &mut self.index.press())
    }

    fn remember(&mut self) -> Result<(), IndexFault> {
        self.remembered = 0;
        let histories = std::mem::take(&mut self.histories);
        self.index.remember(histories, &mut self.index.press())
    }
}
