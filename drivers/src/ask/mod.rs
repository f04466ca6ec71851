//! Instruments that answer a letter or a word, of source class none and low: what is common.
//!
//! A style is a [`Talk`]: what is sent, how answers are cut and what they mean. One question is in
//! flight. An answer is taken by its shape and only for the question that was asked; whatever else
//! arrives is kept and says `unsolicited` or is a note. After a time-out the next question is one
//! with another kind of answer where the instrument has one, because answers come in order; where
//! it has none, the line must first have been silent for [`QUIET_US`].

pub mod ack_code;
pub mod fixed14;
pub mod letter_poll;
mod measures;
pub mod prompt_echo;
#[cfg(test)]
mod tests;

use alloc::boxed::Box;
use alloc::collections::VecDeque;
use alloc::string::String;
use alloc::vec::Vec;

use crate::driver::{Driver, Input, Message, Output};
use crate::frame::Shown;
use crate::frame::pair::{Pair, Pairing};
use crate::listen::Cutter;
use crate::reading::{Function, Identity, Indication, Note, Now, Span};
use crate::wire::lines::Line;
use crate::wire::{latin, parity, trim};

pub use measures::Measures;

/// Quiet time between an answer and the next question, microseconds.
pub const GAP_US: u64 = 20_000;

/// Silence after which nobody still answers what was asked before a time-out, microseconds.
pub const QUIET_US: u64 = 3_000_000;

/// Longest pause after unanswered questions, microseconds; from [`QUIET_US`] doubled each time.
const RETRY_MAX_US: u64 = 12_000_000;

/// What can be asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ask {
    /// Who are you?
    Identity,
    /// What do you show?
    Reading,
}

/// How an instrument is talked to.
#[derive(Debug)]
pub struct Talk {
    /// Asks who it is, if it can say; with it the line is brought in step again.
    pub identity: Option<&'static [u8]>,
    /// Asks for one reading.
    pub reading: &'static [u8],
    /// How long an answer may take, microseconds.
    pub limit_us: u64,
    /// A fresh cutter of its answers.
    pub cut: fn() -> Box<dyn Cutter>,
    /// What a line or frame means as an answer, and as which: it is the piece after so many that
    /// already belong to it.
    pub hear: fn(&[u8], Ask, u8) -> Heard,
    /// When a reading is believed.
    pub pair: Pair,
}

/// What a piece of an answer says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heard {
    /// What is to be said of it.
    pub what: What,
    /// The answer is complete.
    pub over: bool,
}

/// What a piece of an answer is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum What {
    /// What is shown.
    Shown(Shown),
    /// What is shown of something that is not said.
    Bare(Indication),
    /// The instrument's name.
    Identity,
    /// Part of the dialogue or a refusal: a note of this word with the text.
    Note(&'static str),
    /// No answer to this question.
    Stray,
}

impl Heard {
    /// More of the answer follows.
    #[must_use]
    pub fn part(what: What) -> Heard {
        Heard { what, over: false }
    }

    /// That was all of it.
    #[must_use]
    pub fn all(what: What) -> Heard {
        Heard { what, over: true }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    Idle,
    Asked {
        ask: Ask,
        pieces: u8,
        spoiled: bool,
        until: Now,
    },
    /// Until the line was quiet long enough.
    Pause,
}

/// A driver that asks by a [`Talk`].
#[derive(Debug)]
pub struct Asker {
    talk: &'static Talk,
    /// What somebody says that it measures.
    told: Option<Measures>,
    /// Nobody switched it on or pressed a key since opening.
    untouched: bool,
    cutter: Box<dyn Cutter>,
    pairing: Pairing,
    out: VecDeque<Output<Message>>,
    phase: Phase,
    heard: Option<Now>,
    not_before: Now,
    open: bool,
    want: Option<Function>,
    wanted: bool,
    /// It was said that it measures what is wanted.
    ready: bool,
    /// Its name was asked for since opening.
    greeted: bool,
    /// A question timed out, and nothing proved since then that the line is in step.
    lost: bool,
    retry_us: u64,
}

impl Asker {
    /// A driver that waits to be opened.
    #[must_use]
    pub fn new(talk: &'static Talk) -> Asker {
        Asker {
            talk,
            told: None,
            untouched: true,
            cutter: (talk.cut)(),
            pairing: Pairing::new(talk.pair),
            out: VecDeque::new(),
            phase: Phase::Idle,
            heard: None,
            not_before: Now(0),
            open: false,
            want: None,
            wanted: false,
            ready: false,
            greeted: false,
            lost: false,
            retry_us: QUIET_US,
        }
    }

