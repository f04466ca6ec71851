//! Judgements.

use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};
use tapline_drivers::Unit;

/// A step was judged.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct VerdictFact {
    /// The plan's step.
    pub step: String,
    /// What was judged.
    #[serde(flatten)]
    pub judged: Judged,
}

/// A judgement: what `judge` prints, and what a verdict line holds besides its step.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Judged {
    /// Measurand; absent for looks, tries and asks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measurand: Option<String>,
    /// Method.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub method: Option<String>,
    /// `above below overload none`; left out for a value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub indication: Option<String>,
    /// Exact value, a decimal or a fraction `106260/226`.
    pub value: Option<String>,
    /// Unit.
    pub unit: Option<Unit>,
    /// What people see.
    pub shown: Option<String>,
    /// `seq` of the values or answers it rests on.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub from: Vec<u64>,
    /// Corrections with their inputs.
    #[serde(default)]
    pub chain: Vec<ChainLink>,
    /// The limit.
    pub limit: Option<LimitUsed>,
    /// Decision rule: `simple guard_band guard_band_zones`.
    pub rule: Option<String>,
    /// Value as a share of the limit, percent.
    pub share: Option<String>,
    /// Uncertainty, null without accuracy.
    pub uncertainty: Option<UncertaintyUsed>,
    /// Conformance probability, null without accuracy.
    pub probability: Option<String>,
    /// The word.
    pub verdict: Word,
    /// Closed words.
    pub reasons: Vec<String>,
}

/// The word of a verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Word {
    /// Conforms.
    Pass,
    /// Within the limit, inside the guard band.
    ConditionalPass,
    /// Beyond the limit, inside the guard band.
    ConditionalFail,
    /// Does not conform.
    Fail,
    /// Nothing can be said.
    Undecided,
}

/// One correction.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ChainLink {
    /// `certificate lead_null network mains_scaling temperature largest_magnitude smallest`.
    #[serde(rename = "do")]
    pub what: String,
    /// Inputs.
    pub of: Vec<String>,
    /// What was subtracted.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub minus: Vec<String>,
    /// What was multiplied by: `230/226`, `1/1000`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub times: Option<String>,
    /// Temperature that the value was taken at, degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<String>,
    /// Temperature that it was reckoned to, degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<String>,
    /// What nobody measured and was assumed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub assumed: Option<String>,
    /// What was read of each input as direct current, in its own unit as sent; `none` of those
    /// where nothing was, `overload` where it was more than the meter reads.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub direct: Vec<String>,
    /// Lines it rests on.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub from: Vec<u64>,
    /// Results; absent where the link picks from `of`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gives: Vec<String>,
    /// Unit of the results where it changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
}

/// The limit that was used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LimitUsed {
    /// Row.
    pub id: String,
    /// Value.
    pub value: String,
    /// Unit.
    pub unit: Unit,
    /// `max` or `min`.
    pub direction: String,
    /// The limit itself conforms.
    pub inclusive: bool,
    /// Standard.
    pub standard: String,
    /// Edition.
    pub edition: String,
    /// Clause.
    pub clause: String,
    /// `two_sources one_source memory confirmed_here`.
    pub confidence: String,
    /// `standard site maker`.
    pub layer: String,
    /// How it was computed, and who approved it over the standard's, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub how: Option<String>,
    /// SHA-256 of the table, hex.
    pub table: String,
}

/// Uncertainty of a value.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct UncertaintyUsed {
    /// Standard uncertainty, in the unit of the value.
    pub u: String,
    /// Coverage factor.
    pub k: String,
    /// Expanded uncertainty.
    pub expanded: String,
    /// Effective degrees of freedom at the limit, where they are limited.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub freedom: Option<String>,
    /// What it is made of, where that is more than the meter's accuracy for value and null.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<UncertaintyPart>,
}

/// A contribution to an uncertainty.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct UncertaintyPart {
    /// `accuracy null network scatter certificate`.
    pub of: String,
    /// Its standard uncertainty, in the unit of the value.
    pub u: String,
}
