//! One line of the list of inspections, folded from the facts of its book.

use serde::{Deserialize, Serialize};
use tapline_protocols::Fact;
use tapline_protocols::fact::Word;

use crate::books::Line;
use crate::books::line::time_text;

/// An inspection in a list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
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
}

impl Summary {
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
        })
    }

    /// Folds one more line. True if it changed.
    pub(super) fn apply(&mut self, line: &Line) -> bool {
        match &line.fact {
            Fact::Tap(tap) => {
                let Some(instrument) = &tap.instrument else { return false };
                let Err(at) = self.instruments.binary_search(instrument) else { return false };
                self.instruments.insert(at, instrument.clone());
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
            _ => return false,
        }
        true
    }

    /// Key in the `when` tree: time of opening, then name.
    pub(super) fn when_key(&self) -> Vec<u8> {
        [self.opened.as_bytes(), &[0], self.id.as_bytes()].concat()
    }

    /// Key in the `asset` tree: asset, time of opening, name.
    pub(super) fn asset_key(&self) -> Vec<u8> {
        [self.asset.as_bytes(), &[0], &self.when_key()].concat()
    }
}
