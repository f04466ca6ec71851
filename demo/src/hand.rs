//! What hands do at the bench, one JSON object an act: the words of the control channel.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use tapline_drivers::Function;

use crate::circuit::value;
use crate::room::{Clips, Jack, Laid, Room, Way};

/// An instrument with keys.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Meter {
    /// The low-resistance meter.
    Ohm,
    /// The multimeter.
    Dmm,
    /// The insulation tester.
    Iso,
}

/// A key of an instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Key {
    /// The display stands still.
    Hold,
    /// The display shows the difference to now.
    Relative,
}

/// One act of the hands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "do", rename_all = "snake_case", deny_unknown_fields)]
pub enum Hand {
    /// Moves switches of the supply box: S1 S7 S10 `closed open`, S5 `normal reversed`, supply
    /// `on off`.
    Switch {
        /// Switches and where to.
        set: BTreeMap<String, String>,
    },
    /// The asset's plug into the box or out.
    Plug {
        /// In the box.
        plugged: bool,
    },
    /// The asset's plug into an outlet of the wall, past the box, or out.
    Wall {
        /// In the wall.
        plugged: bool,
    },
    /// The asset's own switch.
    Asset {
        /// On.
        on: bool,
    },
    /// Clips of the low-resistance meter, points by the asset's names.
    Clips {
        /// Where to.
        to: Clips,
    },
    /// Another lead pair at the low-resistance meter, such as `0.1 Ohm`; `null`: the bench's own.
    Leads {
        /// Its resistance.
        ohm: Option<String>,
    },
    /// Function switch of the multimeter, turned by hand.
    Turn {
        /// Where to.
        to: Function,
    },
    /// Direction of its measuring current.
    Way {
        /// Where to.
        to: Way,
    },
    /// The cord.
    Flex {
        /// Being flexed.
        on: bool,
    },
    /// Lead of the measuring network, to a point by the asset's names; `null`: in the air.
    Lead {
        /// Where to.
        to: Option<String>,
    },
    /// Switch of the isolated source.
    Source {
        /// On.
        on: bool,
    },
    /// A second path from the case to earth, such as `1 Ohm`; `null`: taken away.
    SecondEarth {
        /// Its resistance.
        ohm: Option<String>,
    },
    /// Jack of the multimeter.
    Jack {
        /// Where to.
        to: Jack,
    },
    /// A wire across the input of the network.
    Bypass {
        /// Lies there.
        on: bool,
    },
    /// HI and LO of the multimeter, and whether its data cable isolates.
    Swap {
        /// Exchanged.
        on: bool,
        /// The data cable isolates.
        isolated: bool,
    },
    /// A key of an instrument.
    Press {
        /// Instrument.
        meter: Meter,
        /// Key.
        key: Key,
        /// On.
        on: bool,
    },
    /// Range of the multimeter's ac voltage by hand, such as `0.12 V`; `null`: by itself.
    Range {
        /// Range end.
        volts: Option<String>,
    },
    /// The key of the insulation tester that puts its voltage out.
    Tester {
        /// Pressed in.
        on: bool,
    },
    /// Clips of the insulation tester, points by the asset's names, `mains` or `PE`.
    TesterClips {
        /// Where to.
        to: Laid,
    },
    /// Another voltage of the insulation tester, such as `250 V`; `null`: its 500 V.
    TesterVolts {
        /// The voltage.
        volts: Option<String>,
    },
    /// Scans a code, without its suffix.
    Scan {
        /// At most 4 096 bytes.
        code: String,
    },
}

