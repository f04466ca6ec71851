//! The instruments of a bench, scripted: what they say and when it arrives.

use std::collections::BTreeMap;

use tapline_demo::noise::Noise;

use super::register::below;

/// What stands on the benches; only one of them is worked at, the others are switched off.
#[derive(Debug)]
pub(crate) struct Wire {
    noise: Noise,
    /// Bench that is worked at, from 1.
    pub(crate) bench: usize,
    /// What is between the clips, milliohm with its sign; none: they are apart.
    pub(crate) clips: Option<i64>,
    /// Leakage with the supply on, microampere, by polarity.
    pub(crate) leak_ua: [u64; 2],
    /// S5 reversed, S7 open, supply on.
    pub(crate) set: [bool; 3],
    /// Function that the voltmeter is configured to.
    function: String,
    next_us: u64,
    /// What is on its way: when it arrives and its number, link, bytes.
    queue: BTreeMap<(u64, u64), (String, Vec<u8>)>,
    count: u64,
    asked: Vec<u8>,
}

impl Wire {
    pub(crate) fn new(seed: u64) -> Wire {
        Wire {
            noise: Noise::new(seed),
            bench: 1,
            clips: None,
            leak_ua: [0; 2],
            set: [false; 3],
            function: String::new(),
            next_us: u64::MAX,
            queue: BTreeMap::new(),
            count: 0,
            asked: Vec::new(),
        }
    }

    /// The meter that talks by itself is on while clips are used, and off otherwise.
    pub(crate) fn talks(&mut self, on: bool, now: u64) {
        self.next_us = match (on, self.next_us) {
            (false, _) => u64::MAX,
            (true, u64::MAX) => now + self.period_us(),
            (true, next) => next,
        };
    }

    /// Each bench's meter has a pace of its own, microseconds.
    fn period_us(&self) -> u64 {
        [0, 1_200_000, 1_300_000, 1_100_000, 1_400_000][self.bench]
    }

    /// When something arrives next.
    pub(crate) fn next(&self) -> u64 {
        self.queue.keys().next().map_or(u64::MAX, |(at, _)| *at).min(self.next_us)
    }

    /// What has arrived by `now`, in order.
    pub(crate) fn arrived(&mut self, now: u64) -> Vec<(String, Vec<u8>)> {
        while self.next_us <= now {
            let line = match self.clips {
                Some(mohm) => {
                    let mohm = mohm + i64::try_from(below(&mut self.noise, 3)).expect("small") - 1;
                    let sign = if mohm < 0 { '-' } else { '+' };
                    let (ohm, rest) = (mohm.abs() / 1000, mohm.abs() % 1000);
                    format!("R4 {sign}{ohm}.{rest:03} Ohm\r\n")
                }
                None => "R4 OL Ohm\r\n".into(),
            };
            self.say(self.next_us, "ohm", line.into_bytes());
            self.next_us += self.period_us();
        }
        let later = self.queue.split_off(&(now + 1, 0));
        std::mem::replace(&mut self.queue, later).into_values().collect()
    }

    /// Something is said on a link of the bench.
    pub(crate) fn say(&mut self, at: u64, link: &str, bytes: Vec<u8>) {
        self.count += 1;
        self.queue.insert((at, self.count), (format!("{link}{}", self.bench), bytes));
    }

    /// A code is scanned.
    pub(crate) fn scan(&mut self, at: u64, code: &str) {
        self.say(at, "scan", format!("{code}\r").into_bytes());
    }

    /// Switches are moved; contacts say so.
    pub(crate) fn switch(&mut self, at: u64, set: [bool; 3]) {
        self.set = set;
        let [a, b, c] = set.map(u8::from);
        self.say(at, "box", format!("C {a}{b}{c}0\r\n").into_bytes());
    }

    /// The station sends to the voltmeter.
    pub(crate) fn ask(&mut self, at: u64, bytes: &[u8]) {
        self.asked.extend(bytes);
        while let Some(end) = self.asked.iter().position(|b| *b == b'\n') {
            let line: Vec<u8> = self.asked.drain(..=end).collect();
            let line = String::from_utf8_lossy(&line).into_owned();
            if let Some((after, answer)) = self.answer(line.trim()) {
                self.say(at + after, "dmm", format!("{answer}\r\n").into_bytes());
            }
        }
    }

    fn answer(&mut self, message: &str) -> Option<(u64, String)> {
        match message {
            "*IDN?" => Some((20_000, format!("GENERIC,BENCH-DMM,{}003,1.0", self.bench))),
            "SYST:ERR?" => Some((7_000, "+0,\"No error\"".into())),
            "CONF?" => Some((9_000, format!("\"{} +1.0E+01,+1.0E-05\"", self.function))),
            "READ?" => Some((1_200_000, self.shows())),
            other => {
                other.strip_prefix("CONF:")?.clone_into(&mut self.function);
                None
            }
        }
    }

    /// Volts across a network of 1 kohm: one millivolt a microampere. Or the network itself.
    fn shows(&mut self) -> String {
        let [reversed, open, supply] = self.set;
        let jitter = below(&mut self.noise, 1000);
        match (self.function.as_str(), supply) {
            ("RES", _) if open => format!("+1.1012{jitter:03}0E+04"),
            ("RES", _) => format!("+1.0012{jitter:03}0E+04"),
            ("VOLT:AC", true) => {
                let ua = self.leak_ua[usize::from(reversed)];
                format!("+{}.{:02}{jitter:03}000E-01", ua / 100, ua % 100)
            }
            _ => format!("+1.00000{jitter:03}E-04"),
        }
    }
}
