//! The life of an inspection after its seal: what its book and its addenda come to.
//!
//! A sealed book never changes. Each later act is an addendum: a sealed book of its own that names
//! the heads of the inspection and of the book before it. This is the fold over all of them;
//! whoever lists, reviews or prints an inspection asks it, so that nobody reads the addenda
//! otherwise.

mod policy;
#[cfg(test)]
mod tests;

use alloc::collections::{BTreeMap, BTreeSet};
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::Now;

use crate::fact::{
    AddendumFact, AmendFact, Fact, Given, Later, ReattachFact, ReviewFact, SignFact, Word,
};
use crate::inspection::Inspection;
use crate::register::Asset;

pub use policy::{asks_for_review, is_review_policy};

/// Reason codes of an amendment.
pub const AMEND_REASONS: [&str; 6] =
    ["typing_error", "wrong_data", "missed_in_record", "wrong_answer", "wrong_capture", "other"];

/// Fewest characters of the text of an amendment or a reattachment.
pub const TEXT_CHARS_MIN: usize = 10;

/// Most addenda of one inspection.
pub const ADDENDA_MAX: u32 = 99;

/// A line of a book, as the fold takes it.
#[derive(Debug, Clone, Copy)]
pub struct Told<'a> {
    /// Number.
    pub seq: u64,
    /// Boot-clock moment.
    pub at: Now,
    /// What happened.
    pub fact: &'a Fact,
    /// Who acted.
    pub by: Option<&'a str>,
}

/// Where an inspection stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Nobody has signed it.
    Unsigned,
    /// It was signed and sealed, and nothing came after that.
    Signed,
    /// Somebody else looked through it, and it stands.
    Reviewed,
    /// Somebody else looked through it, and it does not stand.
    Rejected,
    /// A part was put right.
    Amended,
    /// It was another asset.
    Reattached,
    /// Its pass is given out.
    Released,
}

impl State {
    /// As it is stored.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            State::Unsigned => "unsigned",
            State::Signed => "signed",
            State::Reviewed => "reviewed",
            State::Rejected => "rejected",
            State::Amended => "amended",
            State::Reattached => "reattached",
            State::Released => "released",
        }
    }
}

/// What an inspection and its addenda come to.
#[derive(Debug, Clone, Default)]
pub struct Life {
    /// Name of the inspection.
    pub id: String,
    /// SHA-256 of its book, hex.
    pub head: String,
    /// Names and heads of its addenda, in order.
    pub addenda: Vec<(String, String)>,
    /// Which inspections are reviewed, as its book says.
    pub policy: String,
    /// Who acted in it, or put something right since: none of them reviews it.
    pub acted: BTreeSet<String>,
    /// Names of people, by id, as the books give them.
    pub names: BTreeMap<String, String>,
    /// Lines in its addenda that changed a field, the newest last.
    pub amended: Vec<AmendFact>,
    /// It was another asset, the newest last.
    pub reattached: Vec<ReattachFact>,
    inspection: Inspection,
    asset: Option<Asset>,
    signed: Option<SignFact>,
    state: Option<State>,
    reviewed: bool,
    released: bool,
    /// Words of amendments, beside those of the inspection.
    words: BTreeSet<String>,
    fields: BTreeMap<String, String>,
}

impl Life {
    /// An inspection before its first line.
    #[must_use]
    pub fn begin(id: &str, head: &str) -> Life {
        Life { id: id.into(), head: head.into(), ..Life::default() }
    }

    /// Takes a line of the inspection's own book. What went over the wire may be left out.
    pub fn take(&mut self, line: Told<'_>) {
        match line.fact {
            Fact::Open(open) => {
                let policy = open.inspection.as_ref().map(|one| one.policy.review.clone());
                self.policy = policy.unwrap_or_default();
            }
            Fact::Given(Given::Asset { asset }) => self.asset = Some((**asset).clone()),
            Fact::Sign(sign) => {
                self.signed = Some(sign.clone());
                self.state = Some(State::Signed);
            }
            _ => {}
        }
        self.person(line);
        self.inspection.apply(line.seq, line.at, line.fact, line.by);
    }

