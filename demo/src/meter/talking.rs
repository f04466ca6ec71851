//! A multimeter that talks by itself, as bench meters and probes that read peaks do: one line a
//! conversion, of what its dial stands at.

use tapline_drivers::Function;

use super::multimeter::Seen;
use crate::noise::Noise;

/// Largest resistance that it shows, ohm.
const OHMS_MAX: f64 = 1e6;
/// Largest voltage that it shows, volt.
const VOLTS_MAX: f64 = 600.0;
/// Above this its resistance function shows nothing, volt.
const LIVE_VOLTS: f64 = 1.0;

/// The meter.
#[derive(Debug, Clone)]
pub struct Talking {
    dial: Function,
    noise: Noise,
}

impl Talking {
    /// Switched on, in dc volts.
    #[must_use]
    pub fn new(noise: Noise) -> Talking {
        Talking { dial: Function::VoltageDc, noise }
    }

    /// The dial, turned by hand. What it has not, it does not turn to.
    pub fn turn(&mut self, to: Function) {
        if code(to).is_some() {
            self.dial = to;
        }
    }

    /// What it says of its terminals, without the end of the line: `PKV 0.3412 V`.
    pub fn line(&mut self, seen: Seen) -> String {
        let noise = self.noise.even();
        let code = code(self.dial).unwrap_or("DCV");
        let volts = match self.dial {
            Function::VoltageAc => seen.ac_volts,
            Function::VoltagePeak => seen.peak_volts,
            Function::Resistance2w => return ohms(code, seen, noise),
            _ => seen.dc_volts,
        };
        match volts.abs() > VOLTS_MAX {
            true => format!("{code} OL V"),
            false => format!("{code} {:.4} V", volts * (1.0 + noise * 1e-4) + noise.abs() * 2e-5),
        }
    }
}

fn ohms(code: &str, seen: Seen, noise: f64) -> String {
    match seen.ohms > OHMS_MAX || seen.peak_volts > LIVE_VOLTS {
        true => format!("{code} OL kOhm"),
        false => format!("{code} {:.4} kOhm", seen.ohms * (1.0 + noise * 5e-5) / 1e3),
    }
}

/// The code of a function that it has.
fn code(function: Function) -> Option<&'static str> {
    match function {
        Function::VoltageDc => Some("DCV"),
        Function::VoltageAc => Some("ACV"),
        Function::VoltagePeak => Some("PKV"),
        Function::Resistance2w => Some("R2"),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tapline_drivers::{Driver, Indication, Input, Now, Output, by_name};

    const SEEN: Seen = Seen { ac_volts: 0.24, dc_volts: -0.1, peak_volts: 0.4394, ohms: 10_500.0 };

    /// Its lines are those of the driver `val-unit-line`, and each function reads its own quantity.
    #[test]
    fn what_it_says_is_read_as_what_it_measures() {
        let mut meter = Talking::new(Noise::still());
        for (function, text) in [
            (Function::VoltageDc, "-0.1000"),
            (Function::VoltageAc, "0.2400"),
            (Function::VoltagePeak, "0.4394"),
            (Function::Resistance2w, "10.5000"),
        ] {
            meter.turn(function);
            meter.turn(Function::Frequency);
            let mut driver = by_name("val-unit-line").unwrap();
            driver.handle(Now(0), Input::Bytes(format!("{}\r\n", meter.line(SEEN)).as_bytes()));
            let Some(Output::Reading(reading)) = driver.poll() else { panic!("{function:?}") };
            let Indication::Value(number) = reading.indication else { panic!("{reading:?}") };
            assert_eq!((reading.function, number.text().as_str()), (function, text));
        }
    }

    #[test]
    fn on_what_is_live_no_resistance_is_shown() {
        let mut meter = Talking::new(Noise::still());
        meter.turn(Function::Resistance2w);
        assert_eq!(meter.line(Seen { peak_volts: 3.0, ..SEEN }), "R2 OL kOhm");
        assert_eq!(meter.line(Seen { ohms: f64::INFINITY, ..SEEN }), "R2 OL kOhm");
        meter.turn(Function::VoltagePeak);
        assert_eq!(meter.line(Seen { peak_volts: 700.0, ..SEEN }), "PKV OL V");
    }
}
