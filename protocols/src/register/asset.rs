//! The equipment under inspection.

use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};

/// Protection class.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Class {
    /// Class I: protective earth.
    I,
    /// Class II: double or reinforced insulation.
    II,
    /// Class III: safety extra-low voltage.
    III,
    /// Internally powered.
    #[serde(rename = "internal")]
    Internal,
    /// An ME system.
    #[serde(rename = "system")]
    System,
}

/// How the asset is connected to the mains.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cord {
    /// Non-detachable cord.
    Fixed,
    /// Detachable cord at an inlet.
    Detachable,
    /// Permanently installed.
    Installed,
    /// No mains connection.
    None,
}

/// Type of an applied part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum PartType {
    /// Type B.
    B,
    /// Type BF.
    BF,
    /// Type CF.
    CF,
}

/// A group of patient connections with one function.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AppliedPart {
    /// Name of the group.
    pub name: String,
    /// Its type.
    #[serde(rename = "type")]
    pub part_type: PartType,
    /// How many connections it has, 1 to 64.
    pub connections: u8,
}

/// A plan step that the maker excludes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Excluded {
    /// Step of the plan.
    pub step: String,
    /// The maker's reason.
    pub reason: String,
}

/// The equipment under inspection.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Asset {
    /// Asset number; never begins with `.TL-`.
    pub id: String,
    /// What it is.
    pub description: String,
    /// Maker.
    pub maker: String,
    /// Model.
    pub model: String,
    /// Serial number.
    pub serial: String,
    /// Device identifier of its UDI, as its label says: 14 digits, or a HIBC or ISBT 128 one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub udi_di: Option<String>,
    /// Its GIAI, or its GRAI with serial number, as its label says, without the identifier.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub giai: Option<String>,
    /// Location path, `North/3/B`.
    pub location: String,
    /// Owner.
    pub owner: String,
    /// Protection class.
    pub class: Class,
    /// It has a functional earth.
    pub functional_earth: bool,
    /// Mains connection.
    pub cord: Cord,
    /// Detachable cords kept with it, each an identity.
    pub cords: Vec<String>,
    /// Rated mains voltage in volts, a decimal.
    pub rated_volts: Option<String>,
    /// Rated mains current in amperes, a decimal.
    pub rated_amps: Option<String>,
    /// Length of its mains cord in metres, a decimal; some limits grow with it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cord_metres: Option<String>,
    /// Its heating power in kilowatts, a decimal; some limits grow with it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub heating_kw: Option<String>,
    /// It has a switching supply.
    pub switching_supply: bool,
    /// Protectively earthed accessible points, by name.
    pub earthed_points: Vec<String>,
    /// Accessible conductive parts that are not protectively earthed, by name.
    pub accessible_parts: Vec<String>,
    /// Applied parts as groups.
    pub applied_parts: Vec<AppliedPart>,
    /// Operating states, by name.
    pub states: Vec<String>,
    /// Standard and edition it was built to, `IEC 60601-1:2005`.
    pub built_to: String,
    /// Its own plan, if it has one.
    pub plan: Option<String>,
    /// ISO 8601 interval between inspections, `P12M`.
    pub interval: Option<String>,
    /// Next due date, `2026-11-30`.
    pub due: Option<String>,
    /// Steps that the maker excludes.
    pub excluded: Vec<Excluded>,
}
