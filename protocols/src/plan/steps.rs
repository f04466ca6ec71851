//! What a plan becomes for one asset: the exact list of steps, fixed when an inspection opens.

use alloc::collections::BTreeMap;
use alloc::string::String;

use serde::{Deserialize, Serialize};

/// A switch of a supply box, in the letters of IEC 60601-1 Annex F.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Switch {
    /// One supply conductor: `closed`, `open`.
    S1,
    /// Polarity: `normal`, `reversed`.
    S5,
    /// Protective earth: `closed`, `open`.
    S7,
    /// Functional earth: `closed`, `open`.
    S10,
    /// Supply: `on`, `off`.
    #[serde(rename = "supply")]
    Supply,
    /// Lever of the known test current: `off`, `plus`, `minus`. No plan sets it: it is moved for
    /// the proof alone, while the asset is energised.
    #[serde(rename = "test")]
    Test,
    /// Where the probe of a network of IEC 60990 lies: on the `part`, or on the `earth` of the
    /// supply box. No switch of a box, and no plan sets it: it is moved for the proof alone.
    #[serde(rename = "probe")]
    Probe,
}

impl Switch {
    /// The words of its positions, position of rest first.
    #[must_use]
    pub fn words(self) -> &'static [&'static str] {
        match self {
            Switch::S1 | Switch::S7 | Switch::S10 => &["closed", "open"],
            Switch::S5 => &["normal", "reversed"],
            Switch::Supply => &["off", "on"],
            Switch::Test => &["off", "plus", "minus"],
            Switch::Probe => &["part", "earth"],
        }
    }

    /// Its letter as the standard writes it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Switch::S1 => "S1",
            Switch::S5 => "S5",
            Switch::S7 => "S7",
            Switch::S10 => "S10",
            Switch::Supply => "supply",
            Switch::Test => "test",
            Switch::Probe => "probe",
        }
    }
}

/// A condition: settings of switches, by the words `closed open normal reversed on off`.
pub type Settings = BTreeMap<Switch, String>;

/// Direction of a dc measuring current.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Direction {
    /// One way.
    Plus,
    /// The other way.
    Minus,
    /// An ac meter has none.
    None,
}

/// One value to be captured, or one thing to be answered. `of` names the plan's step, on which
/// the verdict stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Expanded {
    /// `pe/1`, in the order of `each`, last axis fastest, sweep innermost; `look` where a step
    /// has no repetition axes and no value.
    pub step: String,
    /// The plan's step.
    pub of: String,
    /// Earthed point, accessible part, cord, connection or inlet, by name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub point: Option<String>,
    /// Applied part, by name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part: Option<String>,
    /// Operating state, by name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub state: Option<String>,
    /// Direction of the measuring current.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub direction: Option<Direction>,
    /// Condition: fixed and walked switches together.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub set: Settings,
    /// Method word that applies to this asset.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub method: Option<String>,
    /// Instrument or setup that this bench uses for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument: Option<String>,
    /// Lead set that it uses, where a null belongs to it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub leads: Option<String>,
    /// Limit row that applies.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<String>,
    /// Why it can't start, a word of the closed list of reasons: `fixture_missing`,
    /// `link_not_isolated`, `no_limit` …
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed: Option<String>,
}
