//! Laws that hold on any bench, written once more without the code that they hold for: what
//! belongs to a step stays there, and what is energised rests on a proof of its own day.

use alloc::collections::BTreeSet;
use alloc::string::String;
use alloc::vec::Vec;

use super::bench::{Bench, Stored};
use crate::fact::{Fact, Given, ReadingId, VerdictFact, Word};
use crate::plan::Expanded;

fn expanded(bench: &Bench) -> Vec<&Expanded> {
    let given = bench.lines.iter().filter_map(|line| match &line.fact {
        Fact::Given(Given::Steps { list }) => Some(list),
        _ => None,
    });
    given.flatten().collect()
}

fn line(bench: &Bench, seq: u64) -> &Stored {
    bench.lines.iter().find(|line| line.seq == seq).expect("a verdict names stored lines")
}

/// A verdict rests on values and answers of its own step, before it, and is judged by the limit
/// that the plan named for those very values.
pub(super) fn a_limit_judges_its_own_step(bench: &Bench) {
    let steps = expanded(bench);
    let of = |step: &str| steps.iter().find(|one| one.step == step).expect("an expanded step");
    for judged in &bench.lines {
        let Fact::Verdict(verdict) = &judged.fact else { continue };
        for seq in &verdict.judged.from {
            assert!(*seq < judged.seq);
            match &line(bench, *seq).fact {
                Fact::Value(value) => {
                    let step = of(&value.step);
                    assert_eq!(step.of, verdict.step);
                    if let Some(limit) = &verdict.judged.limit {
                        assert_eq!(step.limit.as_ref(), Some(&limit.id));
                    }
                }
                Fact::Answer(answer) => assert_eq!(of(&answer.step).of, verdict.step),
                other => panic!("a verdict rests on {other:?}"),
            }
        }
    }
}

/// A value rests on readings that were placed at its step while it was active, a null on readings
/// of the null; no reading serves twice.
pub(super) fn a_reading_serves_once_and_where_it_was_placed(bench: &Bench) {
    let mut used: BTreeSet<ReadingId> = BTreeSet::new();
    let mut active = String::new();
    for line in &bench.lines {
        let (from, place) = match &line.fact {
            Fact::Step(step) if step.state == "active" => {
                active.clone_from(&step.step);
                continue;
            }
            Fact::Value(value) => {
                assert_eq!(value.step, active, "captured for the step that is worked on");
                (&value.from, value.step.clone())
            }
            Fact::Null(null) => (&null.from, alloc::format!("null/{}", null.lead)),
            _ => continue,
        };
        for id in from {
            let reading = bench.readings.iter().find(|one| one.id == *id);
            let reading = reading.expect("a capture rests on readings");
            assert_eq!(reading.at.step.as_ref(), Some(&place), "{:?}", line.fact);
            assert!(used.insert(*id), "{id:?} was captured twice");
        }
    }
}

/// No energised step is opened, and nothing is captured in one, unless every value of protective
/// earth was measured today and passed, or the gate was opened by competence today. What failed
/// has no override.
pub(super) fn nothing_is_energised_on_an_unproved_earth(bench: &Bench) {
    let steps = expanded(bench);
    let earth: Vec<&str> =
        steps.iter().filter(|one| one.of == "pe").map(|one| one.step.as_str()).collect();
    let mut day = Day::default();
    for line in &bench.lines {
        match &line.fact {
            Fact::Resume(resume) => {
                let date = resume.date.clone().unwrap_or_default();
                if date != day.date {
                    day = Day { date, began: line.seq, ..Day::default() };
                }
            }
            Fact::Open(open) => day.date = open_date(&open.id),
            Fact::Override(_) => day.overridden = true,
            Fact::Verdict(verdict) if verdict.step == "pe" => {
                day.proved = proved(bench, verdict, (&earth, day.began));
                day.failed = matches!(verdict.judged.verdict, Word::Fail | Word::ConditionalFail);
            }
            Fact::Step(step) if energises(&step.step) && step.state == "active" => {
                day.allows(line);
            }
            Fact::Value(value) if value.step.starts_with("leak") => day.allows(line),
            _ => {}
        }
    }
}

/// What is measured live, and what is tried.
fn energises(step: &str) -> bool {
    step.starts_with("leak") || step == "try"
}

#[derive(Default)]
struct Day {
    date: String,
    /// Line that it began with.
    began: u64,
    proved: bool,
    failed: bool,
    overridden: bool,
}

impl Day {
    fn allows(&self, line: &Stored) {
        assert!(!self.failed, "a failed earth has no override: {:?}", line.fact);
        assert!(self.proved || self.overridden, "{:?}", line.fact);
    }
}

fn proved(bench: &Bench, verdict: &VerdictFact, (earth, began): (&[&str], u64)) -> bool {
    let today = |step: &&str| {
        verdict.judged.from.iter().any(|seq| {
            let of = &line(bench, *seq).fact;
            began < *seq && matches!(of, Fact::Value(value) if value.step == **step)
        })
    };
    matches!(verdict.judged.verdict, Word::Pass | Word::ConditionalPass) && earth.iter().all(today)
}

/// `K3-20261124-0007` was opened on 2026-11-24.
fn open_date(id: &str) -> String {
    let date = id.split('-').nth(1).unwrap_or_default();
    alloc::format!("{}-{}-{}", &date[..4], &date[4..6], &date[6..])
}

/// Since hands were clear somebody read the source's own voltmeter, at mains voltage, and energised
/// it before that; whatever was energised stays so until a person says dead, or watching ends.
pub(super) fn nothing_is_captured_before_its_source_was_read(bench: &Bench) {
    let (mut live, mut shown) = (false, false);
    for line in &bench.lines {
        match &line.fact {
            Fact::Act(act) if act.what == "live" => live = true,
            Fact::Act(act) if matches!(act.what.as_str(), "clear" | "dead" | "connected") => {
                (live, shown) = (false, false);
            }
            Fact::Resume(_) => (live, shown) = (false, false),
            Fact::Prove(proof) if proof.what == "source" => {
                assert!(live || !proof.ok, "read while nobody had switched it on");
                shown = proof.ok;
            }
            Fact::Value(value) if value.step.starts_with("leak") => {
                assert!(live && shown, "{value:?}");
            }
            _ => {}
        }
    }
}
