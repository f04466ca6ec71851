//! Everything that can make the station act, and everything it asks the outside to do.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use tapline_protocols::Fact;
use tapline_protocols::fact::{Earlier, PinFact, Word};
use tapline_protocols::plan::Settings;

pub use super::answer::{Answer, Problem};
use super::{later::Asked, later::Past, pins::Proved, status::Status};
use crate::clock::{Change, Stamp};

/// Everything that can make the station act.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Event {
    /// One read of a link returned bytes.
    Bytes {
        /// When they were read.
        at: Stamp,
        /// Link.
        link: String,
        /// The bytes, at most 4 096.
        bytes: Vec<u8>,
    },
    /// A link is open.
    LinkUp {
        /// When.
        at: Stamp,
        /// Link.
        link: String,
    },
    /// A link is gone or can't be opened.
    LinkDown {
        /// When.
        at: Stamp,
        /// Link.
        link: String,
        /// Why, in words.
        why: String,
    },
    /// Somebody asks for something.
    Command {
        /// When it arrived.
        at: Stamp,
        /// Names the answer.
        ticket: u64,
        /// Where it came from.
        origin: Origin,
        /// Bench, if one was named.
        bench: Option<String>,
        /// Operator, if one was named.
        by: Option<String>,
        /// What is asked.
        request: Request,
        /// People whose PINs were found right just now.
        proved: Proved,
    },
    /// Somebody's PIN was set, taken away, or tried.
    Pin {
        /// When.
        at: Stamp,
        /// Names the answer.
        ticket: u64,
        /// What happened.
        fact: PinFact,
    },
    /// Somebody asks for something that is added to a sealed inspection.
    Later {
        /// When it arrived.
        at: Stamp,
        /// Names the answer.
        ticket: u64,
        /// Where it came from.
        origin: Origin,
        /// Who, and what.
        asked: Box<Asked>,
        /// The inspection as it lies on disk.
        past: Box<Past>,
    },
    /// The moment that [`Effect`]s or drivers waited for has come.
    Deadline {
        /// When.
        at: Stamp,
    },
    /// A book that [`Effect::Seal`] named is sealed: renamed into place, folders synced.
    Sealed {
        /// When.
        at: Stamp,
        /// Inspection.
        id: String,
        /// SHA-256 of the file, hex.
        head: String,
        /// Its length, bytes.
        bytes: u64,
        /// SHA-256 of the public key, hex.
        key: String,
    },
    /// What earlier inspections of an asset came to was read.
    Earlier {
        /// When.
        at: Stamp,
        /// Inspection that was opened.
        id: String,
        /// Newest of each that may be compared.
        list: Vec<Earlier>,
        /// The inspection before, where the asset did not pass it.
        failed: Option<(String, Word)>,
    },
    /// The station stops in order: what is open stays open.
    Stop {
        /// When.
        at: Stamp,
        /// Why.
        reason: Option<String>,
    },
    /// The wall clock was set, or the machine slept.
    Clock {
        /// What, and when it was noticed.
        change: Change,
        /// The wall clock is synchronised.
        synced: bool,
    },
}

impl Event {
    /// When it happened.
    #[must_use]
    pub fn at(&self) -> Stamp {
        match self {
            Event::Bytes { at, .. }
            | Event::LinkUp { at, .. }
            | Event::LinkDown { at, .. }
            | Event::Command { at, .. }
            | Event::Pin { at, .. }
            | Event::Later { at, .. }
            | Event::Deadline { at }
            | Event::Sealed { at, .. }
            | Event::Earlier { at, .. }
            | Event::Stop { at, .. } => *at,
            Event::Clock { change, .. } => change.at,
        }
    }
}

/// Where a command came from. `clear` and `live` come only from this machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// The unix socket, with the peer's uid.
    Socket(u32),
    /// The page over loopback.
    Page,
    /// The bench's own scanner.
    Scanner,
    /// The folder of work orders: nobody stands at a bench.
    Inbox,
}

/// What the operator saw when they acted: an act is valid only for that.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Expect {
    /// Active step.
    pub step: Option<String>,
    /// Its state, a word of the prompt.
    #[serde(default)]
    pub state: Option<String>,
    /// `seq` of the last `step` or `act` line.
    #[serde(default)]
    pub seq: Option<u64>,
}

