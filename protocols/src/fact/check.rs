//! What a check standard showed.

use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};
use tapline_drivers::{Function, Unit};

use super::ReadingId;
use crate::amount::Amount;

/// An instrument was held against a check standard: a point of its chart.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CheckFact {
    /// Bench.
    pub bench: String,
    /// Check standard.
    pub standard: String,
    /// Number of its certificate.
    pub certificate: String,
    /// Instrument that read.
    pub instrument: String,
    /// Instrument that is judged by it, where that is another one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub of: Option<String>,
    /// Its function.
    pub function: Function,
    /// `above overload` where the instrument showed no end; left out for a value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub indication: Option<String>,
    /// What it showed farthest from the certificate, digits as sent; left out for an overload.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<String>,
    /// Unit of the value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// What the certificate says; absent: an open end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub want: Option<Amount>,
    /// Farthest that it may be from that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub room: Option<Amount>,
    /// It is within the room.
    pub ok: bool,
    /// Readings, in the book of idle bytes.
    pub from: Vec<ReadingId>,
}

impl CheckFact {
    /// The instrument that is judged.
    #[must_use]
    pub fn judged(&self) -> &str {
        self.of.as_deref().unwrap_or(&self.instrument)
    }
}
