//! Configuring a function: what is said, and what the meter makes of it.

use super::message;
use super::state::{Phase, Setup, Stage};
use super::{ATTEMPTS_MAX, Scpi};
use crate::driver::{Message, Output};
use crate::reading::{Function, Note, Now, Span};
use crate::wire::lines::Line;
use crate::wire::{latin, trim};

impl Scpi {
    /// Says something that has no answer.
    pub(super) fn say(&mut self, now: Now, text: Option<&'static str>) {
        if let Some(text) = text {
            self.send(now, message::terminated(text));
        }
    }

    /// Whether it was understood the error queue will say.
    fn send(&mut self, now: Now, message: Message) {
        self.known.doubt = Some(0);
        self.free_at = Now(now.0 + self.profile.gap_us);
        self.phase = Phase::Pause { until: self.free_at };
        self.out.push_back(Output::Send(message));
    }

    pub(super) fn configure(&mut self, now: Now, function: Function) {
        let old = self.setup.filter(|setup| setup.function == function);
        let attempts = old.map_or(0, |setup| setup.attempts);
        let Some(message) = message::configure(function) else {
            self.setup = Some(Setup { function, stage: Stage::Failed, attempts });
            self.not_configured(now);
            return self.advance(now);
        };
        let stage = if self.profile.shape.is_some() { Stage::Shapeless } else { Stage::Sent };
        self.setup = Some(Setup { function, stage, attempts });
        self.known.errors = false;
        self.known.form = None;
        self.send(now, message);
    }

    pub(super) fn not_configured(&mut self, now: Now) {
        let at = self.lines.offset();
        let span = Span { from: at, to: at };
        self.out.push_back(Output::Note(Note {
            word: "not_configured",
            span,
            text: None,
            at: now,
        }));
    }

    /// The error queue is empty: what was sent before it is decided.
    pub(super) fn queue_empty(&mut self, now: Now) {
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

    pub(super) fn stage(&mut self, stage: Stage) {
        if let Some(setup) = &mut self.setup {
            setup.stage = stage;
        }
    }

    pub(super) fn ready(&mut self) {
        self.stage(Stage::Ready);
        if let Some(setup) = self.setup.filter(|setup| self.want == Some(setup.function)) {
            self.out.push_back(Output::Ready(setup.function));
        }
    }

    /// The instrument did not take the function: once more, but not for ever.
    pub(super) fn refused(&mut self, now: Now) {
        let Some(setup) = &mut self.setup else { return };
        setup.attempts += 1;
        setup.stage = Stage::New;
        if setup.attempts >= ATTEMPTS_MAX {
            setup.stage = Stage::Failed;
            self.not_configured(now);
        }
    }

    pub(super) fn function(&mut self, line: &Line, function: Option<Function>) {
        self.note(line, "answer", Some(latin(trim(&line.bytes))));
        match self.setup {
            Some(setup) if Some(setup.function) == function => self.ready(),
            Some(_) => self.refused(line.last),
            None => {}
        }
        self.answered(line.last);
    }
}
