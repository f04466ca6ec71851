//! An insulation tester that talks by itself: what lies on its terminals, and what that makes of
//! the current. Its voltage is switched by hand, by its own key.

use crate::noise::Noise;

/// Time between two reports, microseconds.
const PERIOD_US: u64 = 500_000;
/// Range end, ohm: beyond it the display shows `>200`.
const RANGE_OHM: f64 = 200e6;
/// From here on the display has one decimal less, ohm.
const COARSE_OHM: f64 = 20e6;
/// What is charged by the voltage takes its current at first, and gives it back, with this time
/// constant, microseconds.
const CHARGE_US: f64 = 100_000.0;
/// What charges at first, ampere.
const CHARGE_AMPERE: f64 = 1e-3;

/// What the terminals meet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Load {
    /// Voltage that the circuit leaves between the clips, volt.
    pub volts: f64,
    /// Current that flows for it once all is charged, ampere.
    pub ampere: f64,
}

/// The tester.
#[derive(Debug, Clone)]
pub struct Insulation {
    next_us: u64,
    noise: Noise,
    on: bool,
    /// When it was switched last, and what lay on the terminals then, volt.
    switched: (u64, f64),
    held: Option<String>,
    tells: bool,
}

impl Insulation {
    /// A tester that first speaks one period after `now`, without voltage. `tells`: it says what
    /// lies on its terminals, and that it reads nothing while that is nothing; some say the number
    /// of an open circuit all the time.
    #[must_use]
    pub fn new(now: u64, noise: Noise, tells: bool) -> Insulation {
        let (on, switched) = (false, (now, 0.0));
        Insulation { next_us: now + PERIOD_US, noise, on, switched, held: None, tells }
    }

    /// The key that puts the voltage on or takes it away. `load`: what the clips meet.
    pub fn switch(&mut self, now: u64, on: bool, load: Load) {
        if self.on != on {
            self.on = on;
            self.switched = (now, load.volts);
        }
    }

    /// The hold key: the display stands still.
    pub fn set_hold(&mut self, hold: bool) {
        self.held = if hold { self.held.take().or(Some(String::new())) } else { None };
    }

    /// When the next lines are due.
    #[must_use]
    pub fn due(&self) -> u64 {
        self.next_us
    }

    /// The lines that are due.
    pub fn lines(&mut self, load: Load) -> String {
        let now = self.next_us;
        self.next_us += PERIOD_US;
        let left = (-micros(now - self.switched.0) / CHARGE_US).exp();
        let shown = match self.on {
            true => self.shown(load, left),
            false if self.tells => "---- MOhm".to_owned(),
            false => ">200 MOhm".to_owned(),
        };
        let shown = match &mut self.held {
            Some(held) if held.is_empty() => {
                held.clone_from(&shown);
                shown
            }
            Some(held) => held.clone(),
            None => shown,
        };
        let volts = if self.on { load.volts } else { self.switched.1 * left };
        match self.tells {
            true => format!("DCV {volts:.0} V\r\nINS {shown}\r\n"),
            false => format!("INS {shown}\r\n"),
        }
    }

    fn shown(&mut self, Load { volts, ampere }: Load, left: f64) -> String {
        let ampere = (ampere + CHARGE_AMPERE * left) * (1.0 + self.noise.even() * 2e-3);
        let ohm = volts / ampere.max(1e-15);
        match ohm {
            ohm if RANGE_OHM < ohm => ">200 MOhm".to_owned(),
            ohm if COARSE_OHM <= ohm => format!("{:.1} MOhm", ohm / 1e6),
            ohm => format!("{:.2} MOhm", ohm / 1e6),
        }
    }
}

/// A short time as a number.
fn micros(span: u64) -> f64 {
    std::time::Duration::from_micros(span).as_secs_f64() * 1e6
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: Load = Load { volts: 525.0, ampere: 525.0 / 48.2e6 };

    fn tester(tells: bool) -> Insulation {
        Insulation::new(0, Noise::still(), tells)
    }

    fn after(tester: &mut Insulation, reports: u32, load: Load) -> String {
        (0..reports).map(|_| tester.lines(load)).last().unwrap()
    }

    #[test]
    fn it_says_its_voltage_and_what_it_reads_only_while_that_is_on() {
        let mut tester = tester(true);
        assert_eq!(after(&mut tester, 3, GOOD), "DCV 0 V\r\nINS ---- MOhm\r\n");
        tester.switch(1_500_000, true, GOOD);
        let first = tester.lines(GOOD);
        assert_eq!(after(&mut tester, 4, GOOD), "DCV 525 V\r\nINS 48.2 MOhm\r\n");
        assert_ne!(first, "DCV 525 V\r\nINS 48.2 MOhm\r\n", "it charges first");
        tester.switch(tester.due() - 100_000, false, GOOD);
        assert_eq!(tester.lines(GOOD), "DCV 193 V\r\nINS ---- MOhm\r\n", "it discharges");
        assert_eq!(tester.lines(GOOD), "DCV 1 V\r\nINS ---- MOhm\r\n");
    }

    #[test]
    fn the_display_has_its_ranges_and_its_key() {
        let mut tester = tester(true);
        tester.switch(0, true, GOOD);
        let read = |tester: &mut Insulation, ohm: f64| {
            let load = Load { volts: 525.0, ampere: 525.0 / ohm };
            after(tester, 6, load).split("INS ").nth(1).unwrap().trim_end().to_owned()
        };
        assert_eq!(read(&mut tester, 1.994e6), "1.99 MOhm");
        assert_eq!(read(&mut tester, 20e6), "20.0 MOhm");
        assert_eq!(read(&mut tester, 1e10), ">200 MOhm");
        tester.set_hold(true);
        assert_eq!(read(&mut tester, 1e10), ">200 MOhm");
        assert_eq!(read(&mut tester, 1e6), ">200 MOhm");
        tester.set_hold(false);
        assert_eq!(read(&mut tester, 1e6), "1.00 MOhm");
    }

    #[test]
    fn one_that_tells_nothing_shows_an_open_circuit_without_its_voltage() {
        let mut tester = tester(false);
        assert_eq!(after(&mut tester, 3, GOOD), "INS >200 MOhm\r\n");
        tester.switch(tester.due(), true, GOOD);
        assert_eq!(after(&mut tester, 8, GOOD), "INS 48.2 MOhm\r\n");
    }
}
