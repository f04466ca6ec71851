//! What plans ask of the tables of limits.

use alloc::string::String;
use alloc::vec::Vec;

use crate::register::{Class, Kind, PartType};

/// What selects a limit, as a step of a plan and an asset give it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LimitKey<'a> {
    /// Standard.
    pub standard: &'a str,
    /// Edition.
    pub edition: &'a str,
    /// Measurand.
    pub measurand: &'a str,
    /// Method.
    pub method: &'a str,
    /// Protection class.
    pub class: Class,
    /// Type of the applied part; `None` where none plays a part.
    pub applied_part: Option<PartType>,
    /// `normal`, or `single_fault` where a conductor is opened.
    pub condition: &'a str,
    /// Alternating or direct.
    pub kind: Kind,
}

/// A row of a table, as far as a plan is concerned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Its id.
    pub id: String,
    /// The limit in words: `at most 0.300 Ohm`.
    pub text: String,
    /// Larger is worse.
    pub is_maximum: bool,
    /// `two_sources one_source memory confirmed_here`.
    pub confidence: String,
}

/// Tables of limits.
pub trait Limits {
    /// Every row that a key selects: one where all is well.
    fn rows(&self, key: &LimitKey<'_>) -> Vec<Row>;
}
