//! Judging: values and a key of closed words in, a verdict with its limit and its reasons out.
//!
//! Two doors, one way through:
//! - [`ask`] takes a typed [`Question`]: what an inspection knows about one step of its plan;
//! - [`judge`] takes a [`JudgeInput`], one JSON object as people and scripts write it, turns it
//!   into a [`Question`] and asks.
//!
//! # How to ask
//!
//! 1. `key`: measurand, method, class, applied part, condition, kind. The row's direction says
//!    whether the largest magnitude or the smallest value counts.
//! 2. `values`: one [`Measured`] for each captured value that is in force, digits and sign as
//!    sent; `seq` is its line. What is known against it goes into its `reasons`
//!    (`open_seen`, `condition_not_set`, `link_not_isolated` …), what the record proves for it
//!    into `proved`. Ask at once with what is there: a value that fails already fails the step.
//! 3. `correct`: the plan's chain in its order. A value without `null` under
//!    [`Correct::LeadNull`] is `lead_not_nulled`. A meter that subtracts by itself: a null of
//!    zero. `mains: None` under [`Correct::MainsScaling`] is the worst case of a 10 % tolerance.
//! 4. `confirmed`: the row was confirmed here, or the policy judges unconfirmed rows.
//!
//! What each reason does (see `reasons`): most make a value undecided whatever it is; a path that
//! was not proved, an asset not shown alive, a supply not checked and an unknown bandwidth only
//! take a pass away, as no current comes from an open path, and so does a direct share that was not
//! scaled up; `near_limit`, `worse_than_before` and
//! `conditions_declared` stand beside a pass. Several values: any failing one fails the step,
//! else any undecided one leaves it undecided.

mod direct;
mod doubtful;
mod glance;
mod input;
mod one;
mod prospect;
mod reasons;
mod stated;
mod trial;
mod validity;

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::{Indication, Unit};

use crate::amount::Amount;
use crate::certificate::Certificate;
use crate::correct::{Items, Mains, Network, Null};
use crate::doubt::scatter::Scatter;
use crate::exact::{Arithmetic, Ratio};
use crate::fact::{Judged, LimitUsed, UncertaintyUsed, Word};
use crate::limits::{Confidence, Direction, Key, NoRow, Row, Table};
use crate::plan::Correct;
use crate::register::{Accuracy, Gives};
use crate::temperature::Temperature;
use one::{Context, Finding};

pub use direct::Share;
pub use glance::Seen;
pub(crate) use glance::Way;
pub use input::{
    CelsiusInput, GivesInput, InputFault, JudgeInput, MainsInput, OneOrMany, PointInput,
    StatedInput, VALUES_MAX, judge,
};
pub use prospect::{Prospect, prospect};
pub use reasons::{Hold, hold};
pub use trial::trial;

/// Number of the judgement: rises when the same readings would give other verdicts.
pub const JUDGE: u32 = 1;

/// What an inspection knows about one step of its plan.
#[derive(Debug, Clone, Default)]
pub struct Question<'a> {
    /// What the limit is found by.
    pub key: Key<'a>,
    /// Values in force, one a direction, point or condition.
    pub values: Vec<Measured>,
    /// Corrections in the plan's order.
    pub correct: Vec<Correct>,
    /// Supply that was measured for these values, not older than ten minutes.
    pub mains: Option<Mains>,
    /// Temperature of the asset for these values, and the one that the plan judges at.
    pub temperature: Option<Temperature>,
    /// What the meter's range gives to the asset.
    pub gives: Option<Gives>,
    /// Stated accuracy of the range or setup.
    pub accuracy: Option<Accuracy>,
    /// What else is known of how the meter reads.
    pub besides: Besides,
    /// What the meter's certificate says that it reads wrong.
    pub certificate: Option<Certificate>,
    /// One count of the last digit; without it, the last digit that was sent.
    pub resolution: Option<Amount>,
    /// Decision rule.
    pub rule: RuleAsked,
    /// The row counts although it is from memory.
    pub confirmed: Confirmed,
    /// The network that is said; without one, values in volts are over that of IEC 60601-1.
    pub network: Option<Network>,
    /// The instrument does not weight by frequency: a value above the limit says nothing.
    pub unweighted: bool,
    /// Readings and nulls times this are what the meter should have shown.
    pub off: Option<Ratio>,
    /// As the first list of [`crate::fact::DOUBT`] has it.
    pub first_list: bool,
    /// As the first two lists of [`crate::fact::DOUBT`] have it: a value is shown rounded even to
    /// where it seems to lie on the other side of its limit.
    pub rounds_over: bool,
    /// As the first three lists of [`crate::fact::DOUBT`] have it: nobody asks for a direct share.
    pub scales_all: bool,
}