impl Room {
    /// Moves what an act moves. `node` finds the node of a point by the asset's name.
    ///
    /// # Errors
    /// An unknown switch or position, or a value that can't be read.
    pub fn act(&mut self, hand: &Hand, node: impl Fn(&str) -> String) -> Result<(), String> {
        match hand {
            Hand::Switch { set } => self.switches(set)?,
            Hand::Plug { plugged } => self.plugged = *plugged,
            Hand::Wall { plugged } => self.wall = *plugged,
            Hand::Asset { on } => self.asset_on = *on,
            Hand::Clips { to: Clips::On(point) } => self.clips = Clips::On(node(point)),
            Hand::Clips { to: Clips::Same(point) } => self.clips = Clips::Same(node(point)),
            Hand::Clips { to } => self.clips = to.clone(),
            Hand::Leads { ohm } => self.leads_ohm = amount(ohm.as_deref(), "Ohm")?,
            Hand::Way { to } => self.way = *to,
            Hand::Flex { on } => self.flexed = *on,
            Hand::Lead { to } => self.network_lead = to.as_deref().map(node),
            Hand::Source { on } => self.source_on = *on,
            Hand::SecondEarth { ohm } => self.second_earth_ohm = amount(ohm.as_deref(), "Ohm")?,
            Hand::Jack { to } => self.jack = *to,
            Hand::Bypass { on } => self.network_bypassed = *on,
            Hand::Swap { on, isolated } => {
                self.swapped = *on;
                self.isolated = *isolated;
            }
            Hand::Press { meter: Meter::Ohm, key: Key::Hold, on } => self.ohm_hold = *on,
            Hand::Press { meter: Meter::Ohm, key: Key::Relative, on } => self.ohm_relative = *on,
            Hand::Press { meter: Meter::Dmm, key: Key::Hold, on } => self.dmm_hold = *on,
            Hand::Press { meter: Meter::Iso, key: Key::Hold, on } => self.tester_hold = *on,
            Hand::Press { key: Key::Relative, .. } => {
                return Err("this instrument has no zero key".to_owned());
            }
            Hand::Range { volts } => self.dmm_range_volts = amount(volts.as_deref(), "V")?,
            Hand::Tester { on } => self.tester_on = *on,
            Hand::TesterClips { to: Laid::Between(one, other) } => {
                let at = |point: &str| match point {
                    "mains" => "L".to_owned(),
                    "PE" => "PE".to_owned(),
                    point => node(point),
                };
                self.tester_clips = Laid::Between(at(one), at(other));
            }
            Hand::TesterClips { to } => self.tester_clips = to.clone(),
            Hand::TesterVolts { volts } => self.tester_volts = amount(volts.as_deref(), "V")?,
            Hand::Scan { .. } | Hand::Turn { .. } => {}
        }
        Ok(())
    }

    fn switches(&mut self, set: &BTreeMap<String, String>) -> Result<(), String> {
        let mut next = self.clone();
        for (switch, to) in set {
            match (switch.as_str(), to.as_str()) {
                ("S1", "closed" | "open") => next.s1_open = to == "open",
                ("S5", "normal" | "reversed") => next.s5_reversed = to == "reversed",
                ("S7", "closed" | "open") => next.s7_open = to == "open",
                ("S10", "closed" | "open") => next.s10_open = to == "open",
                ("supply", "on" | "off") => next.supply_on = to == "on",
                _ => {
                    return Err(format!(
                        "no switch `{switch}` goes to `{to}`: S1 S7 S10 closed open, \
                         S5 normal reversed, supply on off"
                    ));
                }
            }
        }
        *self = next;
        Ok(())
    }
}

fn amount(text: Option<&str>, unit: &'static str) -> Result<Option<f64>, String> {
    text.map(|text| value(text, unit).map_err(|unknown| unknown.to_string())).transpose()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn act(room: &mut Room, json: &str) -> Result<(), String> {
        let hand: Hand = serde_json::from_str(json).unwrap();
        room.act(&hand, |point| if point == "rail" { "rail".into() } else { "case".into() })
    }

    #[test]
    fn each_act_moves_what_it_names() {
        let mut room = Room::default();
        for json in [
            r#"{"do":"switch","set":{"S5":"reversed","S7":"open","supply":"on"}}"#,
            r#"{"do":"plug","plugged":true}"#,
            r#"{"do":"clips","to":{"on":"rail"}}"#,
            r#"{"do":"way","to":"minus"}"#,
            r#"{"do":"lead","to":"case screw"}"#,
            r#"{"do":"second_earth","ohm":"1 Ohm"}"#,
            r#"{"do":"press","meter":"ohm","key":"relative","on":true}"#,
            r#"{"do":"range","volts":"0.12 V"}"#,
        ] {
            act(&mut room, json).unwrap();
        }
        assert!(room.supply_on && room.s5_reversed && room.s7_open && room.plugged);
        assert_eq!(room.clips, Clips::On("rail".to_owned()));
        assert_eq!((room.way, room.network_lead.as_deref()), (Way::Minus, Some("case")));
        assert_eq!((room.second_earth_ohm, room.dmm_range_volts), (Some(1.0), Some(0.12)));
        act(&mut room, r#"{"do":"clips","to":"shorted"}"#).unwrap();
        assert_eq!(room.clips, Clips::Shorted);
    }

    #[test]
    fn a_wrong_position_moves_nothing() {
        let mut room = Room::default();
        let wrong = r#"{"do":"switch","set":{"S5":"reversed","S7":"half"}}"#;
        assert!(act(&mut room, wrong).unwrap_err().contains("closed open"));
        assert_eq!(room, Room::default());
        assert!(serde_json::from_str::<Hand>(r#"{"do":"dance"}"#).is_err());
    }
}
