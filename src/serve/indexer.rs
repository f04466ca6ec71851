//! The thread that has the index to itself. Nothing that happens to the index reaches the station:
//! lines that it can't take at once are read from the books later, what breaks is set aside and
//! built again in the background, and who asks is told so.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use serde_json::{Value, json};

use super::room;
use crate::books::Shelf;
use crate::clock;
use crate::index::{Index, IndexFault, Opened, Progress};
use crate::station::event::BookId;
use crate::words::english;

/// Lines that may wait for the index. When they are used up it reads the books instead.
const LINES_MAX: usize = 4096;
/// How long a question waits for an index that is just being opened.
const OPEN_MAX: Duration = Duration::from_secs(2);
/// So often is the index built again by itself in one life of the station. A disk that spoils it
/// each time needs a person, not another try.
const BUILDS_MAX: u32 = 3;
/// How often an index that could not be written is tried again, microseconds.
const RETRY_US: u64 = 30_000_000;
/// With less room the index is not tried again, bytes: the books come first.
const ROOM_MIN: u64 = 64 << 20;
/// More books than these to read are a new index.
const FEW: u64 = 64;

/// Hands lines to the index and lets it be asked.
#[derive(Debug)]
pub struct Indexer {
    jobs: SyncSender<Job>,
    hall: Arc<Hall>,
}

/// What the thread and those who ask have in common.
#[derive(Debug)]
struct Hall {
    folder: PathBuf,
    shelf: Shelf,
    state: Mutex<State>,
    turned: Condvar,
    /// The index missed lines: it has to look into the books.
    behind: AtomicBool,
}

#[derive(Debug, Clone)]
enum State {
    /// Compared with the books, after a start.
    Checking(Progress),
    /// Built again from the books.
    Building(Progress),
    Ready(Arc<Index>),
    /// Given up until the station is started again.
    Away(String),
    /// The disk said no, at this moment of the boot clock.
    Full(String, u64),
}

#[derive(Debug)]
enum Job {
    Line(BookId, String),
    Renew(SyncSender<Result<u64, String>>),
    /// A question found that this index is in doubt.
    Doubt(Arc<Index>, String),
    /// Something may have been written past it.
    Look,
    /// Whether it has every line that was handed over before.
    Level(SyncSender<bool>),
}

impl Indexer {
    /// Opens the index and compares it with the books, in a thread of its own. Returns at once.
    ///
    /// # Errors
    /// The system gives no thread.
    pub fn start(folder: &Path, shelf: Shelf) -> std::io::Result<Indexer> {
        let hall = Arc::new(Hall {
            folder: folder.to_owned(),
            shelf,
            state: Mutex::new(State::Checking(Progress::default())),
            turned: Condvar::new(),
            behind: AtomicBool::new(false),
        });
        let (jobs, work) = sync_channel(LINES_MAX);
        let keeper = Keeper { hall: hall.clone(), builds: 0 };
        std::thread::Builder::new().name("index".into()).spawn(move || keeper.work(&work))?;
        Ok(Indexer { jobs, hall })
    }

    /// A line that is durable. Never waits.
    pub fn line(&self, book: &BookId, text: &str) {
        if !matches!(book, BookId::Idle(_)) {
            self.job(Job::Line(book.clone(), text.to_owned()));
        }
    }

    /// Lines may have been written past the index: it looks into the books.
    pub fn look(&self) {
        self.hall.behind.store(true, Ordering::SeqCst);
        self.job(Job::Look);
    }

    /// Sets the index aside and builds it again from the books. Returns how many books were read.
    ///
    /// # Errors
    /// Why it can't be built.
    pub fn renew(&self) -> Result<u64, String> {
        let (done, result) = sync_channel(1);
        let gone = || "the index has stopped: start the station again".to_owned();
        self.jobs.send(Job::Renew(done)).map_err(|_| gone())?;
        result.recv().map_err(|_| gone())?
    }