    /// The inspection's own book was read to its end.
    pub fn ends(&mut self) {
        // Without it nothing is judged anew, and what was judged stands.
        let _ = self.inspection.prepare();
    }

    /// The next addendum begins.
    pub fn addendum(&mut self, id: &str, head: &str) {
        self.addenda.push((id.into(), head.into()));
    }

    /// Takes a line of the addendum that was begun last.
    pub fn add(&mut self, line: Told<'_>) {
        match line.fact {
            Fact::Review(ReviewFact { accepted, .. }) => {
                self.reviewed = *accepted;
                self.released &= *accepted;
                self.state = Some(if *accepted { State::Reviewed } else { State::Rejected });
            }
            Fact::Amend(amend) => {
                self.touched(State::Amended, line.by);
                let fields = amend.fields.iter();
                let fields = fields.map(|one| (one.field.clone(), one.after.clone()));
                self.fields.extend(fields);
                self.amended.push((**amend).clone());
                self.inspection.apply(line.seq, line.at, line.fact, line.by);
            }
            Fact::Answer(_) | Fact::Drop(_) | Fact::Verdict(_) => {
                self.inspection.apply(line.seq, line.at, line.fact, line.by);
            }
            Fact::Reattach(reattach) => {
                self.touched(State::Reattached, line.by);
                self.asset = Some((*reattach.to).clone());
                self.reattached.push((**reattach).clone());
            }
            Fact::Sign(sign) if sign.meaning == "released" => {
                self.released = true;
                self.state = Some(State::Released);
            }
            Fact::Given(Given::Operator { operator }) => {
                self.names.insert(operator.id.clone(), operator.name.clone());
            }
            _ => {}
        }
    }

    /// What was reviewed or given out was another record.
    fn touched(&mut self, state: State, by: Option<&str>) {
        (self.reviewed, self.released) = (false, false);
        self.state = Some(state);
        self.words.insert(state.word().into());
        self.acted.extend(by.map(ToString::to_string));
    }

    fn person(&mut self, line: Told<'_>) {
        if let Fact::Given(Given::Operator { operator }) = line.fact {
            self.names.insert(operator.id.clone(), operator.name.clone());
        }
        self.acted.extend(line.by.map(ToString::to_string));
        if let Fact::Drop(drop) = line.fact {
            self.acted.extend(drop.second.clone());
        }
    }

    /// Where it stands.
    #[must_use]
    pub fn state(&self) -> State {
        self.state.unwrap_or(State::Unsigned)
    }

    /// The asset that it is about, as it was registered.
    #[must_use]
    pub fn asset(&self) -> Option<&Asset> {
        self.asset.as_ref()
    }

    /// What was signed first.
    #[must_use]
    pub fn signed(&self) -> Option<&SignFact> {
        self.signed.as_ref()
    }

    /// Somebody else looked through it as it stands now, and accepted it.
    #[must_use]
    pub fn is_reviewed(&self) -> bool {
        self.reviewed
    }

    /// Its pass is given out as it stands now.
    #[must_use]
    pub fn is_released(&self) -> bool {
        self.released
    }

    /// The inspection with what was put right.
    #[must_use]
    pub fn inspection(&self) -> &Inspection {
        &self.inspection
    }

    /// What stands in a field of the record now, where it was put right.
    #[must_use]
    pub fn field(&self, name: &str) -> Option<&str> {
        self.fields.get(name).map(String::as_str)
    }

    /// What it comes to now.
    #[must_use]
    pub fn outcome(&self) -> Word {
        let Some(signed) = &self.signed else { return Word::Undecided };
        let judged = match self.is_judged_anew() {
            true => self.inspection.outcome().word,
            false => signed.outcome,
        };
        match self.why_not().is_empty() {
            true => judged,
            // What failed was seen, on whichever asset.
            false => worse_than_a_pass(judged),
        }
    }

