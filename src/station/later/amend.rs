//! Puts a part of a sealed record right. What may be put right is a closed list; what a verdict
//! rests on is judged anew by the same judge, and what comes out better takes two persons.

use std::collections::{BTreeMap, BTreeSet};

use tapline_protocols::Fact;
use tapline_protocols::fact::{AmendFact, Amended, AnswerFact, DropFact, Word};
use tapline_protocols::life::{AMEND_REASONS, Life, rank};
use tapline_protocols::read::plain_text;
use tapline_protocols::register::Operator;

use super::super::codes::CAUSES;
use super::super::event::Problem;
use super::super::say::{bad, conflict, missing};
use super::{Added, long_enough};

/// Most fields of one amendment.
const FIELDS_MAX: usize = 20;

/// A field that is put right, and the fact that says so to the judge.
struct Change {
    amended: Amended,
    fact: Option<Fact>,
}

/// Who puts something right, and the number that the first line of it will have.
pub(super) struct People<'a> {
    pub(super) by: &'a Operator,
    pub(super) second: Option<&'a Operator>,
    pub(super) first: u64,
}

pub(super) fn amend(
    life: &Life,
    people: &People<'_>,
    (reason, text): (&str, &str),
    change: &BTreeMap<String, String>,
) -> Result<Added, Problem> {
    if !AMEND_REASONS.contains(&reason) {
        let text = format!("`{reason}` is no reason: {}", AMEND_REASONS.join(", "));
        return Err(bad(text));
    }
    let text = long_enough("text", text)?;
    if change.is_empty() || change.len() > FIELDS_MAX {
        return Err(bad(format!("1 to {FIELDS_MAX} fields are put right at once")));
    }
    let second = people.second.map(|one| one.id.clone());
    let told = Told { life, second, text: text.clone() };
    let changes = change.iter().map(|(field, after)| told.one(field, after.trim()));
    let changes = changes.collect::<Result<Vec<_>, Problem>>()?;
    let mut amend = AmendFact {
        reason: reason.into(),
        text,
        fields: changes.iter().map(|one| one.amended.clone()).collect(),
        second: told.second.clone(),
        label: false,
    };
    let follow: Vec<Fact> = changes.into_iter().filter_map(|one| one.fact).collect();
    let facts = judged(life, &amend, follow, people);
    let then = life.with(("", people.first), &facts, &people.by.id);
    two_persons(life, &then, people.second.is_some())?;
    let mut besides = Vec::new();
    if then.outcome() != life.outcome() {
        amend.label = true;
        let words = [life.outcome(), then.outcome()].map(super::super::say::word);
        besides.push([&["life.label".into(), life.id.clone()][..], &words].concat());
    }
    let rest = facts.into_iter().skip(1);
    let facts = std::iter::once(Fact::Amend(Box::new(amend))).chain(rest).collect();
    Ok(Added { facts, meaning: "amended", say: "life.amended", besides })
}

/// The amendment with what follows from it, and the verdicts of the steps that it touches.
fn judged(life: &Life, amend: &AmendFact, follow: Vec<Fact>, people: &People<'_>) -> Vec<Fact> {
    let mut facts = vec![Fact::Amend(Box::new(amend.clone()))];
    facts.extend(follow);
    let then = life.with(("", people.first), &facts, &people.by.id);
    let before = &life.inspection().record().due;
    let due: BTreeSet<&String> = then.inspection().record().due.difference(before).collect();
    let verdicts = due.into_iter().filter_map(|step| then.inspection().verdict(step));
    facts.extend(verdicts.map(|verdict| Fact::Verdict(Box::new(verdict))));
    facts
}

/// Nothing comes out better by one person's word: not the whole, and no step of it.
fn two_persons(before: &Life, then: &Life, second: bool) -> Result<(), Problem> {
    let step = |life: &Life, of: &str| {
        let record = life.inspection().record();
        let line = record.verdicts.get(of).filter(|_| !record.due.contains(of));
        line.map_or(Word::Undecided, |line| line.fact.judged.verdict)
    };
    let steps = then.inspection().record().verdicts.keys();
    let mut steps = steps.map(|of| (step(before, of), step(then, of)));
    let better = |(before, then): (Word, Word)| rank(before) < rank(then);
    if !second && (better((before.outcome(), then.outcome())) || steps.any(better)) {
        let text = "something comes out better than it was judged: that takes two persons";
        return Err(conflict(
            text,
            "A second person signs, too: --second, or their badge on the page.",
        ));
    }
    Ok(())
}

