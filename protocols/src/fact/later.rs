//! What happens to an inspection after its seal: addenda, each a sealed book of its own.

use alloc::boxed::Box;
use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};

use super::Word;
use crate::register::Asset;

/// Which inspection a book adds to, as it stood then: second line of every addendum.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AddendumFact {
    /// The inspection.
    pub of: String,
    /// SHA-256 of the inspection's book, hex.
    pub head: String,
    /// The book that this one follows: the inspection, or its addendum before.
    pub follows: String,
    /// SHA-256 of that book, hex.
    pub follows_head: String,
    /// Asset that it was about until then.
    pub asset: String,
}

/// Somebody else looked through the inspection.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReviewFact {
    /// It stands as it is.
    pub accepted: bool,
    /// What there is to say of it; why it was rejected.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remark: Option<String>,
}

/// A part of the record was put right.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AmendFact {
    /// `typing_error wrong_data missed_in_record wrong_answer wrong_capture other`.
    pub reason: String,
    /// Why, in words of at least 10 characters.
    pub text: String,
    /// What was put right.
    pub fields: Vec<Amended>,
    /// Second person.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second: Option<String>,
    /// Its label has to be printed anew.
    pub label: bool,
}

/// A field before and after.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Amended {
    /// `location`, `owner`, `tag`, `remark`, `answer/STEP/ITEM`, `value/SEQ`.
    pub field: String,
    /// What stood there; absent: nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub before: Option<String>,
    /// What stands there now.
    pub after: String,
}

/// It was another asset that was inspected.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReattachFact {
    /// Asset that the record named.
    pub from: String,
    /// The one that was inspected, as it is registered now.
    pub to: Box<Asset>,
    /// How that was found, in words of at least 10 characters.
    pub text: String,
    /// In what that one differs so that the inspection can't count for it; empty: it can.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub differs: Vec<String>,
    /// Second person: without one it counts for the other asset once it was reviewed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second: Option<String>,
}

/// What an inspection is since an addendum to it was sealed, for lists.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Later {
    /// `reviewed rejected amended reattached released`.
    pub state: String,
    /// What it comes to now.
    pub outcome: Word,
    /// Asset that it is about now.
    pub asset: String,
    /// It is about that asset since it was reattached: whether it was made by the plan that this
    /// one is to be inspected by.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by_its_plan: Option<bool>,
}
