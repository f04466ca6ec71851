//! The people who inspect.

use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};

/// A competence with its expiry.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Competence {
    /// `inspect` or `live_work`.
    pub what: String,
    /// Valid until, `2027-12-31`.
    pub until: String,
}

/// A person who inspects.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Operator {
    /// `op-7`.
    pub id: String,
    /// Name.
    pub name: String,
    /// Badge code.
    pub badge: String,
    /// Competences.
    #[serde(default)]
    pub competence: Vec<Competence>,
}
