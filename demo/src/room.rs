//! What hands can change at the bench: switches, plugs, clips, keys.

use serde::{Deserialize, Serialize};

/// Where the clips of the low-resistance meter are.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Clips {
    /// Both in the air, or one of them: nothing flows.
    #[default]
    Open,
    /// On each other: the meter sees its leads.
    Shorted,
    /// One on the plug's protective-earth pin, the other on this point of the asset.
    On(String),
    /// Both on this point of the asset: nothing but the leads, yet no null of them either.
    Same(String),
}

/// Where the clips of the insulation tester are.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Laid {
    /// One of them in the air.
    #[default]
    Open,
    /// Both on one metal point.
    Joined,
    /// On these two points; `mains` are both pins of the plug, joined, `PE` its earth contact.
    Between(String, String),
}

/// Direction switch of a dc measuring current.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Way {
    /// One way.
    #[default]
    Plus,
    /// The other way.
    Minus,
}

/// Which jack of the multimeter the measuring lead is in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Jack {
    /// Volts and ohms.
    #[default]
    Volts,
    /// Milliamperes: a shunt of 1 ohm across the leads.
    Milliampere,
}

/// The bench as the hands left it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Room {
    /// Supply switch of the box, all poles.
    pub supply_on: bool,
    /// S1: the neutral conductor is open.
    pub s1_open: bool,
    /// S5: poles exchanged.
    pub s5_reversed: bool,
    /// S7: protective earth of the outlet is open.
    pub s7_open: bool,
    /// S10: functional earth is open.
    pub s10_open: bool,
    /// The asset's plug is in the box.
    pub plugged: bool,
    /// The asset's plug is in an outlet of the wall instead, past the box.
    pub wall: bool,
    /// The asset's own switch is on.
    pub asset_on: bool,
    /// Resistance of a second path from the case to earth, ohm: a forgotten data cable.
    pub second_earth_ohm: Option<f64>,
    /// Node of the asset that the lead of the measuring network touches.
    pub network_lead: Option<String>,
    /// The isolated source is on.
    pub source_on: bool,
    /// A wire lies across the input of the network.
    pub network_bypassed: bool,
    /// HI and LO of the multimeter are exchanged.
    pub swapped: bool,
    /// The multimeter's data cable isolates.
    pub isolated: bool,
    /// Jack of the multimeter.
    pub jack: Jack,
    /// The multimeter's display is held.
    pub dmm_hold: bool,
    /// Range end of its ac voltage, set by hand, volt; `None`: it chooses.
    pub dmm_range_volts: Option<f64>,
    /// Clips of the low-resistance meter.
    pub clips: Clips,
    /// Resistance of the lead pair, ohm, where it is not the bench's own.
    pub leads_ohm: Option<f64>,
    /// The cord is being flexed.
    pub flexed: bool,
    /// Direction of its measuring current.
    pub way: Way,
    /// Its display is held.
    pub ohm_hold: bool,
    /// Its zero key is on.
    pub ohm_relative: bool,
    /// The insulation tester puts its voltage out.
    pub tester_on: bool,
    /// Where its clips are.
    pub tester_clips: Laid,
    /// Its voltage, where another one is chosen than the 500 V that it comes with, volt.
    pub tester_volts: Option<f64>,
    /// Its display is held.
    pub tester_hold: bool,
}

impl Default for Room {
    /// Everything off, unplugged and open, as a bench is left in the evening.
    fn default() -> Room {
        Room {
            supply_on: false,
            s1_open: false,
            s5_reversed: false,
            s7_open: false,
            s10_open: false,
            plugged: false,
            wall: false,
            asset_on: true,
            second_earth_ohm: None,
            network_lead: None,
            source_on: false,
            network_bypassed: false,
            swapped: false,
            isolated: true,
            jack: Jack::Volts,
            dmm_hold: false,
            dmm_range_volts: None,
            clips: Clips::Open,
            leads_ohm: None,
            flexed: false,
            way: Way::Plus,
            ohm_hold: false,
            ohm_relative: false,
            tester_on: false,
            tester_clips: Laid::Open,
            tester_volts: None,
            tester_hold: false,
        }
    }
}
