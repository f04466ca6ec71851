//! The thread that writes the index, after the books. What it can't do costs no evidence.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};

use crate::books::Shelf;
use crate::index::{Index, IndexFault, Opened};
use crate::station::event::BookId;

/// Lines that may wait for the index. The writer waits when they are used up: a line that the
/// index missed would put all of it in doubt.
const LINES_MAX: usize = 4096;

/// Hands lines to the index and lets it be asked.
#[derive(Debug)]
pub struct Indexer {
    jobs: SyncSender<Job>,
    state: Arc<State>,
}

#[derive(Debug)]
struct State {
    folder: PathBuf,
    shelf: Shelf,
    index: Mutex<Result<Arc<Index>, String>>,
}

enum Job {
    Line(BookId, String),
    Renew(SyncSender<Result<u64, String>>),
}

impl Indexer {
    /// Opens the index and brings it level with the books, before anything is written to them.
    /// An index that can't be opened stays away until it is renewed.
    ///
    /// # Errors
    /// The system gives no thread.
    pub fn start(folder: &Path, shelf: Shelf) -> std::io::Result<Indexer> {
        let opened = Index::open(folder, &shelf).map(told);
        let index = Mutex::new(opened.map_err(|fault| away(&fault)));
        let state = Arc::new(State { folder: folder.to_owned(), shelf, index });
        let (jobs, work) = sync_channel(LINES_MAX);
        let theirs = state.clone();
        std::thread::Builder::new().name("index".into()).spawn(move || theirs.work(&work))?;
        Ok(Indexer { jobs, state })
    }

    /// A line that is durable.
    pub fn line(&self, book: &BookId, text: &str) {
        if matches!(book, BookId::Idle(_)) {
            return;
        }
        // The thread ends only with the process, or by a panic: then the index says so itself.
        let _ = self.jobs.send(Job::Line(book.clone(), text.to_owned()));
    }

    /// Sets the index aside and builds it again from the books. Nothing may be written to them
    /// meanwhile: whoever calls this holds the writer. Returns how many books were read.
    ///
    /// # Errors
    /// Why it can't be built.
    pub fn renew(&self) -> Result<u64, String> {
        let (done, result) = sync_channel(1);
        let gone = || "the index has stopped: start the station again".to_owned();
        self.jobs.send(Job::Renew(done)).map_err(|_| gone())?;
        result.recv().map_err(|_| gone())?
    }

    /// The index, or why it is away.
    ///
    /// # Errors
    /// Why it is away, and what to do.
    pub fn index(&self) -> Result<Arc<Index>, String> {
        self.state.lock().clone()
    }
}

impl State {
    fn work(&self, jobs: &Receiver<Job>) {
        for job in jobs {
            match job {
                Job::Line(book, text) => self.add(&book, &text),
                Job::Renew(done) => drop(done.send(self.renew())),
            }
        }
    }

    fn add(&self, book: &BookId, text: &str) {
        let Ok(index) = self.lock().clone() else { return };
        if let Err(fault) = index.add(book, text.as_bytes()) {
            *self.lock() = Err(away(&fault));
        }
    }

    fn renew(&self) -> Result<u64, String> {
        // The old one must be closed before a new one can be opened.
        *self.lock() = Err("the index is being built again: wait a moment".to_owned());
        let renewed = Index::renew(&self.folder, &self.shelf, &|_| {});
        let (index, opened) = renewed.map_err(|fault| away(&fault))?;
        let count = opened.caught_up;
        *self.lock() = Ok(told((index, opened)));
        Ok(count)
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Result<Arc<Index>, String>> {
        self.index.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn told((index, opened): (Index, Opened)) -> Arc<Index> {
    if let Some((aside, why)) = &opened.set_aside {
        tracing::warn!(aside = %aside.display(), why, "The index was built again.");
    }
    Arc::new(index)
}

fn away(fault: &IndexFault) -> String {
    tracing::error!(%fault, "The index is away; no evidence is lost.");
    fault.to_string()
}
