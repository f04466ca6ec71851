//! What a value comes to before it meets its limit: the number that stands beside the limit on a
//! screen, on the very way that a captured value takes, in the unit of the limit.

use alloc::string::String;
use alloc::vec::Vec;

use tapline_drivers::Unit;

use super::{Measured, Question, corrected, meter};
use crate::correct::{Item, Items, Shape};
use crate::exact::{Arithmetic, Ratio};
use crate::fact::ChainLink;
use crate::limits::{Key, Row};

/// What a value comes to, in the unit of its limit.
#[derive(Debug, Clone)]
pub struct Seen {
    /// `above below overload none`; `None` for a value.
    pub indication: Option<&'static str>,
    /// Value or bound, exact.
    pub value: Option<Ratio>,
    /// The same as people see it.
    pub shown: Option<String>,
    /// Unit of the limit.
    pub unit: Unit,
    /// What was reckoned on the way.
    pub chain: Vec<ChainLink>,
    /// What is missing for a link of the chain, of the closed list of reasons.
    pub lacks: Vec<&'static str>,
}

/// The way of the values of one question to one limit.
#[derive(Debug, Clone)]
pub(crate) struct Way {
    question: Question<'static>,
    row: Row,
}

impl Way {
    /// The way of these values. The limit is known, so nothing is sought by a key.
    pub(crate) fn new(question: Question<'_>, row: &Row) -> Way {
        Way { question: without_key(question), row: row.clone() }
    }

    /// Where a value comes to; `None` where it is of another quantity, or has no room.
    pub(crate) fn see(&self, value: Measured) -> Option<Seen> {
        let question = Question { values: Vec::from([value]), ..self.question.clone() };
        self.along(&question).ok()?
    }

    fn along(&self, question: &Question<'_>) -> Result<Option<Seen>, Arithmetic> {
        let values: Vec<_> = question.values.iter().map(|v| (v.indication, v.unit)).collect();
        let Some(mut items) = Items::new(&values, question.resolution)? else { return Ok(None) };
        meter(question, &mut items)?;
        if let Some(factor) = question.off {
            items.put_right(factor)?;
        }
        let mut lacks = Vec::new();
        let Some(items) = corrected(question, &self.row, items, &mut lacks)? else {
            return Ok(None);
        };
        let Some(item) = items.list.first() else { return Ok(None) };
        let unit = self.row.bound.amount.unit;
        let up = i32::from(items.unit.prefix.exponent()) - i32::from(unit.prefix.exponent());
        let value = item.shape.ratio().map(|ratio| ratio.shifted(up)).transpose()?;
        let shown = value.map(|value| self.shown(item, value, up)).transpose()?;
        let indication = item.shape.indication();
        Ok(Some(Seen { indication, value, shown, unit, chain: items.chain, lacks }))
    }

    /// As a verdict shows it, but in the unit of the limit.
    fn shown(&self, item: &Item, value: Ratio, up: i32) -> Result<String, Arithmetic> {
        let limit = self.row.bound.ratio(self.row.bound.amount.unit.prefix.exponent())?;
        let places = item.places + up;
        match item.shape {
            Shape::Above(_) if !self.question.first_list => value.shown_bound(places, false),
            Shape::Below(_) if !self.question.first_list => value.shown_bound(places, true),
            _ if self.question.rounds_over => value.shown(places),
            _ => value.shown_beside(limit, places),
        }
    }
}

/// The question itself, kept for as long as one likes.
fn without_key(question: Question<'_>) -> Question<'static> {
    Question {
        key: Key::default(),
        values: Vec::new(),
        correct: question.correct,
        mains: question.mains,
        temperature: question.temperature,
        gives: question.gives,
        accuracy: question.accuracy,
        besides: question.besides,
        certificate: question.certificate,
        resolution: question.resolution,
        rule: question.rule,
        confirmed: question.confirmed,
        network: question.network,
        unweighted: question.unweighted,
        off: question.off,
        first_list: question.first_list,
        rounds_over: question.rounds_over,
        scales_all: question.scales_all,
    }
}