/// What can be asked of the station.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "do", rename_all = "snake_case", deny_unknown_fields)]
pub enum Request {
    /// As if scanned.
    Scan {
        /// The code.
        code: String,
    },
    /// Opens an inspection of the selected or named asset.
    Begin {
        /// Plan; else the asset's own, else the one that fits.
        #[serde(default)]
        plan: Option<String>,
        /// Asset; else the selected one.
        #[serde(default)]
        asset: Option<String>,
        /// `acceptance scheduled after_repair other`; else what the order says.
        #[serde(default)]
        reason: Option<String>,
        /// Work order; else the only open one of the asset where it asks for the same; `none`.
        #[serde(default)]
        order: Option<String>,
        /// Steps of the plan that are off unless asked for.
        #[serde(default)]
        with: Vec<String>,
    },
    /// A deliberate act: `connected clear live dead`.
    Act {
        /// Which.
        what: String,
        /// What was seen.
        #[serde(default)]
        expect: Option<Expect>,
    },
    /// Arms a capture, or captures under the rule `operator`.
    Capture {
        /// What was seen.
        #[serde(default)]
        expect: Option<Expect>,
    },
    /// Sets a captured value aside.
    Discard {
        /// `seq` of the value.
        seq: u64,
        /// Cause, of the closed list.
        cause: String,
        /// Second person.
        #[serde(default)]
        second: Option<String>,
    },
    /// Measures a step once more; what was captured stays.
    Repeat {
        /// Expanded step or step of the plan.
        step: String,
    },
    /// Leaves the active step out.
    Skip {
        /// Why.
        reason: String,
    },
    /// Answers a look, try or ask step.
    Answer {
        /// `pass fail not_applicable`.
        answer: String,
        /// Item; all that are open without it.
        #[serde(default)]
        item: Option<String>,
        /// Why.
        #[serde(default)]
        reason: Option<String>,
    },
    /// Nulls a lead set.
    Null {
        /// Lead set.
        lead: String,
    },
    /// Proves a path, the supply or that the asset is alive.
    Prove {
        /// `network_resistance alive supply source closed_path`.
        what: String,
        /// Supply: line to neutral; source: what its own voltmeter shows; volts.
        #[serde(default)]
        ln: Option<String>,
        /// Supply: neutral to protective earth, volts.
        #[serde(default)]
        npe: Option<String>,
        /// Supply: line to protective earth, volts.
        #[serde(default)]
        lpe: Option<String>,
    },
    /// Temperature of the asset, for a step that is judged at another one.
    Temperature {
        /// Degrees Celsius, a decimal.
        celsius: String,
        /// What it was read from.
        source: String,
    },
    /// What the display of a meter without a line shows, entered twice.
    Enter {
        /// `2.5 MOhm`, `> 20 GOhm`, `OL`.
        shows: String,
    },
    /// Declares switches of the supply box.
    Switch {
        /// What is set.
        set: Settings,
    },
    /// Opens a gate by competence; never a failed protective earth.
    Override {
        /// Step of the plan.
        step: String,
        /// Why.
        reason: String,
    },
    /// A remark.
    Note {
        /// At most 2 000 characters.
        text: String,
    },
    /// Lets the inspection rest.
    Park {},
    /// Goes on with a parked inspection.
    Resume {
        /// Inspection.
        id: String,
    },
    /// Ends an inspection that was not measured through.
    End {
        /// `not_found in_use with_patient sent_out retired given_up`.
        outcome: String,
        /// Why.
        reason: String,
    },
    /// Signs and seals.
    Sign {
        /// Meaning: `performed`.
        #[serde(rename = "as")]
        meaning: String,
        /// `attached` or `refused`; required unless the outcome is pass.
        #[serde(default)]
        tag: Option<String>,
        /// Why the tag was refused.
        #[serde(default)]
        reason: Option<String>,
        /// Badge of who signs: what comes over loopback needs it, as an open page knows of nobody
        /// who stands before it.
        #[serde(default)]
        badge: Option<String>,
    },
    /// Logs an operator in at a bench.
    Login {
        /// Badge or operator; `null` logs out.
        badge: Option<String>,
    },
    /// Confirms limit rows against the workshop's own copy of the standard.
    Confirm {
        /// Rows.
        rows: Vec<String>,
        /// The workshop's copy.
        document: String,
        /// Clause that was read.
        clause: String,
    },
    /// Holds an instrument against a check standard.
    Check {
        /// Check standard.
        standard: String,
        /// Instrument; else the only one of the bench that can be checked with it.
        #[serde(default)]
        instrument: Option<String>,
    },
    /// Tells something of an unknown asset, as the columns of the list: of the one that was
    /// scanned, or of the one that is named (`asset`).
    Describe {
        /// Text by column; `none` for an empty list, `asset` `new` for a provisional number.
        tell: BTreeMap<String, String>,
    },
    /// Looks through a sealed inspection that others made: it stands, or `reject` says why not.
    Review {
        /// Inspection.
        id: String,
        /// What else to say.
        remark: Option<String>,
        /// Why it does not stand.
        reject: Option<String>,
        /// Head of the newest of its books, as it was seen by who asks.
        expect: Option<String>,
    },
    /// Puts a part of a sealed inspection right.
    Amend {
        /// Inspection.
        id: String,
        /// A code of the list.
        reason: String,
        /// Why, in words.
        text: String,
        /// What stands in each field from now on.
        change: BTreeMap<String, String>,
        /// Second person.
        second: Option<String>,
        /// Head of the newest of its books, as it was seen by who asks.
        expect: Option<String>,
    },
    /// It was another asset that was inspected.
    Reattach {
        /// Inspection.
        id: String,
        /// The asset.
        to: String,
        /// How that was found, in words.
        text: String,
        /// Second person.
        second: Option<String>,
        /// Head of the newest of its books, as it was seen by who asks.
        expect: Option<String>,
    },
    /// Gives a pass out.
    Release {
        /// Inspection.
        id: String,
        /// Head of the newest of its books, as it was seen by who asks.
        expect: Option<String>,
    },
    /// Notes that an asset was looked for and not inspected.
    Visit {
        /// Asset.
        asset: String,
        /// `not_found in_use with_patient sent_out retired`.
        outcome: String,
        /// Where it was looked for, or is.
        place: Option<String>,
        /// Day on which somebody will look for it again.
        retry: Option<String>,
        /// Why.
        reason: Option<String>,
    },
    /// Takes a work order back.
    Withdraw {
        /// Its number.
        order: String,
        /// Why.
        reason: String,
    },
    /// Adds to the register: the text of a file in one of the register formats.
    Import {
        /// `assets values instruments fixtures standards operators orders`.
        what: String,
        /// Text of the file.
        text: String,
        /// Assets and values alone: what a list of another program calls our columns, the text of
        /// a `tapline-asset-map-1` or `tapline-values-map-1`.
        #[serde(default)]
        map: Option<String>,
        /// Orders alone: name of the file.
        #[serde(default)]
        file: Option<String>,
        /// Only say what would change.
        #[serde(default)]
        dry_run: bool,
    },
}

