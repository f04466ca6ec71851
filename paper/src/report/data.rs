//! What a report tells, gathered from a record elsewhere. Texts are data; words of closed lists are
//! codes that the language says.

use serde::{Deserialize, Serialize};

use crate::moment::Moment;
use crate::seal::Word;

/// An inspection, as a report tells it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Report {
    /// Its unique name.
    pub id: String,
    /// Who inspects, and where.
    pub site: Site,
    /// What was inspected.
    pub asset: Item,
    /// Why: `scheduled acceptance after_repair other`.
    pub reason: String,
    /// The inspection before, which was not passed.
    pub retest_of: Option<String>,
    /// By which plan.
    pub plan: Plan,
    /// Opened: the asset was taken in hand.
    pub opened: Option<Moment>,
    /// Signed or ended: the day of issue.
    pub closed: Option<Moment>,
    /// The clock was kept by a time service, and was not set meanwhile.
    pub clock_kept: bool,
    /// What came of it.
    pub outcome: Outcome,
    /// What a reader should know of how it came about: `near_limit`, `set_aside` …
    pub words: Vec<String>,
    /// Looks, tries and asks.
    pub answers: Vec<Answer>,
    /// Measurements, in the order of the plan.
    pub groups: Vec<Group>,
    /// Checks of the supply.
    pub supply: Vec<Supply>,
    /// What a person typed in besides, of the values that it counts for.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub entered: Vec<Entered>,
    /// What is known of the conditions, by how it is known.
    pub known: Vec<(String, Vec<String>)>,
    /// Instruments.
    pub meters: Vec<Meter>,
    /// Values that were set aside.
    pub aside: Vec<Aside>,
    /// Remarks, left out steps, opened gates: a code of `said`, who, the words.
    pub remarks: Vec<Remark>,
    /// Signatures, those of addenda, too.
    pub signatures: Vec<Signature>,
    /// Books that were added since it was sealed.
    #[serde(default)]
    pub later: Vec<String>,
    /// What each of them changed.
    #[serde(default)]
    pub changes: Vec<Change>,
    /// What was signed first, where it comes to something else now.
    #[serde(default)]
    pub signed_as: Option<Word>,
    /// The asset that it was signed for, where it is about another one now.
    #[serde(default)]
    pub signed_for: Option<String>,
    /// `attached`, `refused`.
    pub tag: Option<String>,
    /// When it is due next.
    pub next: Next,
    /// SHA-256 of the sealed record.
    pub head: Option<[u8; 32]>,
    /// SHA-256 of the book that was added last.
    #[serde(default)]
    pub newest: Option<[u8; 32]>,
    /// SHA-256 of the station's public key, hex.
    pub key: String,
    /// Version of the program.
    pub program: String,
    /// Number of the judgement.
    pub judge: String,
}

impl Report {
    /// The number of the report: each book that is added makes it another one.
    #[must_use]
    pub fn number(&self) -> &str {
        self.later.last().unwrap_or(&self.id)
    }

    /// What its code leads to: the book that was added last names all before it.
    #[must_use]
    pub fn printed_head(&self) -> Option<[u8; 32]> {
        self.newest.or(self.head)
    }
}

/// What a book changed that was added after the seal.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Change {
    /// Its name: the number of the report from then on.
    pub id: String,
    /// The number of the report that it replaces.
    pub replaces: String,
    /// `reviewed rejected amended reattached released`.
    pub what: String,
    /// Who.
    pub who: String,
    /// Second person.
    pub second: Option<String>,
    /// When.
    pub at: Option<Moment>,
    /// Why, a code of `amend_reason`.
    pub reason: String,
    /// Why, in somebody's own words.
    pub text: String,
    /// What was put right.
    pub fields: Vec<Field>,
}

/// A field before and after.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Field {
    /// `location owner tag remark asset differs`, `answer/STEP/ITEM`, `value/LINE`.
    pub name: String,
    /// What stood there.
    pub before: Option<String>,
    /// What stands there now.
    pub after: String,
}

/// The workshop.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Site {
    /// Its name.
    pub workshop: String,
    /// Its address, in lines.
    pub address: Vec<String>,
    /// Station.
    pub station: String,
    /// Bench: where it was done.
    pub bench: String,
}

/// An asset.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Item {
    /// Its number.
    pub id: String,
    /// What it is.
    pub what: String,
    /// Maker.
    pub maker: String,
    /// Model.
    pub model: String,
    /// Serial number.
    pub serial: String,
    /// Who owns it: the customer.
    pub owner: String,
    /// Where it is kept.
    pub place: String,
    /// Protection class.
    pub class: String,
    /// Mains connection, a code.
    pub cord: String,
    /// Accessories that were inspected with it: its cords.
    pub accessories: Vec<String>,
    /// Applied parts with their type.
    pub parts: Vec<String>,
    /// Rated supply, as registered.
    pub rated: Vec<Amount>,
    /// What it was built to.
    pub built_to: String,
}

/// The plan in force.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Plan {
    /// Its name.
    pub id: String,
    /// Its title.
    pub title: String,
    /// Standard with its edition.
    pub standard: String,
    /// SHA-256 of its text, hex.
    pub hash: String,
    /// Decision rule: `simple guard_band guard_band_zones`.
    pub rule: String,
}