/// What is known of a meter's doubt besides its stated accuracy. It counts only beside one.
#[derive(Debug, Clone, Copy, Default)]
pub struct Besides {
    /// How far the resistor of the network may be off, percent of it.
    pub network_percent: Option<Ratio>,
    /// How far errors of a value and of its null go together, 0 to 1; without it 0.
    pub null_correlation: Option<Ratio>,
    /// Scatter of repeated readings, of values that have none of their own.
    pub scatter: Option<Scatter>,
}

/// One value on its way to a verdict.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Measured {
    /// What was captured, with its sign as sent.
    pub indication: Indication,
    /// Unit as sent.
    pub unit: Unit,
    /// Line of the value.
    pub seq: Option<u64>,
    /// Null of the same leads, function, range and direction.
    pub null: Option<Null>,
    /// Scatter of the readings it was captured from, in the unit as sent.
    pub scatter: Option<Scatter>,
    /// It was proved that current could have flown (path and asset alive).
    pub proved: bool,
    /// What was read of it as direct current, where anybody looked.
    pub direct: Option<Share>,
    /// Closed words known about this value.
    pub reasons: Vec<String>,
}

impl Measured {
    /// A value with nothing known about it: not nulled, path not proved.
    #[must_use]
    pub fn new(indication: Indication, unit: Unit) -> Measured {
        Measured {
            indication,
            unit,
            seq: None,
            null: None,
            scatter: None,
            proved: false,
            direct: None,
            reasons: Vec::new(),
        }
    }
}

/// The decision rule that is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum RuleAsked {
    /// Simple acceptance where U at the limit is at most 15 % of it, else a guard band; a missing
    /// accuracy is `uncertainty_unknown`. This is the policy word `simple`, "where the set-up
    /// allows it".
    #[default]
    WhereAllowed,
    /// Simple acceptance, said in so many words: no accuracy is needed.
    Simple,
    /// Binary guard band w = U.
    GuardBand,
    /// Guard band with conditional zones.
    GuardBandZones,
}

impl RuleAsked {
    /// By the policy's word: `simple`, "where the set-up allows it", `guard_band` or
    /// `guard_band_zones`.
    #[must_use]
    pub fn of_policy(word: &str) -> RuleAsked {
        match word {
            "guard_band" => RuleAsked::GuardBand,
            "guard_band_zones" => RuleAsked::GuardBandZones,
            _ => RuleAsked::WhereAllowed,
        }
    }
}

/// Whether a row from memory counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Confirmed {
    /// It does not: `limit_unconfirmed`.
    #[default]
    No,
    /// The workshop has read it in its own copy of the standard.
    Here,
    /// The policy judges it and says so: the word stands beside the verdict.
    JudgeAndSaySo,
}

/// Judges. Never fails: what can't be judged is undecided with its reasons.
#[must_use]
pub fn ask(question: &Question<'_>, table: &Table) -> Judged {
    let row = match table.find(&question.key) {
        Ok(row) => row,
        Err(NoRow::Many { .. }) => return without_limit(question, "many_limits"),
        Err(_) => return without_limit(question, "no_limit"),
    };
    match with_row(question, table, row) {
        Ok(judged) => judged,
        Err(Arithmetic) => {
            undecided(question, Some(limit_used(question, table, row)), "arithmetic")
        }
    }
}

