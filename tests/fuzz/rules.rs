//! The rules of a driver, from outside: what it is given against what it says.

use tapline_drivers::{
    AnyDriver, Driver, Indication, Input, Message, Now, Output, Reading, Span, Unit,
};

use super::hunt::Verdict;
use super::mutant::Mutant;
use super::random::{Random, feature};
use super::script::{Event, Script};

/// A driver to be tried.
pub(crate) trait Subject: Driver<Sends = Message> {
    /// Outputs that wait to be polled for.
    fn queued(&self) -> usize;

    /// All that it may send.
    fn allowed(&self) -> Vec<Message>;
}

impl Subject for AnyDriver {
    fn queued(&self) -> usize {
        AnyDriver::queued(self)
    }

    fn allowed(&self) -> Vec<Message> {
        AnyDriver::allowed(self)
    }
}

/// Most outputs that wait, and most bytes that are held: `drivers/src/driver.rs`.
const QUEUED_MAX: usize = 64;
const HELD_MAX: u64 = 4096;
/// Ticks at one moment, after which a driver counts as one that spins.
const TICKS_MAX: usize = 64;

/// How reads are cut.
#[derive(Debug)]
enum Cuts {
    Whole,
    Bytes,
    Random(Random),
}

/// A script through a driver, three times: reads whole, byte by byte and cut at random.
pub(crate) fn driver(
    make: &dyn Fn() -> Box<dyn Subject>,
    digits: bool,
    script: &Script,
) -> Verdict {
    let play = |cuts| Play::of(make(), cuts, digits).all(script);
    let whole = play(Cuts::Whole)?;
    let random = Random::of(&script.text());
    for (name, cuts) in [("byte by byte", Cuts::Bytes), ("at random", Cuts::Random(random))] {
        let cut = play(cuts)?;
        for (one, other) in whole.told.iter().zip(&cut.told) {
            if one != other {
                return Err(format!("cut {name} it says {other}, whole {one}"));
            }
        }
        if whole.told.len() != cut.told.len() {
            return Err(format!(
                "cut {name} it says {}, whole {}",
                cut.told.len(),
                whole.told.len()
            ));
        }
    }
    Ok(whole.features())
}

struct Play {
    subject: Box<dyn Subject>,
    cuts: Cuts,
    /// Digits of a value stand in its bytes: so it is but where they are drawn as segments.
    digits: bool,
    allowed: Vec<Message>,
    now: u64,
    stream: Vec<u8>,
    covered: u64,
    in_flight: bool,
    /// Outputs, and deadlines behind each event.
    told: Vec<String>,
    said: Vec<u64>,
}

impl Play {
    fn of(subject: Box<dyn Subject>, cuts: Cuts, digits: bool) -> Play {
        let allowed = subject.allowed();
        let (told, said, stream) = (Vec::new(), Vec::new(), Vec::new());
        let (now, covered, in_flight) = (1_000_000, 0, false);
        Play { subject, cuts, digits, allowed, now, stream, covered, in_flight, told, said }
    }

    /// All of it, and a fresh stream at the end: then every byte is accounted for.
    fn all(mut self, script: &Script) -> Result<Play, String> {
        for (pause, event) in &script.0 {
            self.until(self.now + pause * 1_000)?;
            match event {
                Event::Open => self.open()?,
                Event::In(bytes) => self.read(bytes)?,
                Event::Want(want) => self.handle(Input::Want(*want))?,
                Event::Wait => {}
            }
            self.told.push(format!("{:?}", self.subject.deadline()));
        }
        self.open()?;
        Ok(self)
    }

    fn read(&mut self, bytes: &[u8]) -> Result<(), String> {
        let mut rest = bytes;
        while !rest.is_empty() {
            let length = match &mut self.cuts {
                Cuts::Whole => rest.len(),
                Cuts::Bytes => 1,
                Cuts::Random(random) => 1 + random.below(rest.len().min(24)),
            };
            let (read, after) = rest.split_at(length);
            self.stream.extend(read);
            self.handle(Input::Bytes(read))?;
            rest = after;
        }
        Ok(())
    }

