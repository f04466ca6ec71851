//! Tells the engine what becomes of a link, each state once, and waits out the back-off.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use tokio::time::sleep;

use super::{BackOff, LinkError};
use crate::clock;
use crate::inbox::Post;
use crate::station::event::Event;

/// The engine is gone: the end of this link.
pub(super) struct Ended;

/// Who tells.
pub(super) struct Teller {
    link: String,
    inbox: Post,
    /// Nobody waits for its bytes.
    quiet: Arc<AtomicBool>,
    back_off: BackOff,
    up_us: Option<u64>,
    told: Option<String>,
    /// What stands in the log last, so that a port that is only absent does not fill it.
    logged: Option<String>,
}

impl Teller {
    pub(super) fn new(link: String, inbox: Post, quiet: Arc<AtomicBool>) -> Teller {
        let back_off = BackOff::default();
        Teller { link, inbox, quiet, back_off, up_us: None, told: None, logged: None }
    }

    pub(super) async fn up(&mut self) -> Result<(), Ended> {
        let at = clock::now();
        self.up_us = Some(at.boot_us);
        self.told = None;
        self.logged = None;
        self.tell(Event::LinkUp { at, link: self.link.clone() }).await
    }

    pub(super) async fn bytes(&self, bytes: &[u8]) -> Result<(), Ended> {
        let at = clock::now();
        let event = Event::Bytes { at, link: self.link.clone(), bytes: bytes.to_vec() };
        match self.quiet.load(Ordering::Relaxed) {
            true => self.inbox.send_quietly(event).await.map_err(|_| Ended),
            false => self.tell(event).await,
        }
    }

    /// The link is down: tells it if that is news, then waits before the next attempt.
    pub(super) async fn down(&mut self, why: LinkError) -> Result<(), Ended> {
        let at = clock::now();
        let absent = matches!(why, LinkError::Absent { .. });
        let was_up = self.up_us.take();
        if let Some(up_us) = was_up {
            self.back_off.held(at.boot_us.saturating_sub(up_us));
            self.back_off.went(at.boot_us);
        }
        let mut why = why.to_string();
        if self.back_off.flaps(at.boot_us) {
            why += "; it comes and goes: check plug and cable";
        }
        if self.logged.as_ref() != Some(&why) {
            tracing::warn!(link = self.link, why, "Link is down.");
            self.logged = Some(why.clone());
        }
        if was_up.is_some() || self.told.as_ref() != Some(&why) {
            self.told = Some(why.clone());
            self.tell(Event::LinkDown { at, link: self.link.clone(), why }).await?;
        }
        sleep(self.back_off.next(absent)).await;
        Ok(())
    }

    async fn tell(&self, event: Event) -> Result<(), Ended> {
        self.inbox.send(event).await.map_err(|_| Ended)
    }
}
