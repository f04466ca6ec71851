//! One life of the station: from what is on disk to an orderly stop or a halt.
//!
//! Nothing of a life outlasts it but what is on disk: after a halt the next one begins there.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::sleep;

use super::links::Links;
use super::shared::{Engine, Question, Shared};
use super::start::Started;
use super::writer::{WORK_MAX, Work, Writer};
use crate::books::Halted;
use crate::clock::{self, Sets, Stamp, Watch};
use crate::config::Config;
use crate::inbox::{Inbox, Post, inbox};
use crate::station::Core;
use crate::station::event::Event;

/// Events that may wait for the engine; links and faces wait when they are used up.
/// They are taken together, and their effects are handed over then.
const INBOX_MAX: usize = 256;
/// Questions that may wait.
const QUESTIONS_MAX: usize = 32;
/// Seals in flight: one a bench, and there are at most 64.
const SEALED_MAX: usize = 128;

/// How long an answer about the wall clock's keeper is good for, microseconds.
const SYNCED_US: u64 = 1_000_000;

/// How a life ended.
#[derive(Debug)]
pub(super) enum End {
    /// It was asked to stop, and did.
    Stopped,
    /// Something could not be made durable.
    Halted(Halted),
}

/// Runs until `stop` says so, or nothing can be stored any more.
pub(super) async fn live(
    started: Started,
    config: Arc<Config>,
    shared: Arc<Shared>,
    stop: watch::Receiver<Option<String>>,
) -> End {
    let (events, inbox) = inbox(INBOX_MAX);
    let (questions, asked) = mpsc::channel(QUESTIONS_MAX);
    let (sealed, seals) = mpsc::channel(SEALED_MAX);
    let (work, to_write) = mpsc::channel(WORK_MAX);
    let (done, written) = oneshot::channel();
    let links = Arc::new(Links::default());
    let Started { books, core, watch } = started;
    let folder = config.store.folder.clone();
    let writer = Writer { books, shared: shared.clone(), links: links.clone(), sealed, folder };
    let thread = std::thread::Builder::new().name("writer".into());
    let spawned = thread.spawn(move || drop(done.send(writer.run(to_write))));
    if let Err(error) = spawned {
        return End::Halted(Halted::disk("start", "the writer", &error));
    }
    shared.running(Engine { events: events.clone(), questions });
    let mut life = Life { core, work, links, config, events, watch, synced: None, taps: 0 };
    let ears = Ears { inbox, asked, seals, sets: Sets::listen(), stop };
    life.run(ears, written).await
}

struct Life {
    core: Core,
    work: mpsc::Sender<Work>,
    links: Arc<Links>,
    config: Arc<Config>,
    events: Post,
    watch: Option<Watch>,
    /// As of when the links know whether anybody waits for their bytes.
    taps: u64,
    /// Whether the wall clock is synchronised, and when that was asked for.
    synced: Option<(bool, u64)>,
}

/// Everything that the engine listens to.
struct Ears {
    inbox: Inbox,
    asked: mpsc::Receiver<Question>,
    seals: mpsc::Receiver<Event>,
    sets: Sets,
    stop: watch::Receiver<Option<String>>,
}

/// What was heard.
enum Heard {
    /// Something in the inbox is to be taken.
    Ripe,
    Sealed(Box<Event>),
    Question(Question),
    Deadline,
    Clock,
    Stop,
}

impl Ears {
    async fn listen(&mut self, deadline: Option<u64>) -> Heard {
        let due = async {
            match deadline {
                Some(us) => sleep(until(us, clock::now())).await,
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            biased;
            _ = self.stop.wait_for(Option::is_some) => Heard::Stop,
            Some(event) = self.seals.recv() => Heard::Sealed(Box::new(event)),
            Some(question) = self.asked.recv() => Heard::Question(question),
            () = self.inbox.ripe() => Heard::Ripe,
            () = due => Heard::Deadline,
            () = self.sets.next() => Heard::Clock,
        }
    }
}

fn until(deadline_us: u64, now: Stamp) -> Duration {
    Duration::from_micros(deadline_us.saturating_sub(now.boot_us))
}

impl Life {
    async fn run(
        &mut self,
        mut ears: Ears,
        mut written: oneshot::Receiver<Result<(), Halted>>,
    ) -> End {
        let stopped = tokio::select! {
            stopped = self.work(&mut ears) => stopped,
            result = &mut written => return End::Halted(broken(result)),
        };
        self.links.close();
        let (closed, _) = mpsc::channel(1);
        // The writer ends when the last sender of its work is gone.
        self.work = closed;
        match written.await {
            Ok(Ok(())) if stopped => End::Stopped,
            result => End::Halted(broken(result)),
        }
    }

