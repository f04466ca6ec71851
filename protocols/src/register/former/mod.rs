//! Values of an asset that were measured before the station was, from paper and spreadsheets: what
//! a person can still tell of them. They are compared for context alone: of how they came about
//! less is known than of any value that the station captured.

mod read;
#[cfg(test)]
mod tests;
mod write;

use alloc::format;
use alloc::string::String;

use crate::amount::Amount;
use crate::doubt::trend::Like;
use serde::{Deserialize, Serialize};

pub use read::{FORMER, FormerList, read_former};
pub use write::write_former;

/// A value of before. Whoever notes the same measurement anew puts it right: the newest line holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Former {
    /// Which measurement of which asset it is, in words: what is noted anew has the same.
    pub id: String,
    /// Asset.
    pub asset: String,
    /// Day on which it was measured, `2019-03-05`.
    pub day: String,
    /// Measurand, of the closed list.
    pub measurand: String,
    /// Method, of the closed list, where it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub method: Option<String>,
    /// `ac dc peak`, where it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kind: Option<String>,
    /// Earthed point, accessible part, applied part or connection, in words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub point: String,
    /// Under what it was measured, in words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub condition: String,
    /// `above` or `below`: the value is a bound.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bound: Option<String>,
    /// The value with its unit, as it was written.
    pub value: Amount,
    /// Where it stands: a folder, a form, a spreadsheet.
    pub source: String,
    /// Who measured it.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub measured_by: String,
    /// With what.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub meter: String,
    /// What else there is to say.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub remark: String,
    /// Why it counts no more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub withdrawn: Option<String>,
}

impl Former {
    /// What names the measurement: all that tells it from others of the asset.
    fn named(&self) -> String {
        let or = |word: &Option<String>| word.clone().unwrap_or_else(|| "-".into());
        let (method, kind) = (or(&self.method), or(&self.kind));
        let Former { asset, day, measurand, point, condition, .. } = self;
        format!("{asset} {day} {measurand} {method} {kind} {point}|{condition}")
    }

    /// Nothing that is told of it speaks against its being compared. What was not told may still be
    /// another: lead, cord, network and meter are never known. A value under a condition in words
    /// is like none that was captured under switches.
    #[must_use]
    pub fn may_be(&self, like: &Like) -> bool {
        let named = |own: &Option<String>, theirs: &str| {
            own.as_ref().is_none_or(|own| theirs.split('+').any(|word| word == own))
        };
        self.withdrawn.is_none()
            && self.measurand == like.measurand
            && named(&self.method, &like.method)
            && named(&self.kind, &like.kind)
            && (self.point.is_empty() || self.point == like.point)
            && (self.condition.is_empty() || self.condition == like.condition)
            && like.reference == 0
    }

    /// `> 200 MOhm`.
    #[must_use]
    pub fn shown(&self) -> String {
        let bound = match self.bound.as_deref() {
            Some("above") => "> ",
            Some(_) => "< ",
            None => "",
        };
        format!("{bound}{}", self.value)
    }
}
