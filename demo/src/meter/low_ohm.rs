//! A four-wire low-resistance meter that talks without being asked: one line a conversion.

use crate::noise::Noise;
use crate::room::Way;

/// Time of a conversion, microseconds.
pub(super) const PERIOD_US: u64 = 400_000;
/// Range end, ohm: beyond it the display shows `OL`.
const RANGE_OHM: f64 = 2.0;

/// A low-resistance meter: 0.2 A dc, 2 ohm, 1 mohm resolution.
#[derive(Debug, Clone)]
pub struct LowOhm {
    next_us: u64,
    noise: Noise,
    zero_ohm: Option<f64>,
    offset_ohm: f64,
    shown: String,
    tells_flags: bool,
}

/// What the meter meets at one conversion.
#[derive(Debug, Clone, Copy)]
pub struct Met {
    /// Resistance between its clips, ohm.
    pub ohm: f64,
    /// Direction of the current.
    pub way: Way,
    /// The cord is being flexed: the contact moves by up to 2 mohm.
    pub flexed: bool,
    /// The display is held.
    pub hold: bool,
    /// The zero key is on.
    pub relative: bool,
}

impl LowOhm {
    /// A meter that first speaks one period after `now`. `offset_ohm`: what thermoelectric
    /// voltages add in one direction and take away in the other. `tells_flags`: hold and zero key
    /// stand behind the unit; many meters keep them to themselves.
    #[must_use]
    pub fn new(now: u64, noise: Noise, offset_ohm: f64, tells_flags: bool) -> LowOhm {
        let next_us = now + PERIOD_US;
        let shown = String::new();
        LowOhm { next_us, noise, zero_ohm: None, offset_ohm, shown, tells_flags }
    }

    /// The display shows an open circuit.
    #[must_use]
    pub fn shows_open(&self) -> bool {
        self.shown.contains("OL")
    }

    /// When the next line is due.
    #[must_use]
    pub fn due(&self) -> u64 {
        self.next_us
    }

    /// The line of the conversion that ended at [`LowOhm::due`].
    pub fn line(&mut self, met: Met) -> String {
        self.next_us += PERIOD_US;
        let moved = if met.flexed { self.noise.even() * 0.002 } else { 0.0 };
        let sign = if met.way == Way::Minus { -1.0 } else { 1.0 };
        let ohm = met.ohm + moved + sign * self.offset_ohm + self.noise.even() * 0.000_4;
        match (met.relative, self.zero_ohm) {
            (true, None) if ohm <= RANGE_OHM => self.zero_ohm = Some(ohm),
            (false, _) => self.zero_ohm = None,
            _ => {}
        }
        if !met.hold || self.shown.is_empty() {
            self.shown = text(ohm, sign, self.zero_ohm.unwrap_or(0.0));
        }
        let mut line = self.shown.clone();
        if self.tells_flags && met.hold {
            line.push_str(" HOLD");
        }
        if self.tells_flags && met.relative {
            line.push_str(" REL");
        }
        line.push_str("\r\n");
        line
    }
}

fn text(ohm: f64, sign: f64, zero_ohm: f64) -> String {
    if ohm > RANGE_OHM {
        return "R4 OL Ohm".to_owned();
    }
    format!("R4 {:+.3} Ohm", sign * (ohm - zero_ohm))
}

#[cfg(test)]
mod tests {
    use super::*;

    const MET: Met =
        Met { ohm: 0.182, way: Way::Plus, flexed: false, hold: false, relative: false };

    fn ohms(line: &str) -> f64 {
        let rest = line.strip_prefix("R4 ").unwrap();
        rest.strip_suffix(" Ohm\r\n").unwrap().parse().unwrap()
    }

    #[test]
    fn lines_come_once_a_period_with_the_sign_of_the_direction() {
        let mut meter = LowOhm::new(1_000, Noise::new(7), 0.001, false);
        assert_eq!(meter.due(), 401_000);
        let plus = ohms(&meter.line(MET));
        let minus = ohms(&meter.line(Met { way: Way::Minus, ..MET }));
        assert!((plus - 0.183).abs() < 0.0011 && (minus + 0.181).abs() < 0.0011, "{plus} {minus}");
        assert_eq!(meter.due(), 1_201_000);
    }

    #[test]
    fn open_clips_and_anything_beyond_the_range_are_overload() {
        let mut meter = LowOhm::new(0, Noise::new(7), 0.0, false);
        for ohm in [2.1, 1e9, f64::INFINITY] {
            assert_eq!(meter.line(Met { ohm, ..MET }), "R4 OL Ohm\r\n");
        }
    }

    #[test]
    fn hold_freezes_the_display_and_the_zero_key_takes_away() {
        let mut meter = LowOhm::new(0, Noise::new(7), 0.0, false);
        let held = meter.line(MET);
        assert_eq!(meter.line(Met { ohm: 0.9, hold: true, ..MET }), held);
        meter.line(Met { ohm: 0.061, relative: true, ..MET });
        let zeroed = ohms(&meter.line(Met { ohm: 0.284, relative: true, ..MET }));
        assert!((zeroed - 0.223).abs() < 0.002, "{zeroed}");
        let plain = ohms(&meter.line(Met { ohm: 0.284, ..MET }));
        assert!((plain - 0.284).abs() < 0.002, "{plain}");
    }

    #[test]
    fn a_meter_that_tells_its_flags_says_them_behind_the_unit() {
        let mut meter = LowOhm::new(0, Noise::new(7), 0.0, true);
        let line = meter.line(Met { relative: true, hold: true, ..MET });
        assert!(line.ends_with(" Ohm HOLD REL\r\n"), "{line}");
        assert!(!meter.shows_open());
        meter.line(Met { ohm: f64::INFINITY, ..MET });
        assert!(meter.shows_open());
    }
}