    /// The same, of an instrument that does not say what it measures.
    #[must_use]
    pub fn told(talk: &'static Talk, measures: Measures) -> Asker {
        Asker { told: Some(measures), ..Asker::new(talk) }
    }

    /// Everything that it can ever send.
    #[must_use]
    pub fn allowed(&self) -> Vec<Message> {
        let all = self.talk.identity.into_iter().chain([self.talk.reading]);
        all.map(|bytes| Message(bytes.into())).collect()
    }

    fn next(&self) -> Option<Ask> {
        let fence = self.talk.identity.is_some() && (!self.greeted || (self.lost && self.wanted));
        match (self.open, fence, self.wanted) {
            (true, true, _) => Some(Ask::Identity),
            (true, false, true) => Some(Ask::Reading),
            _ => None,
        }
    }

    /// When the next question may be asked. A line that is not in step and can't be brought in step
    /// by another question has to be silent.
    fn free_at(&self) -> Now {
        let gap = if self.lost && self.talk.identity.is_none() { QUIET_US } else { GAP_US };
        let quiet = self.heard.map_or(Now(0), |heard| Now(heard.0 + gap));
        self.not_before.max(quiet)
    }

    /// Asks the next question as soon as it may be asked.
    fn advance(&mut self, now: Now) {
        if matches!(self.phase, Phase::Asked { .. }) {
            return;
        }
        self.phase = match self.next() {
            None => Phase::Idle,
            Some(_) if now < self.free_at() => Phase::Pause,
            Some(ask) => self.ask(now, ask),
        };
    }

    fn ask(&mut self, now: Now, ask: Ask) -> Phase {
        let bytes = match ask {
            Ask::Identity => self.talk.identity.unwrap_or(self.talk.reading),
            Ask::Reading => self.talk.reading,
        };
        self.greeted |= ask == Ask::Identity;
        // Without another kind of question the silence before this one is all there is.
        self.lost &= self.talk.identity.is_some();
        self.out.push_back(Output::Send(Message(bytes.into())));
        Phase::Asked { ask, pieces: 0, spoiled: false, until: Now(now.0 + self.talk.limit_us) }
    }

    fn piece(&mut self, piece: &Line) {
        if piece.too_long || !piece.ended {
            let word = if piece.too_long { "too_long" } else { "malformed" };
            return self.garbled(piece, word);
        }
        let Phase::Asked { ask, pieces, spoiled, until } = self.phase else {
            return self.stray(piece);
        };
        let Heard { what, over } = (self.talk.hear)(&piece.bytes, ask, pieces);
        match self.meant(what) {
            What::Stray => return self.stray(piece),
            What::Shown(shown) if shown.held() => {
                let doubt = self.pairing.doubt(piece.first, &shown);
                let why = if spoiled { Some("unsolicited") } else { doubt };
                self.shows(shown.function, why);
                self.out.push_back(Output::Reading(shown.reading(piece, why)));
            }
            What::Shown(_) | What::Bare(_) => self.note(piece, "malformed"),
            What::Identity => self.identity(piece),
            What::Note(word) => self.note(piece, word),
        }
        if over {
            self.answered(piece.last, ask);
        } else {
            self.phase = Phase::Asked { ask, pieces: pieces.saturating_add(1), spoiled, until };
        }
    }

    /// Nothing sets such an instrument: that it measures what is wanted is known when it says so,
    /// in a reading that is believed.
    fn shows(&mut self, function: Function, why: Option<&'static str>) {
        if why.is_none() && self.want == Some(function) && !self.ready {
            self.ready = true;
            self.out.push_back(Output::Ready(function));
        }
    }

    /// A number of something unsaid is one of what it was set to, as long as nobody touched it.
    fn meant(&self, what: What) -> What {
        let What::Bare(indication) = what else { return what };
        match self.told.filter(|_| self.untouched) {
            Some(Measures { function, unit }) => {
                What::Shown(Shown { function, indication, unit, flags: Vec::new() })
            }
            None => What::Note("no_function"),
        }
    }

    /// The question is answered. Whether more follows, the gap will show.
    fn answered(&mut self, now: Now, ask: Ask) {
        self.phase = Phase::Idle;
        self.lost &= ask != Ask::Identity;
        self.retry_us = QUIET_US;
        self.advance(now);
    }

    fn identity(&mut self, piece: &Line) {
        let text = latin(trim(&piece.bytes));
        self.out.push_back(Output::Identity(Identity { text, span: piece.span, at: piece.first }));
    }