    /// Something was put right that a verdict rests on.
    #[must_use]
    pub fn is_judged_anew(&self) -> bool {
        let mut fields = self.amended.iter().flat_map(|amend| &amend.fields);
        fields.any(|one| one.field.starts_with("answer/") || one.field.starts_with("value/"))
    }

    /// Words that limit what it came to.
    #[must_use]
    pub fn words(&self) -> Vec<String> {
        let first = self.signed.iter().flat_map(|signed| signed.words.iter().cloned());
        let now = match self.is_judged_anew() {
            true => self.inspection.outcome().words,
            false => Vec::new(),
        };
        let all: BTreeSet<String> = first.chain(now).chain(self.words.iter().cloned()).collect();
        all.into_iter().collect()
    }

    /// Why it does not count for the asset that it was reattached to; empty where it does.
    #[must_use]
    pub fn why_not(&self) -> Vec<String> {
        let Some(last) = self.reattached.last() else { return Vec::new() };
        let mut why = last.differs.clone();
        if last.second.is_none() && !self.reviewed {
            why.push("one_person".into());
        }
        why
    }

    /// It waits for somebody else to look through it.
    #[must_use]
    pub fn waits(&self) -> bool {
        if self.reviewed || matches!(self.state(), State::Unsigned | State::Rejected) {
            return false;
        }
        let touched = !self.amended.is_empty() || !self.reattached.is_empty();
        let signed = self.signed.as_ref().map_or(Word::Undecided, |signed| signed.outcome);
        let asked = asks_for_review(&self.policy, &self.head, signed);
        asked || (touched && !matches!(self.policy.as_str(), "" | "none"))
    }

    /// Its review is asked for by its policy, given or not.
    #[must_use]
    pub fn needs_review(&self) -> bool {
        self.waits() || self.reviewed
    }

    /// The book that the next addendum follows: its name and head.
    #[must_use]
    pub fn newest(&self) -> (&str, &str) {
        let last = self.addenda.last();
        last.map_or((&self.id, &self.head), |(id, head)| (id.as_str(), head.as_str()))
    }

    /// What the second line of the next addendum says.
    #[must_use]
    pub fn next(&self) -> AddendumFact {
        let (follows, follows_head) = self.newest();
        AddendumFact {
            of: self.id.clone(),
            head: self.head.clone(),
            follows: follows.into(),
            follows_head: follows_head.into(),
            asset: self.asset.as_ref().map(|asset| asset.id.clone()).unwrap_or_default(),
        }
    }

    /// What it is for lists, once there is an addendum.
    #[must_use]
    pub fn later(&self) -> Option<Later> {
        self.addenda.last()?;
        let counts = self.reattached.last().map(|last| last.differs.is_empty());
        Some(Later {
            state: self.state().word().into(),
            outcome: self.outcome(),
            asset: self.asset.as_ref().map(|asset| asset.id.clone()).unwrap_or_default(),
            by_its_plan: counts,
        })
    }

    /// The same with more lines, as they would be added: nothing is written by that.
    #[must_use]
    pub fn with(&self, (id, from): (&str, u64), facts: &[Fact], by: &str) -> Life {
        let mut then = self.clone();
        then.addendum(id, "");
        for (seq, fact) in (from..).zip(facts) {
            then.add(Told { seq, at: Now(0), fact, by: Some(by) });
        }
        then
    }
}

fn worse_than_a_pass(word: Word) -> Word {
    match word {
        Word::Pass | Word::ConditionalPass => Word::Undecided,
        other => other,
    }
}

/// How good an outcome is: what is better than before needs a second person.
#[must_use]
pub fn rank(word: Word) -> u8 {
    match word {
        Word::Fail | Word::ConditionalFail => 0,
        Word::Undecided => 1,
        Word::ConditionalPass => 2,
        Word::Pass => 3,
    }
}
