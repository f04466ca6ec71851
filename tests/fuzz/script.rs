//! What happens to a driver, as a script; a file of the corpus is a capture (`.cap`).

use tapline::capture::{Capture, Deed, Happened, escape};
use tapline_drivers::{Function, Want};

use super::mutant::{LONGEST, Mutant};
use super::random::Random;

/// What happens at a moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Event {
    Open,
    In(Vec<u8>),
    Want(Option<Want>),
    /// Nothing but time.
    Wait,
}

/// Events, each with the milliseconds that pass before it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Script(pub(crate) Vec<(u64, Event)>);

/// Most events of one script.
const EVENTS: usize = 200;

/// Pauses that mean something to one driver or another, milliseconds.
const PAUSES: &[u64] = &[0, 0, 1, 5, 19, 20, 21, 46, 50, 100, 199, 200, 400, 1_000, 1_500, 3_000];

const FUNCTIONS: &[Function] = &[
    Function::VoltageDc,
    Function::VoltageAc,
    Function::VoltagePeak,
    Function::CurrentDc,
    Function::CurrentAc,
    Function::Resistance2w,
    Function::Resistance4w,
    Function::InsulationResistance,
    Function::Frequency,
    Function::Contacts,
];

impl From<Deed> for Event {
    fn from(deed: Deed) -> Event {
        match deed {
            Deed::Open => Event::Open,
            Deed::Want(want) => Event::Want(want),
            Deed::Wait => Event::Wait,
        }
    }
}

impl Script {
    /// Of the text of a capture; what was sent is left out.
    pub(crate) fn of_capture(text: &str) -> Result<Script, String> {
        let (mut events, mut before) = (Vec::new(), 0);
        for (us, happened) in Capture::read(text)?.events {
            let event = match happened {
                Happened::In(bytes) => Event::In(bytes),
                Happened::Station(text) => Deed::parse(&text)?.into(),
                Happened::Sent(_) => continue,
            };
            let ms = us / 1_000;
            events.push((ms.saturating_sub(before), event));
            before = ms;
        }
        Ok(Script(events))
    }

    fn bytes(&self) -> usize {
        self.0.iter().map(|(_, event)| event.bytes()).sum()
    }

    fn any(random: &mut Random, words: &[Vec<u8>]) -> Event {
        match random.below(6) {
            0 => Event::Open,
            1 => Event::Wait,
            2 => Event::Want(None),
            3 => {
                let function = *random.pick(FUNCTIONS);
                Event::Want(Some(Want { function, live: random.below(3) == 0 }))
            }
            _ if words.is_empty() => Event::Wait,
            _ => Event::In(random.pick(words).clone()),
        }
    }
}

impl Event {
    fn bytes(&self) -> usize {
        if let Event::In(bytes) = self { bytes.len() } else { 0 }
    }

    /// Bytes of a read count one by one, whatever else happens is one part.
    fn parts(&self) -> usize {
        if let Event::In(bytes) = self { bytes.len().max(1) } else { 1 }
    }
}

impl Mutant for Script {
    fn mutate(&mut self, random: &mut Random, other: &Self, words: &[Vec<u8>]) {
        let events = &mut self.0;
        let at = random.below(events.len());
        match random.below(12) {
            0 => events.insert(at, (*random.pick(PAUSES), Script::any(random, words))),
            1 if !events.is_empty() => drop(events.remove(at)),
            2 if !events.is_empty() => events.insert(at, events[at].clone()),
            3 if !events.is_empty() => events[at].0 = *random.pick(PAUSES),
            4 if !events.is_empty() => {
                let with = random.below(events.len());
                events.swap(at, with);
            }
            5 if !other.0.is_empty() => {
                let from = random.below(other.0.len());
                let to = (from + 1 + random.below(8)).min(other.0.len());
                events.splice(at..at, other.0[from..to].iter().cloned());
            }
            // Two reads in one.
            6 if at + 1 < events.len() => {
                if let [(_, Event::In(first)), (_, Event::In(second))] = &mut events[at..at + 2] {
                    first.append(second);
                }
            }
            _ => {
                let of = |script: &Script, random: &mut Random| {
                    let reads: Vec<usize> =
                        (0..script.0.len()).filter(|n| script.0[*n].1.bytes() > 0).collect();
                    (!reads.is_empty()).then(|| *random.pick(&reads))
                };
                let taken = of(other, random).map(|n| other.0[n].1.clone());
                let taken = if let Some(Event::In(bytes)) = taken { bytes } else { Vec::new() };
                let Some(n) = of(self, random) else { return };
                if let Event::In(bytes) = &mut self.0[n].1 {
                    bytes.mutate(random, &taken, words);
                }
            }
        }
        self.0.truncate(EVENTS);
        while self.bytes() > LONGEST {
            self.0.pop();
        }
    }

    fn parts(&self) -> usize {
        self.0.iter().map(|(_, event)| event.parts()).sum()
    }

    fn without(&self, from: usize, to: usize) -> Self {
        let (mut left, mut at) = (Vec::new(), 0);
        for (pause, event) in &self.0 {
            let (begin, end) = (at, at + event.parts());
            at = end;
            if end <= from || to <= begin {
                left.push((*pause, event.clone()));
            } else if let Event::In(bytes) = event {
                let cut = from.saturating_sub(begin).min(bytes.len());
                let rest = (to - begin).min(bytes.len());
                let bytes = [&bytes[..cut], &bytes[rest..]].concat();
                if !bytes.is_empty() {
                    left.push((*pause, Event::In(bytes)));
                }
            }
        }
        Script(left)
    }

    fn text(&self) -> String {
        let (mut text, mut at) = (String::new(), 0);
        for (pause, event) in &self.0 {
            at += pause;
            let said = match event {
                Event::In(bytes) => format!("< {}", escape(bytes)),
                Event::Open => format!("! {}", Deed::Open),
                Event::Wait => format!("! {}", Deed::Wait),
                Event::Want(want) => format!("! {}", Deed::Want(*want)),
            };
            text.push_str(&format!("{at:6} {said}\n"));
        }
        text
    }

    fn of_text(text: &str) -> Result<Self, String> {
        Script::of_capture(text)
    }
}

#[test]
fn scripts_are_captures() {
    let want = |live| Event::Want(Some(Want { function: Function::Resistance2w, live }));
    let events = [Event::Open, want(true), want(false), Event::In(b"\xff\\\r\n".to_vec())];
    let events = events.into_iter().chain([Event::Want(None), Event::Wait]);
    let script = Script(events.map(|event| (7, event)).collect());
    assert_eq!(Script::of_capture(&script.text()), Ok(script.clone()));
    assert_eq!(script.parts(), 9);
    assert_eq!(script.without(1, 9).0, [(7, Event::Open)]);
    assert_eq!(script.without(4, 6).0[3].1, Event::In(b"\xff\n".to_vec()));
}
