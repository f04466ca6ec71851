//! What the faces see of the station, whether it runs or is halted.

use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::Duration;

use serde_json::Value;
use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::timeout;

use super::copies::Copies;
use super::desk::{Desk, Reply};
use super::feed::Feed;
use super::indexer::Indexer;
use super::pins::{Pins, Typed};
use super::refusals::{Attempt, Refusals};
use super::{later, room};
use crate::clock::{self, Stamp};
use crate::config::Paper;
use crate::inbox::Post;
use crate::report::House;
use crate::station::event::{Event, Origin, Problem, Request};
use crate::station::status::Status;
use crate::station::{Asked, Core};

/// How long a face waits for an answer.
pub(super) const ANSWER_S_MAX: Duration = Duration::from_secs(10);

/// A question about what the station knows, and how its answer is handed over. The second part
/// runs when everything is durable that the first could see.
pub type Question = Box<dyn FnOnce(&Core) -> Handover + Send>;

/// Hands an answer over.
pub type Handover = Box<dyn FnOnce() + Send>;

/// Who prints, and how, where nothing else is asked.
#[derive(Debug, Clone, Default)]
pub(crate) struct Printing {
    pub(crate) house: House,
    pub(crate) usual: Paper,
}

/// What the faces see of the station.
#[derive(Debug)]
pub struct Shared {
    /// Committed lines.
    pub feed: Arc<Feed>,
    /// Commands that wait.
    pub desk: Desk,
    /// Data folder.
    pub folder: PathBuf,
    /// Who prints, and how: set once, before anybody asks.
    pub(crate) printing: OnceLock<Printing>,
    /// Archives and drills: set once, before anybody asks.
    pub copies: OnceLock<Copies>,
    /// Lists and raw data; empty until the books were opened for the first time.
    pub indexer: OnceLock<Indexer>,
    /// What was refused just now.
    pub refusals: Refusals,
    /// PINs that signatures take.
    pub(crate) pins: Pins,
    state: Mutex<State>,
    /// Tells those who listen to the feed: why nothing is judged, `None` while it is.
    halts: watch::Sender<Option<Halt>>,
}

#[derive(Debug, Default)]
struct State {
    status: Option<Arc<Status>>,
    halted: Option<Halt>,
    engine: Option<Engine>,
    /// Books that are not believed whole, each with what is wrong, in words.
    damaged: Vec<String>,
    /// The status was shown by a life of the engine that has ended: its links were closed.
    outlived: bool,
}

/// The way to a running engine.
#[derive(Debug, Clone)]
pub(super) struct Engine {
    pub(super) events: Post,
    pub(super) questions: mpsc::Sender<Question>,
}

/// Why the station does not judge.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Halt {
    /// It is only the start: who asks may wait.
    pub starting: bool,
    /// What to do first, whatever the cause.
    pub first: String,
    /// Why, in words.
    pub why: String,
    /// What to do then.
    pub next: String,
}

impl Halt {
    /// A halt: the first thing to do is always the same.
    #[must_use]
    pub fn new(why: impl Into<String>, next: impl Into<String>) -> Halt {
        let first = "Switch off, make safe: judging has stopped.".to_owned();
        Halt { starting: false, first, why: why.into(), next: next.into() }
    }

    /// Nothing is judged yet, and nothing is wrong.
    fn start() -> Halt {
        let why = "the station is starting".to_owned();
        Halt { starting: true, first: String::new(), why, next: "Wait a moment.".to_owned() }
    }

    /// The halt as the feed tells it.
    #[must_use]
    pub fn json(&self) -> Value {
        serde_json::json!({ "halted": self.why, "first": self.first, "next": self.next })
    }

    fn problem(&self) -> Problem {
        let code = if self.starting { "starting" } else { "halted" };
        let next = format!("{} {}", self.first, self.next).trim().to_owned();
        Problem { code: code.into(), detail: self.why.clone(), next }
    }
}

impl Shared {
    /// A station that is about to start.
    #[must_use]
    pub fn new(folder: PathBuf) -> Shared {
        let halted = Some(Halt::start());
        Shared {
            feed: Arc::default(),
            desk: Desk::default(),
            pins: Pins::of(&folder),
            folder,
            printing: OnceLock::new(),
            copies: OnceLock::new(),
            indexer: OnceLock::new(),
            refusals: Refusals::default(),
            state: Mutex::new(State { halted, ..State::default() }),
            halts: watch::channel(None).0,
        }
    }

    /// From now on the engine answers.
    pub(super) fn running(&self, engine: Engine) {
        let mut state = self.lock();
        state.halted = None;
        state.engine = Some(engine);
        self.halts.send_if_modified(|halt| halt.take().is_some());
    }

