//! The engine's inbox: one bounded queue in order. Who posts wakes the engine; who posts quietly
//! does not: the engine comes for it within 100 ms, or when a quarter of the queue is full, or when
//! anybody else wakes it. Since there is one queue, what came first is taken first either way.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use tokio::sync::Notify;
use tokio::sync::mpsc::error::{TryRecvError, TrySendError};
use tokio::sync::mpsc::{self, Permit};
use tokio::time::sleep;

use crate::clock::{self, Stamp};
use crate::station::event::Event;

/// How long quiet events wait, microseconds.
const QUIET_US: u64 = 100_000;

/// An inbox with room for so many events, and the way into it. Who finds no room waits.
#[must_use]
pub fn inbox(room: usize) -> (Post, Inbox) {
    let (events, queue) = mpsc::channel(room);
    let bell = Arc::new(Bell::default());
    let post = Post { events, bell: Ringer(bell.clone()) };
    (post, Inbox { events: queue, bell, due_us: None })
}

/// The engine is gone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Closed;

#[derive(Debug, Default)]
struct Bell {
    rung: Notify,
    /// What waits is to be taken now.
    loud: AtomicBool,
    /// The engine knows, or is about to learn, that something quiet waits.
    quiet: AtomicBool,
}

impl Bell {
    fn ring(&self) {
        self.loud.store(true, Ordering::SeqCst);
        self.rung.notify_one();
    }

    fn whisper(&self) {
        if !self.quiet.swap(true, Ordering::SeqCst) {
            self.rung.notify_one();
        }
    }
}

/// Rings when it goes, so that who waits learns that nobody posts any more.
#[derive(Debug, Clone)]
struct Ringer(Arc<Bell>);

impl Drop for Ringer {
    fn drop(&mut self) {
        self.0.ring();
    }
}

/// The way into an inbox.
#[derive(Debug, Clone)]
pub struct Post {
    // It goes before the bell does: whoever is woken by that finds it gone.
    events: mpsc::Sender<Event>,
    bell: Ringer,
}

impl Post {
    /// Puts an event in and wakes the engine.
    ///
    /// # Errors
    /// The engine is gone.
    pub async fn send(&self, event: Event) -> Result<(), Closed> {
        self.room().await?.send(event);
        self.bell.0.ring();
        Ok(())
    }

    /// Puts an event in that may wait for 100 ms.
    ///
    /// # Errors
    /// The engine is gone.
    pub async fn send_quietly(&self, event: Event) -> Result<(), Closed> {
        self.room().await?.send(event);
        match self.events.capacity() > self.events.max_capacity() / 4 * 3 {
            true => self.bell.0.whisper(),
            false => self.bell.0.ring(),
        }
        Ok(())
    }

    /// A place in the queue. Who has to wait for one waits for the engine and for no time.
    async fn room(&self) -> Result<Permit<'_, Event>, Closed> {
        match self.events.try_reserve() {
            Ok(permit) => Ok(permit),
            Err(TrySendError::Closed(())) => Err(Closed),
            Err(TrySendError::Full(())) => {
                self.bell.0.ring();
                self.events.reserve().await.map_err(|_| Closed)
            }
        }
    }
}

/// The engine's side.
#[derive(Debug)]
pub struct Inbox {
    events: mpsc::Receiver<Event>,
    bell: Arc<Bell>,
    /// When what is quiet is to be taken.
    due_us: Option<u64>,
}

