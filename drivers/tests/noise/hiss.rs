//! Noise on a line: what a driver makes of it, counted, and each reading that would be judged held
//! against the bytes that it stands in.

use tapline_drivers::{AnyDriver, Driver, Function, Input, Now, Output, Reading, Want};

/// Bytes that frames are made of.
const ALPHABET: &[u8] =
    b"0123456789+-.:;<=>?EOLhmkMVAHzRTDC, \r\n\r\n\r\n\x02\xab\xcd\x17\x27\x3d\x48\x55\x63\x7f\x0c";

pub(crate) const SMALL: usize = 64 * 1024;
pub(crate) const LARGE: usize = 10 * 1024 * 1024;

/// How much noise: as `BYTES` or `SOAK` say.
pub(crate) fn bytes() -> usize {
    let soak = std::env::var_os("SOAK").is_some();
    let given = std::env::var("BYTES").map(|n| n.parse().unwrap());
    given.unwrap_or(if soak { LARGE } else { SMALL })
}

/// A small generator (xorshift, Marsaglia 2003): the same noise on every machine.
fn random(state: &mut u64) -> u64 {
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    *state >> 11
}

/// How much of what was said would be judged, and how much is only shown.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Count {
    pub(crate) judged: usize,
    pub(crate) shown: usize,
    /// Of what was judged, what no frame says.
    pub(crate) wrong: usize,
}

pub(crate) const fn counted(judged: usize, shown: usize, wrong: usize) -> Count {
    Count { judged, shown, wrong }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Bytes,
    Alphabet,
    Pieces,
}

/// A line with one instrument on it.
pub(crate) struct Line<'a> {
    pub(crate) name: &'a str,
    /// A fresh driver.
    pub(crate) make: Box<dyn Fn() -> AnyDriver + 'a>,
    /// Good frames or answers.
    pub(crate) frames: &'a [&'a [u8]],
    /// What they say.
    pub(crate) values: &'a [&'a str],
}

/// What was fed, what of it is spoken for, and what came of it.
#[derive(Default)]
struct Heard {
    fed: Vec<u8>,
    covered: u64,
    count: Count,
}