fn with_row(question: &Question<'_>, table: &Table, row: &Row) -> Result<Judged, Arithmetic> {
    let limit = limit_used(question, table, row);
    let stop = |reason| Ok(undecided(question, Some(limit.clone()), reason));
    if question.values.is_empty() {
        return stop("no_reading");
    }
    let values: Vec<_> = question.values.iter().map(|v| (v.indication, v.unit)).collect();
    let Some(mut items) = Items::new(&values, question.resolution)? else {
        return stop("wrong_unit");
    };
    meter(question, &mut items)?;
    if let Some(factor) = question.off {
        items.put_right(factor)?;
    }
    let mut common = validity::of_table(question, table, row);
    let Some(items) = corrected(question, row, items, &mut common)? else {
        return stop("wrong_unit");
    };
    let context = Context::new(question, row, &items, common)?;
    let findings = question.values.iter().zip(&items.list);
    let findings =
        findings.map(|(value, item)| context.find(value, item)).collect::<Result<Vec<_>, _>>()?;
    let word = together(findings.iter().map(|f| f.word));
    let shown = one::decisive(&findings, word, row.bound.direction)?;
    let mut judged = undecided(question, Some(limit), "");
    judged.reasons = reasons_of(&findings, shown, word);
    judged.verdict = word;
    fill(&mut judged, shown, &context, &items)?;
    judged.unit = Some(items.unit);
    judged.chain = items.chain;
    Ok(judged)
}

/// What is known of how the meter reads.
fn meter(question: &Question<'_>, items: &mut Items) -> Result<(), Arithmetic> {
    let common = question.besides.scatter;
    let all: Vec<_> = question.values.iter().map(|value| value.scatter.or(common)).collect();
    items.scattered(&all, common)?;
    match &question.certificate {
        Some(certificate) => items.certified(certificate),
        None => Ok(()),
    }
}

/// Runs the chain. `None`: the unit does not fit the limit.
fn corrected(
    question: &Question<'_>,
    row: &Row,
    mut items: Items,
    common: &mut Vec<&'static str>,
) -> Result<Option<Items>, Arithmetic> {
    for correct in &question.correct {
        match correct {
            Correct::LeadNull => {
                let nulls: Option<Vec<Null>> = question.values.iter().map(|v| v.null).collect();
                match nulls {
                    Some(nulls) => items.lead_null(&nulls)?,
                    None => common.push("lead_not_nulled"),
                }
            }
            Correct::Network if items.unit.quantity == tapline_drivers::Quantity::Volt => {
                items.network(question.network.unwrap_or_default())?;
            }
            // A clamp sees the current itself; above the limit it says nothing.
            Correct::Network if question.unweighted => {}
            Correct::Network => return Ok(None),
            Correct::MainsScaling => match validity::mains(question.mains.as_ref())? {
                true => common.extend(direct::scaled(question, &mut items)?),
                false => common.push("no_mains_value"),
            },
            Correct::Temperature => match &question.temperature {
                Some(temperature) => items.temperature(temperature)?,
                None => common.push("no_temperature"),
            },
            Correct::Rms => common.push("method_not_valid"),
        }
    }
    if items.unit.quantity != row.bound.quantity() {
        return Ok(None);
    }
    match row.bound.direction {
        Direction::Max => items.largest_magnitude(),
        Direction::Min => items.smallest(),
    }
    Ok(Some(items))
}

/// Any failing value fails, else any undecided one leaves it undecided, else the worse pass.
fn together(words: impl Iterator<Item = Word>) -> Word {
    let rank = |word: &Word| match word {
        Word::Pass => 0,
        Word::ConditionalPass => 1,
        Word::Undecided => 2,
        Word::ConditionalFail => 3,
        Word::Fail => 4,
    };
    words.max_by_key(rank).unwrap_or(Word::Undecided)
}

