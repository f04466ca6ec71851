//! Instruments that speak, and what stands on the bench: no circuit, a script.

use std::collections::VecDeque;

use super::rng::Rng;

/// How often the low-resistance meter prints, microseconds.
const OHM_PERIOD_US: u64 = 400_000;

/// What stands on the bench.
#[derive(Debug, Clone)]
pub(crate) struct Bench {
    /// What the low-resistance meter shows, `+0.182`, `OL`.
    pub(crate) ohms: String,
    /// What the voltmeter shows while the asset is live, by polarity.
    pub(crate) leak: [&'static str; 2],
    /// Network with protective earth closed and open.
    pub(crate) network: [&'static str; 2],
    pub(crate) s5: bool,
    pub(crate) s7: bool,
    pub(crate) supply: bool,
    /// Contacts see the box.
    pub(crate) witnessed: bool,
    /// Who the voltmeter says it is.
    pub(crate) identity: &'static str,
    /// It does not answer.
    pub(crate) mute: bool,
    /// Bytes come in pieces.
    pub(crate) cuts: bool,
    function: String,
    next_ohm: u64,
    /// What was said and has not arrived: when, link, bytes.
    wire: VecDeque<(u64, &'static str, Vec<u8>)>,
    asked: Vec<u8>,
}

impl Bench {
    pub(crate) fn new(at: u64) -> Bench {
        Bench {
            ohms: "OL".into(),
            leak: ["+4.51000000E-01", "+4.62000000E-01"],
            network: ["+1.00120000E+04", "+1.10120000E+04"],
            s5: false,
            s7: false,
            supply: false,
            witnessed: true,
            identity: "GENERIC,BENCH-DMM,0003,1.0",
            mute: false,
            cuts: false,
            function: String::new(),
            next_ohm: at + OHM_PERIOD_US,
            wire: VecDeque::new(),
            asked: Vec::new(),
        }
    }

    /// When something is said next.
    pub(crate) fn next(&self) -> u64 {
        self.wire.iter().map(|(at, ..)| *at).min().unwrap_or(u64::MAX).min(self.next_ohm)
    }

    /// What has arrived by `now`.
    pub(crate) fn arrived(&mut self, now: u64, rng: &mut Rng) -> Vec<(&'static str, Vec<u8>)> {
        while self.next_ohm <= now {
            let line = match self.ohms.as_str() {
                "OL" => "R4 OL Ohm\r\n".to_string(),
                ohms => format!("R4 {ohms} Ohm\r\n"),
            };
            self.say(self.next_ohm, "ohm", line.as_bytes(), rng);
            self.next_ohm += OHM_PERIOD_US;
        }
        let mut wire: Vec<_> = self.wire.drain(..).collect();
        wire.sort_by_key(|(at, ..)| *at);
        let (now, later): (Vec<_>, Vec<_>) = wire.into_iter().partition(|(at, ..)| *at <= now);
        self.wire = later.into();
        now.into_iter().map(|(_, link, bytes)| (link, bytes)).collect()
    }

    /// Says something, in pieces where cuts are on.
    pub(crate) fn say(&mut self, at: u64, link: &'static str, bytes: &[u8], rng: &mut Rng) {
        let mut at = at;
        let mut rest = bytes;
        while !rest.is_empty() {
            let all = rest.len() as u64;
            let n = if self.cuts { 1 + rng.below(all) } else { all };
            let (piece, more) = rest.split_at(usize::try_from(n).unwrap());
            self.wire.push_back((at, link, piece.to_vec()));
            at += 1 + rng.below(15_000);
            rest = more;
        }
    }

    /// The low-resistance meter is off.
    pub(crate) fn quiet(&mut self) {
        self.next_ohm = u64::MAX;
    }

    /// Nobody listened until now.
    #[allow(dead_code, reason = "tests/time.rs puts machines to sleep")]
    pub(crate) fn slept(&mut self, now: u64) {
        self.wire.clear();
        self.asked.clear();
        self.next_ohm = now + OHM_PERIOD_US;
    }

    /// A code is scanned.
    pub(crate) fn scan(&mut self, at: u64, code: &str, rng: &mut Rng) {
        self.say(at, "scan", format!("{code}\r").as_bytes(), rng);
    }

    /// Switches are moved; contacts say so.
    pub(crate) fn set(&mut self, at: u64, (s5, s7, supply): (bool, bool, bool), rng: &mut Rng) {
        (self.s5, self.s7, self.supply) = (s5, s7, supply);
        self.tell(at, rng);
    }

    /// The contacts say how they stand.
    pub(crate) fn tell(&mut self, at: u64, rng: &mut Rng) {
        if self.witnessed {
            let [a, b, c] = [self.s5, self.s7, self.supply].map(u8::from);
            self.say(at, "box", format!("C {a}{b}{c}0\r\n").as_bytes(), rng);
        }
    }

    /// Everything on its way on a link is lost with it.
    pub(crate) fn hang_up(&mut self, link: &str) {
        self.wire.retain(|(_, on, _)| *on != link);
        if link == "dmm" {
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
