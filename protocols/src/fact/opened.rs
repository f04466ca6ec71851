//! How a book begins, and what an inspection rests on.

use alloc::boxed::Box;
use alloc::collections::BTreeMap;
use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};
use tapline_drivers::Unit;

use super::{CheckFact, Word};
use crate::doubt::trend::Like;
use crate::plan::Expanded;
use crate::register::{Asset, Fixture, Former, Instrument, Lead, Operator, Setup};

/// First line of a book.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Open {
    /// `tapline-book-1`.
    pub format: String,
    /// Name of the book.
    pub id: String,
    /// How a stranger verifies the sealed file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub verify: Option<String>,
    /// Station.
    pub station: String,
    /// What an inspection begins with; absent in idle and station books.
    #[serde(flatten, default, skip_serializing_if = "Option::is_none")]
    pub inspection: Option<Opened>,
    /// Version of the program.
    pub version: String,
    /// Number of the judgement: rises when the same readings would give other verdicts.
    pub judge: u32,
    /// Which boot the `m` stamps count from.
    pub boot: String,
    /// IANA zone, for paper.
    pub zone: String,
    /// Offset of that zone at opening.
    pub offset: String,
    /// The wall clock was synchronised.
    pub synced: bool,
    /// SHA-256 of the station's public key (SPKI DER), hex.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<String>,
    /// Book that this one follows: a station book names the year before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub follows: Option<String>,
}

/// What an inspection begins with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Opened {
    /// Bench.
    pub bench: String,
    /// Asset number.
    pub asset: String,
    /// Plan.
    pub plan: String,
    /// `acceptance scheduled after_repair other`.
    pub reason: String,
    /// Work order that it is made for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<String>,
    /// Policy in force.
    pub policy: Policy,
    /// `seq` of the scan that selected the asset.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scan: Option<u64>,
    /// How a stranger reads the lines below.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub legend: Option<String>,
}

/// Policy in force, copied into `open`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Policy {
    /// Smallest guard time, milliseconds.
    pub guard_ms: u32,
    /// Longest age of a null, minutes.
    pub null_max_age_min: u32,
    /// `simple guard_band guard_band_zones`.
    pub decision_rule: String,
    /// `block` or `override`.
    pub out_of_calibration: String,
    /// `undecided` or `judge_and_say_so`.
    pub unconfirmed_limits: String,
    /// When a probe counts as lifted.
    pub release: Release,
    /// Which inspections are reviewed by somebody else: `none all fails`, or `sample 10 %` of all.
    /// Books that do not say so ask for no review.
    #[serde(default = "none", skip_serializing_if = "is_none")]
    pub review: String,
    /// What a signature takes: `badge` or `badge_and_pin`. Books that do not say so took a badge.
    #[serde(default = "badge", skip_serializing_if = "is_badge")]
    pub sign: String,
    /// What has to be shown for a pass, by the number of the list in [`PROOFS`]. Books that do not
    /// say so were judged by the first.
    #[serde(default = "first_list", skip_serializing_if = "is_first")]
    pub proofs: u32,
    /// What doubt is made of, and how it is shown, by the number of the list in [`DOUBT`]. Books
    /// that do not say so were judged by the first.
    #[serde(default = "first_list", skip_serializing_if = "is_first")]
    pub doubt: u32,
}

/// The newest list of what has to be shown.
///
/// 1. The network with protective earth closed and open before a placement, closed after it.
/// 2. After it open, too, and for class II as before it: nothing else earths the asset. A low
///    resistance with a cord in its path is more than its leads. A voltmeter behind a switching
///    supply is said to be fast and true r.m.s. A leakage is more than the smallest that the meter
///    can tell, and at least twice what it read before the asset was energised.
/// 3. An isolated source is on, and at mains voltage, before each value that it drives.
/// 4. A test voltage is put on with hands clear, between two joined pairs of clips, and gone again
///    before anything follows. Its clock starts with the voltage as the instrument shows it, and
///    what reads as more than the range is one only where the instrument has shown its voltage.
/// 5. An asset that is measured in several operating states was set to the one of the value, and
///    seen in it, since it was energised.
/// 6. A differential ammeter sees a known current that the supply box puts on in both senses, after
///    each value and before anything is switched; in its measure the asset keeps the limit. An
///    ammeter behind a switching supply is said to be fast and true r.m.s., as a voltmeter is.
/// 7. What is tried is switched on: a function test waits for a proved protective earth, as a
///    measurement that energises does. A step that is measured again has no undecided verdict of
///    before, and a reading that no step asks for is said to be that.
pub const PROOFS: u32 = 7;