/// In the order of the closed list. A fail carries what is known beside it; an undecided verdict
/// every reason of every value but
/// `near_limit`, which belongs to a pass.
fn reasons_of(findings: &[Finding<'_>], shown: &Finding<'_>, word: Word) -> Vec<String> {
    let fails = matches!(word, Word::Fail | Word::ConditionalFail);
    let of = |finding: &Finding<'_>, reason: &str| {
        finding.reasons.contains(&reason)
            && match word {
                Word::Undecided => reason != "near_limit",
                _ => hold(reason) == Hold::Nothing || finding.says(reason),
            }
    };
    let stands = |reason: &&str| match fails {
        true => of(shown, reason),
        false => findings.iter().any(|finding| of(finding, reason)),
    };
    if findings.iter().all(|finding| finding.reasons.is_empty()) {
        return Vec::new();
    }
    crate::terms::choices("reason").into_iter().filter(stands).map(ToString::to_string).collect()
}

fn fill(
    judged: &mut Judged,
    shown: &Finding<'_>,
    context: &Context<'_>,
    items: &Items,
) -> Result<(), Arithmetic> {
    judged.indication = shown.item.shape.indication().map(ToString::to_string);
    judged.rule = shown.rule.map(ToString::to_string);
    judged.probability = shown.probability.clone();
    judged.uncertainty = shown.uncertainty.as_ref().map(|doubt| UncertaintyUsed {
        u: doubt.u.clone(),
        k: doubt.k.clone(),
        expanded: doubt.expanded.clone(),
        freedom: doubt.freedom.clone(),
        parts: context.parts(doubt),
    });
    if let Some(ratio) = shown.item.shape.ratio() {
        judged.value = Some(ratio.text());
        judged.shown = Some(context.shown(shown.item, ratio)?);
        judged.share = match items.unit.quantity == context.quantity() {
            true if judged.indication.is_none() => Some(context.share(ratio)?),
            _ => None,
        };
    }
    Ok(())
}

fn limit_used(question: &Question<'_>, table: &Table, row: &Row) -> LimitUsed {
    let confidence = match (row.confidence, question.confirmed) {
        (Confidence::Memory, Confirmed::Here) => "confirmed_here",
        (confidence, _) => confidence.word(),
    };
    LimitUsed {
        id: row.id.clone(),
        value: row.bound.amount.number.text(),
        unit: row.bound.amount.unit,
        direction: row.bound.direction.word().into(),
        inclusive: row.bound.inclusive,
        standard: table.standard.clone(),
        edition: table.edition.clone(),
        clause: row.clause.clone(),
        confidence: confidence.into(),
        layer: row.layer.word().into(),
        how: row.how(),
        table: table.sha256.clone(),
    }
}

fn without_limit(question: &Question<'_>, reason: &str) -> Judged {
    undecided(question, None, reason)
}

/// A verdict with no comparison in it.
fn undecided(question: &Question<'_>, limit: Option<LimitUsed>, reason: &str) -> Judged {
    let single = match question.values.as_slice() {
        [value] => one::as_sent(value),
        _ => None,
    };
    let unit = question.values.first().map(|value| value.unit);
    Judged {
        measurand: Some(question.key.measurand.into()),
        method: question.key.method.map(ToString::to_string),
        indication: one::indication(question.values.as_slice()),
        value: single.clone(),
        unit,
        shown: single,
        from: question.values.iter().filter_map(|value| value.seq).collect(),
        chain: Vec::new(),
        limit,
        rule: None,
        share: None,
        uncertainty: None,
        probability: None,
        verdict: Word::Undecided,
        reasons: Vec::from([reason.into()]),
    }
}

#[cfg(test)]
mod tests;
