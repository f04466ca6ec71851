//! Meters that answer SCPI queries, of source class none and low.
//!
//! One query is in flight. An answer is taken by its shape, and only for the question that
//! was asked; between two questions lie at least [`GAP_US`]. When an answer stays out, nothing
//! is asked but the error queue until that has answered: messages are answered in order, so
//! whatever comes before its answer is late and whatever comes after is not. An instrument that
//! never answers `SYST:ERR?` is therefore not read by this driver.
//!
//! On opening nothing is wanted: `*IDN?`, then the error queue until it is empty. Wanted:
//! configure, error queue, `CONF?` where the instrument has it, then `READ?` again and again.
//! After a time-out all of that again, because a meter that was switched off has forgotten it.
//! What some meters need besides is a [`profile`].
//!
//! While the asset may be energised a meter is told nothing a second time: relays would click and
//! a function would change under the leads. It is asked what it is configured for (`CONF?`); when
//! that is something else, or it can't say, readings stop until nothing may be live or another
//! function is wanted.

mod answer;
mod message;
pub mod profile;
#[cfg(test)]
mod profiles;
mod setup;
mod state;
mod status;
mod take;
#[cfg(test)]
mod tests;

use alloc::collections::VecDeque;
use alloc::string::String;
use alloc::vec::Vec;

use answer::{Answer, sort};
use message::Query;
use profile::Profile;
use state::{Known, Phase, RETRY_US, Setup, Stage, Step};

use crate::driver::{Driver, Input, Message, Output, Want};
use crate::reading::{Function, Identity, Note, Now, Reading, Span};
use crate::wire::lines::{Framing, Line, Lines};
use crate::wire::list::QueuedError;
use crate::wire::{latin, trim};

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 3;

/// Quiet time between an answer, or a message without one, and the next message, microseconds.
pub const GAP_US: u64 = 20_000;

/// Longest answer, bytes.
const LONGEST: usize = 1024;

/// Most entries that are taken from the error queue at a time.
const ERRORS_MAX: u8 = 20;

/// How often a function is configured before the driver gives up.
const ATTEMPTS_MAX: u8 = 3;

/// A SCPI meter.
#[derive(Debug)]
pub struct Scpi {
    profile: &'static Profile,
    lines: Lines,
    out: VecDeque<Output<Message>>,
    phase: Phase,
    free_at: Now,
    heard: Now,
    want: Option<Function>,
    /// The asset may be energised.
    live: bool,
    setup: Option<Setup>,
    known: Known,
    /// A reading that waits for the status behind it.
    pending: Option<Reading>,
}

impl Scpi {
    /// A driver that waits to be opened.
    #[must_use]
    pub fn new(profile: &'static Profile) -> Scpi {
        Scpi {
            profile,
            lines: Lines::new(match profile.auto {
                true => Framing::text(LONGEST),
                false => Framing::answers(LONGEST),
            }),
            out: VecDeque::new(),
            phase: Phase::Idle,
            free_at: Now(0),
            heard: Now(0),
            want: None,
            live: false,
            setup: None,
            known: Known::nothing(false),
            pending: None,
        }
    }

    /// Everything that it can ever send.
    #[must_use]
    pub fn allowed(&self) -> Vec<Message> {
        message::allowed(self.profile)
    }

    fn asked(&self) -> Option<Query> {
        match self.phase {
            Phase::Asked { query, .. } => Some(query),
            Phase::Idle | Phase::Pause { .. } => None,
        }
    }

    /// The question that a line can be an answer to: what was there when it was asked is none.
    fn asked_by(&self, line: &Line) -> Option<Query> {
        match self.phase {
            Phase::Asked { query, at, .. } if line.first > at => Some(query),
            _ => None,
        }
    }

    /// What is to be done next, if anything.
    fn step(&self) -> Option<Step> {
        let (known, profile) = (&self.known, self.profile);
        if !known.open {
            return None;
        }
        let setup = self.setup.filter(|setup| Some(setup.function) == self.want);
        let failed = setup.is_some_and(|setup| setup.stage == Stage::Failed);
        let busy = self.want.is_some() || known.opening;
        if self.pending.is_some() {
            let again = profile.again.is_some() && !known.again;
            return Some(Step::Ask(if again { Query::Again } else { Query::Status }));
        }
        if profile.clear.is_some() && known.stuck && !self.live {
            return Some(Step::Clear);
        }
        let withheld = self.want.is_some_and(|function| self.withheld(function));
        if profile.begin.is_some() && !known.begun && busy && !failed && !withheld {
            return Some(Step::Begin);
        }
        if known.doubt.is_some() && busy {
            return Some(Step::Ask(Query::Errors));
        }
        if !known.identified && (self.want.is_some() || !known.asked_identity) {
            return Some(Step::Ask(Query::Identity));
        }
        if profile.status && known.status_due && busy && !failed {
            return Some(Step::Ask(Query::Status));
        }
        let Some(function) = self.want else {
            return (profile.leave.is_some() && known.begun).then_some(Step::Leave);
        };
        match setup.map(|setup| setup.stage) {
            None | Some(Stage::New) => Some(Step::Configure(function)),
            Some(Stage::Shapeless) => Some(Step::Shape),
            Some(Stage::Accepted) => Some(Step::Ask(Query::Function)),
            Some(Stage::Confirmed) => Some(Step::Ask(Query::Elements)),
            Some(Stage::Ready) => (!profile.auto).then_some(Step::Ask(Query::Reading)),
            Some(Stage::Sent | Stage::Unanswered) => Some(Step::Ask(Query::Errors)),
            Some(Stage::Failed) => None,
        }
    }

