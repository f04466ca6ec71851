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
    pub(super) fn send(&mut self, now: Now, message: Message) {
        self.known.doubt = Some(0);
        self.free_at = Now(now.0 + self.profile.gap_us);
        self.phase = Phase::Pause { until: self.free_at };
        self.out.push_back(Output::Send(message));
    }

    /// While the asset may be energised nothing is told a second time, and the first time only
    /// where another function was told before: after a lost link nobody knows.
    pub(super) fn withheld(&self, function: Function) -> bool {
        self.live && self.known.told.is_none_or(|told| told == function)
    }

    pub(super) fn configure(&mut self, now: Now, function: Function) {
        let old = self.setup.filter(|setup| setup.function == function);
        let attempts = old.map_or(0, |setup| setup.attempts);
        let message = message::configure(function);
        let told = !self.withheld(function);
        let asks = !told && self.known.answers_conf && message.is_some();
        if asks {
            self.setup = Some(Setup { function, stage: Stage::Accepted, attempts, told });
            return self.advance(now);
        }
        let Some(message) = message.filter(|_| told) else {
            self.setup = Some(Setup { function, stage: Stage::Failed, attempts, told });
            self.not_configured(now);
            return self.advance(now);
        };
        let stage = if self.profile.shape.is_some() { Stage::Shapeless } else { Stage::Sent };
        self.setup = Some(Setup { function, stage, attempts, told });
        self.known.told = Some(function);
        self.known.errors = false;
        self.known.element = None;
        self.known.sent_itself = None;
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
            Some(Stage::Sent) => self.confirmed(),
            Some(Stage::Unanswered) => {
                self.known.answers_conf = !self.known.errors;
                match self.setup {
                    Some(Setup { told: false, .. }) => self.forgotten(now),
                    _ => self.confirmed(),
                }
            }
            _ => {}
        }
    }

    /// Nothing speaks against it any more.
    fn confirmed(&mut self) {
        match self.profile.elements {
            Some(_) => self.stage(Stage::Confirmed),
            None => self.ready(),
        }
    }

    /// The meter is not what it was told to be: told again, but not while anything may be live.
    pub(super) fn forgotten(&mut self, now: Now) {
        if !self.live {
            return self.refused(now);
        }
        self.stage(Stage::Failed);
        self.not_configured(now);
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
            Some(setup) if Some(setup.function) == function => self.confirmed(),
            Some(_) => self.forgotten(line.last),
            None => {}
        }
        self.answered(line.last);
    }
}
