//! Work orders, as other programs ask for inspections.

use alloc::string::String;

use serde::{Deserialize, Serialize};

/// Somebody wants an asset to be inspected.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct OrderFact {
    /// Its number, given by who asks.
    pub order: String,
    /// Asset.
    pub asset: String,
    /// `acceptance scheduled after_repair other`.
    pub reason: String,
    /// Day by which it is wanted, `2026-11-30`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wanted_by: Option<String>,
    /// Remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remark: Option<String>,
    /// Name of the file that it came in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file: Option<String>,
    /// SHA-256 of that file, hex.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sha256: Option<String>,
}

impl OrderFact {
    /// The same is asked for, in whichever file it came.
    #[must_use]
    pub fn asks_the_same(&self, other: &OrderFact) -> bool {
        let asked = |one: &OrderFact| OrderFact { file: None, sha256: None, ..one.clone() };
        asked(self) == asked(other)
    }
}

/// What came of an order.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct OrderEndFact {
    /// Its number.
    pub order: String,
    /// Inspection that was made for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inspection: Option<String>,
    /// The verdict of that inspection, or why it was not measured through; `withdrawn`.
    pub outcome: String,
    /// Nothing more is to be done for it.
    pub closed: bool,
    /// Why, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}