    /// Does the next thing as soon as it may be done.
    fn advance(&mut self, now: Now) {
        if self.asked().is_some() {
            return;
        }
        match self.step() {
            None => {
                self.phase = Phase::Idle;
                self.known.opening = false;
            }
            Some(_) if now < self.free_at => self.phase = Phase::Pause { until: self.free_at },
            Some(Step::Ask(query)) => self.ask(now, query),
            Some(Step::Configure(function)) => self.configure(now, function),
            Some(Step::Begin) => {
                self.known.begun = true;
                self.say(now, self.profile.begin);
            }
            Some(Step::Shape) => {
                self.stage(Stage::Sent);
                self.say(now, self.profile.shape);
            }
            Some(Step::Clear) => {
                self.known.stuck = false;
                self.send(now, message::raw(self.profile.clear.unwrap_or_default()));
            }
            Some(Step::Leave) => {
                (self.known.begun, self.known.opening) = (false, false);
                self.say(now, self.profile.leave);
            }
        }
    }

    fn ask(&mut self, now: Now, query: Query) {
        match query {
            Query::Identity => self.known.asked_identity = true,
            Query::Reading => (self.known.last_read, self.known.spoiled) = (self.want, false),
            Query::Errors | Query::Function | Query::Status | Query::Elements | Query::Again => {}
        }
        self.phase = Phase::Asked { query, at: now, until: Now(now.0 + query.limit_us()) };
        self.out.push_back(Output::Send(query.message(self.profile)));
    }

    /// A line arrived: taken as the answer if it has the shape of one.
    fn line(&mut self, line: &Line) {
        let asked = self.asked_by(line);
        let status = (asked == Some(Query::Status)).then(|| status::bits(trim(&line.bytes)));
        if let Some(bits) = status.flatten().filter(|_| !line.too_long) {
            return self.status(line, bits);
        }
        if asked == Some(Query::Again) && !line.too_long && self.again(line) {
            return;
        }
        // A reading whose status did not come next is not taken.
        self.flush(Some("unsolicited"));
        if line.too_long {
            self.note(line, "too_long", None);
            return self.garbled(line.last);
        }
        let bytes = trim(&line.bytes);
        match (asked, sort(bytes)) {
            (_, Answer::Number(given)) if self.profile.auto => self.sent_itself(line, given),
            (Some(Query::Elements), Answer::Text | Answer::Function(_)) => self.elements(line),
            (Some(Query::Identity), Answer::Text) if !bytes.starts_with(b"*") => {
                self.identity(line, bytes);
            }
            (Some(Query::Errors), Answer::Error(error)) => self.error(line, error),
            (Some(Query::Function), Answer::Function(function)) => self.function(line, function),
            (
                Some(Query::Reading),
                answer @ (Answer::Number(_)
                | Answer::List(_)
                | Answer::Block(_)
                | Answer::Text
                | Answer::Noise),
            ) => self.answer_read(line, &answer),
            (_, answer) => self.stray(line, answer),
        }
    }

    fn note(&mut self, line: &Line, word: &'static str, text: Option<String>) {
        self.out.push_back(Output::Note(line.note(word, text)));
    }

    /// The question is answered: on to the next when the line was quiet for the gap.
    fn answered(&mut self, now: Now) {
        self.phase = Phase::Idle;
        self.free_at = Now(self.heard.0 + self.profile.gap_us);
        self.advance(now);
    }

    /// An answer nobody could read: whether another follows, the error queue will show.
    fn garbled(&mut self, now: Now) {
        self.known.doubt.get_or_insert(0);
        if matches!(self.asked(), None | Some(Query::Reading)) {
            self.answered(now);
        }
    }

    fn identity(&mut self, line: &Line, bytes: &[u8]) {
        let identity = Identity { text: latin(bytes), span: line.span, at: line.first };
        self.out.push_back(Output::Identity(identity));
        self.known.identified = true;
        self.known.doubt = Some(0);
        self.answered(line.last);
    }

    fn error(&mut self, line: &Line, error: QueuedError) {
        let taken = self.known.doubt.unwrap_or(0).saturating_add(1);
        let more = error.code != 0 && taken < ERRORS_MAX;
        self.known.errors |= error.code != 0;
        self.known.stuck = false;
        self.known.retry_us = RETRY_US.0;
        self.known.doubt = more.then_some(taken);
        self.note_error(line, error);
        if !more {
            self.queue_empty(line.last);
        }
        self.answered(line.last);
    }