impl Line<'_> {
    /// What one read returns: up to 96 bytes or one piece of a good frame, one time in four all of
    /// it.
    fn read(&self, kind: Kind, state: &mut u64) -> Vec<u8> {
        let mut below = |n: usize| usize::try_from(random(state)).unwrap() % n;
        if kind != Kind::Pieces {
            let length = below(96) + 1;
            let byte = |_| match kind {
                Kind::Bytes => u8::try_from(below(256)).unwrap(),
                _ => ALPHABET[below(ALPHABET.len())],
            };
            return (0..length).map(byte).collect();
        }
        let frame = self.frames[below(self.frames.len())];
        if below(4) == 0 {
            return frame.to_vec();
        }
        let from = below(frame.len());
        frame[from..=from + below(frame.len() - from)].to_vec()
    }

    /// What the driver makes of `bytes` of noise.
    pub(crate) fn noise(&self, kind: Kind, bytes: usize) -> Count {
        let mut driver = (self.make)();
        let (mut state, mut now, mut heard) = (20_261_126, 0, Heard::default());
        driver.handle(Now(0), Input::Open);
        let want = Want { function: Function::Resistance2w, live: false };
        driver.handle(Now(0), Input::Want(Some(want)));
        while heard.fed.len() < bytes {
            let read = self.read(kind, &mut state);
            // Mostly as fast as they come, now and then with a pause.
            now += if random(&mut state).is_multiple_of(64) { 4_000_000 } else { 20_000 };
            while let Some(due) = driver.deadline().filter(|due| due.0 <= now) {
                driver.handle(due, Input::Tick);
                self.drain(&mut driver, &mut heard);
            }
            driver.handle(Now(now), Input::Bytes(&read));
            heard.fed.extend(read);
            self.drain(&mut driver, &mut heard);
            let held = u64::try_from(heard.fed.len()).unwrap() - heard.covered;
            assert!(held <= 4096, "{} holds too much", self.name);
        }
        heard.count
    }

    /// What the driver makes of these reads.
    pub(crate) fn of(&self, reads: &[&[u8]]) -> Count {
        let (mut driver, mut heard) = ((self.make)(), Heard::default());
        for read in reads {
            heard.fed.extend(*read);
            driver.handle(Now(0), Input::Bytes(read));
            self.drain(&mut driver, &mut heard);
        }
        heard.count
    }

    fn drain(&self, driver: &mut AnyDriver, heard: &mut Heard) {
        while let Some(output) = driver.poll() {
            let span = match &output {
                Output::Reading(reading) => reading.span,
                Output::Note(note) => note.span,
                Output::Contacts(contacts) => contacts.span,
                Output::Scan(scan) => scan.span,
                Output::Identity(identity) => identity.span,
                Output::Ready(_) | Output::Send(_) => continue,
            };
            assert_eq!(span.from, heard.covered, "{}: a gap or an overlap", self.name);
            heard.covered = span.to;
            match output {
                Output::Reading(reading) if reading.why.is_some() => heard.count.shown += 1,
                Output::Reading(reading) => {
                    let text = reading.indication.number().map(|number| number.text());
                    let said = text.is_some_and(|text| self.values.contains(&text.as_str()));
                    heard.count.wrong += usize::from(!said);
                    heard.count.judged += 1;
                    self.justified(driver.sends(), &reading, &heard.fed);
                }
                Output::Contacts(_) => heard.count.judged += 1,
                _ => {}
            }
        }
    }

    /// The bytes that a reading stands in are a frame of that shape by themselves, and say the
    /// same to a driver that heard nothing else. Of an answer to a question they hold its number.
    fn justified(&self, asks: bool, reading: &Reading, fed: &[u8]) {
        let at = |at: u64| usize::try_from(at).unwrap();
        let own = &fed[at(reading.span.from)..at(reading.span.to)];
        let is = if asks {
            let digits = reading.indication.number().map(|number| number.digits.to_string());
            let there: Vec<u8> = own.iter().copied().filter(u8::is_ascii_digit).collect();
            digits.is_none_or(|digits| {
                there.windows(digits.len()).any(|part| part == digits.as_bytes())
            })
        } else {
            let alone = |rhythm| self.alone(own, rhythm);
            RHYTHMS.into_iter().filter_map(alone).any(|alone| same(&alone, reading))
        };
        let shown = own.escape_ascii();
        assert!(is, "{}: {reading:?} is not justified by `{shown}`", self.name);
    }

    /// What a fresh driver makes of one frame that comes again and again, in one of these rhythms,
    /// and then of silence. What only silence ends needs the slow one.
    fn alone(&self, own: &[u8], rhythm: [u64; 4]) -> Option<Reading> {
        let (mut driver, mut last) = ((self.make)(), None);
        let silence = rhythm[3] + 5_000_000;
        for now in rhythm.into_iter().chain([silence]) {
            while let Some(due) = driver.deadline().filter(|due| due.0 <= now) {
                driver.handle(due, Input::Tick);
                last = newest(&mut driver).or(last);
            }
            if now < silence {
                driver.handle(Now(now), Input::Bytes(own));
                last = newest(&mut driver).or(last);
            }
        }
        last
    }
}

/// When a frame comes: twice in quick succession, and again; or after a silence each time.
const RHYTHMS: [[u64; 4]; 2] =
    [[0, 46_000, 400_000, 446_000], [0, 2_000_000, 4_000_000, 6_000_000]];

/// The last reading that waits to be polled for.
fn newest(driver: &mut AnyDriver) -> Option<Reading> {
    let mut last = None;
    while let Some(output) = driver.poll() {
        if let Output::Reading(reading) = output {
            last = Some(reading);
        }
    }
    last
}

fn same(one: &Reading, other: &Reading) -> bool {
    let says = |of: &Reading| (of.indication, of.function, of.unit, of.flags.clone());
    says(one) == says(other)
}
