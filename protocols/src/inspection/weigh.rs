//! Judging a step of the plan from what was captured: the question that is asked, and when.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::{Function, Indication, Number};

use super::brief::Brief;
use super::evidence;
use super::job::{self, EXCLUDED, Job};
use super::null::{self, Nulled};
use super::record::{Line, Record, StepRecord, StepState};
use super::{direct, like, scale, source, warmth};
use crate::amount::Amount;
use crate::certificate::Certificate;
use crate::correct::{Mains, Null};
use crate::doubt::scatter::Scatter;
use crate::fact::{Judged, ProveFact, ValueFact, VerdictFact, Word};
use crate::judge::{Besides, Confirmed, Hold, Measured, Question, RuleAsked, ask, hold};
use crate::limits::{Key, at_110_percent};
use crate::plan::{
    Correct, Needs, Step, StepKind, class_word, condition, kind_of, kind_word, part_word,
};
use crate::register::{Kind, Range};

/// Oldest check of supply or temperature that a value is corrected by, microseconds.
pub(super) const MAINS_AGE_MAX_US: u64 = 600_000_000;

/// The verdict of a step of the plan, where it is due: at once when something fails, else when
/// everything is in.
pub(super) fn verdict(record: &Record, brief: &Brief, step: &Step) -> Option<VerdictFact> {
    let expanded: Vec<&StepRecord> = record.steps_of(&step.id).collect();
    if expanded.iter().all(|one| one.excluded()) {
        return None;
    }
    let complete = expanded.iter().all(|one| complete(record, brief, one));
    let judged = match step.kind {
        StepKind::Measure => {
            let judged = measured(record, brief, step)?;
            like::compared(record, brief, step, judged)
        }
        _ => answered(record, brief, &expanded),
    };
    let fails = matches!(judged.verdict, Word::Fail | Word::ConditionalFail);
    (complete || fails).then(|| VerdictFact { step: step.id.clone(), judged })
}

/// The verdict that one value alone would give.
pub(super) fn alone(record: &Record, brief: &Brief, value: &Line<ValueFact>) -> Option<Word> {
    let job = brief.job(&value.fact.step)?;
    let step = brief.step(&job.of)?;
    let mut values = Vec::from([weighed(record, brief, (job, step), value)]);
    if !job.live() {
        // A current that was not turned round is a matter of two values.
        values[0].reasons.retain(|reason| reason != "condition_not_set");
    }
    Some(ask_for(record, brief, (job, step), (values, &[value])).verdict)
}

/// Nothing more comes for an expanded step before its verdict.
fn complete(record: &Record, brief: &Brief, step: &StepRecord) -> bool {
    match step.state {
        StepState::Done | StepState::Skipped | StepState::Closed => true,
        StepState::Waiting => false,
        StepState::Active => super::follow::finished(record, brief, step),
    }
}

fn measured(record: &Record, brief: &Brief, step: &Step) -> Option<Judged> {
    let mut groups: Vec<Group<'_>> = Vec::new();
    let mut missing: Vec<String> = Vec::new();
    for one in record.steps_of(&step.id) {
        let job = brief.job(&one.expanded.step)?;
        let chosen = in_force(record, brief, (job, step));
        if chosen.is_empty() || matches!(one.state, StepState::Skipped | StepState::Closed) {
            let reason = one.reason.clone().filter(|_| one.state == StepState::Closed);
            missing.push(reason.unwrap_or_else(|| "no_reading".to_string()));
        }
        let limit = one.expanded.limit.as_ref();
        let group = groups.iter().position(|group| group.limit == limit);
        let group = group.unwrap_or_else(|| {
            groups.push(Group { limit, job, values: Vec::new(), lines: Vec::new() });
            groups.len() - 1
        });
        for (measured, line) in chosen {
            groups[group].values.push(measured);
            groups[group].lines.push(line);
        }
    }
    let none = groups.iter().all(|group| group.values.is_empty());
    let mut judged = together(groups.into_iter().filter_map(|group| {
        let asks = none || !group.values.is_empty();
        asks.then(|| ask_for(record, brief, (group.job, step), (group.values, &group.lines)))
    }))?;
    if !missing.is_empty() && !matches!(judged.verdict, Word::Fail | Word::ConditionalFail) {
        judged.verdict = Word::Undecided;
        if none {
            judged.reasons.clear();
        }
        judged.reasons.extend(missing.into_iter().filter(|word| word != EXCLUDED));
        judged.reasons.sort();
        judged.reasons.dedup();
    }
    Some(judged)
}