    fn note_error(&mut self, line: &Line, error: QueuedError) {
        let word = if error.code == 0 { "answer" } else { "error_queue" };
        let text = alloc::format!("{},\"{}\"", error.code, latin(&error.text));
        self.note(line, word, Some(text));
    }

    /// A line nobody asked for, or the answer to another question: kept, never taken.
    fn stray(&mut self, line: &Line, answer: Answer) {
        match answer {
            Answer::Number(given) if given.of.is_none() => {
                self.known.spoiled = self.asked() == Some(Query::Reading);
                self.push_reading(line, given.indication, Some("unsolicited"));
            }
            Answer::Error(error) => self.note_error(line, error),
            Answer::Block(_) => self.note(line, "malformed", Some("a block".into())),
            Answer::Number(_) | Answer::List(_) | Answer::Function(_) | Answer::Text => {
                self.note(line, "answer", Some(latin(trim(&line.bytes))));
            }
            Answer::Noise => self.note(line, "malformed", None),
        }
        self.known.doubt.get_or_insert(0);
        if self.asked().is_none() {
            self.answered(line.last);
        }
    }

    /// The answer stayed out.
    fn silent(&mut self, now: Now, query: Query) {
        self.flush(Some("unsolicited"));
        let at = self.lines.offset();
        let span = Span { from: at, to: at };
        let text = Some(query.text(self.profile).into());
        self.out.push_back(Output::Note(Note { word: "silent", span, text, at: now }));
        self.phase = Phase::Idle;
        self.known.doubt = Some(0);
        match query {
            Query::Reading | Query::Status | Query::Again => {
                self.setup = None;
                self.known.stuck = query == Query::Reading && !self.live;
            }
            Query::Elements => self.forgotten(now),
            Query::Function => {
                self.stage(Stage::Unanswered);
                self.known.errors = false;
            }
            Query::Identity => {}
            Query::Errors => {
                self.known.identified = false;
                self.known.begun = false;
                self.known.opening = false;
                self.setup = None;
                self.free_at = Now(now.0 + self.known.retry_us);
                self.known.retry_us = (2 * self.known.retry_us).min(RETRY_US.1);
            }
        }
        self.advance(now);
    }

    fn open(&mut self, now: Now) {
        if let Some(note) = self.given_up() {
            self.out.push_back(Output::Note(note));
        }
        self.phase = Phase::Idle;
        self.free_at = Now(now.0 + self.profile.wait_us);
        (self.want, self.live) = (None, false);
        self.setup = None;
        self.known = Known::nothing(true);
        self.advance(now);
    }

    /// Another function is configured anew, and the same one that failed when nothing may be live.
    fn wanted(&mut self, now: Now, want: Option<Want>) {
        let failed = self.setup.is_some_and(|setup| setup.stage == Stage::Failed);
        self.live = want.is_some_and(|want| want.live);
        let want = want.map(|want| want.function);
        if want != self.want || (failed && !self.live) {
            self.setup = None;
            self.known.status_due = true;
            self.known.sent_itself = None;
        }
        self.want = want;
        self.advance(now);
    }

    /// Bytes between two questions: the line is not quiet.
    fn busy(&mut self, now: Now) {
        self.heard = now;
        self.free_at = self.free_at.max(Now(now.0 + self.profile.gap_us));
        if let Phase::Pause { until } = &mut self.phase {
            *until = self.free_at;
        }
    }

    fn settle(&mut self) {
        while let Some(line) = self.lines.take() {
            self.line(&line);
        }
    }

    fn tick(&mut self, now: Now) {
        self.lines.tick(now);
        self.settle();
        match self.phase {
            Phase::Asked { query, until, .. } if now >= until => self.silent(now, query),
            Phase::Pause { until } if now >= until => self.advance(now),
            _ => {}
        }
    }

    pub(crate) fn queued(&self) -> usize {
        self.out.len()
    }
}

impl Driver for Scpi {
    type Sends = Message;

    fn handle(&mut self, now: Now, input: Input<'_>) {
        match input {
            Input::Bytes(bytes) => {
                self.lines.push(now, bytes);
                self.busy(now);
            }
            Input::Open => self.open(now),
            Input::Tick => self.tick(now),
            Input::Want(want) => {
                self.settle();
                self.wanted(now, want);
            }
        }
    }

    /// Lines are read one at a time as they are polled for, so that a read full of them never
    /// piles up.
    fn poll(&mut self) -> Option<Output<Message>> {
        while self.out.is_empty() {
            let line = self.lines.take()?;
            self.line(&line);
        }
        self.out.pop_front()
    }

    fn deadline(&self) -> Option<Now> {
        let phase = match self.phase {
            Phase::Idle => None,
            Phase::Asked { until, .. } | Phase::Pause { until } => Some(until),
        };
        [phase, self.lines.deadline()].into_iter().flatten().min()
    }
}