impl Inbox {
    /// Waits until something is to be taken. Cancel safe.
    pub async fn ripe(&mut self) {
        while !self.bell.loud.load(Ordering::SeqCst) {
            let due = async {
                match self.due_us {
                    Some(us) => sleep(until(us)).await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                () = self.bell.rung.notified() => {}
                () = due => return,
            }
            if self.due_us.is_none() && self.bell.quiet.load(Ordering::SeqCst) {
                self.due_us = Some(clock::now().boot_us + QUIET_US);
            }
        }
    }

    /// Takes what waits, quiet or not, `most` at the most. While something quiet comes every
    /// 100 ms nobody has to say so: the next time is set at once.
    pub fn take(&mut self, at: Stamp, most: usize) -> Vec<Event> {
        let was_due = self.due_us.is_some_and(|due| due <= at.boot_us);
        self.due_us = None;
        // Before anything is taken: what comes behind the last of it is told anew.
        self.bell.loud.store(false, Ordering::SeqCst);
        self.bell.quiet.store(false, Ordering::SeqCst);
        let mut taken = Vec::new();
        while let Ok(event) = self.events.try_recv() {
            taken.push(event);
            if taken.len() == most {
                self.bell.ring();
                break;
            }
        }
        if was_due && !taken.is_empty() {
            self.bell.quiet.store(true, Ordering::SeqCst);
            self.due_us = Some(at.boot_us + QUIET_US);
        }
        taken
    }

    /// The next event; `None` when nobody posts any more. Cancel safe.
    pub async fn next(&mut self) -> Option<Event> {
        loop {
            match self.events.try_recv() {
                Ok(event) => return Some(event),
                Err(TryRecvError::Disconnected) => return None,
                Err(TryRecvError::Empty) => self.ripe().await,
            }
            self.due_us = None;
            self.bell.loud.store(false, Ordering::SeqCst);
            self.bell.quiet.store(false, Ordering::SeqCst);
        }
    }
}

fn until(us: u64) -> Duration {
    Duration::from_micros(us.saturating_sub(clock::now().boot_us))
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::time::timeout;

    const SOON: Duration = Duration::from_millis(50);
    const LATER: Duration = Duration::from_millis(150);

    fn event(link: &str, n: u64) -> Event {
        let at = Stamp { wall_us: 0, boot_us: n };
        Event::Bytes { at, link: link.into(), bytes: Vec::new() }
    }

    fn numbers(taken: &[Event]) -> Vec<u64> {
        let number = |event: &Event| match event {
            Event::Bytes { at, .. } => at.boot_us,
            other => panic!("{other:?}"),
        };
        taken.iter().map(number).collect()
    }

    /// In virtual time: what is ripe at once, what a moment later, what never.
    #[tokio::test(start_paused = true)]
    async fn what_is_quiet_waits_and_what_is_loud_takes_it_along() {
        let (post, mut inbox) = inbox(16);
        assert!(timeout(LATER, inbox.ripe()).await.is_err(), "nothing came");
        post.send_quietly(event("a", 1)).await.unwrap();
        post.send_quietly(event("b", 2)).await.unwrap();
        assert!(timeout(SOON, inbox.ripe()).await.is_err(), "nobody is woken");
        post.send(event("a", 3)).await.unwrap();
        assert!(timeout(SOON, inbox.ripe()).await.is_ok());
        assert_eq!(numbers(&inbox.take(clock::now(), 16)), [1, 2, 3]);
        assert!(timeout(LATER, inbox.ripe()).await.is_err(), "all was taken");
        post.send_quietly(event("a", 4)).await.unwrap();
        assert!(timeout(LATER, inbox.ripe()).await.is_ok(), "it is not forgotten");
        assert_eq!(numbers(&inbox.take(clock::now(), 16)), [4]);
    }

    #[tokio::test(start_paused = true)]
    async fn while_something_comes_the_next_time_is_set_without_a_word() {
        let (post, mut inbox) = inbox(16);
        post.send_quietly(event("a", 1)).await.unwrap();
        inbox.ripe().await;
        let later = Stamp { wall_us: 0, boot_us: clock::now().boot_us + QUIET_US };
        assert_eq!(inbox.take(later, 16).len(), 1);
        assert_eq!(inbox.due_us, Some(later.boot_us + QUIET_US));
        let last = Stamp { wall_us: 0, boot_us: later.boot_us + QUIET_US };
        assert_eq!(inbox.take(last, 16), []);
        assert_eq!(inbox.due_us, None, "nothing came: the bell is waited for again");
        post.send_quietly(event("a", 2)).await.unwrap();
        assert!(timeout(LATER, inbox.ripe()).await.is_ok());
    }

    #[tokio::test(start_paused = true)]
    async fn a_quarter_full_rings_and_who_finds_no_room_loses_nothing() {
        let (post, mut inbox) = inbox(16);
        for n in 1..4 {
            post.send_quietly(event("a", n)).await.unwrap();
        }
        assert!(timeout(SOON, inbox.ripe()).await.is_err());
        post.send_quietly(event("a", 4)).await.unwrap();
        assert!(timeout(SOON, inbox.ripe()).await.is_ok());
        assert_eq!(numbers(&inbox.take(clock::now(), 3)), [1, 2, 3]);
        assert!(timeout(SOON, inbox.ripe()).await.is_ok(), "there is more");
        let many = async {
            for n in 5..100 {
                post.send_quietly(event("a", n)).await.unwrap();
            }
        };
        let mut taken = Vec::new();
        let take = async {
            while taken.len() < 96 {
                inbox.ripe().await;
                taken.extend(inbox.take(clock::now(), 16));
            }
        };
        tokio::join!(many, take);
        assert_eq!(numbers(&taken), (4..100).collect::<Vec<_>>());
    }

    #[tokio::test]
    async fn the_last_of_those_who_post_is_missed() {
        let (post, mut one) = inbox(4);
        let other = post.clone();
        other.send_quietly(event("a", 1)).await.unwrap();
        drop((post, other));
        assert!(one.next().await.is_some());
        assert_eq!(one.next().await, None);
        let (post, gone) = inbox(1);
        drop(gone);
        assert_eq!(post.send(event("a", 1)).await, Err(Closed));
        assert_eq!(post.send_quietly(event("a", 1)).await, Err(Closed));
    }

    /// Real threads: whatever they do at the same time, all arrives, each one's in its order.
    #[tokio::test(flavor = "multi_thread", worker_threads = 3)]
    async fn from_many_threads_all_arrive_each_in_its_order() {
        const EACH: u64 = 3_000;
        let (post, mut inbox) = inbox(32);
        for name in ["a", "b", "c", "d"] {
            let post = post.clone();
            tokio::spawn(async move {
                for n in 0..EACH {
                    let sent = match n % 7 {
                        0 => post.send(event(name, n)).await,
                        _ => post.send_quietly(event(name, n)).await,
                    };
                    sent.unwrap();
                }
            });
        }
        let mut next = std::collections::BTreeMap::new();
        while next.values().sum::<u64>() < 4 * EACH {
            inbox.ripe().await;
            for event in inbox.take(clock::now(), 16) {
                let Event::Bytes { at, link, .. } = event else { panic!("bytes alone") };
                let count = next.entry(link).or_insert(0);
                assert_eq!(at.boot_us, *count);
                *count += 1;
            }
        }
    }
}