    /// Why nothing is judged, now and whenever that changes; `None` while the station judges.
    #[must_use]
    pub fn halts(&self) -> watch::Receiver<Option<Halt>> {
        self.halts.subscribe()
    }

    /// Books that are not believed whole: from now on every status names them.
    pub(super) fn damaged(&self, books: Vec<String>) {
        self.lock().damaged = books;
    }

    /// From now on nothing is judged. All that wait are told.
    pub(super) fn halt(&self, halt: Halt) {
        self.desk.answer_all(&halt.problem());
        let mut state = self.lock();
        state.engine = None;
        state.halted = Some(halt.clone());
        state.outlived = true;
        self.halts.send_if_modified(|told| told.replace(halt.clone()) != Some(halt));
    }

    /// Shows a status that holds nothing but what is durable.
    pub(super) fn show(&self, status: Status) {
        let before = self.status();
        self.refusals.heard(before.as_deref(), &status, clock::now());
        let mut state = self.lock();
        state.status = Some(Arc::new(status));
        state.outlived = false;
    }

    /// Why nothing is judged; `None` while the station runs.
    #[must_use]
    pub fn halted(&self) -> Option<Halt> {
        self.lock().halted.clone()
    }

    /// The last status that was shown.
    #[must_use]
    pub fn status(&self) -> Option<Arc<Status>> {
        self.lock().status.clone()
    }

    /// The status as faces serve it: the station's, with how the index is (see
    /// [`Indexer::status_json`]) and the free room, mebibytes; while
    /// nothing is judged also with `halted` (why), what to do `first` and what `next`.
    #[must_use]
    pub fn status_json(&self) -> Value {
        let mut json = match self.status() {
            Some(status) => serde_json::to_value(&*status).unwrap_or_default(),
            None => serde_json::json!({ "seq": 0, "benches": [] }),
        };
        let halted = self.halted();
        json["halted"] = halted.as_ref().map_or(Value::Null, |halt| halt.why.clone().into());
        if let Some(halt) = halted {
            json["first"] = halt.first.into();
            json["next"] = halt.next.into();
        }
        let state = self.lock();
        json["damaged"] = state.damaged.clone().into();
        if state.outlived {
            links_are_closed(&mut json);
        }
        drop(state);
        json["index"] = self.indexer.get().map_or(Value::Null, Indexer::status_json);
        let copies = self.copies.get().map(|copies| copies.json(clock::now().wall_us));
        json["copies"] = copies.unwrap_or_default();
        json["room_mb"] = room::free(&self.folder).map_or(Value::Null, |b| (b >> 20).into());
        json
    }

    /// Asks the station for something and waits until it is durable.
    ///
    /// # Errors
    /// Why it was not done.
    pub async fn command(
        &self,
        origin: Origin,
        bench: Option<String>,
        by: Option<String>,
        request: Request,
    ) -> Reply {
        self.command_with(origin, (bench, by), request, Typed::default()).await
    }

    /// The same with the PINs that were typed, for what signs.
    ///
    /// # Errors
    /// Why it was not done.
    pub(crate) async fn command_with(
        &self,
        origin: Origin,
        (bench, by): (Option<String>, Option<String>),
        request: Request,
        typed: Typed,
    ) -> Reply {
        let mut attempt = Attempt::of(origin, &request, (&bench, &by));
        // A badge alone says who acts on what is sealed, whoever is logged in, and is not told.
        let badge = origin == Origin::Page || typed.pin.is_some();
        let unsaid = badge && request.is_about().is_some();
        attempt.by = attempt.by.filter(|_| !unsaid);
        let reply = self.commanded(origin, (bench, by), request, typed).await;
        if let Err(problem) = &reply
            && !["halted", "starting", "busy"].contains(&problem.code.as_str())
        {
            // Who acts without a name is who is logged in there.
            let status = self.status();
            let benches = status.as_ref().map_or(&[][..], |status| &status.benches);
            let named = benches.iter().find(|one| attempt.bench.as_ref() == Some(&one.id));
            let here = named.or(if benches.len() == 1 { benches.first() } else { None });
            if let Some(here) = here.filter(|_| origin != Origin::Inbox) {
                attempt.by = attempt.by.or_else(|| here.operator.clone().filter(|_| !unsaid));
                attempt.bench.get_or_insert_with(|| here.id.clone());
            }
            self.refusals.tell(&attempt, problem, clock::now());
        }
        reply
    }

