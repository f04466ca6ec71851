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

/// Whose the asset is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ownership {
    /// The hospital's own.
    Hospital,
    /// Lent to it.
    Loaner,
    /// Rented.
    Rented,
    /// Given to it.
    Donated,
    /// A patient's own.
    PatientOwned,
}

impl Ownership {
    /// It goes back to whoever owns it.
    #[must_use]
    pub fn goes_back(self) -> bool {
        matches!(self, Ownership::Loaner | Ownership::Rented | Ownership::PatientOwned)
    }
}

/// How much harm a fault of the asset does, by the workshop's own judgement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Risk {
    /// Grave.
    High,
    /// Between the two.
    Medium,
    /// Little.
    Low,
}

/// A plan step that the maker excludes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Excluded {
    /// Step of the plan.
    pub step: String,
    /// The maker's reason.
    pub reason: String,
}

/// What a record has to say of its asset besides its number and what it is: IEC 62353:2014, 6.1 and
/// the form of Annex G (from memory). None of it is needed to measure, so that a list may leave
/// it out; nothing is signed without it.
pub const DOCUMENTED: [&str; 4] = ["maker", "model", "serial", "owner"];

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
    /// Location path, the widest place first: `North/2/ICU/bed 4`.
    pub location: String,
    /// Owner, in words.
    pub owner: String,
    /// Whose it is, where that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ownership: Option<Ownership>,
    /// Day on which it goes back to its owner, `2026-11-30`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub return_by: Option<String>,
    /// How much harm a fault of it does.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub risk: Option<Risk>,
    /// First day on which it is out of use for good: it is due no more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retired: Option<String>,
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

impl Asset {
    /// A field of [`DOCUMENTED`].
    pub fn documented(&mut self, column: &str) -> Option<&mut String> {
        match column {
            "maker" => Some(&mut self.maker),
            "model" => Some(&mut self.model),
            "serial" => Some(&mut self.serial),
            "owner" => Some(&mut self.owner),
            _ => None,
        }
    }

    /// Those of [`DOCUMENTED`] that nobody said.
    #[must_use]
    pub fn undocumented(&self) -> Vec<&'static str> {
        let fields = [&self.maker, &self.model, &self.serial, &self.owner];
        let said = DOCUMENTED.into_iter().zip(fields);
        said.filter(|(_, text)| text.trim().is_empty()).map(|(column, _)| column).collect()
    }

    /// With what another entry of the same asset says where this one says nothing of
    /// [`DOCUMENTED`]; whatever a plan or a verdict follows from stays.
    #[must_use]
    pub fn filled_from(&self, known: &Asset) -> Asset {
        let (mut filled, mut known) = (self.clone(), known.clone());
        for column in self.undocumented() {
            if let (Some(field), Some(text)) = (filled.documented(column), known.documented(column))
            {
                field.clone_from(text);
            }
        }
        filled
    }

    /// It is out of use for good on a day, `2026-11-30`.
    #[must_use]
    pub fn is_retired(&self, day: &str) -> bool {
        self.retired.as_deref().is_some_and(|retired| retired <= day)
    }

    /// It lies in a place or in one within it: `North/2/ICU/bed 4` lies in `North/2` and not in
    /// `North/21`. Every asset lies in the place without a name.
    #[must_use]
    pub fn lies_in(&self, place: &str) -> bool {
        lies_in(&self.location, place)
    }
}

/// A location lies in a place or in one within it.
#[must_use]
pub fn lies_in(location: &str, place: &str) -> bool {
    let mut parts = parts(location);
    self::parts(place).all(|part| parts.next() == Some(part))
}

/// The first part of a location, `North` of `North/2/ICU`; empty where it has none.
#[must_use]
pub fn top(location: &str) -> &str {
    parts(location).next().unwrap_or_default()
}

/// The parts of a location path, blanks around them and empty ones taken off.
fn parts(path: &str) -> impl Iterator<Item = &str> {
    path.split('/').map(str::trim).filter(|part| !part.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::register::read_assets;

    #[test]
    fn a_place_holds_what_lies_in_it_and_not_its_neighbour() {
        let text = include_str!("../../../contrib/example/assets.csv");
        let asset = read_assets(text).unwrap().remove(0);
        let at = |location: &str| Asset { location: location.into(), ..asset.clone() };
        for place in ["", "/", "North", "North/2", " North / 2 /ICU/", "North/2/ICU/bed 4"] {
            assert!(at("North/2/ICU/bed 4").lies_in(place), "{place}");
        }
        for place in ["North/21", "North/2/ICU/bed 4/left", "2", "north", "South"] {
            assert!(!at("North/2/ICU/bed 4").lies_in(place), "{place}");
        }
        assert!(at("").lies_in("") && !at("").lies_in("North"));
    }

    #[test]
    fn an_asset_is_retired_from_its_day_on() {
        let text = include_str!("../../../contrib/example/assets.csv");
        let asset = read_assets(text).unwrap().remove(0);
        let asset = Asset { retired: Some("2026-11-30".into()), ..asset };
        let days = ["2026-11-29", "2026-11-30", "2027-01-01"];
        assert_eq!(days.map(|day| asset.is_retired(day)), [false, true, true]);
        assert!(!Asset { retired: None, ..asset }.is_retired("2027-01-01"));
    }
}
