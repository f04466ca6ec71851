//! What an insulation tester meets: its voltage is a source of the solved circuit at dc.

use crate::circuit::{Kind, Singular};
use crate::hookup::Hookup;
use crate::meter::Load;
use crate::room::{Laid, Room};

/// What the tester puts out, volt: a little more than its rated 500 V.
const VOLTS: f64 = 525.0;
/// More than this it never drives, ampere.
const LIMIT_AMPERE: f64 = 1.5e-3;
/// Its leads with their clips on one point, ohm.
const LEADS_OHM: f64 = 0.1;
/// What is sent through the circuit to learn its resistance, ampere.
const PROBE_AMPERE: f64 = 1e-6;

impl Hookup {
    /// Voltage and current at the clips of the insulation tester, switched on, once all that can
    /// be charged is.
    ///
    /// # Errors
    /// [`Singular`], for parts that contradict each other.
    pub fn tested(&self, room: &Room) -> Result<Load, Singular> {
        let volts = room.tester_volts.unwrap_or(VOLTS);
        let ohm = match &room.tester_clips {
            Laid::Open => f64::INFINITY,
            Laid::Joined => LEADS_OHM,
            Laid::Between(one, other) => self.between(room, one, other)?,
        };
        let ampere = (volts / ohm).min(LIMIT_AMPERE);
        // Nothing flows through nothing, and all of the voltage stays.
        let volts = if ohm.is_infinite() { volts } else { ampere * ohm };
        Ok(Load { volts, ampere })
    }

    fn between(&self, room: &Room, one: &str, other: &str) -> Result<f64, Singular> {
        let mut net = self.netlist(room);
        if one == "L" || other == "L" {
            // An adapter joins both pins of the plug.
            net.add(Kind::R(LEADS_OHM), "L", "N");
        }
        net.add(Kind::I(PROBE_AMPERE, 0.0), other, one);
        Ok(net.solve(0.0)?.between(one, other) / PROBE_AMPERE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scene::Scene;

    const SCENE: &str = r#"format = "tapline-scene-1"
id = "x"
title = "Insulation"
seed = 7
asset = "P-0107"
supply = { volts = "230", hertz = 50, neutral = "earthed" }
box = { switches = ["S5", "S7", "supply"], witnessed = true }
parts = [["R", "L", "case", "96.4 MOhm"], ["R", "N", "case", "96.4 MOhm"],
    ["R", "L2", "N2", "500 Ohm"], ["R", "case", "PE", "0.09 Ohm"], ["R", "L2", "part", "300 kOhm"]]
expect = { outcome = "pass" }
"#;

    fn tested(one: &str, other: &str) -> Load {
        let clips = Laid::Between(one.to_owned(), other.to_owned());
        let room = Room { tester_clips: clips, ..Room::default() };
        Scene::parse(SCENE).unwrap().hookup.tested(&room).unwrap()
    }

    // Two of 96.4 Mohm side by side are 48.2; 1.5 mA through 0.3 Mohm are 450 V (arithmetic).
    #[test]
    fn the_voltage_drives_what_the_circuit_lets_through_and_no_more_than_its_limit() {
        let good = tested("L", "PE");
        assert!((good.volts - 525.0).abs() < 1e-6, "{good:?}");
        assert!((good.volts / good.ampere / 48.2e6 - 1.0).abs() < 1e-3, "{good:?}");
        let low = tested("L", "part");
        assert!((low.volts - 450.0).abs() < 1.0 && low.ampere >= 1.499e-3, "{low:?}");
        assert!(tested("L", "nowhere").ampere < 525.0 / 1e9);
        let joined = Room { tester_clips: Laid::Joined, ..Room::default() };
        let joined = Scene::parse(SCENE).unwrap().hookup.tested(&joined).unwrap();
        assert!(joined.volts < 1e-3 && joined.ampere > 1e-3);
    }
}
