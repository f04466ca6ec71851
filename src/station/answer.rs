//! What comes back for a command.

use serde::{Deserialize, Serialize};

use super::changes::Changes;

/// What came of a command.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answer {
    /// Last line that it caused.
    pub seq: u64,
    /// Inspection that it opened or concerns.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// What to say, a key of the words file, with its values.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub say: Vec<String>,
    /// What to know before going on, each as in `say`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub besides: Vec<Vec<String>>,
    /// Outcome, when it was signed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outcome: Option<String>,
    /// What a file changed in the register, or would.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub changes: Option<Box<Changes>>,
}

/// Why a command was not done (RFC 9457 `code`, `detail`, `next`).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Problem {
    /// `bad_input not_found conflict halted forbidden`, or a word of the reasons.
    pub code: String,
    /// What is the matter, in words.
    pub detail: String,
    /// What to do next, in words.
    pub next: String,
}
