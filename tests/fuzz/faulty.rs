//! Drivers that break one rule each: what the hunt must find, or it finds nothing.

use tapline_drivers::{
    AnyDriver, Driver, Indication, Input, Message, Now, Number, Output, by_name,
};

use super::rules::Subject;

/// What is wrong with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fault {
    LosesAByte,
    LosesANote,
    TellsReadsApart,
    GivesASentinel,
    InventsADigit,
    Spins,
    TicksEarly,
    Hoards,
    PilesUp,
    SendsWhatItMayNot,
    AsksTwice,
    Panics,
}

/// Each fault with what the hunt says of it.
pub(crate) const FAULTS: &[(Fault, &str)] = &[
    (Fault::LosesAByte, "bytes are lost"),
    (Fault::LosesANote, "bytes are lost"),
    (Fault::TellsReadsApart, "cut byte by byte it says"),
    (Fault::GivesASentinel, "9.89E37 or more"),
    (Fault::InventsADigit, "digits that its bytes don't have"),
    (Fault::Spins, "it spins"),
    (Fault::TicksEarly, "a tick before the deadline"),
    (Fault::Hoards, "bytes are held"),
    (Fault::PilesUp, "outputs wait"),
    (Fault::SendsWhatItMayNot, "it sends what it may not"),
    (Fault::AsksTwice, "two messages are in flight"),
    (Fault::Panics, "it panics: seen"),
];

/// A driver with a fault that shows only now and then.
pub(crate) struct Faulty {
    fault: Fault,
    inner: AnyDriver,
    fed: u64,
    held: Vec<u8>,
    piled: usize,
    asked: Option<Message>,
}

impl Faulty {
    /// Around the driver of lines; what asks twice is one that asks.
    pub(crate) fn new(fault: Fault) -> Faulty {
        let name = if fault == Fault::AsksTwice { "letter-poll" } else { "val-unit-line" };
        let inner = by_name(name).expect("a built-in driver");
        Faulty { fault, inner, fed: 0, held: Vec::new(), piled: 0, asked: None }
    }

    fn bytes(&mut self, now: Now, bytes: &[u8]) {
        for byte in bytes {
            self.fed += 1;
            if self.fault == Fault::LosesAByte && *byte == 0x7f {
                continue;
            }
            self.held.push(*byte);
        }
        assert!(self.fault != Fault::Panics || !bytes.contains(&0x7f), "seen");
        if self.fault == Fault::PilesUp && bytes.contains(&0x7f) {
            self.piled = 65;
        }
        if self.fault == Fault::SendsWhatItMayNot && bytes.contains(&0x7f) {
            let other = by_name("letter-poll").expect("a built-in driver");
            self.asked = other.allowed().into_iter().next();
        }
        let ready = match self.fault {
            Fault::Hoards if !bytes.contains(&b'\n') => 0,
            Fault::Hoards => self.held.iter().rposition(|b| *b == b'\n').map_or(0, |at| at + 1),
            _ => self.held.len(),
        };
        let held: Vec<u8> = self.held.drain(..ready).collect();
        self.inner.handle(now, Input::Bytes(&held));
    }

    fn changed(&mut self, output: Output<Message>) -> Option<Output<Message>> {
        match (self.fault, output) {
            (Fault::LosesANote, Output::Note(note)) if note.word == "too_long" => {
                self.inner.poll().and_then(|next| self.changed(next))
            }
            (Fault::TellsReadsApart, Output::Reading(mut reading)) => {
                reading.why = reading.why.or((self.held.len() > 9).then_some("unpaired"));
                Some(Output::Reading(reading))
            }
            (Fault::GivesASentinel, Output::Reading(mut reading))
                if reading.indication == Indication::Overload =>
            {
                let number = Number { negative: false, digits: 99, exponent: 36 };
                reading.indication = Indication::Value(number);
                Some(Output::Reading(reading))
            }
            (Fault::InventsADigit, Output::Reading(mut reading)) => {
                if let Indication::Value(number) = &mut reading.indication {
                    number.digits += u64::from(number.digits == 0);
                }
                Some(Output::Reading(reading))
            }
            (Fault::AsksTwice, Output::Send(message)) => {
                self.asked = Some(message.clone());
                Some(Output::Send(message))
            }
            (_, output) => Some(output),
        }
    }
}

impl Driver for Faulty {
    type Sends = Message;

    fn handle(&mut self, now: Now, input: Input<'_>) {
        match input {
            Input::Bytes(bytes) if self.fault == Fault::TellsReadsApart => {
                self.held = bytes.to_vec();
                self.inner.handle(now, input);
            }
            Input::Bytes(bytes) => self.bytes(now, bytes),
            Input::Tick if self.fault == Fault::TicksEarly => {
                self.inner.handle(Now(now.0 + 1), input);
            }
            Input::Tick if self.fault == Fault::Spins => {}
            _ => {
                // What it hoards is not lost, only held.
                if self.fault == Fault::Hoards && input == Input::Open {
                    let held = std::mem::take(&mut self.held);
                    self.inner.handle(now, Input::Bytes(&held));
                }
                self.inner.handle(now, input);
            }
        }
    }

    fn poll(&mut self) -> Option<Output<Message>> {
        if let Some(asked) = self.asked.take() {
            return Some(Output::Send(asked));
        }
        let output = self.inner.poll()?;
        self.changed(output)
    }

    fn deadline(&self) -> Option<Now> {
        self.inner.deadline()
    }
}

impl Subject for Faulty {
    fn queued(&self) -> usize {
        self.piled
    }

    fn allowed(&self) -> Vec<Message> {
        self.inner.allowed()
    }
}
