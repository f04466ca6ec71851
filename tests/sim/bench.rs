//! Instruments that speak, and what stands on the bench: no circuit, a script.

use super::rng::Rng;
use super::wire::Wire;

/// How often the low-resistance meter prints, microseconds.
const OHM_PERIOD_US: u64 = 400_000;
/// How late an answer comes that nobody waits for any more: the longest wait is three seconds.
const STALE_US: u64 = 3_500_000;

/// Names of the links of a bench.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Names {
    pub(crate) ohm: &'static str,
    pub(crate) dmm: &'static str,
    pub(crate) contacts: &'static str,
    pub(crate) scan: &'static str,
}

pub(crate) const FIRST: Names = Names { ohm: "ohm", dmm: "dmm", contacts: "box", scan: "scan" };
/// The second bench has a meter that talks and a scanner.
pub(crate) const SECOND: Names = Names { ohm: "ohm2", dmm: "", contacts: "", scan: "scan2" };

/// What stands on the bench.
#[derive(Debug, Clone)]
pub(crate) struct Bench {
    pub(crate) names: Names,
    /// What the low-resistance meter shows, `+0.182`, `OL`.
    pub(crate) ohms: String,
    /// It prints this line again and again, whatever it shows.
    pub(crate) frozen: Option<String>,
    /// What the voltmeter shows while the asset is live, by polarity.
    pub(crate) leak: [&'static str; 2],
    /// Network with protective earth closed and open.
    pub(crate) network: [&'static str; 2],
    pub(crate) s5: bool,
    pub(crate) s7: bool,
    pub(crate) supply: bool,
    /// Every position of the switches and since when.
    pub(crate) stood: Vec<(u64, [bool; 3])>,
    /// Contacts see the box.
    pub(crate) witnessed: bool,
    /// Contacts bounce before they stand.
    pub(crate) bounces: bool,
    /// Who the voltmeter says it is.
    pub(crate) identity: &'static str,
    /// It does not answer.
    pub(crate) mute: bool,
    /// Once in so many times an answer comes after the time-out; 0 is never.
    pub(crate) stale: u64,
    pub(crate) wire: Wire,
    function: String,
    next_ohm: u64,
    asked: Vec<u8>,
}

impl Bench {
    /// The first bench.
    pub(crate) fn new(at: u64) -> Bench {
        Bench::named(FIRST, at)
    }

    pub(crate) fn named(names: Names, at: u64) -> Bench {
        Bench {
            names,
            ohms: "OL".into(),
            frozen: None,
            leak: ["+4.51000000E-01", "+4.62000000E-01"],
            network: ["+1.00120000E+04", "+1.10120000E+04"],
            s5: false,
            s7: false,
            supply: false,
            stood: vec![(0, [false; 3])],
            witnessed: true,
            bounces: false,
            identity: "GENERIC,BENCH-DMM,0003,1.0",
            mute: false,
            stale: 0,
            wire: Wire::default(),
            function: String::new(),
            next_ohm: at + OHM_PERIOD_US,
            asked: Vec::new(),
        }
    }

    /// When something is said or arrives next.
    pub(crate) fn next(&self) -> u64 {
        self.wire.next().min(self.next_ohm)
    }

    /// What has arrived by `now`.
    pub(crate) fn arrived(&mut self, now: u64, rng: &mut Rng) -> Vec<(&'static str, Vec<u8>)> {
        while self.next_ohm <= now {
            let line = self.frozen.clone().unwrap_or_else(|| format!("R4 {} Ohm\r\n", self.ohms));
            self.say(self.next_ohm, self.names.ohm, line.as_bytes(), rng);
            self.next_ohm += OHM_PERIOD_US;
        }
        self.wire.arrived(now)
    }

    /// Says something.
    pub(crate) fn say(&mut self, at: u64, link: &'static str, bytes: &[u8], rng: &mut Rng) {
        self.wire.say(at, link, bytes, rng);
    }

    /// The low-resistance meter is off.
    pub(crate) fn quiet(&mut self) {
        self.next_ohm = u64::MAX;
    }

    /// Nobody listened until `now`.
    pub(crate) fn slept(&mut self, now: u64) {
        self.wire.lose();
        self.asked.clear();
        if self.next_ohm != u64::MAX {
            self.next_ohm = now + OHM_PERIOD_US;
        }
    }

    /// A code is scanned.
    pub(crate) fn scan(&mut self, at: u64, code: &str, rng: &mut Rng) {
        self.say(at, self.names.scan, format!("{code}\r").as_bytes(), rng);
    }

    /// Switches are moved; contacts say so.
    pub(crate) fn set(&mut self, at: u64, (s5, s7, supply): (bool, bool, bool), rng: &mut Rng) {
        let before = [self.s5, self.s7, self.supply];
        (self.s5, self.s7, self.supply) = (s5, s7, supply);
        self.stood.push((at, [s5, s7, supply]));
        let mut at = at;
        if self.witnessed && self.bounces {
            for _ in 0..rng.below(5) {
                let stands = [s5, s7, supply];
                let flies = [0, 1, 2].map(|n| if rng.once_in(2) { before[n] } else { stands[n] });
                self.contacts(at, flies, rng);
                at += rng.below(20_000);
            }
        }
        self.tell(at, rng);
    }

    /// The contacts say how they stand.
    pub(crate) fn tell(&mut self, at: u64, rng: &mut Rng) {
        if self.witnessed {
            self.contacts(at, [self.s5, self.s7, self.supply], rng);
        }
    }

    fn contacts(&mut self, at: u64, stand: [bool; 3], rng: &mut Rng) {
        let [a, b, c] = stand.map(u8::from);
        self.say(at, self.names.contacts, format!("C {a}{b}{c}0\r\n").as_bytes(), rng);
    }

    /// Everything on its way on a link is lost with it.
    pub(crate) fn hang_up(&mut self, link: &str) {
        self.wire.hang_up(link);
        if link == self.names.dmm {
            self.asked.clear();
        }
    }

    /// The daemon sends to the voltmeter.
    pub(crate) fn ask(&mut self, at: u64, bytes: &[u8], rng: &mut Rng) {
        self.asked.extend(bytes);
        while let Some(end) = self.asked.iter().position(|b| *b == b'\n') {
            let line: Vec<u8> = self.asked.drain(..=end).collect();
            let line = String::from_utf8(line).unwrap();
            if let Some((after, answer)) = self.answer(line.trim())
                && !self.mute
            {
                let late = self.stale > 0 && rng.once_in(self.stale);
                let after = after + if late { STALE_US } else { 0 };
                if late {
                    *self.wire.met.entry("stale").or_default() += 1;
                }
                self.say(at + after, "dmm", format!("{answer}\r\n").as_bytes(), rng);
            }
        }
    }

    fn answer(&mut self, message: &str) -> Option<(u64, String)> {
        match message {
            "*IDN?" => Some((20_000, self.identity.into())),
            "SYST:ERR?" => Some((7_000, "+0,\"No error\"".into())),
            "CONF?" => Some((9_000, format!("\"{} +1.0E+01,+1.0E-05\"", self.function))),
            "READ?" => Some((300_000, self.shows().into())),
            other => {
                self.function = other.strip_prefix("CONF:").expect("on the allow-list").into();
                None
            }
        }
    }

    fn shows(&self) -> &'static str {
        match (self.function.as_str(), self.supply) {
            ("RES", _) => self.network[usize::from(self.s7)],
            ("VOLT:AC", true) => self.leak[usize::from(self.s5)],
            _ => "+1.00000000E-04",
        }
    }
}
