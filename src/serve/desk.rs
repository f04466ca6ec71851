//! Commands that wait for their answer.

use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};

use tokio::sync::oneshot;

use crate::station::event::{Answer, Problem};

/// Commands that may wait at once.
const WAITING_MAX: usize = 64;

/// What comes back for a command.
pub type Reply = Result<Answer, Problem>;

/// Numbers commands and hands each its answer.
#[derive(Debug, Default)]
pub struct Desk {
    inner: Mutex<Inner>,
}

#[derive(Debug, Default)]
struct Inner {
    last: u64,
    waiting: BTreeMap<u64, oneshot::Sender<Reply>>,
}

impl Desk {
    /// A number for a command, and where its answer will come. `None`: too many wait.
    pub fn take(&self) -> Option<(u64, oneshot::Receiver<Reply>)> {
        let mut inner = self.lock();
        // Who gave up waiting makes room.
        inner.waiting.retain(|_, reply| !reply.is_closed());
        if inner.waiting.len() >= WAITING_MAX {
            return None;
        }
        inner.last += 1;
        let ticket = inner.last;
        let (send, receive) = oneshot::channel();
        inner.waiting.insert(ticket, send);
        Some((ticket, receive))
    }

    /// Hands over an answer. Nobody may be waiting any more; the command is done all the same.
    pub fn answer(&self, ticket: u64, reply: Reply) {
        if let Some(waiting) = self.lock().waiting.remove(&ticket) {
            let _ = waiting.send(reply);
        }
    }

    /// Answers all that wait: the station has stopped judging.
    pub fn answer_all(&self, problem: &Problem) {
        for (_, waiting) in std::mem::take(&mut self.lock().waiting) {
            let _ = waiting.send(Err(problem.clone()));
        }
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_command_gets_its_own_answer() {
        let desk = Desk::default();
        let (first, mut one) = desk.take().unwrap();
        let (second, mut two) = desk.take().unwrap();
        desk.answer(second, Ok(Answer::done(2)));
        desk.answer(first, Ok(Answer::done(1)));
        assert_eq!(one.try_recv().unwrap().unwrap().seq, 1);
        assert_eq!(two.try_recv().unwrap().unwrap().seq, 2);
    }

    #[test]
    fn who_gave_up_makes_room_and_no_more_than_the_limit_wait() {
        let desk = Desk::default();
        let mut waiting: Vec<_> = (0..WAITING_MAX).map(|_| desk.take().unwrap()).collect();
        assert!(desk.take().is_none());
        waiting.pop();
        assert!(desk.take().is_some());
    }
}