    /// Every deadline up to a moment.
    fn until(&mut self, then: u64) -> Result<(), String> {
        let mut ticks = 0;
        while let Some(due) = self.subject.deadline().filter(|due| due.0 <= then) {
            ticks = if due.0 > self.now { 0 } else { ticks + 1 };
            if ticks > TICKS_MAX {
                return Err(format!(
                    "it spins: after {TICKS_MAX} ticks it is due at {due:?} again"
                ));
            }
            self.early(due)?;
            self.now = self.now.max(due.0);
            self.in_flight = false;
            self.handle(Input::Tick)?;
        }
        self.now = then;
        Ok(())
    }

    /// A tick before the deadline does nothing.
    fn early(&mut self, due: Now) -> Result<(), String> {
        let Some(early) = due.0.checked_sub(1).filter(|early| *early >= self.now) else {
            return Ok(());
        };
        self.subject.handle(Now(early), Input::Tick);
        match (self.subject.poll(), self.subject.deadline()) {
            (None, Some(still)) if still == due => Ok(()),
            (said, due) => Err(format!("a tick before the deadline: {said:?}, due {due:?}")),
        }
    }

    /// What was held is given up as one note, and spans begin at zero.
    fn open(&mut self) -> Result<(), String> {
        self.in_flight = false;
        self.subject.handle(Now(self.now), Input::Open);
        let fed = self.fed();
        if self.covered < fed {
            let said = self.subject.poll();
            let Some(Output::Note(note)) = &said else {
                return Err(format!("{} bytes are lost: {said:?}", fed - self.covered));
            };
            if note.word != "held" || (note.span.from, note.span.to) != (self.covered, fed) {
                let held = fed - self.covered;
                return Err(format!("bytes are lost: {held} were held, the note says {note:?}"));
            }
            self.told.push(format!("{note:?}"));
        }
        self.stream.clear();
        self.covered = 0;
        self.drain()
    }

    fn fed(&self) -> u64 {
        self.stream.len() as u64
    }

    fn handle(&mut self, input: Input<'_>) -> Result<(), String> {
        self.subject.handle(Now(self.now), input);
        self.drain()
    }

    fn drain(&mut self) -> Result<(), String> {
        loop {
            let queued = self.subject.queued();
            if queued > QUEUED_MAX {
                return Err(format!("{queued} outputs wait, {QUEUED_MAX} at most may"));
            }
            let Some(output) = self.subject.poll() else { break };
            self.output(&output).map_err(|rule| format!("{rule}: {output:?}"))?;
            self.told.push(format!("{output:?}"));
            self.said.push(feature(&kind(&output)));
        }
        match self.fed() - self.covered {
            held if held > HELD_MAX => {
                Err(format!("{held} bytes are held, {HELD_MAX} at most may"))
            }
            _ => Ok(()),
        }
    }

    fn output(&mut self, output: &Output<Message>) -> Result<(), String> {
        if let Some(span) = span(output) {
            if span.from != self.covered || span.to < span.from || span.to > self.fed() {
                return Err(format!("a gap or an overlap, {} are covered", self.covered));
            }
            self.covered = span.to;
            self.in_flight &= span.from == span.to;
        }
        match output {
            Output::Reading(reading) => self.reading(reading),
            Output::Send(message) => self.send(message),
            Output::Scan(scan) if scan.refused.is_some() != scan.raw.is_empty() => {
                Err("a refused code has no bytes, any other has".to_owned())
            }
            _ => Ok(()),
        }
    }

