//! What concerns the whole station.

use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};

use super::Later;
use crate::due::Counting;

/// The wall clock was set, or the machine slept. The line's own `t` is the new time.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct ClockFact {
    /// Microseconds by which it was set; 0: it was not.
    pub step_us: i64,
    /// It is kept right by a time service.
    pub synced: bool,
    /// What it would show at this moment had it not been set, in the form of `t`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub was: Option<String>,
    /// Microseconds for which the machine slept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub slept_us: Option<u64>,
}

/// Something with a reason.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReasonFact {
    /// Why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// Bytes after the last right mark were set aside.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TornFact {
    /// How many bytes.
    pub bytes: u64,
    /// Their SHA-256, hex.
    pub sha256: String,
    /// File they were moved to.
    pub file: String,
}

/// The station started.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StartFact {
    /// Which boot the `m` stamps count from.
    pub boot: String,
    /// Version of the program.
    pub version: String,
    /// The wall clock was synchronised.
    pub synced: bool,
    /// How the site counts the days on which assets are due, from here on; left out: from the
    /// inspection, to the day.
    #[serde(default, skip_serializing_if = "Counting::is_usual")]
    pub due: Counting,
    /// SHA-256 over the wiring of all benches as configured, hex: another one is another bench.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wiring: Option<String>,
    /// Boot-time microseconds of the newest line before this start, where it stands in another book
    /// than the station's: the station was alive then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alive: Option<u64>,
}

/// Who works at a bench.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LoginFact {
    /// Bench.
    pub bench: String,
    /// Operator, or nobody.
    pub operator: Option<String>,
}

/// Something about the PIN that a person signs with; never the PIN, nor anything made of it.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct PinFact {
    /// Whose; left out: it was tried for nobody whom the register has.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<String>,
    /// `set reset wrong right`; a right one is told only where a wrong one was before it.
    pub what: String,
    /// Where that came from: `page` or `socket`.
    pub from: String,
    /// User of this machine who asked, as the kernel says; over the socket alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uid: Option<u32>,
    /// Bench, where one was named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bench: Option<String>,
}

/// Limit rows were read in the workshop's own copy of the standard. The line ends in `sig`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ConfirmFact {
    /// Rows.
    pub rows: Vec<String>,
    /// The workshop's copy.
    pub document: String,
    /// Clause that was read.
    pub clause: String,
    /// Each row in words, as it was read: a row that is changed later is not confirmed by this.
    /// Empty in books of earlier programs.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub read: Vec<String>,
}

/// A key is announced.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeyFact {
    /// SHA-256 of the public key (SPKI DER), hex.
    pub key: String,
    /// File of the public key.
    pub file: String,
    /// The key before, if there was one.
    pub replaces: Option<String>,
    /// How the key before vouches for this one: `signed`, it has signed this line; `lost`, its
    /// private half is not there any more. Absent for a first key, and in older books.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub before: Option<String>,
    /// Why there is a new one, in the words of who made it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

impl KeyFact {
    /// The key before has signed the line.
    pub const SIGNED: &'static str = "signed";
    /// The private half of the key before is lost.
    pub const LOST: &'static str = "lost";
}

/// A book was sealed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SealedFact {
    /// Book.
    pub id: String,
    /// SHA-256 of the file, hex.
    pub head: String,
    /// Its length, bytes.
    pub bytes: u64,
    /// SHA-256 of the public key, hex.
    pub key: String,
    /// An addendum: what the inspection is since then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub later: Option<Later>,
    /// The inspection waits for its review.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    pub waits: bool,
}

/// Sealed records are removed here, because an archive holds them. It stands before they go.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PrunedFact {
    /// Name of each record, addenda among them, and the SHA-256 of its file, hex.
    pub records: Vec<(String, String)>,
    /// SHA-256 of the receipt that covers them, hex.
    pub receipt: String,
    /// Folder in which the archive was when the receipt was made.
    pub folder: String,
}

/// Somebody scanned the label of an instrument at a bench: it is there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CheckoutFact {
    /// Bench.
    pub bench: String,
    /// Instrument.
    pub instrument: String,
    /// Line of the bench that carries it, where one does.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub link: Option<String>,
    /// Bench at which it was seen before, where that is another one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<String>,
}

/// An asset was looked for and not inspected.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct VisitFact {
    /// Asset.
    pub asset: String,
    /// `not_found in_use with_patient sent_out retired`.
    pub outcome: String,
    /// Local day, `2026-11-24`.
    pub day: String,
    /// Where it was looked for, or is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// Day on which somebody will look for it again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retry: Option<String>,
    /// Why, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// Something was refused.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RefusedFact {
    /// What was asked.
    pub what: String,
    /// Why it was refused, a word.
    pub why: String,
}
