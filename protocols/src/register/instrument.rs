//! Bench instruments and setups.

use alloc::collections::BTreeMap;
use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};
use tapline_drivers::Function;

use crate::amount::Amount;
use crate::certificate::CalibrationPoint;

/// What an instrument could put on its terminals.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SourceClass {
    /// No more than a measuring current.
    None,
    /// Up to 24 V and 25 A.
    Low,
    /// Insulation, withstand, supplies, stimulators: listen-only.
    Hazardous,
    /// Not known: listen-only.
    Unknown,
}

/// Galvanic isolation of an instrument or its link.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum IsolationKind {
    /// Optical, with rated volts.
    Optical,
    /// None.
    None,
    /// Not known.
    Unknown,
}

/// Galvanic isolation with its rated voltage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Isolation {
    /// How it isolates.
    pub kind: IsolationKind,
    /// Rated voltage, volts; 0 where nothing is rated.
    #[serde(default)]
    pub volts: u32,
}

/// Alternating, direct or peak.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Alternating.
    Ac,
    /// Direct.
    Dc,
    /// The largest magnitude that it comes to.
    Peak,
}

/// Coverage of a stated accuracy.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Coverage {
    /// Nothing stated: rectangular.
    None,
    /// A normal distribution, two standard deviations.
    K2,
    /// A normal distribution, three standard deviations.
    K3,
    /// A normal distribution, 95 %.
    P95,
}

/// Stated accuracy: percent of the reading plus digits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Accuracy {
    /// Percent of the reading, a decimal.
    pub reading_percent: String,
    /// Counts of the last digit.
    pub digits: u32,
    /// Coverage stated with it.
    pub coverage: Coverage,
}

/// What overload means on a range.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Over {
    /// More than the range end.
    Above,
    /// Not known.
    #[default]
    Unknown,
}

/// What a range gives to the object measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Gives {
    /// Measuring current.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub test_current: Option<Amount>,
    /// Open-circuit voltage.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub open_circuit: Option<Amount>,
    /// Measuring voltage of insulation ranges.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub test_voltage: Option<Amount>,
    /// Alternating or direct: `peak` is what is read, never what is given.
    pub kind: Kind,
}

/// One measuring range.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Range {
    /// What it measures.
    pub function: Function,
    /// Range end.
    pub to: Amount,
    /// Step response time, milliseconds; without it the operator captures.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub response_ms: Option<u32>,
    /// Stated accuracy.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub accuracy: Option<Accuracy>,
    /// Resolution.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub resolution: Option<Amount>,
    /// What it gives to the object measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gives: Option<Gives>,
    /// What overload means.
    #[serde(default)]
    pub over: Over,
    /// True r.m.s., where it measures ac.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub true_rms: Option<bool>,
    /// Bandwidth, where it measures ac or peaks: a value of a peak needs 1 MHz.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bandwidth: Option<Amount>,
    /// Points of the calibration certificate. Readings are corrected by them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub calibration: Vec<CalibrationPoint>,
}

/// A bench instrument.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Instrument {
    /// Its label, `LR-01`.
    pub id: String,
    /// What it is, in words.
    pub what: String,
    /// Serial number.
    pub serial: String,
    /// What it could put on its terminals.
    pub source_class: SourceClass,
    /// Isolation of its data connection.
    pub isolation: Isolation,
    /// Calibration valid until, `2027-03-31`.
    pub calibration_due: String,
    /// Number of the certificate.
    pub certificate: String,
    /// Ranges.
    #[serde(default, rename = "range")]
    pub ranges: Vec<Range>,
}

/// The terminals of a network of IEC 60990 Figure 4 that its voltmeter is at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Output {
    /// Across the 500 ohm: not weighted.
    U1,
    /// Behind the weighting.
    U2,
}

/// A network with its voltmeter: one instrument with one calibration.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setup {
    /// Its label, `LK-1`.
    pub id: String,
    /// What it is, in words.
    pub what: String,
    /// The voltmeter, an instrument.
    pub meter: String,
    /// The network, a fixture.
    pub network: String,
    /// Its terminals, where it is one of IEC 60990 Figure 4.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub output: Option<Output>,
    /// The voltmeter's function.
    pub function: Function,
    /// Accuracy of the whole.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub accuracy: Option<Accuracy>,
    /// Ratio by frequency in hertz: information and calibration, never part of a verdict.
    #[serde(default)]
    pub ratio: BTreeMap<String, String>,
    /// Lowest valid indication.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lowest: Option<Amount>,
    /// Calibration valid until.
    pub calibration_due: String,
}
