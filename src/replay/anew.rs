//! The inspection as it would be: on what this program's drivers capture, judged by this program.
//!
//! As long as nothing differs it is the one of the record. From the first value, null or check
//! that comes out otherwise it goes its own way, on everything else as recorded: acts, switches
//! and times are what they were.

use std::collections::BTreeMap;
use std::mem::discriminant;

use tapline_drivers::Now;
use tapline_protocols::Fact;
use tapline_protocols::fact::{Judged, VerdictFact, Word};
use tapline_protocols::inspection::Inspection;

use super::report::{Report, Verdict};
use crate::books::Line;

/// The inspection as it would be.
#[derive(Default)]
pub(super) struct Anew {
    /// Only where it differs.
    own: Option<Inspection>,
    /// The newest verdict of each step.
    verdicts: BTreeMap<String, Verdict>,
}

impl Anew {
    /// A verdict of the record comes next. `due`: what replay expects in its place.
    pub(super) fn judged(
        &mut self,
        seq: u64,
        recorded: &VerdictFact,
        due: Option<&Fact>,
        same: &Inspection,
    ) {
        let step = &recorded.step;
        let now = match (&self.own, due) {
            (Some(own), _) => own.verdict(step),
            (None, Some(Fact::Verdict(due))) if due.step == *step => Some((**due).clone()),
            (None, _) => same.verdict(step),
        };
        let replayed = now.map(|verdict| verdict.judged);
        let word = |judged: &Judged| judged.verdict;
        let verdict = Verdict {
            seq,
            step: step.clone(),
            changes: replayed.as_ref().map(word) != Some(recorded.judged.verdict),
            within_doubt: replayed.as_ref().is_some_and(doubtful),
            recorded: recorded.judged.clone(),
            replayed,
        };
        self.verdicts.insert(step.clone(), verdict);
    }

    /// A line is about to be applied. `instead`: what replay made of the same bytes, where the
    /// fact `followed` from them.
    pub(super) fn follow(
        &mut self,
        line: &Line,
        instead: Option<Fact>,
        followed: bool,
        same: &Inspection,
    ) {
        let captured = matches!(line.fact, Fact::Value(_) | Fact::Null(_) | Fact::Prove(_));
        let fact = match instead {
            Some(fact) if captured && about(&fact) == about(&line.fact) => Some(fact),
            None if captured && followed => None,
            _ => Some(line.fact.clone()),
        };
        if self.own.is_none() && fact.as_ref() != Some(&line.fact) {
            self.own = Some(same.clone());
        }
        if let (Some(own), Some(fact)) = (&mut self.own, fact) {
            own.apply(line.seq, Now(line.at.boot_us), &fact, line.by.as_deref());
        }
    }

    /// What was given has changed.
    pub(super) fn prepare(&mut self) {
        if let Some(own) = &mut self.own {
            // The inspection of the record says what is wrong with it.
            let _ = own.prepare();
        }
    }

    /// Tells what became of the verdicts in force.
    pub(super) fn tell(&mut self, report: &mut Report) {
        let all = std::mem::take(&mut self.verdicts).into_values();
        for verdict in all {
            report.doubtful += usize::from(verdict.within_doubt);
            let comes_near = verdict.within_doubt && !doubtful(&verdict.recorded);
            if verdict.changes || comes_near {
                report.verdicts.push(verdict);
            }
        }
        report.verdicts.sort_by_key(|verdict| verdict.seq);
    }
}

/// A verdict that says something, whose value lies within its doubt of the limit.
fn doubtful(judged: &Judged) -> bool {
    judged.verdict != Word::Undecided && judged.within_doubt()
}

/// What a captured fact is about: of the same thing one stands for the other.
fn about(fact: &Fact) -> (std::mem::Discriminant<Fact>, &str) {
    let name = match fact {
        Fact::Value(value) => value.step.as_str(),
        Fact::Null(null) => null.lead.as_str(),
        Fact::Prove(prove) => prove.what.as_str(),
        _ => "",
    };
    (discriminant(fact), name)
}
