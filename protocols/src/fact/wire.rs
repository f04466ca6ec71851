//! What links brought.

use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};
use tapline_drivers::{Function, ScanKind, Unit};

use crate::register::SourceClass;

/// A link's stream begins in this book.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tap {
    /// Link.
    pub link: String,
    /// Instrument on it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument: Option<String>,
    /// Driver.
    pub driver: String,
    /// Version of the driver.
    pub driver_version: u32,
    /// SHA-256 of the file that describes the driver, hex; absent for a built-in one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub driver_sha256: Option<String>,
    /// Text of that file, at most 16 KiB, in the first `tap` of a book that rests on it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub driver_text: Option<String>,
    /// What the instrument says it is, if it was asked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub identity: Option<String>,
    /// What the instrument could put on its terminals.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source_class: Option<SourceClass>,
    /// The driver's layout, in a part that a value depends on, was never read in a document or
    /// seen on the wire. Absent in books from before it was stored.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    pub unconfirmed: bool,
}

/// Bytes that arrived.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct In {
    /// Link.
    pub link: String,
    /// Offset of the first byte in the link's stream since its `tap`.
    pub at: u64,
    /// Byte n is code point n. At most 4 096.
    pub raw: String,
    /// Offset in `raw` and microseconds after the line's `m`, per read; empty for one read.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cuts: Vec<(u32, u64)>,
    /// What was understood.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub read: Vec<Read>,
}

/// What was understood of some bytes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Read {
    /// Byte span relative to the line's `at`; it begins below zero when the frame began in the
    /// line before.
    pub b: (i64, i64),
    /// Function.
    pub f: Function,
    /// `above below overload none`; left out for a value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub i: Option<String>,
    /// Value or bound, digits as sent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub v: Option<String>,
    /// Unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u: Option<Unit>,
    /// Flags; for contacts the closed ones, `c1` to `c4`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub x: Vec<String>,
    /// Step it belongs to, or `null/L-1`, `prove/network_resistance`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub s: Option<String>,
    /// Why it belongs to none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Bytes that were sent.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Out {
    /// Link.
    pub link: String,
    /// Byte n is code point n.
    pub raw: String,
}

/// A driver's deadline fired.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tick {
    /// Link.
    pub link: String,
}

/// A link came, went or changed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LinkFact {
    /// Link.
    pub link: String,
    /// `up down changed unread`; `unread`: a line of the contacts that nobody could read, so that
    /// what they saw before is no longer known.
    pub state: String,
    /// Why, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// What the instrument says it is, where it answered only after its `tap`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub identity: Option<String>,
}

/// A code was scanned. A refused one keeps only `kind`, `refused` and `length`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ScanFact {
    /// Link, or absent when it came as a command.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub link: Option<String>,
    /// What was scanned.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub raw: Option<String>,
    /// AIM symbology identifier.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub aim: Option<String>,
    /// What it is.
    pub kind: ScanKind,
    /// Asset that it names.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asset: Option<String>,
    /// Why it was refused.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refused: Option<String>,
    /// Length of a refused one, bytes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub length: Option<u64>,
}