    fn reading(&self, reading: &Reading) -> Result<(), String> {
        if reading.first > reading.last || reading.last.0 > self.now {
            return Err("its bytes came in another order, or are yet to come".to_owned());
        }
        if Unit::from_ucum(reading.unit.ucum()) != Some(reading.unit) {
            return Err("a unit outside the list".to_owned());
        }
        if !reading.flags.is_sorted_by(|a, b| a < b) {
            return Err("flags that stand twice or not in order".to_owned());
        }
        let Some(number) = reading.indication.number() else { return Ok(()) };
        if !reading.unit.holds(number) {
            return Err("a last digit that no comparison holds".to_owned());
        }
        if sentinel(reading) {
            return Err("9.89E37 or more is never a value".to_owned());
        }
        let at = |place: u64| usize::try_from(place).unwrap_or(usize::MAX);
        let bytes = &self.stream[at(reading.span.from)..at(reading.span.to)];
        let marks = |byte: &u8| !matches!(byte, b'.' | b',' | b' ');
        let bytes: Vec<u8> = bytes.iter().copied().filter(marks).collect();
        let digits = number.digits.to_string();
        let there = bytes.windows(digits.len()).any(|part| part == digits.as_bytes());
        if self.digits && !there {
            return Err("digits that its bytes don't have".to_owned());
        }
        Ok(())
    }

    fn send(&mut self, message: &Message) -> Result<(), String> {
        if !self.allowed.contains(message) {
            return Err("it sends what it may not".to_owned());
        }
        if self.in_flight {
            return Err("two messages are in flight".to_owned());
        }
        // Of the messages of SCPI only queries are answered.
        let bytes = message.bytes();
        self.in_flight = bytes.contains(&b'?') || !bytes.ends_with(b"\n");
        Ok(())
    }

    /// What it said, and what came after what.
    fn features(mut self) -> Vec<u64> {
        let pairs = self.said.windows(2).map(|two| two[0].rotate_left(7) ^ two[1]);
        let pairs: Vec<u64> = pairs.collect();
        self.said.extend(pairs);
        self.said.sort_unstable();
        self.said.dedup();
        self.said
    }
}

/// Digits before the point decide: 38 of them and more is 1E37 and more.
fn sentinel(reading: &Reading) -> bool {
    let Some(number) = reading.indication.number() else { return false };
    let digits = number.digits.to_string();
    let power = i32::from(number.exponent) + i32::from(reading.unit.prefix.exponent());
    let places = i32::try_from(digits.len()).unwrap() + power;
    let leading: u64 = format!("{digits:0<4}")[..4].parse().unwrap();
    number.digits > 0 && (places > 38 || (places == 38 && leading >= 9_890))
}

fn span(output: &Output<Message>) -> Option<Span> {
    match output {
        Output::Reading(reading) => Some(reading.span),
        Output::Scan(scan) => Some(scan.span),
        Output::Contacts(contacts) => Some(contacts.span),
        Output::Note(note) => Some(note.span),
        Output::Identity(identity) => Some(identity.span),
        Output::Ready(_) | Output::Send(_) => None,
    }
}

/// What an output is, without its numbers, bytes and places.
fn kind(output: &Output<Message>) -> String {
    match output {
        Output::Reading(reading) => {
            let Reading { indication, function, unit, flags, why, .. } = reading;
            let shown = match indication {
                Indication::Value(number) => format!("value {}", number.negative),
                Indication::Above(_) => "above".to_owned(),
                Indication::Below(_) => "below".to_owned(),
                other => format!("{other:?}"),
            };
            format!("{shown} {function:?} {unit:?} {flags:?} {why:?}")
        }
        Output::Scan(scan) => format!("{:?} {:?} {:?}", scan.kind, scan.refused, scan.aim),
        Output::Contacts(contacts) => format!("{:?}", contacts.closed),
        Output::Note(note) => format!("{} {}", note.word, note.text.is_some()),
        Output::Identity(_) => "identity".to_owned(),
        Output::Ready(function) => format!("{function:?}"),
        Output::Send(message) => format!("{message:?}"),
    }
}
