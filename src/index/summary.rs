//! One line of the list of inspections, folded from the facts of its book.

use serde::{Deserialize, Serialize};
use tapline_protocols::Fact;
use tapline_protocols::fact::{Later, Word};

use crate::books::Line;
use crate::books::line::time_text;

/// An inspection in a list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Summary {
    /// Name of its book.
    pub id: String,
    /// Asset.
    pub asset: String,
    /// Plan.
    pub plan: String,
    /// Why it was inspected.
    pub reason: String,
    /// Bench.
    pub bench: String,
    /// When it was opened, UTC.
    pub opened: String,
    /// Who opened it.
    pub by: Option<String>,
    /// When it was signed or ended, UTC.
    pub closed: Option<String>,
    /// Outcome of a signed one.
    pub verdict: Option<Word>,
    /// Words that limit the outcome.
    pub words: Vec<String>,
    /// How one without measurement ended: `not_found in_use with_patient sent_out retired
    /// given_up`.
    pub ended: Option<String>,
    /// Instruments whose bytes are in it, sorted.
    pub instruments: Vec<String>,
    /// Drivers that read their bytes, with version, sorted: `val-unit-line/1`.
    pub drivers: Vec<String>,
    /// Limits that its verdicts used, sorted.
    pub limits: Vec<LimitRow>,
    /// What it is since an addendum to it was sealed; the rest is what was signed first.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub later: Option<Later>,
    /// Its book is damaged: this is what stands before the damage.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub damaged: bool,
}

/// A limit that a verdict used.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct LimitRow {
    /// Row.
    pub id: String,
    /// Standard.
    pub standard: String,
    /// Edition.
    pub edition: String,
    /// SHA-256 of the table, hex.
    pub table: String,
}

impl LimitRow {
    /// Row, standard, edition and table.
    pub(super) fn parts(&self) -> [&str; 4] {
        [&self.id, &self.standard, &self.edition, &self.table]
    }
}

/// As much of a verdict line as the list needs.
#[derive(Deserialize)]
struct Judged {
    limit: Option<LimitRow>,
}

impl Summary {
    /// What it comes to now, with what was added since its seal.
    #[must_use]
    pub fn outcome(&self) -> Option<Word> {
        self.later.as_ref().map(|later| later.outcome).or(self.verdict)
    }

    /// Begins with the first line of an inspection; `None` for any other line.
    pub(super) fn begin(line: &Line) -> Option<Summary> {
        let Fact::Open(open) = &line.fact else { return None };
        let opened = open.inspection.as_ref()?;
        Some(Summary {
            id: open.id.clone(),
            asset: opened.asset.clone(),
            plan: opened.plan.clone(),
            reason: opened.reason.clone(),
            bench: opened.bench.clone(),
            opened: time_text(line.at.wall_us)?,
            by: line.by.clone(),
            closed: None,
            verdict: None,
            words: Vec::new(),
            ended: None,
            instruments: Vec::new(),
            drivers: Vec::new(),
            limits: Vec::new(),
            later: None,
            damaged: false,
        })
    }

    /// Folds one more line.
    pub(super) fn apply(&mut self, line: &Line) {
        match &line.fact {
            Fact::Tap(tap) => {
                if let Some(instrument) = &tap.instrument {
                    add(&mut self.instruments, instrument.clone());
                }
                add(&mut self.drivers, format!("{}/{}", tap.driver, tap.driver_version));
            }
            Fact::Sign(sign) => {
                self.closed = time_text(line.at.wall_us);
                self.verdict = Some(sign.outcome);
                self.words.clone_from(&sign.words);
            }
            Fact::End(end) => {
                self.closed = time_text(line.at.wall_us);
                self.ended = Some(end.outcome.clone());
            }
            _ => {}
        }
    }

    /// Folds the stored text of a verdict.
    pub(super) fn judged(&mut self, text: &[u8]) -> Result<(), serde_json::Error> {
        if let Some(limit) = serde_json::from_slice::<Judged>(text)?.limit {
            add(&mut self.limits, limit);
        }
        Ok(())
    }
}

fn add<T: Ord>(list: &mut Vec<T>, item: T) {
    if let Err(at) = list.binary_search(&item) {
        list.insert(at, item);
    }
}
