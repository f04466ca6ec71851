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

mod answer;
mod message;
mod state;
#[cfg(test)]
mod tests;

use alloc::collections::VecDeque;
use alloc::string::String;

use answer::{Answer, sort};
use message::{Query, configure};
use state::{Known, Phase, RETRY_US, Setup, Stage, Step};

use crate::driver::{Driver, Input, Message, Output};
use crate::reading::{Function, Identity, Indication, Note, Now, Reading, Span};
use crate::unit::{Prefix, Unit};
use crate::wire::lines::{Framing, Line, Lines};
use crate::wire::list::QueuedError;
use crate::wire::{latin, trim};

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 2;

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
    lines: Lines,
    out: VecDeque<Output<Message>>,
    phase: Phase,
    free_at: Now,
    heard: Now,
    want: Option<Function>,
    setup: Option<Setup>,
    known: Known,
}

impl Default for Scpi {
    fn default() -> Scpi {
        Scpi::new()
    }
}

impl Scpi {
    /// A driver that waits to be opened.
    #[must_use]
    pub fn new() -> Scpi {
        Scpi {
            lines: Lines::new(Framing::text(LONGEST)),
            out: VecDeque::new(),
            phase: Phase::Idle,
            free_at: Now(0),
            heard: Now(0),
            want: None,
            setup: None,
            known: Known::nothing(false),
        }
    }

    fn asked(&self) -> Option<Query> {
        match self.phase {
            Phase::Asked { query, .. } => Some(query),
            Phase::Idle | Phase::Pause { .. } => None,
        }
    }

    /// What is to be done next, if anything.
    fn step(&self) -> Option<Step> {
        let known = &self.known;
        if !known.open {
            return None;
        }
        if known.doubt.is_some() && (self.want.is_some() || known.opening) {
            return Some(Step::Ask(Query::Errors));
        }
        if !known.identified && (self.want.is_some() || !known.asked_identity) {
            return Some(Step::Ask(Query::Identity));
        }
        let function = self.want?;
        match self.setup.filter(|setup| setup.function == function).map(|setup| setup.stage) {
            None | Some(Stage::New) => Some(Step::Configure(function)),
            Some(Stage::Accepted) => Some(Step::Ask(Query::Function)),
            Some(Stage::Ready) => Some(Step::Ask(Query::Reading)),
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
        }
    }

    fn ask(&mut self, now: Now, query: Query) {
        match query {
            Query::Identity => self.known.asked_identity = true,
            Query::Reading => self.known.last_read = self.want,
            Query::Errors | Query::Function => {}
        }
        self.phase = Phase::Asked { query, until: Now(now.0 + query.limit_us()) };
        self.out.push_back(Output::Send(query.message()));
    }

    fn configure(&mut self, now: Now, function: Function) {
        let old = self.setup.filter(|setup| setup.function == function);
        let attempts = old.map_or(0, |setup| setup.attempts);
        let Some(message) = configure(function) else {
            self.setup = Some(Setup { function, stage: Stage::Failed, attempts });
            self.not_configured(now);
            return self.advance(now);
        };
        self.setup = Some(Setup { function, stage: Stage::Sent, attempts });
        self.known.doubt = Some(0);
        self.known.errors = false;
        self.free_at = Now(now.0 + GAP_US);
        self.phase = Phase::Pause { until: self.free_at };
        self.out.push_back(Output::Send(message));
    }

    fn not_configured(&mut self, now: Now) {
        let at = self.lines.offset();
        let span = Span { from: at, to: at };
        self.out.push_back(Output::Note(Note {
            word: "not_configured",
            span,
            text: None,
            at: now,
        }));
    }

    /// A line arrived: taken as the answer if it has the shape of one.
    fn line(&mut self, line: &Line) {
        if line.too_long {
            self.note(line, "too_long", None);
            return self.garbled(line.last);
        }
        let bytes = trim(&line.bytes);
        match (self.asked(), sort(bytes)) {
            (Some(Query::Identity), Answer::Text) if !bytes.starts_with(b"*") => {
                self.identity(line, bytes);
            }
            (Some(Query::Errors), Answer::Error(error)) => self.error(line, error),
            (Some(Query::Function), Answer::Function(function)) => self.function(line, function),
            (Some(Query::Reading), Answer::Number(indication)) => self.reading(line, indication),
            (Some(Query::Reading), Answer::Text | Answer::Noise) => {
                self.note(line, "malformed", None);
                self.garbled(line.last);
            }
            (_, answer) => self.stray(line, answer),
        }
    }

    fn note(&mut self, line: &Line, word: &'static str, text: Option<String>) {
        self.out.push_back(Output::Note(line.note(word, text)));
    }