    /// Asks the index. If the answer is a doubt, the index is built again in the background.
    ///
    /// # Errors
    /// Why it can't answer, and what to do.
    pub fn ask<T>(
        &self,
        question: impl FnOnce(&Index) -> Result<T, IndexFault>,
    ) -> Result<T, String> {
        let index = self.hall.ready()?;
        match question(&index) {
            Ok(answer) => {
                release(index);
                Ok(answer)
            }
            Err(fault) => {
                let why = fault.to_string();
                self.job(Job::Doubt(index, why.clone()));
                Err(format!("{} ({why})", english().say("index", "building")))
            }
        }
    }

    /// It has every line that was handed over before this was asked. Waits for it a little; an
    /// index that is just read from the books is not.
    #[must_use]
    pub fn is_level(&self) -> bool {
        let (told, level) = sync_channel(1);
        self.job(Job::Level(told));
        level.recv_timeout(OPEN_MAX).unwrap_or(false)
    }

    /// How the index is, for the status: `state` (`checking building ready away full`), the books
    /// `done` and `of` while it reads them, and `why`.
    #[must_use]
    pub fn status_json(&self) -> Value {
        self.hall.lock().json()
    }

    fn job(&self, job: Job) {
        match self.jobs.try_send(job) {
            Ok(()) => {}
            Err(TrySendError::Full(job)) => {
                self.hall.behind.store(true, Ordering::SeqCst);
                give_back(job);
            }
            // The thread ends only with the process.
            Err(TrySendError::Disconnected(job)) => give_back(job),
        }
    }
}

/// An index that is held no longer: who is last to hold it must not wait for it to close.
fn release(index: Arc<Index>) {
    if let Some(index) = Arc::into_inner(index) {
        index.let_go();
    }
}

fn give_back(job: Job) {
    if let Job::Doubt(index, _) = job {
        release(index);
    }
}

impl Hall {
    /// The index, after a short wait if it is just being opened.
    fn ready(&self) -> Result<Arc<Index>, String> {
        let checking = |state: &mut State| matches!(state, State::Checking(_));
        let waited = self.turned.wait_timeout_while(self.lock(), OPEN_MAX, checking);
        let (state, _) = waited.unwrap_or_else(PoisonError::into_inner);
        match &*state {
            State::Ready(index) => Ok(index.clone()),
            other => Err(other.sentence()),
        }
    }

    fn turn(&self, state: State) {
        let old = std::mem::replace(&mut *self.lock(), state);
        self.turned.notify_all();
        if let State::Ready(index) = old {
            release(index);
        }
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl State {
    fn code(&self) -> &'static str {
        match self {
            State::Checking(_) => "checking",
            State::Building(_) => "building",
            State::Ready(_) => "ready",
            State::Away(_) => "away",
            State::Full(..) => "full",
        }
    }

    fn json(&self) -> Value {
        let mut json = json!({ "state": self.code() });
        match self {
            State::Checking(at) | State::Building(at) => {
                json["done"] = at.done.into();
                json["of"] = at.of.into();
            }
            State::Away(why) | State::Full(why, _) => json["why"] = why.as_str().into(),
            State::Ready(_) => {}
        }
        json
    }

    fn sentence(&self) -> String {
        let sentence = english().say("index", self.code());
        match self {
            State::Checking(at) | State::Building(at) if at.of > 0 => {
                format!("{sentence} ({} of {} books)", at.done, at.of)
            }
            State::Away(why) | State::Full(why, _) => format!("{sentence} ({why})"),
            _ => sentence.to_owned(),
        }
    }
}

/// The thread.
struct Keeper {
    hall: Arc<Hall>,
    builds: u32,
}

impl Keeper {
    fn work(mut self, jobs: &Receiver<Job>) {
        self.open();
        self.jobs(jobs);
    }

    /// Until nobody hands any over any more.
    fn jobs(&mut self, jobs: &Receiver<Job>) {
        while let Ok(job) = jobs.recv() {
            self.job(job);
            if !self.hall.behind.load(Ordering::SeqCst) {
                continue;
            }
            // Lines in the queue have gaps; the books have none.
            while let Ok(job) = jobs.try_recv() {
                self.job(job);
            }
            self.hall.behind.store(false, Ordering::SeqCst);
            self.catch_up();
        }
    }

