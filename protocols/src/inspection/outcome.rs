//! What the whole inspection says.

use alloc::string::String;
use alloc::vec::Vec;

use super::record::{Record, StepState};
use crate::fact::Word;

/// What the whole inspection says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// Fail if any step fails; else undecided if any step is undecided, left out or not reached;
    /// else pass.
    pub word: Word,
    /// `conditional`, `conditions_declared`, `near_limit`, `worse_than_before`,
    /// `nothing_earlier`, `limit_unconfirmed`, `overridden`, `set_aside`, `open_seen`,
    /// `not_applicable`, `excluded`.
    pub words: Vec<String>,
    /// The plan's steps that were not measured or answered through.
    pub open: Vec<String>,
}

/// Adds up the verdicts.
pub(super) fn outcome(record: &Record) -> Outcome {
    let mut words: Vec<&str> = Vec::new();
    let mut open: Vec<String> = Vec::new();
    let mut worst = Word::Pass;
    for step in &record.steps {
        if step.excluded() {
            words.push("excluded");
            continue;
        }
        let of = &step.expanded.of;
        if step.state != StepState::Done && !open.contains(of) {
            open.push(of.clone());
        }
        let verdict = record.verdicts.get(of).filter(|_| !record.due.contains(of));
        let word = verdict.map_or(Word::Undecided, |line| line.fact.judged.verdict);
        worst = worse(worst, word);
    }
    if record.steps.is_empty() {
        worst = Word::Undecided;
    }
    if !open.is_empty() {
        worst = worse(worst, Word::Undecided);
    }
    words.extend(said(record));
    let conditional = |word: &Word| matches!(word, Word::ConditionalPass | Word::ConditionalFail);
    if record.verdicts.values().any(|line| conditional(&line.fact.judged.verdict)) {
        words.push("conditional");
    }
    words.sort_unstable();
    words.dedup();
    Outcome { word: worst, words: words.into_iter().map(Into::into).collect(), open }
}

/// A conditional fail is a fail, a conditional pass a pass with a word beside it.
fn worse(one: Word, other: Word) -> Word {
    let rank = |word: Word| match word {
        Word::Pass | Word::ConditionalPass => 0,
        Word::Undecided => 1,
        Word::ConditionalFail | Word::Fail => 2,
    };
    match [one, other].into_iter().max_by_key(|word| rank(*word)) {
        Some(Word::Fail | Word::ConditionalFail) => Word::Fail,
        Some(Word::Undecided) => Word::Undecided,
        _ => Word::Pass,
    }
}

/// What stands beside the verdicts, and what a reader should know of how they came about.
fn said(record: &Record) -> Vec<&'static str> {
    let beside = [
        "conditions_declared",
        "near_limit",
        "worse_than_before",
        "nothing_earlier",
        "limit_unconfirmed",
    ];
    let reasons = || record.verdicts.values().flat_map(|line| &line.fact.judged.reasons);
    let stands = |word: &&str| reasons().any(|reason| reason == word);
    let mut words: Vec<&str> = beside.into_iter().filter(stands).collect();
    let seen = |value: &super::record::Valued| {
        value.line.fact.words.iter().any(|word| word == "open_seen")
    };
    if record.values.iter().any(seen) {
        words.push("open_seen");
    }
    if !record.overrides.is_empty() {
        // Also where the gate was proved later: what was energised before was energised on a word.
        words.push("overridden");
    }
    if !record.drops.is_empty() {
        words.push("set_aside");
    }
    if record.answers.iter().any(|line| line.fact.answer == "not_applicable") {
        words.push("not_applicable");
    }
    words
}