    /// Works until it is told to stop; `false` when the writer takes nothing more.
    async fn work(&mut self, ears: &mut Ears) -> bool {
        self.follow();
        if !self.hand_over().await {
            return false;
        }
        loop {
            let heard = ears.listen(self.core.deadline()).await;
            self.compare_clocks();
            // Whatever was heard came behind it.
            self.take(ears);
            match heard {
                Heard::Ripe | Heard::Clock => {}
                Heard::Sealed(event) => self.core.handle(*event),
                Heard::Question(question) => {
                    let handover = question(&self.core);
                    if !self.hand_over().await || !self.send(Work::Handover(handover)).await {
                        return false;
                    }
                }
                Heard::Deadline => {
                    let at = clock::now();
                    if self.core.deadline().is_some_and(|due| due <= at.boot_us) {
                        self.core.handle(Event::Deadline { at });
                    }
                }
                Heard::Stop => {
                    let reason = ears.stop.borrow().clone();
                    self.core.handle(Event::Stop { at: clock::now(), reason });
                    return self.hand_over().await;
                }
            }
            if !self.hand_over().await {
                return false;
            }
        }
    }

    /// Takes what waits in the inbox, quiet or not.
    fn take(&mut self, ears: &mut Ears) {
        let at = clock::now();
        let events = ears.inbox.take(at, INBOX_MAX);
        if events.is_empty() {
            return;
        }
        let registered = events.iter().any(|event| matches!(event, Event::Command { .. }));
        self.core.handle_all(events, at);
        if registered {
            self.follow();
        }
    }

    /// Links follow what the register says of their instruments.
    fn follow(&mut self) {
        let register = self.core.register();
        for event in self.links.follow(&self.config.links, register, &self.events) {
            self.core.handle(event);
        }
    }

    /// Before anything that was heard: it belongs to the clocks as they are now.
    fn compare_clocks(&mut self) {
        let change = clock::clocks().and_then(|clocks| {
            self.watch.get_or_insert_with(|| Watch::since(clocks)).check(clocks)
        });
        let synced = self.synchronised(change.is_some());
        self.core.synchronised(synced);
        if let Some(change) = change {
            let (step_us, slept_us) = (change.step_us, change.slept_us);
            tracing::warn!(step_us, slept_us, synced, "The clocks changed.");
            self.core.handle(Event::Clock { change, synced });
        }
    }

    /// The kernel is asked once a second, and at once when the clocks changed: it takes many
    /// minutes of silence before it calls its clock no longer kept right.
    fn synchronised(&mut self, changed: bool) -> bool {
        let now_us = clock::now().boot_us;
        match self.synced {
            Some((synced, asked_us)) if !changed && now_us < asked_us + SYNCED_US => synced,
            _ => {
                let synced = clock::synchronised();
                self.synced = Some((synced, now_us));
                synced
            }
        }
    }

    async fn hand_over(&mut self) -> bool {
        if self.taps != self.core.taps() {
            self.taps = self.core.taps();
            self.links.quiet(self.core.quiet());
        }
        let effects = self.core.drain();
        effects.is_empty() || self.send(Work::Effects(effects)).await
    }

    async fn send(&self, work: Work) -> bool {
        self.work.send(work).await.is_ok()
    }
}

/// Why the writer ended although nobody told it to.
fn broken(result: Result<Result<(), Halted>, oneshot::error::RecvError>) -> Halted {
    match result {
        Ok(Err(halted)) => halted,
        _ => Halted::refused("the writer stopped".into(), "it was not told to".into()),
    }
}