/// Which book a line goes to.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum BookId {
    /// The station book of this year.
    Station,
    /// The idle book of a UTC day, `2026-11-24`.
    Idle(String),
    /// An inspection, `K3-20261124-0007`.
    Inspection(String),
}

/// A line to be stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stored {
    /// Book.
    pub book: BookId,
    /// Bench it concerns, for the feed.
    pub bench: Option<String>,
    /// Number, rising over the station.
    pub seq: u64,
    /// When it happened.
    pub at: Stamp,
    /// What happened.
    pub fact: Fact,
    /// Who acted.
    pub by: Option<String>,
}

/// What the outside is asked to do, in order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Effect {
    /// Store these lines as one commit, sync, then show them. Effects behind it wait for that.
    Commit(Vec<Stored>),
    /// Show this from now on: it holds nothing that is not durable.
    Show(Box<Status>),
    /// Seal the book of an inspection: head, signature, rename. Then [`Event::Sealed`].
    Seal {
        /// Inspection.
        id: String,
    },
    /// Put bytes on a link. Only drivers that may ask make these.
    Send {
        /// Link.
        link: String,
        /// The bytes of an allow-listed message.
        bytes: Vec<u8>,
    },
    /// Answer a command, after everything before is durable.
    Answer {
        /// Names the command.
        ticket: u64,
        /// What came of it.
        result: Result<Answer, Problem>,
    },
}
