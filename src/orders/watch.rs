//! When the folder of orders is looked at: at the start, when the kernel says that something was
//! put there (inotify(7)), and once an hour, since it says nothing of what another machine does on
//! a shared disk. In between nothing is woken.
//!
//! A file is taken in this order: its orders are in the station's book, on disk; then it moves. A
//! life that ends in between leaves a file whose orders are known: the next one takes none of them
//! again, and moves it.

use std::ffi::{OsStr, OsString};
use std::io;
use std::mem::MaybeUninit;
use std::os::fd::OwnedFd;
use std::os::unix::ffi::OsStrExt;
use std::path::Path;
use std::sync::Arc;
use std::thread;
use std::time::Duration;

use rustix::fs::inotify::{CreateFlags, ReadFlags, Reader, WatchFlags, add_watch, init};
use tokio::sync::mpsc;
use tokio::time::sleep;

use super::folder::{Content, Inbox, Seen, plain};
use super::patience::{AGAIN_US, Patience, Turn};
use crate::clock;
use crate::serve::shared::Shared;
use crate::station::event::{Answer, Origin, Problem, Request};
use crate::words::english;

/// How often the folder is looked at whatever the kernel says, microseconds.
const LOOK_US: u64 = 3_600_000_000;
/// The same where the kernel says nothing.
const LOOK_ALONE_US: u64 = 60_000_000;
/// Events that may wait; the kernel holds those beyond, and says so when it loses some.
const EVENTS_MAX: usize = 1_024;
/// Answers that mean: not now.
const LATER: [&str; 3] = ["halted", "busy", "starting"];

/// What the kernel says of the folder.
enum Told {
    Made(OsString),
    Written(OsString),
    Closed(OsString),
    /// Some of it was lost.
    Lost,
    /// The folder itself is another one, or gone.
    Gone,
}

/// Takes work orders out of the folder `inbox` of the data folder, until it is dropped.
pub(crate) async fn watch(shared: Arc<Shared>) {
    let path = shared.folder.join("inbox");
    loop {
        let opened = blocking({
            let path = path.clone();
            move || open(&path)
        });
        match opened.await {
            Some(Ok((inbox, told))) => Watch::new(shared.clone(), inbox, told).run().await,
            Some(Err(error)) => {
                tracing::warn!(%error, path = %path.display(), "No orders are taken.");
            }
            None => {}
        }
        sleep(Duration::from_micros(LOOK_ALONE_US)).await;
    }
}

async fn blocking<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Option<T> {
    tokio::task::spawn_blocking(work).await.ok()
}

type Ears = mpsc::Receiver<Told>;

/// The folder, and what is told of it from before it is looked at for the first time.
fn open(path: &Path) -> io::Result<(Inbox, Option<Ears>)> {
    let inbox = Inbox::open(path)?;
    match listen(path) {
        Ok(told) => Ok((inbox, Some(told))),
        Err(error) => {
            tracing::warn!(%error, "The kernel does not tell of new orders: I look myself.");
            Ok((inbox, None))
        }
    }
}

fn listen(path: &Path) -> io::Result<Ears> {
    let kernel = init(CreateFlags::CLOEXEC)?;
    let files = WatchFlags::MODIFY | WatchFlags::CLOSE_WRITE | WatchFlags::MOVED_TO;
    let made = WatchFlags::CREATE;
    let own = WatchFlags::DELETE_SELF | WatchFlags::MOVE_SELF | WatchFlags::ONLYDIR;
    add_watch(&kernel, path, files | made | own)?;
    let (send, told) = mpsc::channel(EVENTS_MAX);
    thread::Builder::new().name("inbox".into()).spawn(move || hear(&kernel, &send))?;
    Ok(told)
}

/// Hands on what the kernel says, until nobody listens or the folder is gone.
fn hear(kernel: &OwnedFd, to: &mpsc::Sender<Told>) {
    let mut room = [MaybeUninit::uninit(); 8_192];
    let mut reader = Reader::new(kernel, &mut room);
    loop {
        let told = match reader.next() {
            Ok(event) => told(event.events(), event.file_name().map(|name| name.to_bytes())),
            Err(rustix::io::Errno::INTR) => None,
            Err(_) => Some(Told::Gone),
        };
        let ends = matches!(told, Some(Told::Gone));
        if told.is_some_and(|told| to.blocking_send(told).is_err()) || ends {
            return;
        }
    }
}

fn told(events: ReadFlags, name: Option<&[u8]>) -> Option<Told> {
    let gone = ReadFlags::DELETE_SELF | ReadFlags::MOVE_SELF | ReadFlags::IGNORED;
    if events.intersects(gone | ReadFlags::UNMOUNT) {
        return Some(Told::Gone);
    }
    if events.contains(ReadFlags::QUEUE_OVERFLOW) {
        return Some(Told::Lost);
    }
    let name = OsStr::from_bytes(name?).to_owned();
    if events.intersects(ReadFlags::CLOSE_WRITE | ReadFlags::MOVED_TO) {
        return Some(Told::Closed(name));
    }
    if events.contains(ReadFlags::CREATE) {
        return Some(Told::Made(name));
    }
    Some(Told::Written(name))
}