    async fn commanded(
        &self,
        origin: Origin,
        (bench, by): (Option<String>, Option<String>),
        request: Request,
        typed: Typed,
    ) -> Reply {
        let proved = self.prove(origin, (&bench, &by), &request, &typed).await?;
        drop(typed);
        let past = match request.is_about() {
            Some(id) => Some(Box::new(later::past(&self.folder, id).await?)),
            None => None,
        };
        self.post(|at, ticket| match past {
            Some(past) => {
                let asked = Box::new(Asked { bench, by, request, proved });
                Event::Later { at, ticket, origin, asked, past }
            }
            None => Event::Command { at, ticket, origin, bench, by, request, proved },
        })
        .await
    }

    /// Hands an event to the engine and waits until what it comes to is durable.
    pub(super) async fn post(&self, event: impl FnOnce(Stamp, u64) -> Event) -> Reply {
        let engine = self.engine()?;
        let (ticket, reply) = self.desk.take().ok_or_else(busy)?;
        let event = event(clock::now(), ticket);
        let work = async {
            engine.events.send(event).await.map_err(|_| self.stopped())?;
            reply.await.map_err(|_| self.stopped())?
        };
        timeout(ANSWER_S_MAX, work).await.unwrap_or_else(|_| Err(busy()))
    }

    /// Asks the station what it knows, and waits until that is durable.
    ///
    /// # Errors
    /// The station is halted or does not answer in time.
    pub async fn ask<T: Send + 'static>(
        &self,
        question: impl FnOnce(&Core) -> T + Send + 'static,
    ) -> Result<T, Problem> {
        let engine = self.engine()?;
        let (send, receive) = oneshot::channel();
        let question: Question = Box::new(move |core| {
            let answer = question(core);
            Box::new(move || drop(send.send(answer)))
        });
        let work = async {
            engine.questions.send(question).await.map_err(|_| self.stopped())?;
            receive.await.map_err(|_| self.stopped())
        };
        timeout(ANSWER_S_MAX, work).await.unwrap_or_else(|_| Err(busy()))
    }

    fn engine(&self) -> Result<Engine, Problem> {
        // Two statements: the lock must be free again when the reason is asked for.
        let engine = self.lock().engine.clone();
        engine.ok_or_else(|| self.stopped())
    }

    fn stopped(&self) -> Problem {
        let halt = self.halted();
        halt.unwrap_or_else(|| Halt::new("the station stops", "Wait, then try again.")).problem()
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The last status was made while they were open.
fn links_are_closed(status: &mut Value) {
    let benches = status["benches"].as_array_mut().into_iter().flatten();
    for link in benches.flat_map(|b| b["links"].as_array_mut().into_iter().flatten()) {
        link["state"] = "down".into();
        link["why"] = "closed while nothing is judged".into();
    }
}

pub(super) fn busy() -> Problem {
    let detail = "the station did not answer in time: read `tapline status` before you repeat it";
    Problem::new("busy", detail)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shared() -> (tempfile::TempDir, Shared) {
        let temp = tempfile::tempdir().unwrap();
        let shared = Shared::new(temp.path().to_owned());
        (temp, shared)
    }

    fn scan() -> Request {
        Request::Scan { code: "P-0107".into() }
    }

    #[tokio::test]
    async fn a_halted_station_says_what_to_do_first_and_why() {
        let (_temp, shared) = shared();
        shared.halt(Halt::new("no room", "make room"));
        let problem = shared.command(Origin::Page, None, None, scan()).await.unwrap_err();
        assert_eq!(problem.code, "halted");
        assert_eq!(problem.detail, "no room");
        assert_eq!(problem.next, "Switch off, make safe: judging has stopped. make room");
        let asked = shared.ask(|core| core.last_seq()).await.unwrap_err();
        assert_eq!(asked, problem);
        let status = shared.status_json();
        assert_eq!(status["halted"], "no room");
        assert!(status["room_mb"].is_u64());
    }

    #[tokio::test]
    async fn who_waits_is_told_when_the_station_halts() {
        let (_temp, shared) = shared();
        let (events, mut inbox) = crate::inbox::inbox(4);
        let (questions, _asked) = mpsc::channel(4);
        shared.running(Engine { events, questions });
        assert_eq!(shared.status_json()["halted"], Value::Null);
        let command = shared.command(Origin::Socket(7), None, None, scan());
        let halt = async {
            assert!(matches!(inbox.next().await, Some(Event::Command { .. })));
            shared.halt(Halt::new("no room", "make room"));
        };
        let (reply, ()) = tokio::join!(command, halt);
        assert_eq!(reply.unwrap_err().code, "halted");
    }
}
