//! What a bench can prove of a plan's limits, before anything is measured.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use serde::Serialize;
use tapline_drivers::{Function, Number};

use super::bench::{BenchGiven, kind_of};
use super::expand::in_force;
use super::limits::{class_word, condition, kind_word, part_word};
use super::model::{Correct, Needs, Plan, Step};
use super::steps::{Direction, Expanded};
use crate::amount::Amount;
use crate::certificate::Certificate;
use crate::correct::Mains;
use crate::inspection::{range, range_end};
use crate::judge::{Prospect, Question, RuleAsked, prospect};
use crate::limits::{Key, Table};
use crate::register::{Asset, Range, Setup};
use crate::temperature::Temperature;

/// What a set-up can prove of one limit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Foreseen {
    /// The plan's step.
    pub step: String,
    /// The limit's row.
    pub limit: String,
    /// The limit in words: `at most 0.300 Ohm`.
    pub bound: String,
    /// Instrument or set-up.
    pub instrument: String,
    /// `max` or `min`.
    pub direction: &'static str,
    /// `proves`; `doubt_too_wide`: no indication passes; `uncertainty_unknown`: the register states
    /// no accuracy, so that nothing passes.
    pub word: &'static str,
    /// Decision rule that is chosen, `simple guard_band guard_band_zones`.
    pub rule: Option<&'static str>,
    /// Expanded uncertainty at the limit, percent of it.
    pub share: Option<String>,
    /// The farthest indication of the meter that passes; `None`: none does, or only more than the
    /// range end.
    pub passes: Option<String>,
}

/// What a bench can prove of each limit of a plan, once for each step, limit and instrument.
///
/// `rule`: the policy's decision rule. The supply is taken at the asset's rated voltage, the leads
/// as they were when they were registered, readings without scatter: the real ones are no better.
/// A step that is closed, that has no limit, or of whose meter the register knows no resolution, is
/// left out: nothing is foreseen of it.
#[must_use]
pub fn foresee(
    (plan, asset): (&Plan, &Asset),
    bench: &BenchGiven<'_>,
    steps: &[Expanded],
    rule: &str,
) -> Vec<Foreseen> {
    let tables = in_force(plan, asset, bench.limits);
    let mut all: Vec<Foreseen> = Vec::new();
    for one in steps.iter().filter(|one| one.closed.is_none()) {
        let step = plan.steps.iter().find(|step| step.id == one.of);
        let (Some(step), Some(limit), Some(instrument)) = (step, &one.limit, &one.instrument)
        else {
            continue;
        };
        let known = |old: &&Foreseen| {
            (&old.step, &old.limit, &old.instrument) == (&one.of, limit, instrument)
        };
        if all.iter().any(|old| known(&old)) {
            continue;
        }
        let sight = Sight { asset, bench, step, one, rule };
        all.extend(sight.foreseen(&tables));
    }
    all
}

/// One step as it will be measured.
#[derive(Clone, Copy)]
struct Sight<'a> {
    asset: &'a Asset,
    bench: &'a BenchGiven<'a>,
    step: &'a Step,
    one: &'a Expanded,
    rule: &'a str,
}

impl<'a> Sight<'a> {
    fn foreseen(&self, tables: &[Table]) -> Option<Foreseen> {
        let limit = self.one.limit.as_ref()?;
        let (table, row) = tables.iter().find_map(|table| Some((table, table.row(limit)?)))?;
        let found = self.prospect(table)?;
        let word = match (found.proves(), found.rule) {
            (true, _) => "proves",
            (false, None) => "uncertainty_unknown",
            (false, Some(_)) => "doubt_too_wide",
        };
        Some(Foreseen {
            step: self.one.of.clone(),
            limit: found.limit,
            bound: row.bound_in_words(),
            instrument: self.one.instrument.clone().unwrap_or_default(),
            direction: row.bound.direction.word(),
            word,
            rule: found.rule,
            share: found.share,
            passes: found.passes.map(|amount| amount.to_string()),
        })
    }

    fn prospect(&self, table: &Table) -> Option<Prospect> {
        let setup = self.bench.setups.iter().find(|s| Some(&s.id) == self.one.instrument.as_ref());
        let meter = setup.map(|setup| &setup.meter).or(self.one.instrument.as_ref())?;
        let meter = self.bench.instruments.iter().find(|one| one.id == *meter)?;
        let wanted = self.step.needs.as_ref().map(|needs| needs.function.as_slice());
        let has = |function: &&Function| range(Some(meter), self.step, **function).is_some();
        let function = match setup {
            Some(setup) => setup.function,
            None => *wanted.unwrap_or_default().iter().find(has)?,
        };
        let range = range(Some(meter), self.step, function)?;
        let reads = range.resolution?;
        let question = self.question(setup, range, function);
        prospect(&question, table, reads, self.null(), range_end(meter, function))
    }

    fn question(&self, setup: Option<&Setup>, range: &Range, function: Function) -> Question<'a> {
        let part = self.one.part.as_ref();
        let part =
            part.and_then(|name| self.asset.applied_parts.iter().find(|part| part.name == *name));
        let kind = range.gives.map(|gives| gives.kind).or(kind_of(function));
        let accuracy = match setup {
            Some(setup) => setup.accuracy.clone(),
            None => range.accuracy.clone(),
        };
        let own = setup.is_none();
        Question {
            key: Key {
                measurand: self.step.measurand.as_deref().unwrap_or_default(),
                method: self.one.method.as_deref(),
                class: Some(class_word(self.asset.class)),
                applied_part: Some(part.map_or("none", |part| part_word(part.part_type))),
                condition: Some(condition(self.step, &self.one.set)),
                kind: kind.map(kind_word),
            },
            correct: self.step.correct.clone(),
            mains: self.mains(),
            temperature: self.temperature(),
            gives: range.gives,
            accuracy,
            resolution: range.resolution.filter(|_| own),
            certificate: Certificate::new(&range.calibration).ok().filter(|_| own),
            rule: RuleAsked::of_policy(self.rule),
            network: self.step.needs.as_ref().and_then(Needs::terminals),
            unweighted: matches!(function, Function::CurrentAc | Function::CurrentDc),
            ..Question::default()
        }
    }

    fn mains(&self) -> Option<Mains> {
        let volts = self.asset.rated_volts.as_ref().filter(|_| {
            // Else the worst inside its tolerance is taken, as for a value.
            self.step.correct.contains(&Correct::MainsScaling)
        })?;
        let rated = Amount::parse(&format!("{volts} V")).ok()?;
        Some(Mains { measured: rated, reference: rated, seq: None })
    }

    /// As if the asset had the temperature that it is judged at.
    fn temperature(&self) -> Option<Temperature> {
        let reference = Number::parse(self.step.celsius.as_ref()?)?;
        Some(Temperature { measured: reference, reference, seq: None })
    }

    fn null(&self) -> Option<Amount> {
        if !self.step.correct.contains(&Correct::LeadNull) {
            return None;
        }
        let lead =
            self.bench.leads.iter().find(|lead| Some(&lead.id) == self.one.leads.as_ref())?;
        let null = match self.one.direction {
            Some(Direction::Minus) => lead.reference.minus,
            _ => lead.reference.plus,
        };
        Some(Amount { number: Number { negative: false, ..null.number }, ..null })
    }
}
