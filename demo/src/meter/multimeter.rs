//! A bench multimeter that answers SCPI: it measures when asked and needs its time.

use std::collections::VecDeque;

use tapline_drivers::Function;

use super::scpi::{OVERLOAD, as_displayed, is, nr3};
use crate::noise::Noise;

/// Time of a conversion, microseconds.
const CONVERSION_US: u64 = 100_000;
/// Time constant of the ac converter, microseconds; five of them are its response time.
const SETTLING_US: f64 = 30_000.0;
/// Most errors that are kept; the last becomes `-350` when more happen.
const ERRORS_MAX: usize = 16;
/// Longest program message, bytes; what is longer is an error and is dropped.
const MESSAGE_MAX: usize = 256;
/// Largest voltage, volt.
const VOLTS_MAX: f64 = 750.0;
/// Largest resistance, ohm.
const OHMS_MAX: f64 = 100e6;

/// Lowest range of voltage, 0.1 V, as a power of ten.
const VOLTS_LOWEST: i32 = -1;
/// Lowest range of resistance, 100 ohm, as a power of ten.
const OHMS_LOWEST: i32 = 2;

/// What the terminals offer at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// Alternating voltage, volt r.m.s.
    pub ac_volts: f64,
    /// Direct voltage, volt.
    pub dc_volts: f64,
    /// Largest magnitude that the voltage comes to, volt.
    pub peak_volts: f64,
    /// Resistance, ohm.
    pub ohms: f64,
}

/// The multimeter.
#[derive(Debug, Clone)]
pub struct Multimeter {
    function: Function,
    noise: Noise,
    held: Vec<u8>,
    overlong: bool,
    errors: VecDeque<(i32, &'static str)>,
    converting: Option<u64>,
    level_volts: f64,
    level_at: u64,
    display: Option<f64>,
    hold: bool,
    range_volts: f64,
}

impl Multimeter {
    /// Switched on at `now`, in dc volts.
    #[must_use]
    pub fn new(now: u64, noise: Noise) -> Multimeter {
        Multimeter {
            function: Function::VoltageDc,
            noise,
            held: Vec::new(),
            overlong: false,
            errors: VecDeque::new(),
            converting: None,
            level_volts: 0.0,
            level_at: now,
            display: None,
            hold: false,
            range_volts: VOLTS_MAX,
        }
    }

    /// The function it is set to.
    #[must_use]
    pub fn function(&self) -> Function {
        self.function
    }

    /// The function switch, turned by hand. What it has not, it does not turn to: this one reads no
    /// peaks.
    pub fn turn(&mut self, to: Function) {
        if !FUNCTIONS.iter().any(|(function, _)| *function == to) {
            return;
        }
        self.function = to;
        self.display = None;
    }

    /// The hold key: the display stands still.
    pub fn set_hold(&mut self, hold: bool) {
        self.hold = hold;
    }

    /// The range key: ac voltages above `volts` are overload; `None`: it chooses its range.
    pub fn set_range(&mut self, volts: Option<f64>) {
        self.range_volts = volts.unwrap_or(VOLTS_MAX);
    }

    /// Somebody else listens now: what was said halfway is forgotten.
    pub fn opened(&mut self) {
        self.held.clear();
        self.overlong = false;
        self.converting = None;
    }

    /// Lets the ac converter follow what the terminals offered until `now`.
    pub fn advance(&mut self, now: u64, ac_volts: f64) {
        let Some(micros) = now.checked_sub(self.level_at) else { return };
        let seconds = std::time::Duration::from_micros(micros).as_secs_f64();
        let left = (-seconds * 1e6 / SETTLING_US).exp();
        self.level_volts = ac_volts + (self.level_volts - ac_volts) * left;
        self.level_at = now;
    }

    /// When a conversion ends.
    #[must_use]
    pub fn due(&self) -> Option<u64> {
        self.converting
    }

    /// The answer of the conversion that has ended by `now`. Call [`Multimeter::advance`] first.
    pub fn reading(&mut self, now: u64, seen: Seen) -> Option<String> {
        self.converting.take_if(|due| *due <= now)?;
        let shown = match self.display.filter(|_| self.hold) {
            Some(held) => held,
            None => self.measured(seen),
        };
        self.display = Some(shown);
        let lowest = match self.function {
            Function::Resistance2w | Function::Resistance4w => OHMS_LOWEST,
            _ => VOLTS_LOWEST,
        };
        Some(format!("{}\n", as_displayed(shown, lowest)))
    }