/// Values of a step that have one limit: parts of another type have another one.
struct Group<'a> {
    limit: Option<&'a String>,
    job: &'a Job,
    values: Vec<Measured>,
    lines: Vec<&'a Line<ValueFact>>,
}

/// The worst of what several limits say; it rests on the values of all.
fn together(all: impl Iterator<Item = Judged>) -> Option<Judged> {
    let rank = |judged: &Judged| match judged.verdict {
        Word::Pass => 0,
        Word::ConditionalPass => 1,
        Word::Undecided => 2,
        Word::ConditionalFail => 3,
        Word::Fail => 4,
    };
    all.reduce(|one, other| {
        let (mut worst, better) =
            if rank(&one) < rank(&other) { (other, one) } else { (one, other) };
        worst.from.extend(better.from);
        worst.from.sort_unstable();
        if worst.verdict == better.verdict {
            worst.reasons.extend(better.reasons);
            worst.reasons.sort();
            worst.reasons.dedup();
        }
        worst
    })
}

/// Captures that count: all that say something, all that fail by themselves, and where none says
/// anything the newest one.
fn in_force<'a>(
    record: &'a Record,
    brief: &Brief,
    (job, step): (&Job, &Step),
) -> Vec<(Measured, &'a Line<ValueFact>)> {
    let weigh = |line: &'a Line<ValueFact>| (weighed(record, brief, (job, step), line), line);
    let all: Vec<_> = record.values_of(&job.step).map(weigh).collect();
    let clean = |(measured, _): &(Measured, &Line<ValueFact>)| {
        !measured.reasons.iter().any(|reason| hold(reason) != Hold::Nothing)
            && (measured.null.is_some() || !step.correct.contains(&Correct::LeadNull))
            && (measured.proved || step.prove.is_empty())
    };
    let some_clean = all.iter().any(clean);
    let newest = all.last().map(|(_, line)| line.seq);
    let fails = |line: &Line<ValueFact>| {
        matches!(alone(record, brief, line), Some(Word::Fail | Word::ConditionalFail))
    };
    all.into_iter()
        .filter(|one| {
            let (_, line) = one;
            clean(one) || fails(line) || (!some_clean && Some(line.seq) == newest)
        })
        .collect()
}

/// A captured value with all that is known for and against it.
pub(super) fn weighed(
    record: &Record,
    brief: &Brief,
    (job, step): (&Job, &Step),
    line: &Line<ValueFact>,
) -> Measured {
    let value = &line.fact;
    let mut measured = Measured::new(indication(value), value.unit);
    measured.seq = Some(line.seq);
    measured.scatter = scatter(value);
    measured.reasons = evidence::against(record, brief, (job, step), line);
    measured.proved = evidence::path(record, brief, job, line);
    measured.direct = direct::of_value(record, value);
    let asks_110 = |needs: &Needs| needs.mains.as_deref() == Some("at_110_percent");
    if step.needs.as_ref().is_some_and(asks_110) && !at_110(record, brief, line) {
        measured.reasons.push("supply_not_110".to_string());
    }
    if warmth::asked(step) {
        // What a person read of a thermometer is their word.
        measured.reasons.push("conditions_declared".to_string());
        if !warmth::is_known(record, (line.seq, line.at)) {
            measured.reasons.push("no_temperature".to_string());
        }
    }
    if step.correct.contains(&Correct::LeadNull) {
        match null::of_value(record, brief, job, line) {
            Nulled::By(null) => {
                let amount =
                    Amount::parse(&alloc::format!("{} {}", null.fact.value, null.fact.unit.ucum()));
                measured.null = amount.ok().map(|amount| Null { amount, seq: Some(null.seq) });
            }
            Nulled::InMeter(null) => {
                let number = Number { negative: false, digits: 0, exponent: 0 };
                let amount = Amount { number, unit: null.fact.unit };
                measured.null = Some(Null { amount, seq: Some(null.seq) });
            }
            Nulled::Not(reason) => measured.reasons.push(reason.to_string()),
        }
        let expanded = record.step_named(&job.step).map(|one| &one.expanded);
        let method = expanded.and_then(|one| one.method.as_deref());
        let null = measured.null.as_ref().map(|null| null.amount);
        if evidence::only_leads(brief, (job, method), value, null) {
            measured.reasons.push("path_not_proved".to_string());
        }
    }
    measured
}

