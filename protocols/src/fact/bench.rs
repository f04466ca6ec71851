//! What was done and captured at the bench.

use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};
use tapline_drivers::{Function, Unit};

use super::{ReadingId, Word};
use crate::plan::{Direction, Settings};
use crate::register::Known;

/// A step changed its state.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StepFact {
    /// Expanded step.
    pub step: String,
    /// `active done skipped repeat closed`.
    pub state: String,
    /// Why it was skipped, repeated or closed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// Switches of the supply box.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SwitchFact {
    /// Fixture.
    #[serde(rename = "box")]
    pub fixture: String,
    /// What is set.
    pub set: Settings,
    /// How it is known.
    pub known: Known,
}

/// A deliberate act.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct ActFact {
    /// `connected clear live dead arm test`.
    pub what: String,
    /// Active step; `null/L-1` where a null is armed.
    pub step: String,
    /// `clear`: something else than the supply box energises it, too: an isolated source, or the
    /// isolator of an installed asset. No contact of the box sees that.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    pub apart: bool,
}

/// An answer to a look, try or ask step.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AnswerFact {
    /// Step.
    pub step: String,
    /// Item.
    pub item: String,
    /// `pass fail not_applicable`.
    pub answer: String,
    /// Why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// A lead set was nulled, in one direction.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NullFact {
    /// Lead set.
    pub lead: String,
    /// Function of the meter.
    pub function: Function,
    /// Range.
    pub range: String,
    /// Direction of the measuring current.
    pub direction: Direction,
    /// Resistance of the leads, magnitude, digits as sent.
    pub value: String,
    /// Unit.
    pub unit: Unit,
    /// `no`, or `in_meter` when the meter itself subtracts (the software null is then 0).
    pub zeroed: String,
    /// Readings it rests on.
    pub from: Vec<ReadingId>,
    /// Where it was taken, if it is carried over from an earlier inspection.
    pub carried: Option<Carried>,
}

/// A fact of another book that is repeated here.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Carried {
    /// Book.
    pub book: String,
    /// Line.
    pub seq: u64,
    /// Boot-time microseconds of the original, same boot: its age can be told.
    #[serde(default)]
    pub m: u64,
}

/// A path, supply or liveness check.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct ProveFact {
    /// `network_resistance no_voltage alive supply source closed_path temperature direct
    /// test_current display`, the last what a person enters of a meter without a line.
    pub what: String,
    /// Step it belongs to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step: Option<String>,
    /// Condition in which it holds.
    #[serde(default, skip_serializing_if = "Settings::is_empty")]
    pub set: Settings,
    /// What was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<String>,
    /// Supply: line to neutral.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ln: Option<String>,
    /// Supply: neutral to protective earth.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub npe: Option<String>,
    /// Supply: line to protective earth.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lpe: Option<String>,
    /// Unit of the values.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// What was wanted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub want: Option<String>,
    /// Alive: `indicator` or `supply_current`; no_voltage: `dc` or `ac`; temperature: what it was
    /// read from, the value being degrees Celsius; direct, display: `above below overload` of a
    /// bound; `test_current`: `plus minus off`, where its lever stood.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub how: Option<String>,
    /// Alive: the operating state that the asset was set to and seen in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operating: Option<String>,
    /// How it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub known: Option<Known>,
    /// Typed by a person.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    pub typed: bool,
    /// It is another than the entry before it: both count for nothing.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    pub differs: bool,
    /// It holds.
    pub ok: bool,
    /// Why it does not, a word.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// Readings it rests on.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub from: Vec<ReadingId>,
    /// Where it was made, if it is carried over.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub carried: Option<Carried>,
}

/// A captured value.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ValueFact {
    /// Expanded step.
    pub step: String,
    /// Rule of capture; `typed` where a person entered it twice.
    pub rule: String,
    /// Readings of the window.
    pub from: Vec<ReadingId>,
    /// `above below overload`; left out for a value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub indication: Option<String>,
    /// Value or bound, digits as sent, with its sign; empty for `overload`.
    pub value: String,
    /// Unit as sent.
    pub unit: Unit,
    /// How far its readings scatter, where they do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scatter: Option<ScatterFact>,
    /// Condition it was taken in.
    #[serde(default, skip_serializing_if = "Settings::is_empty")]
    pub set: Settings,
    /// Operating state that the asset was set to and seen in, where it has several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operating: Option<String>,
    /// The weakest way in which condition and operating state are known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub known: Option<Known>,
    /// Words that limit what may be concluded: `open_seen`; `relative` where the meter itself
    /// subtracted something; `out_of_calibration` where the policy lets it pass; `typed`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub words: Vec<String>,
}

/// How far the readings of a window scatter, from one to the next.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ScatterFact {
    /// Standard deviation of one reading, in the unit of the value.
    pub s: String,
    /// Degrees of freedom.
    pub freedom: u32,
}

/// A captured value was set aside.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DropFact {
    /// `seq` of the value.
    pub value: u64,
    /// `lead_slipped wrong_point wrong_lead wrong_setting instrument_fault`.
    pub cause: String,
    /// Second person.
    pub second: Option<String>,
    /// The value still counts (a failing one without a second person).
    pub in_force: bool,
}

/// A remark.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NoteFact {
    /// At most 2 000 characters.
    pub text: String,
}

/// A gate was opened by competence.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OverrideFact {
    /// The plan's step that is opened.
    pub step: String,
    /// Why.
    pub reason: String,
}

/// The inspection goes on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ResumeFact {
    /// Bench.
    pub bench: String,
    /// Which boot the `m` stamps count from now.
    pub boot: String,
    /// Version of the program.
    pub version: String,
    /// Number of the judgement.
    pub judge: u32,
    /// `restart park midnight suspend`, or `clock` where the wall clock was set back to a day
    /// before.
    pub after: String,
    /// Local date, `2026-11-24`: a gate holds on the day of its proof only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
}

/// Signed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SignFact {
    /// Meaning: `performed`; of addenda `reviewed amended released`.
    #[serde(rename = "as")]
    pub meaning: String,
    /// `badge`, `badge+pin` or `socket`; of an addendum of two persons what each of them showed.
    pub auth: String,
    /// Outcome of the whole.
    pub outcome: Word,
    /// `conditional`, `conditions_declared` …
    pub words: Vec<String>,
    /// Steps that stayed open.
    pub open: Vec<String>,
    /// `attached` or `refused`; absent for a pass.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tag: Option<String>,
    /// Why the tag was refused.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// Ended without measuring through.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EndFact {
    /// `not_found in_use with_patient sent_out retired given_up`.
    pub outcome: String,
    /// Why.
    pub reason: String,
}
