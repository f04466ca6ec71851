//! Supply boxes, networks, leads: what stands between instrument and asset.

use alloc::collections::BTreeMap;
use alloc::string::String;

use serde::{Deserialize, Serialize};

use crate::amount::Amount;

/// What a fixture is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FixtureKind {
    /// Supply box with switches.
    SupplyBox,
    /// Measuring network of IEC 60601-1 Figure 12.
    NetworkFig12,
    /// Measuring network of IEC 60990 Figure 4, with the terminals U1 and U2.
    NetworkFig4,
    /// Isolated, current-limited source.
    IsolatedSource,
    /// Isolating transformer that gives 110 % of the rated voltage, adjustable.
    IsolatingTransformer,
    /// Voltmeter on the outlet.
    OutletVoltmeter,
    /// Foil.
    Foil,
    /// Saline.
    Saline,
}

/// How a condition is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Known {
    /// The operator says so.
    Declared,
    /// A code or a measurement that is possible only in that position.
    Revealed,
    /// Volt-free contacts or a second voltmeter saw it.
    Witnessed,
}

/// A fixture of the bench.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fixture {
    /// Its label, `SB-1`.
    pub id: String,
    /// What it is.
    pub what: FixtureKind,
    /// Inspection valid until.
    pub inspection_due: String,
    /// Rated residual current of its RCD, milliamperes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rcd_ma: Option<u32>,
    /// `all`: the supply switch opens all poles; `one` refuses the network proof.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub poles: Option<String>,
    /// Its switches (`S1 S5 S7 S10 supply test`) and the best each can give.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub switches: BTreeMap<String, Known>,
    /// The resistor that drives the known test current of a supply box from one supply conductor to
    /// the other, past the ammeter in one sense or the other: 40 kOhm to 2 MOhm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub test_resistance: Option<Amount>,
    /// How far that resistor may be off, percent, a decimal up to 5.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub test_tolerance_percent: Option<String>,
    /// Resistance in series with the voltmeter of a network, from its certificate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub r1: Option<Amount>,
    /// Resistance at the input of a network of IEC 60990 Figure 4, beside its capacitor, from its
    /// certificate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rs: Option<Amount>,
    /// Resistance of such a network between U1 and its return, from its certificate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rb: Option<Amount>,
    /// Input resistance of a network of IEC 60601-1 Figure 12, from its certificate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub r2: Option<Amount>,
    /// Number of the certificate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certificate: Option<String>,
}

/// Resistance of a lead set at commissioning, per direction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LeadReference {
    /// Current one way.
    pub plus: Amount,
    /// Current the other way.
    pub minus: Amount,
}

/// A lead set with identity.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lead {
    /// Its label, `L-1`.
    pub id: String,
    /// What it is, in words.
    pub what: String,
    /// Reference of commissioning; a null lies within 0.015 Ohm of it.
    pub reference: LeadReference,
}