/// The newest list of what doubt is made of.
///
/// 1. The stated accuracy of reading and null, and what the certificate says.
/// 2. The scatter of the readings that a value was captured from, too. A bound is shown rounded to
///    where it says less, and as fine as it is known.
/// 3. A value, and its share of the limit, is shown as fine as it takes to stand on its own side.
/// 4. What a live meter reads as dc is kept. A leakage of which more than a tenth is direct is not
///    scaled with the mains voltage, and one of which nobody read that says so.
/// 5. A pass near its limit says so where there is no earlier value to compare it with.
pub const DOUBT: u32 = 5;

fn first_list() -> u32 {
    1
}

fn none() -> String {
    "none".into()
}

fn is_none(review: &str) -> bool {
    review == "none"
}

fn badge() -> String {
    "badge".into()
}

fn is_badge(sign: &str) -> bool {
    sign == "badge"
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands a reference")]
fn is_first(number: &u32) -> bool {
    *number == 1
}

/// When a probe counts as lifted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Release {
    /// Shortest time, seconds, a decimal.
    pub seconds: String,
    /// Fewest readings.
    pub readings: u32,
    /// Resistances: times the limit.
    pub factor: u32,
}

impl Policy {
    /// A signature takes a PIN besides the badge.
    #[must_use]
    pub fn asks_for_pin(&self) -> bool {
        self.sign == "badge_and_pin"
    }
}

impl Default for Policy {
    fn default() -> Policy {
        Policy {
            guard_ms: 500,
            null_max_age_min: 60,
            decision_rule: "simple".into(),
            out_of_calibration: "block".into(),
            unconfirmed_limits: "undecided".into(),
            release: Release::default(),
            review: none(),
            sign: badge(),
            proofs: PROOFS,
            doubt: DOUBT,
        }
    }
}

impl Default for Release {
    fn default() -> Release {
        Release { seconds: "0.5".into(), readings: 2, factor: 10 }
    }
}

/// What the inspection rests on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "snake_case")]
pub enum Given {
    /// The asset.
    Asset {
        /// As registered.
        asset: Box<Asset>,
    },
    /// The plan.
    Plan {
        /// Its text as read (TOML).
        text: String,
        /// SHA-256 of the text, hex.
        sha256: String,
    },
    /// Limit rows that the plan can come to.
    Limits {
        /// TOML text of `tapline-limits-1`.
        text: String,
        /// SHA-256 of the whole table, hex.
        table: String,
        /// Rows that the workshop has confirmed.
        confirmed: Vec<String>,
    },
    /// Instruments and setups of the bench.
    Instruments {
        /// Instruments.
        list: Vec<Instrument>,
        /// Setups.
        setups: Vec<Setup>,
        /// Their newest bench check on each standard.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        checks: Vec<CheckFact>,
    },
    /// Fixtures and leads of the bench.
    Fixtures {
        /// Fixtures.
        list: Vec<Fixture>,
        /// Leads.
        leads: Vec<Lead>,
        /// `link`, and `c1` to `c4` with the meaning of a closed contact (`S5=reversed`).
        witness: BTreeMap<String, String>,
    },
    /// Links of the bench.
    Links {
        /// Links with what hangs on them.
        list: Vec<LinkGiven>,
    },
    /// The expanded steps.
    Steps {
        /// At most 64 a line.
        list: Vec<Expanded>,
    },
    /// What earlier inspections of the asset came to, newest of each that may be compared; given
    /// once they were read, and not where none could be.
    Earlier {
        /// Values.
        list: Vec<Earlier>,
    },
    /// Values of the asset that were measured before the station was, the newest of them.
    Former {
        /// Values.
        list: Vec<Former>,
    },
    /// The inspection before, which the asset did not pass: this one is its retest. Given once it
    /// was found.
    Retest {
        /// Its name.
        of: String,
        /// What it came to: `fail`, `conditional_fail`; `undecided` where it was a retest itself.
        outcome: Word,
    },
    /// Who works at the bench.
    Operator {
        /// As registered.
        operator: Box<Operator>,
    },
}

/// A value of an earlier inspection.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Earlier {
    /// What it may be compared by.
    pub like: Like,
    /// The value that was judged, exact, a decimal or a fraction.
    pub value: String,
    /// Its expanded uncertainty, in the same unit.
    pub expanded: String,
    /// Unit.
    pub unit: Unit,
    /// Inspection it stands in.
    pub book: String,
}

/// A link of the bench.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LinkGiven {
    /// Link.
    pub link: String,
    /// Driver.
    pub driver: String,
    /// Instrument on it; scanners and contacts have none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument: Option<String>,
    /// The larger isolation of link and instrument, volts; 0 = none or unknown.
    pub isolation_volts: u32,
    /// The driver asks (a polled meter).
    pub polled: bool,
    /// One conversion, milliseconds, if the driver knows it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub period_ms: Option<u32>,
}