struct Watch {
    shared: Arc<Shared>,
    inbox: Arc<Inbox>,
    told: Option<Ears>,
    patience: Patience,
    look_us: u64,
}

impl Watch {
    fn new(shared: Arc<Shared>, inbox: Inbox, told: Option<Ears>) -> Watch {
        let (inbox, patience) = (Arc::new(inbox), Patience::default());
        Watch { shared, inbox, told, patience, look_us: 0 }
    }

    /// Until the folder is another one.
    async fn run(mut self) {
        loop {
            let now_us = clock::now().boot_us;
            if self.look_us <= now_us {
                self.look(now_us).await;
            }
            for name in self.patience.due(now_us) {
                self.turn(name).await;
            }
            let due_us = self.patience.due_us().unwrap_or(u64::MAX).min(self.look_us);
            let wait = due_us.saturating_sub(clock::now().boot_us);
            let told = async {
                match &mut self.told {
                    Some(told) => told.recv().await.unwrap_or(Told::Gone),
                    None => std::future::pending().await,
                }
            };
            let told = tokio::select! {
                told = told => told,
                () = sleep(Duration::from_micros(wait)) => continue,
            };
            let now_us = clock::now().boot_us;
            let kept = match told {
                Told::Made(name) => self.patience.made(name, now_us),
                Told::Written(name) => self.patience.written(name, now_us),
                Told::Closed(name) => self.patience.closed(name, now_us),
                Told::Lost => {
                    self.patience.forget();
                    false
                }
                Told::Gone => return,
            };
            if !kept {
                self.look_us = self.look_us.min(now_us.saturating_add(AGAIN_US));
            }
        }
    }

    async fn look(&mut self, now_us: u64) {
        let every_us = if self.told.is_some() { LOOK_US } else { LOOK_ALONE_US };
        self.look_us = now_us.saturating_add(every_us);
        let inbox = self.inbox.clone();
        let looked = blocking(move || {
            let see = |name: OsString| inbox.see(&name).map(|seen| (name, seen));
            inbox.names().map(|names| names.into_iter().filter_map(see).collect::<Vec<_>>())
        });
        match looked.await {
            Some(Ok(found)) => {
                for (name, seen) in found {
                    self.patience.found(name, seen, now_us);
                }
            }
            Some(Err(error)) => tracing::warn!(%error, "The folder of orders can't be read."),
            None => {}
        }
    }

    /// The time of a file has come.
    async fn turn(&mut self, name: OsString) {
        let (inbox, own) = (self.inbox.clone(), name.clone());
        let seen = blocking(move || inbox.see_meant(&own)).await.flatten();
        let now_us = clock::now().boot_us;
        let (Turn::Ripe, Some(seen)) = (self.patience.turn(&name, seen, now_us), seen) else {
            return;
        };
        let (inbox, own) = (self.inbox.clone(), name.clone());
        let Some(content) = blocking(move || inbox.read(&own, seen)).await else { return };
        let done = match content {
            Content::Other => {
                // Somebody was quicker: it is waited for as one that nobody saw coming.
                let _ = self.patience.again(name, now_us);
                return;
            }
            Content::Odd(key, value, seen) => {
                let why = english().tell("inbox", key, &[("value", &value)]);
                self.put(&name, seen, Some(format!("{why}\n"))).await
            }
            Content::Text(text, seen) => match self.take(&name, text).await {
                Ok(_) => self.put(&name, seen, None).await,
                Err(problem) if LATER.contains(&problem.code.as_str()) => Ok(false),
                Err(problem) => {
                    let why = format!("{}\n{}\n", problem.detail, english().say("inbox", "next"));
                    self.put(&name, seen, Some(why)).await
                }
            },
        };
        match done {
            Ok(true) => {}
            Ok(false) => drop(self.patience.again(name, now_us)),
            Err(error) => {
                tracing::warn!(%error, file = plain(&name), "An order file can't be put away.");
                let _ = self.patience.again(name, now_us.saturating_add(LOOK_ALONE_US));
            }
        }
    }

    async fn take(&self, name: &OsStr, text: String) -> Result<Answer, Problem> {
        let (what, file) = ("orders".into(), Some(plain(name)));
        let request = Request::Import { what, text, map: None, file, dry_run: false };
        self.shared.command(Origin::Inbox, None, None, request).await
    }

    async fn put(&self, name: &OsStr, seen: Seen, why: Option<String>) -> io::Result<bool> {
        let (inbox, name) = (self.inbox.clone(), name.to_owned());
        let put = blocking(move || match why {
            None => inbox.put_taken(&name, seen),
            Some(why) => inbox.put_refused(&name, seen, &why),
        });
        put.await.unwrap_or(Ok(false))
    }
}