/// What came of an inspection.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// Signed.
    Signed(Word),
    /// Ended without measuring through: a code.
    Ended(String),
    /// In work.
    #[default]
    Open,
}

/// An answer.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Answer {
    /// Step of the plan.
    pub step: String,
    /// What was looked at, a code.
    pub item: String,
    /// `pass fail not_applicable`.
    pub answer: String,
    /// Why.
    pub reason: Option<String>,
}

/// What one step of the plan came to.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Group {
    /// Step of the plan.
    pub step: String,
    /// Measurand, a code.
    pub measurand: String,
    /// Method, a code.
    pub method: String,
    /// The limit.
    pub limit: Option<Limit>,
    /// What was judged.
    pub result: Option<Amount>,
    /// Its expanded uncertainty, in the unit of the result, and k.
    pub doubt: Option<(String, String)>,
    /// Share of the limit, percent.
    pub share: Option<String>,
    /// Probability that it conforms.
    pub probability: Option<String>,
    /// Verdict.
    pub word: Word,
    /// Why, or what stands beside it: codes.
    pub reasons: Vec<String>,
    /// Values in the order in which they were captured.
    pub values: Vec<Value>,
    /// Like for like values of earlier inspections, and this one.
    pub history: History,
}

/// A limit.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Limit {
    /// `max` or `min`.
    pub direction: String,
    /// Value.
    pub value: Amount,
    /// The limit itself conforms.
    pub inclusive: bool,
    /// Standard with its edition.
    pub standard: String,
    /// Clause.
    pub clause: String,
    /// How sure it is, a code.
    pub confidence: String,
    /// `standard site maker`.
    pub layer: String,
}

/// A number with its unit.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Amount {
    /// `<`, `>`, `overload` or nothing.
    pub mark: String,
    /// Digits.
    pub digits: String,
    /// UCUM.
    pub unit: String,
}

/// A captured value.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Value {
    /// Earthed point, part, connection, by name.
    pub points: Vec<String>,
    /// Operating state.
    pub state: Option<String>,
    /// `plus`, `minus`.
    pub direction: Option<String>,
    /// Switches with their position.
    pub set: Vec<(String, String)>,
    /// As sent.
    pub sent: Amount,
    /// Corrections: a code, and its number.
    pub corrections: Vec<(String, String)>,
    /// Corrected.
    pub result: Option<Amount>,
    /// The weakest way in which the conditions are known.
    pub known: Option<String>,
    /// Instrument or setup.
    pub meter: String,
    /// How many readings it rests on.
    pub readings: usize,
    /// A person typed it in twice: it rests on no reading.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    pub typed: bool,
    /// What limits what may be concluded: codes.
    pub words: Vec<String>,
    /// The verdict is that of this one.
    pub worst: bool,
    /// It was set aside, and why.
    pub aside: Option<String>,
}

/// Values of several inspections, oldest first.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct History {
    /// Day, days since 1970, value in the unit of the limit, as digits.
    pub points: Vec<(String, u32, f32)>,
    /// The same from paper, before the station was: never judged, and likeness is not known.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub paper: Vec<(String, u32, f32)>,
    /// The limit.
    pub limit: f32,
    /// Their unit.
    pub unit: String,
    /// What all of them have in common, where a step has several.
    pub of: String,
}

/// A check of the supply.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Supply {
    /// Line to neutral, neutral to earth, line to earth.
    pub volts: [String; 3],
    /// How it is known.
    pub known: String,
}

/// What a person typed in that values were corrected by or rest on.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Entered {
    /// `source`: volts of the isolated source; `temperature`: degrees Celsius of the asset.
    pub what: String,
    /// Step of the plan that its values belong to.
    pub step: String,
    /// Where they were taken.
    pub places: Vec<String>,
    /// Digits as typed.
    pub digits: String,
    /// Temperature: what it was read from.
    pub read_from: String,
    /// How it is known.
    pub known: String,
}

/// An instrument.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Meter {
    /// Name.
    pub id: String,
    /// What it is, in the register's words; empty for a fixture.
    pub what: String,
    /// What a fixture is, a code.
    pub fixture: String,
    /// Serial number.
    pub serial: String,
    /// Certificate.
    pub certificate: String,
    /// Calibration runs out.
    pub due: String,
}

/// A value that was set aside.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Aside {
    /// Step.
    pub step: String,
    /// What it was.
    pub value: Amount,
    /// Cause, a code.
    pub cause: String,
    /// Who.
    pub who: String,
    /// Second person.
    pub second: Option<String>,
    /// It counts all the same.
    pub counts: bool,
}

/// A remark.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Remark {
    /// `note`, `skipped`, `overridden`, `excluded`, `taken_over`.
    pub code: String,
    /// Step, where one is meant.
    pub step: String,
    /// Who.
    pub who: String,
    /// What was said, a code of `said` or somebody's own words.
    pub text: String,
}

/// A signature.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Signature {
    /// Meaning: `performed reviewed amended released`.
    pub meaning: String,
    /// Printed name.
    pub name: String,
    /// Id.
    pub id: String,
    /// When.
    pub at: Option<Moment>,
    /// `badge`, `badge+pin`, `socket`.
    pub auth: String,
}

/// When it is due next.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Next {
    /// Day.
    pub day: Option<String>,
    /// Why there is none, or why it did not move: a code.
    pub why: String,
}