    fn measured(&mut self, seen: Seen) -> f64 {
        let noise = self.noise.even();
        let live = seen.ac_volts > 1.0 || seen.dc_volts.abs() > 1.0;
        match self.function {
            Function::VoltageAc if self.level_volts > self.range_volts => OVERLOAD,
            Function::VoltageAc => self.level_volts * (1.0 + noise * 1e-4) + noise.abs() * 2e-5,
            Function::VoltageDc if seen.dc_volts.abs() > VOLTS_MAX => OVERLOAD,
            Function::VoltageDc => seen.dc_volts * (1.0 + noise * 5e-5) + noise * 5e-6,
            _ if live || seen.ohms > OHMS_MAX => OVERLOAD,
            _ => seen.ohms * (1.0 + noise * 5e-5),
        }
    }

    /// Takes bytes and answers what can be answered at once.
    pub fn receive(&mut self, now: u64, bytes: &[u8]) -> Vec<u8> {
        let mut answers = Vec::new();
        for byte in bytes {
            match byte {
                b'\n' => {
                    let line =
                        String::from_utf8_lossy(&std::mem::take(&mut self.held)).into_owned();
                    if std::mem::take(&mut self.overlong) {
                        self.error(-223, "Too much data");
                    } else {
                        answers.extend(self.message(now, line.trim()));
                    }
                }
                _ if self.held.len() < MESSAGE_MAX => self.held.push(*byte),
                _ => self.overlong = true,
            }
        }
        answers
    }

    fn message(&mut self, now: u64, line: &str) -> Vec<u8> {
        let units = line.split(';').map(str::trim).filter(|unit| !unit.is_empty());
        let answers: Vec<String> = units.filter_map(|unit| self.unit(now, unit)).collect();
        if answers.is_empty() { Vec::new() } else { format!("{}\n", answers.join(";")).into() }
    }

    /// One message unit: header, blank, parameters. Ranges are taken and left to the meter.
    fn unit(&mut self, now: u64, unit: &str) -> Option<String> {
        let header = unit.split_once(' ').map_or(unit, |(header, _)| header);
        if let Some(header) = header.strip_suffix('?') {
            return self.query(now, header);
        }
        let function =
            FUNCTIONS.iter().find(|(_, wanted)| is(header, &format!("CONFigure:{wanted}")));
        if let Some((function, _)) = function {
            self.function = *function;
            self.display = None;
            self.converting = None;
        } else if header.eq_ignore_ascii_case("*CLS") {
            self.errors.clear();
        } else if is(header, "ABORt") {
            self.converting = None;
        } else if !is(header, "SYSTem:REMote") && !is(header, "SYSTem:LOCal") {
            self.error(-113, "Undefined header");
        }
        None
    }

    fn query(&mut self, now: u64, header: &str) -> Option<String> {
        if header.eq_ignore_ascii_case("*IDN") {
            return Some("GENERIC,BENCH-DMM,0001,1.0".to_owned());
        }
        if header.eq_ignore_ascii_case("*OPC") {
            return Some("1".to_owned());
        }
        if is(header, "READ") {
            if self.converting.replace(now + CONVERSION_US).is_some() {
                self.error(-410, "Query INTERRUPTED");
            }
            return None;
        }
        if is(header, "CONFigure") {
            let found = FUNCTIONS.iter().find(|(function, _)| *function == self.function);
            let word = found.map_or("VOLT", |(_, word)| word);
            let short: String = word.chars().filter(|c| !c.is_ascii_lowercase()).collect();
            let short = short.strip_suffix(":DC").unwrap_or(&short).to_owned();
            return Some(format!("\"{short} {},{}\"", nr3(10.0), nr3(1e-5)));
        }
        if is(header, "SYSTem:ERRor") || is(header, "SYSTem:ERRor:NEXT") {
            let (code, text) = self.errors.pop_front().unwrap_or((0, "No error"));
            return Some(format!("{code:+},\"{text}\""));
        }
        self.error(-113, "Undefined header");
        None
    }

    fn error(&mut self, code: i32, text: &'static str) {
        if self.errors.len() < ERRORS_MAX {
            self.errors.push_back((code, text));
        } else if let Some(last) = self.errors.back_mut() {
            *last = (-350, "Queue overflow");
        }
    }
}

/// Functions and their header words. `VOLT` alone is dc, as `:DC` is the default node.
const FUNCTIONS: &[(Function, &str)] = &[
    (Function::VoltageAc, "VOLTage:AC"),
    (Function::VoltageDc, "VOLTage:DC"),
    (Function::VoltageDc, "VOLTage"),
    (Function::Resistance2w, "RESistance"),
    (Function::Resistance4w, "FRESistance"),
];

#[cfg(test)]
mod tests {
    use super::*;

