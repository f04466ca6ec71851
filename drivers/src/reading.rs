//! What comes out of a driver: readings, notes, identities, contacts and scans.

use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};

use crate::number::Number;
use crate::scan::{Content, Fault};
use crate::unit::{Quantity, Unit};

/// A moment in microseconds of the boot-time clock, handed in by the caller.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Now(pub u64);

/// Byte span in a link's stream, counted from its last `Input::Open`: `from` inclusive,
/// `to` exclusive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// First byte.
    pub from: u64,
    /// One past the last byte.
    pub to: u64,
}

/// What the instrument measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Function {
    /// Direct voltage.
    VoltageDc,
    /// Alternating voltage, r.m.s.
    VoltageAc,
    /// Largest magnitude that a voltage came to: no r.m.s. times a crest factor.
    VoltagePeak,
    /// Direct current.
    CurrentDc,
    /// Alternating current, r.m.s.
    CurrentAc,
    /// Resistance, two terminals.
    #[serde(rename = "resistance_2w")]
    Resistance2w,
    /// Resistance, four terminals.
    #[serde(rename = "resistance_4w")]
    Resistance4w,
    /// Insulation resistance at a test voltage.
    InsulationResistance,
    /// Frequency.
    Frequency,
    /// Volt-free contacts that witness a supply box.
    Contacts,
}

impl Function {
    /// The quantity that is measured; `None` for contacts.
    #[must_use]
    pub fn quantity(self) -> Option<Quantity> {
        match self {
            Function::VoltageDc | Function::VoltageAc | Function::VoltagePeak => {
                Some(Quantity::Volt)
            }
            Function::CurrentDc | Function::CurrentAc => Some(Quantity::Ampere),
            Function::Resistance2w | Function::Resistance4w | Function::InsulationResistance => {
                Some(Quantity::Ohm)
            }
            Function::Frequency => Some(Quantity::Hertz),
            Function::Contacts => None,
        }
    }
}

/// What the instrument showed. Never a sentinel number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Indication {
    /// A value.
    Value(Number),
    /// More than this: a bound.
    Above(Number),
    /// Less than this: a bound.
    Below(Number),
    /// Beyond the end of a range that the driver does not know.
    Overload,
    /// Nothing that could be a value.
    NoValue,
}

impl Indication {
    /// The number of a value or bound.
    #[must_use]
    pub fn number(self) -> Option<Number> {
        match self {
            Indication::Value(number) | Indication::Above(number) | Indication::Below(number) => {
                Some(number)
            }
            Indication::Overload | Indication::NoValue => None,
        }
    }
}

/// What the instrument said about its own reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Flag {
    /// The display is held.
    Hold,
    /// Relative or zeroed in the meter.
    Relative,
    /// The battery is low.
    LowBattery,
    /// Range chosen by the meter.
    AutoRange,
    /// Range fixed by hand.
    ManualRange,
    /// Smallest since reset.
    Min,
    /// Largest since reset.
    Max,
    /// Peak value.
    Peak,
}

/// One indication with where it stood in the stream and when its bytes arrived.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reading {
    /// What was shown.
    pub indication: Indication,
    /// What was measured.
    pub function: Function,
    /// Unit as sent.
    pub unit: Unit,
    /// Flags as sent, sorted, without doubles.
    pub flags: Vec<Flag>,
    /// Its bytes in the link's stream, terminator included.
    pub span: Span,
    /// When its first byte was read.
    pub first: Now,
    /// When its last byte was read.
    pub last: Now,
    /// Set by a driver that knows this reading is not to be attached: `first_after_open`,
    /// `unsolicited`, `duplicate`, `unpaired` (closed words of the reading's `why`).
    pub why: Option<&'static str>,
}

/// Bytes that are no reading, with the reason. Still evidence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// A closed word: `malformed`, `parity_bit` (bytes with a parity bit in bit 7; the text says
    /// which), `other_function` (a frame in order, of something that a reading has no place for),
    /// `report` (a report ended; empty span, the text says from where to where), `text` (a line
    /// of it that says nothing measured), `no_function` (a number of which nobody said what it is
    /// of; the text is the number), `power_on` (the instrument says that it was switched on since
    /// it was asked last; the text is its status), `too_long`, `held` (tail closed by `Open`),
    /// `silent` (query timed out; empty span), `error_queue`, `answer` (an answer that is no
    /// reading), `not_configured` (the instrument does not take the wanted function; empty span),
    /// `event` (the instrument says what was done to it), `duplicate` (the same code scanned
    /// again).
    pub word: &'static str,
    /// Its bytes in the link's stream; empty for `silent`.
    pub span: Span,
    /// What the instrument's error queue or answer said, where there is text.
    pub text: Option<String>,
    /// When its first byte was read, or when the time-out fired.
    pub at: Now,
}

/// What an instrument answered about itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Identity {
    /// The answer without its terminator.
    pub text: String,
    /// Its bytes in the link's stream.
    pub span: Span,
    /// When its first byte was read.
    pub at: Now,
}

/// State of up to four volt-free contacts, `true` = closed, after debouncing by the sender.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Contacts {
    /// Inputs 1 to 4.
    pub closed: [bool; 4],
    /// Its bytes in the link's stream.
    pub span: Span,
    /// When its first byte was read.
    pub at: Now,
}

/// What a scanned code is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ScanKind {
    /// A control code of our own, `.TL-…`.
    Control,
    /// Plain text: an asset number, a badge, an instrument label.
    Text,
    /// A GS1 element string or its bracketed text.
    Gs1,
    /// A GS1 Digital Link.
    Gs1Link,
    /// A HIBC label.
    Hibc,
    /// An ISBT 128 label.
    Isbt,
    /// A GTIN alone: a type of product.
    Gtin,
    /// A number as the site writes its assets'.
    Asset,
    /// Of a symbology that is kept and not looked into.
    Other,
    /// What versions 1 of the driver called everything that is refused.
    Refused,
}

/// One scanned code. A refused one carries no bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scan {
    /// What it is.
    pub kind: ScanKind,
    /// The code without suffix, symbology identifier included; empty when refused.
    pub raw: Vec<u8>,
    /// AIM symbology identifier such as `]C1`, if it was sent.
    pub aim: Option<String>,
    /// Why it was refused. Of any code: `patient_identifier`, `too_long`, `control_bytes`,
    /// `damaged_code`. Of a grammar: `check_digit`, `check_character`, `unknown_ai`, `length`,
    /// `characters`, `empty`, `date`, `content` (of a value, what the identifier asks for),
    /// `contradiction` (twice the same key), `flag` (HIBC), `too_many_elements`.
    pub refused: Option<&'static str>,
    /// Where in a refused code, and at which element.
    pub fault: Option<Fault>,
    /// What the code says; `None` when refused.
    pub content: Option<Content>,
    /// Length of the code without suffix and symbology identifier, bytes.
    pub length: usize,
    /// Its bytes in the link's stream, suffix included.
    pub span: Span,
    /// When its first byte was read.
    pub at: Now,
}

impl Scan {
    /// The code without its symbology identifier; empty when refused.
    #[must_use]
    pub fn payload(&self) -> &[u8] {
        let prefix = self.aim.as_ref().map_or(0, String::len);
        self.raw.get(prefix..).unwrap_or_default()
    }
}