/// The supply check of a value stood at 110 % of the asset's rated voltage.
fn at_110(record: &Record, brief: &Brief, line: &Line<ValueFact>) -> bool {
    let volts = |text: &str| Amount::parse(&alloc::format!("{text} V")).ok();
    let at = |check: &Line<ProveFact>| {
        let measured = volts(source::volts(&check.fact)?)?;
        let reference = volts(brief.asset.rated_volts.as_deref()?)?;
        Some(Mains { measured, reference, seq: Some(check.seq) })
    };
    checks(record, brief, line)
        .is_some_and(|checks| checks.into_iter().all(|check| at_110_percent(at(check).as_ref())))
}

/// The checks of every voltage that drives a value; `None` where one is missing.
fn checks<'a>(
    record: &'a Record,
    brief: &Brief,
    line: &Line<ValueFact>,
) -> Option<Vec<&'a Line<ProveFact>>> {
    let job = brief.job(&line.fact.step)?;
    let mut checks = Vec::new();
    if job.source {
        checks.push(source::of_value(record, line)?);
    }
    if !job.source || job.by_box {
        checks.push(evidence::supply(record, line)?);
    }
    Some(checks)
}

/// How far the readings of a value scatter.
fn scatter(value: &ValueFact) -> Option<Scatter> {
    let scatter = value.scatter.as_ref()?;
    let deviation = Amount { number: Number::parse(&scatter.s)?, unit: value.unit };
    Some(Scatter { deviation, freedom: scatter.freedom })
}

/// What was captured, as an indication again.
pub(super) fn indication(value: &ValueFact) -> Indication {
    let Some(number) = Number::parse(&value.value) else { return Indication::Overload };
    match value.indication.as_deref() {
        None => Indication::Value(number),
        Some("above") => Indication::Above(number),
        Some("below") => Indication::Below(number),
        Some(_) => Indication::Overload,
    }
}

fn ask_for(
    record: &Record,
    brief: &Brief,
    of: (&Job, &Step),
    values: (Vec<Measured>, &[&Line<ValueFact>]),
) -> Judged {
    ask(&question(record, brief, of, values), &brief.limits)
}

/// What is asked about values of one limit.
pub(super) fn question<'a>(
    record: &'a Record,
    brief: &'a Brief,
    (job, step): (&'a Job, &'a Step),
    (values, lines): (Vec<Measured>, &[&Line<ValueFact>]),
) -> Question<'a> {
    let expanded = record.step_named(&job.step).map(|one| &one.expanded);
    let range = job::range(brief.instruments.get(&job.meter), step, job.function);
    let part = expanded
        .and_then(|one| one.part.as_ref())
        .and_then(|name| brief.asset.applied_parts.iter().find(|part| part.name == *name));
    let setup = job.setup.as_ref().and_then(|id| brief.setups.get(id));
    let row = expanded.and_then(|one| brief.row(one));
    let confirmed = row.is_some_and(|row| brief.confirmed.contains(&row.id));
    Question {
        key: Key {
            measurand: step.measurand.as_deref().unwrap_or_default(),
            method: expanded.and_then(|one| one.method.as_deref()),
            class: Some(class_word(brief.asset.class)),
            applied_part: Some(part.map_or("none", |part| part_word(part.part_type))),
            condition: Some(condition(step, &job.set)),
            kind: kind(range, job.function).map(kind_word),
        },
        values,
        correct: step.correct.clone(),
        mains: mains(record, brief, step, lines),
        temperature: warmth::of_values(record, step, lines),
        gives: range.and_then(|range| range.gives),
        accuracy: match setup {
            Some(setup) => setup.accuracy.clone(),
            None => range.and_then(|range| range.accuracy.clone()),
        },
        resolution: range.filter(|_| setup.is_none()).and_then(|range| range.resolution),
        rule: RuleAsked::of_policy(&brief.policy.decision_rule),
        confirmed: match (confirmed, brief.policy.unconfirmed_limits.as_str()) {
            (true, _) => Confirmed::Here,
            (false, "judge_and_say_so") => Confirmed::JudgeAndSaySo,
            (false, _) => Confirmed::No,
        },
        besides: Besides::default(),
        certificate: range
            .filter(|_| setup.is_none())
            .and_then(|range| Certificate::new(&range.calibration).ok()),
        off: brief.off(job, job.function),
        first_list: brief.policy.doubt < 2,
        rounds_over: brief.policy.doubt < 3,
        scales_all: brief.policy.doubt < 4,
        network: job.terminals.filter(|_| job.over_500()),
        unweighted: matches!(job.function, Function::CurrentAc | Function::CurrentDc),
    }
}

