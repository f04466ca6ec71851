//! What the measuring network of IEC 60601-1 Figure 12 does to a frequency: for explaining a
//! value and for calibrating a setup. No verdict reads this: the network itself is the weighting,
//! and the current judged is the voltage over 1 kohm.
//!
//! R2 = 1 kohm across the input, R1 = 10 kohm in series to C1 = 15 nF, voltmeter across C1
//! (IEC 60601-1:2005/AMD1:2012 Corrigendum 1, excerpt seen).

use alloc::string::String;

use super::digits;

const R1_OHM: f64 = 10_000.0;
const R2_OHM: f64 = 1_000.0;
const C1_FARAD: f64 = 15e-9;

/// |Z(f)| over 1 kohm: the share of a sine current of `hertz` that the network shows. Four
/// significant digits; 1 for direct current, never above 1.
#[must_use]
pub fn shown_share(hertz: u32) -> String {
    digits(share(f64::from(hertz)))
}

/// |Z(f)| / R2 = 1 / sqrt(1 + (2 pi f C1 (R1 + R2))^2).
fn share(hertz: f64) -> f64 {
    let turns = 2.0 * core::f64::consts::PI * hertz * C1_FARAD * (R1_OHM + R2_OHM);
    1.0 / libm::sqrt(1.0 + turns * turns)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Solved with ngspice 39.3 from the corrigendum's component values, an ac analysis of a
    /// current source into the network.
    #[test]
    fn the_network_agrees_with_a_circuit_simulator() {
        let ngspice = [
            (10.0, 0.999_946_3),
            (50.0, 0.998_659_2),
            (60.0, 0.998_071_0),
            (100.0, 0.994_668_9),
            (1e3, 0.694_243_6),
            (1e4, 0.096_011_9),
            (1e5, 0.009_645_3),
            (1e6, 0.000_964_6),
        ];
        for (hertz, want) in ngspice {
            assert!((share(hertz) - want).abs() < 1e-7, "{hertz}: {}", share(hertz));
        }
        assert!((share(964.575) - libm::sqrt(0.5)).abs() < 1e-6);
    }

    #[test]
    fn a_share_has_four_digits() {
        let all = [0, 50, 1_000, 100_000].map(shown_share);
        assert_eq!(all, ["1.000", "0.9987", "0.6942", "0.009645"]);
    }
}