struct Told<'a> {
    life: &'a Life,
    second: Option<String>,
    text: String,
}

impl Told<'_> {
    fn one(&self, field: &str, after: &str) -> Result<Change, Problem> {
        let (before, fact) = match field.split_once('/') {
            None => (self.plain(field, after)?, None),
            Some(("answer", rest)) => self.answer(rest, after)?,
            Some(("value", seq)) => self.value(seq, after)?,
            Some(_) => return Err(unknown(field)),
        };
        if before.as_deref() == Some(after) {
            return Err(bad(format!("`{field}` is `{after}` already")).next("Leave it out."));
        }
        let (field, after) = (field.into(), after.into());
        Ok(Change { amended: Amended { field, before, after }, fact })
    }

    /// What stands in a field that no verdict rests on.
    fn plain(&self, field: &str, after: &str) -> Result<Option<String>, Problem> {
        let asset = self.life.asset();
        let first = match field {
            "location" => asset.map(|asset| asset.location.clone()),
            "owner" => asset.map(|asset| asset.owner.clone()),
            "tag" => self.life.signed().and_then(|signed| signed.tag.clone()),
            "remark" => None,
            _ => return Err(unknown(field)),
        };
        if field == "tag" && !["attached", "refused"].contains(&after) {
            return Err(bad(format!("`{after}` is no state of a tag: attached, refused")));
        }
        if !plain_text(after) {
            return Err(bad(format!("`{field}` needs 1 to 500 characters on one row")));
        }
        Ok(self.life.field(field).map(Into::into).or(first))
    }

    /// An answer that was given; one that nobody gave is not made up afterwards.
    fn answer(&self, of: &str, after: &str) -> Result<(Option<String>, Option<Fact>), Problem> {
        if !["pass", "fail", "not_applicable"].contains(&after) {
            return Err(bad(format!("`{after}` is no answer: pass, fail, not_applicable")));
        }
        let (step, item) = of.rsplit_once('/').ok_or_else(|| unknown(&format!("answer/{of}")))?;
        let answers = &self.life.inspection().record().answers;
        let given = answers.iter().rev().find(|one| one.fact.step == step && one.fact.item == item);
        let given = given.ok_or_else(|| {
            missing("answer", of).next("Name step and item as `tapline show` does.")
        })?;
        let fact = AnswerFact {
            step: step.into(),
            item: item.into(),
            answer: after.into(),
            reason: Some(self.text.clone()),
        };
        Ok((Some(given.fact.answer.clone()), Some(Fact::Answer(fact))))
    }

    /// A captured value that is set aside, by two persons.
    fn value(&self, seq: &str, cause: &str) -> Result<(Option<String>, Option<Fact>), Problem> {
        if !CAUSES.contains(&cause) {
            return Err(bad(format!("`{cause}` is no cause: {}", CAUSES.join(", "))));
        }
        let values = &self.life.inspection().record().values;
        let number = seq.parse().ok();
        let value = values.iter().find(|one| Some(one.line.seq) == number && !one.dropped);
        let value = value.ok_or_else(|| missing("value in force on line", seq))?;
        if self.second.is_none() {
            let text = "a captured value is set aside by two persons";
            return Err(conflict(
                text,
                "A second person signs, too: --second, or their badge on the page.",
            ));
        }
        let fact = DropFact {
            value: value.line.seq,
            cause: cause.into(),
            second: self.second.clone(),
            in_force: false,
        };
        let before = format!("{} {}", value.line.fact.value, value.line.fact.unit.ucum());
        Ok((Some(before), Some(Fact::Drop(fact))))
    }
}

fn unknown(field: &str) -> Problem {
    let text = format!("`{field}` can't be put right");
    let next = "Put right: location, owner, tag, remark, answer/STEP/ITEM, value/LINE. All else is \
                measured anew.";
    bad(text).next(next)
}