    fn job(&mut self, job: Job) {
        match job {
            Job::Line(book, text) => self.line(&book, &text),
            Job::Renew(done) => {
                let renewed = self.build("it was asked for");
                // Who asked may have left.
                drop(done.send(renewed));
            }
            Job::Doubt(index, why) => {
                let current = self.index().is_some_and(|now| Arc::ptr_eq(&now, &index));
                release(index);
                if current {
                    self.doubt(&why);
                }
            }
            Job::Look => {}
            Job::Level(told) => {
                let level = !self.hall.behind.load(Ordering::SeqCst) && self.index().is_some();
                // Who asked may have left.
                let _ = told.send(level);
            }
        }
    }

    fn line(&mut self, book: &BookId, text: &str) {
        if self.hall.behind.load(Ordering::SeqCst) {
            return;
        }
        self.retry();
        let Some(index) = self.index() else { return };
        let added = index.add(book, text.as_bytes());
        release(index);
        if let Err(fault) = added {
            self.fault(&fault);
        }
    }

    /// Who asks meanwhile waits: what is in work is read anew.
    fn catch_up(&mut self) {
        let Some(index) = self.index() else { return };
        self.hall.turn(State::Checking(Progress::default()));
        match index.catch_up(&self.hall.shelf) {
            Ok(_) => self.hall.turn(State::Ready(index)),
            Err(fault) => {
                release(index);
                self.fault(&fault);
            }
        }
    }

    fn open(&mut self) {
        // A few books are read in no time; many are a new index.
        let told = |at: Progress| match at.of > FEW {
            true => self.tell(State::Building(at)),
            false => self.tell(State::Checking(at)),
        };
        match Index::open_as_is(&self.hall.folder, &self.hall.shelf, &told) {
            Ok((index, _)) => self.hall.turn(State::Ready(Arc::new(index))),
            Err(fault) => self.fault(&fault),
        }
    }

    fn fault(&mut self, fault: &IndexFault) {
        match fault {
            IndexFault::Disk(_) => {
                tracing::error!(%fault, "{}", english().say("index", "full"));
                self.hall.turn(State::Full(fault.to_string(), clock::now().boot_us));
            }
            _ if fault.is_doubt() => self.doubt(&fault.to_string()),
            _ => self.away(&fault.to_string()),
        }
    }

    fn doubt(&mut self, why: &str) {
        if self.builds == BUILDS_MAX {
            return self.away(why);
        }
        self.builds += 1;
        // What came of it is in the state.
        let _ = self.build(why);
    }

    fn away(&mut self, why: &str) {
        tracing::error!(why, "{}", english().say("index", "away"));
        self.hall.turn(State::Away(why.to_owned()));
    }

    fn build(&mut self, why: &str) -> Result<u64, String> {
        tracing::warn!(why, "{}", english().say("index", "building"));
        self.hall.turn(State::Building(Progress::default()));
        let told = |at: Progress| self.tell(State::Building(at));
        let built = Index::renew(&self.hall.folder, &self.hall.shelf, &told);
        match built {
            Ok((index, Opened { set_aside, caught_up })) => {
                let aside = set_aside.map(|(path, _)| path.display().to_string());
                tracing::warn!(books = caught_up, aside, "The index was built again.");
                self.hall.turn(State::Ready(Arc::new(index)));
                Ok(caught_up)
            }
            Err(fault) => {
                // Whatever it is, building once more would come to the same.
                match &fault {
                    IndexFault::Disk(_) => self.fault(&fault),
                    _ => self.away(&fault.to_string()),
                }
                Err(fault.to_string())
            }
        }
    }

    /// An index that could not be written is opened again when there is room.
    fn retry(&mut self) {
        let since = match &*self.hall.lock() {
            State::Full(_, since) => *since,
            _ => return,
        };
        let waited = clock::now().boot_us.saturating_sub(since);
        let room = || room::free(&self.hall.folder).is_ok_and(|free| free >= ROOM_MIN);
        if waited >= RETRY_US && room() {
            self.open();
        }
    }

    fn tell(&self, state: State) {
        *self.hall.lock() = state;
    }

    fn index(&self) -> Option<Arc<Index>> {
        match &*self.hall.lock() {
            State::Ready(index) => Some(index.clone()),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests;