    const SEEN: Seen = Seen { ac_volts: 0.159, dc_volts: 0.0, peak_volts: 0.225, ohms: 11_000.0 };

    fn meter() -> Multimeter {
        Multimeter::new(0, Noise::new(7))
    }

    fn ask(meter: &mut Multimeter, text: &str) -> String {
        String::from_utf8(meter.receive(0, text.as_bytes())).unwrap()
    }

    fn read(meter: &mut Multimeter, now: u64, seen: Seen) -> f64 {
        assert!(meter.receive(now, b"READ?\n").is_empty());
        let due = meter.due().unwrap();
        assert_eq!(due, now + CONVERSION_US);
        assert_eq!(meter.reading(due - 1, seen), None);
        meter.advance(due, seen.ac_volts);
        meter.reading(due, seen).unwrap().trim_end().parse().unwrap()
    }

    #[test]
    fn it_tells_who_it_is_and_what_it_is_set_to() {
        let mut meter = meter();
        assert_eq!(ask(&mut meter, "*IDN?\n"), "GENERIC,BENCH-DMM,0001,1.0\n");
        assert_eq!(ask(&mut meter, "CONF?\n"), "\"VOLT +1.00000000E+01,+1.00000000E-05\"\n");
        assert_eq!(ask(&mut meter, "CONF:VOLT:AC;CONF?\r\n").split(' ').next(), Some("\"VOLT:AC"));
        assert_eq!(ask(&mut meter, "CONF:RES 1E5;CONF?\n").split(' ').next(), Some("\"RES"));
        assert_eq!(ask(&mut meter, "SYST:ERR?\n"), "+0,\"No error\"\n");
    }

    #[test]
    fn an_unknown_header_gives_no_answer_but_an_error() {
        let mut meter = meter();
        assert_eq!(ask(&mut meter, "BOGUS?\n"), "");
        assert_eq!(
            ask(&mut meter, "SYST:ERR?;SYST:ERR?\n"),
            "-113,\"Undefined header\";+0,\"No error\"\n"
        );
        ask(&mut meter, &"x".repeat(300));
        assert_eq!(ask(&mut meter, "\nSYST:ERR?\n"), "-223,\"Too much data\"\n");
        for _ in 0..20 {
            ask(&mut meter, "BOGUS\n");
        }
        let all = ask(&mut meter, &"SYST:ERR?;".repeat(16)) + &ask(&mut meter, "\n");
        assert!(all.ends_with("-350,\"Queue overflow\"\n"), "{all}");
    }

    #[test]
    fn each_function_reads_its_own_quantity() {
        let mut meter = meter();
        ask(&mut meter, "CONF:RES\n");
        assert!((read(&mut meter, 0, SEEN) - 11_000.0).abs() < 1.0);
        assert!(read(&mut meter, 0, Seen { ohms: 1e9, ..SEEN }) > 9.8e37);
        assert!(read(&mut meter, 0, Seen { ac_volts: 5.0, ..SEEN }) > 9.8e37, "live");
        ask(&mut meter, "CONF:VOLT:AC\n");
        assert!((read(&mut meter, 2_000_000, SEEN) - 0.159).abs() < 1e-4);
        ask(&mut meter, "CONF:VOLT\n");
        assert!(read(&mut meter, 0, SEEN).abs() < 1e-5);
    }

    #[test]
    fn the_ac_converter_needs_its_time_and_the_range_has_an_end() {
        let mut meter = meter();
        ask(&mut meter, "CONF:VOLT:AC\n");
        meter.advance(30_000, 1.0);
        assert!((meter.level_volts - 0.632).abs() < 1e-3, "one time constant");
        meter.advance(660_000, 1.0);
        assert!((meter.level_volts - 1.0).abs() < 1e-4);
        meter.set_range(Some(0.12));
        assert!(read(&mut meter, 660_000, SEEN) > 9.8e37);
    }

    #[test]
    fn a_held_display_stands_still_until_the_function_changes() {
        let mut meter = meter();
        ask(&mut meter, "CONF:VOLT:AC\n");
        let first = read(&mut meter, 1_000_000, SEEN);
        meter.set_hold(true);
        let held = read(&mut meter, 2_000_000, Seen { ac_volts: 9.0, ..SEEN });
        assert_eq!(first.to_bits(), held.to_bits());
        ask(&mut meter, "CONF:RES\n");
        assert!((read(&mut meter, 3_000_000, SEEN) - 11_000.0).abs() < 1.0);
    }
}
