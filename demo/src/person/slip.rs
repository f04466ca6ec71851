//! What a technician does wrong, by name.

use serde::Deserialize;

/// How it goes wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Does {
    /// Does not do it.
    Forgets,
    /// Has it come off, for the whole step.
    Loses,
    /// Has it come off and back within a window.
    Slips,
    /// Nulls wrongly.
    Nulls,
    /// Presses a key.
    Presses,
    /// Plugs into the wrong jack.
    Plugs,
    /// Lays a wire across.
    Bypasses,
    /// Exchanges.
    Swaps,
    /// Sets a range by hand.
    Sets,
    /// Scans the wrong code.
    Scans,
}

/// What it concerns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
pub enum What {
    /// Polarity switch.
    S5,
    /// Protective-earth switch.
    S7,
    /// Direction switch of the measuring current.
    #[serde(rename = "direction")]
    Direction,
    /// Probe or clip: left on the old point, or off.
    #[serde(rename = "probe")]
    Probe,
    /// Null of the leads.
    #[serde(rename = "null")]
    Null,
    /// A data cable that earths the asset.
    #[serde(rename = "data_cable")]
    DataCable,
    /// The asset's own switch.
    #[serde(rename = "asset_switch")]
    AssetSwitch,
    /// Lead of the measuring network.
    #[serde(rename = "network_lead")]
    NetworkLead,
    /// Clips in the air.
    #[serde(rename = "open_leads")]
    OpenLeads,
    /// Clips on the asset instead of on each other.
    #[serde(rename = "asset_path")]
    AssetPath,
    /// Hold key.
    #[serde(rename = "hold")]
    Hold,
    /// Zero key.
    #[serde(rename = "relative")]
    Relative,
    /// Milliampere jack.
    #[serde(rename = "milliampere_jack")]
    MilliampereJack,
    /// The measuring network.
    #[serde(rename = "network")]
    Network,
    /// HI and LO of the multimeter, over a data cable that does not isolate.
    #[serde(rename = "hi_lo")]
    HiLo,
    /// A range that is too low.
    #[serde(rename = "low_range")]
    LowRange,
    /// Test voltage of the insulation tester.
    #[serde(rename = "test_voltage")]
    TestVoltage,
    /// Label of the neighbouring asset.
    #[serde(rename = "neighbour")]
    Neighbour,
}

/// One slip: at a step of the plan, at an expanded step, at `null` or at `close_scan`.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(try_from = "Written")]
pub struct Slip {
    /// Where: `leak/2`, `leak`, `null`, `close_scan`.
    pub at: String,
    /// How.
    pub does: Does,
    /// What.
    pub what: What,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    at: String,
    does: Does,
    what: What,
}

/// The pairs that mean something.
const PAIRS: &[(Does, What)] = &[
    (Does::Forgets, What::S5),
    (Does::Forgets, What::S7),
    (Does::Forgets, What::Direction),
    (Does::Forgets, What::Probe),
    (Does::Forgets, What::Null),
    (Does::Forgets, What::DataCable),
    (Does::Forgets, What::AssetSwitch),
    (Does::Forgets, What::NetworkLead),
    (Does::Forgets, What::TestVoltage),
    (Does::Loses, What::Probe),
    (Does::Slips, What::Probe),
    (Does::Nulls, What::OpenLeads),
    (Does::Nulls, What::AssetPath),
    (Does::Presses, What::Hold),
    (Does::Presses, What::Relative),
    (Does::Plugs, What::MilliampereJack),
    (Does::Bypasses, What::Network),
    (Does::Swaps, What::HiLo),
    (Does::Sets, What::LowRange),
    (Does::Sets, What::TestVoltage),
    (Does::Scans, What::Neighbour),
];

impl TryFrom<Written> for Slip {
    type Error = String;

    fn try_from(written: Written) -> Result<Slip, String> {
        let Written { at, does, what } = written;
        if PAIRS.contains(&(does, what)) {
            return Ok(Slip { at, does, what });
        }
        let known: Vec<String> = PAIRS
            .iter()
            .filter(|(other, _)| *other == does)
            .map(|(_, what)| format!("{what:?}"))
            .collect();
        Err(format!("nobody {does:?} {what:?}; with this verb go {}", known.join(", ")))
    }
}

impl Slip {
    /// Whether it happens at this expanded step, which belongs to this step of the plan.
    #[must_use]
    pub fn is_at(&self, step: &str, of: &str) -> bool {
        self.at == step || self.at == of
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_pairs_that_mean_something_are_slips() {
        let slip = |does: &str, what: &str| {
            toml::from_str::<Slip>(&format!("at = 'x'\ndoes = '{does}'\nwhat = '{what}'"))
        };
        assert!(slip("forgets", "S5").is_ok());
        assert!(slip("scans", "neighbour").is_ok());
        assert!(slip("scans", "S5").unwrap_err().to_string().contains("Neighbour"));
        assert!(slip("forgets", "lunch").is_err());
    }
}