    /// The question is answered: on to the next when the line was quiet for the gap.
    fn answered(&mut self, now: Now) {
        self.phase = Phase::Idle;
        self.free_at = Now(self.heard.0 + GAP_US);
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

    /// The error queue is empty: what was sent before it is decided.
    fn queue_empty(&mut self, now: Now) {
        match self.setup.map(|setup| setup.stage) {
            Some(Stage::Sent) if self.known.errors => self.refused(now),
            Some(Stage::Sent) if self.known.answers_conf => self.stage(Stage::Accepted),
            Some(Stage::Sent) => self.ready(),
            Some(Stage::Unanswered) => {
                self.known.answers_conf = !self.known.errors;
                self.ready();
            }
            _ => {}
        }
    }

    fn stage(&mut self, stage: Stage) {
        if let Some(setup) = &mut self.setup {
            setup.stage = stage;
        }
    }

    fn ready(&mut self) {
        self.stage(Stage::Ready);
        if let Some(setup) = self.setup.filter(|setup| self.want == Some(setup.function)) {
            self.out.push_back(Output::Ready(setup.function));
        }
    }

    /// The instrument did not take the function: once more, but not for ever.
    fn refused(&mut self, now: Now) {
        let Some(setup) = &mut self.setup else { return };
        setup.attempts += 1;
        setup.stage = Stage::New;
        if setup.attempts >= ATTEMPTS_MAX {
            setup.stage = Stage::Failed;
            self.not_configured(now);
        }
    }

    fn function(&mut self, line: &Line, function: Option<Function>) {
        self.note(line, "answer", Some(latin(trim(&line.bytes))));
        match self.setup {
            Some(setup) if Some(setup.function) == function => self.ready(),
            Some(_) => self.refused(line.last),
            None => {}
        }
        self.answered(line.last);
    }

    fn reading(&mut self, line: &Line, indication: Indication) {
        self.push_reading(line, indication, None);
        self.answered(line.last);
    }

    /// A reading of the function that was last asked for, in its base unit.
    fn push_reading(&mut self, line: &Line, indication: Indication, why: Option<&'static str>) {
        let asked = self.known.last_read.and_then(|f| Some((f, f.quantity()?)));
        let Some((function, quantity)) = asked else {
            return self.note(line, "answer", Some(latin(trim(&line.bytes))));
        };
        let unit = Unit { prefix: Prefix::One, quantity };
        let reading = Reading { why, ..line.reading(indication, function, unit) };
        self.out.push_back(Output::Reading(reading));
    }

    /// A line nobody asked for, or the answer to another question: kept, never taken.
    fn stray(&mut self, line: &Line, answer: Answer) {
        match answer {
            Answer::Number(indication) => {
                self.push_reading(line, indication, Some("unsolicited"));
            }
            Answer::Error(error) => self.note_error(line, error),
            Answer::Function(_) | Answer::Text => {
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
        let at = self.lines.offset();
        let span = Span { from: at, to: at };
        let text = Some(query.text().into());
        self.out.push_back(Output::Note(Note { word: "silent", span, text, at: now }));
        self.phase = Phase::Idle;
        self.known.doubt = Some(0);
        match query {
            Query::Reading => self.setup = None,
            Query::Function => {
                self.stage(Stage::Unanswered);
                self.known.errors = false;
            }
            Query::Identity => {}
            Query::Errors => {
                self.known.identified = false;
                self.known.opening = false;
                self.setup = None;
                self.free_at = Now(now.0 + self.known.retry_us);
                self.known.retry_us = (2 * self.known.retry_us).min(RETRY_US.1);
            }
        }
        self.advance(now);
    }

    fn open(&mut self, now: Now) {
        if let Some(tail) = self.lines.open() {
            self.note(&tail, "held", None);
        }
        self.phase = Phase::Idle;
        self.free_at = now;
        self.want = None;
        self.setup = None;
        self.known = Known::nothing(true);
        self.advance(now);
    }

    /// Another function, or the same one that failed, is configured anew.
    fn wanted(&mut self, now: Now, want: Option<Function>) {
        let failed = self.setup.is_some_and(|setup| setup.stage == Stage::Failed);
        if want != self.want || failed {
            self.setup = None;
        }
        self.want = want;
        self.advance(now);
    }

    /// Bytes between two questions: the line is not quiet.
    fn busy(&mut self, now: Now) {
        self.heard = now;
        self.free_at = self.free_at.max(Now(now.0 + GAP_US));
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
            Phase::Asked { query, until } if now >= until => self.silent(now, query),
            Phase::Pause { until } if now >= until => self.advance(now),
            _ => {}
        }
    }

    #[cfg(test)]
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
                self.wanted(now, want.map(|want| want.function));
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