    /// Nobody asked for it: never taken, and what belongs to which question is open again.
    fn stray(&mut self, piece: &Line) {
        let shown = match (self.talk.hear)(&piece.bytes, Ask::Reading, u8::MAX).what {
            What::Shown(shown) if shown.held() => shown,
            _ => return self.garbled(piece, "answer"),
        };
        self.pairing.broken();
        let reading = shown.reading(piece, Some("unsolicited"));
        self.out.push_back(Output::Reading(reading));
        self.doubted(piece.last);
    }

    fn garbled(&mut self, piece: &Line, word: &'static str) {
        self.pairing.broken();
        self.note(piece, word);
        self.doubted(piece.last);
    }

    /// A question that is in flight runs into its time-out or is answered all the same; a reading
    /// in that answer may be half of one.
    fn doubted(&mut self, now: Now) {
        self.lost = true;
        if let Phase::Asked { spoiled, .. } = &mut self.phase {
            *spoiled = true;
        }
        self.advance(now);
    }

    fn note(&mut self, piece: &Line, word: &'static str) {
        if matches!(word, "event" | "error_queue") {
            self.pairing.broken();
        }
        self.untouched &= word != "event";
        let text = trim(&piece.bytes);
        let say = matches!(word, "answer" | "no_function" | "error_queue" | "event");
        let note = piece.note(word, say.then(|| latin(text)));
        let note = if word == "malformed" { parity::named(note, &piece.bytes) } else { note };
        self.out.push_back(Output::Note(note));
    }

    fn empty(&mut self, now: Now, word: &'static str, text: Option<String>) {
        let at = self.cutter.offset();
        let span = Span { from: at, to: at };
        self.out.push_back(Output::Note(Note { word, span, text, at: now }));
    }

    fn silent(&mut self, now: Now, ask: Ask) {
        let asked = match ask {
            Ask::Identity => self.talk.identity.unwrap_or_default(),
            Ask::Reading => self.talk.reading,
        };
        self.empty(now, "silent", Some(latin(trim(asked)).trim_end().into()));
        self.pairing.broken();
        self.lost = true;
        self.phase = Phase::Idle;
        if ask == Ask::Identity || self.talk.identity.is_none() {
            self.not_before = Now(now.0 + self.retry_us);
            self.retry_us = (2 * self.retry_us).min(RETRY_MAX_US);
        }
        self.advance(now);
    }

    fn open(&mut self, now: Now) {
        let given_up = self.cutter.open();
        let (talk, told, out) = (self.talk, self.told, core::mem::take(&mut self.out));
        *self = Asker { open: true, not_before: now, told, out, ..Asker::new(talk) };
        if let Some(tail) = given_up {
            self.out.push_back(Output::Note(tail.note("held", None)));
        }
        self.advance(now);
    }

    /// What puts a voltage on its terminals is never asked for a reading.
    fn want(&mut self, now: Now, want: Option<Function>) {
        let may = |f: &Function| f.quantity().is_some() && *f != Function::InsulationResistance;
        self.wanted = want.as_ref().is_some_and(may);
        if core::mem::replace(&mut self.want, want) != want {
            self.pairing.broken();
            self.ready = false;
        }
        if want.is_some() && !self.wanted {
            self.empty(now, "not_configured", None);
        }
        self.advance(now);
    }

    fn settle(&mut self) {
        while let Some(piece) = self.cutter.take() {
            self.piece(&piece);
        }
    }

    fn tick(&mut self, now: Now) {
        self.cutter.tick(now);
        self.settle();
        match self.phase {
            Phase::Asked { ask, until, .. } if now >= until => self.silent(now, ask),
            Phase::Pause if now >= self.free_at() => self.advance(now),
            _ => {}
        }
    }

    pub(crate) fn queued(&self) -> usize {
        self.out.len()
    }
}

impl Driver for Asker {
    type Sends = Message;

    fn handle(&mut self, now: Now, input: Input<'_>) {
        match input {
            Input::Open => self.open(now),
            Input::Bytes(bytes) => {
                self.cutter.push(now, bytes);
                self.heard = Some(now);
            }
            Input::Tick => self.tick(now),
            Input::Want(want) => {
                self.settle();
                self.want(now, want.map(|want| want.function));
            }
        }
    }

    /// Pieces are read one at a time as they are polled for, so that a read full of them never
    /// piles up.
    fn poll(&mut self) -> Option<Output<Message>> {
        while self.out.is_empty() {
            let piece = self.cutter.take()?;
            self.piece(&piece);
        }
        self.out.pop_front()
    }

    fn deadline(&self) -> Option<Now> {
        let phase = match self.phase {
            Phase::Idle => None,
            Phase::Asked { until, .. } => Some(until),
            Phase::Pause => Some(self.free_at()),
        };
        [phase, self.cutter.deadline()].into_iter().flatten().min()
    }
}
