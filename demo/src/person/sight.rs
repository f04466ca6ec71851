//! What the person sees: the station's page, the asset's indicator, the meter's display.

use std::collections::BTreeMap;

use serde::Deserialize;

/// One bench as the station shows it, with what the eyes see besides. Unknown keys are passed
/// over: the page says more than a person needs.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
#[serde(default)]
pub struct Sight {
    /// Who is logged in.
    pub operator: Option<String>,
    /// The asset that was scanned, nothing open.
    pub selected: Option<Selected>,
    /// The open inspection.
    pub inspection: Option<Open>,
    /// The asset's own indicator is lit.
    pub lit: bool,
    /// What the voltmeter of the isolated source shows, volts.
    pub source: String,
    /// The low-resistance meter shows an open circuit.
    pub ol: bool,
}

/// A selected asset.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Selected {
    /// Its number.
    pub asset: String,
}

/// An open inspection.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Open {
    /// Asset number.
    pub asset: String,
    /// What is to be done now.
    pub prompt: Asked,
}

/// What the station asks for.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    /// A word: `arm measure connect …`.
    pub state: String,
    /// Active expanded step.
    pub step: Option<String>,
    /// The plan's step.
    pub of: Option<String>,
    /// Line that an act refers to.
    pub seq: Option<u64>,
    /// Switches to be set.
    pub set: BTreeMap<String, String>,
    /// How the leads lie: a key of the station's words.
    pub lead: Option<String>,
    /// Point of the asset.
    pub point: Option<String>,
    /// Applied part.
    pub part: Option<String>,
    /// Direction of the measuring current.
    pub direction: Option<String>,
    /// What is missing.
    pub missing: Vec<String>,
    /// Why the last null or proof was not accepted.
    pub refused: Option<String>,
}