fn kind(range: Option<&Range>, function: Function) -> Option<Kind> {
    range.and_then(|range| range.gives).map(|gives| gives.kind).or(kind_of(function))
}

/// The voltage at the time of all these values: the lowest of the checks that they had.
fn mains(record: &Record, brief: &Brief, step: &Step, lines: &[&Line<ValueFact>]) -> Option<Mains> {
    if !step.correct.contains(&Correct::MainsScaling) {
        return None;
    }
    let volts = |text: &str| Amount::parse(&alloc::format!("{text} V")).ok();
    let reference = volts(brief.asset.rated_volts.as_deref()?)?;
    let mut lowest: Option<Mains> = None;
    for line in lines {
        for check in checks(record, brief, line)? {
            let age = line.at.0.saturating_sub(evidence::taken(check));
            if MAINS_AGE_MAX_US < age || !record.same_boot(check.seq, line.seq) {
                return None;
            }
            let measured = volts(source::volts(&check.fact)?)?;
            let mains = Mains { measured, reference, seq: Some(check.seq) };
            let lower = |old: &Mains| scale::of(mains.measured) < scale::of(old.measured);
            if lowest.as_ref().is_none_or(lower) {
                lowest = Some(mains);
            }
        }
    }
    lowest
}

/// Looks, tries and asks: any failing item fails, an unanswered or skipped step is undecided.
fn answered(record: &Record, brief: &Brief, expanded: &[&StepRecord]) -> Judged {
    let named = |name: &str| expanded.iter().any(|step| step.expanded.step == name);
    let answers: Vec<_> = record.answers.iter().filter(|line| named(&line.fact.step)).collect();
    let fails = answers.iter().any(|line| line.fact.answer == "fail");
    let missing = expanded.iter().any(|step| step.state != StepState::Active)
        && expanded.iter().any(|step| {
            matches!(step.state, StepState::Skipped | StepState::Closed | StepState::Waiting)
        });
    let verdict = match (fails, missing) {
        (true, _) => Word::Fail,
        (false, true) => Word::Undecided,
        (false, false) => Word::Pass,
    };
    let closed = |step: &&StepRecord| {
        let gate = step.reason.as_deref() == Some("gate_closed");
        7 <= brief.policy.proofs && gate && step.state == StepState::Closed
    };
    let why = if expanded.iter().any(closed) { "gate_closed" } else { "no_reading" };
    let reasons = match verdict {
        Word::Undecided => Vec::from([why.to_string()]),
        _ => Vec::new(),
    };
    Judged {
        measurand: None,
        method: None,
        indication: None,
        value: None,
        unit: None,
        shown: None,
        from: answers.iter().map(|line| line.seq).collect(),
        chain: Vec::new(),
        limit: None,
        rule: None,
        share: None,
        uncertainty: None,
        probability: None,
        verdict,
        reasons,
    }
}
