//! One value against the limit.

use alloc::string::String;
use alloc::vec::Vec;
use core::cmp::Ordering;

use tapline_drivers::{Indication, Number, Quantity};

use super::{Confirmed, Hold, Measured, Question, RuleAsked, hold};
use crate::correct::{ASSUMED_MAINS, Item, Items, Shape};
use crate::doubt::{self, Read, Stated, Uncertainty};
use crate::exact::{Arithmetic, Ratio};
use crate::fact::{UncertaintyPart, Word};
use crate::limits::{Bound, Direction, Row};
use crate::register::Coverage;

/// What all values of a question share.
pub(super) struct Context<'a> {
    bound: Bound,
    /// In the unit of the values.
    limit: Ratio,
    stated: Option<Stated>,
    /// Nothing but the stated accuracy of value and null counts.
    plain: bool,
    rule: RuleAsked,
    needs_proof: bool,
    /// The policy judges the row and says so.
    says_unconfirmed: bool,
    unweighted: bool,
    assumed_mains: bool,
    /// Bounds are shown as values are, half to even.
    bounds_half_even: bool,
    /// Values are shown rounded, to wherever that is.
    rounds_over: bool,
    common: Vec<&'a str>,
}

/// What one value says.
pub(super) struct Finding<'a> {
    pub(super) item: &'a Item,
    pub(super) word: Word,
    pub(super) reasons: Vec<&'a str>,
    pub(super) rule: Option<&'static str>,
    pub(super) uncertainty: Option<Uncertainty>,
    pub(super) probability: Option<String>,
    standing: Standing,
    says_unconfirmed: bool,
}

/// Where a value stands to the limit, from good to bad.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Standing {
    Pass,
    ConditionalPass,
    Nothing,
    Bound,
    ConditionalFail,
    Fail,
}

impl Finding<'_> {
    /// The word stands beside the verdict by policy.
    pub(super) fn says(&self, reason: &str) -> bool {
        self.says_unconfirmed && reason == "limit_unconfirmed"
    }
}

impl<'a> Context<'a> {
    pub(super) fn new(
        question: &Question<'_>,
        row: &Row,
        items: &Items,
        common: Vec<&'static str>,
    ) -> Result<Context<'a>, Arithmetic> {
        let assumed = |link: &crate::fact::ChainLink| {
            link.assumed.as_ref().is_some_and(|assumed| assumed == ASSUMED_MAINS)
        };
        Ok(Context {
            bound: row.bound,
            limit: row.bound.ratio(items.unit.prefix.exponent())?,
            stated: stated(question),
            plain: plain(question),
            rule: question.rule,
            needs_proof: !row.is_low_resistance(),
            says_unconfirmed: question.confirmed == Confirmed::JudgeAndSaySo,
            unweighted: question.unweighted && row.basis.as_deref() == Some("weighted"),
            assumed_mains: items.chain.iter().any(assumed),
            bounds_half_even: question.first_list,
            rounds_over: question.rounds_over,
            common,
        })
    }

    /// Every branch of a judgement is here; what it calls only computes.
    pub(super) fn find(
        &self,
        value: &'a Measured,
        item: &'a Item,
    ) -> Result<Finding<'a>, Arithmetic> {
        let mut reasons = self.common.clone();
        reasons.extend(value.reasons.iter().map(String::as_str));
        if self.needs_proof && !value.proved {
            reasons.push("path_not_proved");
        }
        match item.shape {
            Shape::Overload => reasons.push("overload"),
            Shape::NoValue => reasons.push("no_reading"),
            _ => {}
        }
        let at_limit = self.at_limit(item)?;
        let uncertainty = self.uncertainty(item, item.reading);
        let uncertainty = match &at_limit {
            Some(at_limit) => uncertainty.map(|one| one.covered_as(at_limit)),
            None => uncertainty,
        };
        if negative(item, uncertainty.as_ref())? {
            reasons.push("negative_after_null");
        }
        let rule = self.choose(at_limit.as_ref())?;
        if rule.is_none() {
            reasons.push("uncertainty_unknown");
        }
        let standing = self.stand(item.shape, rule, uncertainty.as_ref())?;
        match standing {
            Standing::Bound => reasons.push("bound"),
            Standing::Fail | Standing::ConditionalFail => {
                reasons.extend(self.unweighted.then_some("unweighted"));
                reasons.extend(self.assumed_mains.then_some("no_mains_value"));
            }
            _ => {}
        }
        let word = self.word(standing, &reasons);
        if matches!(word, Word::Pass | Word::ConditionalPass) && self.near(item.shape)? {
            reasons.push("near_limit");
        }
        let probability = self.probability(item.shape, uncertainty.as_ref());
        let says_unconfirmed = self.says_unconfirmed;
        let rule = rule.map(Rule::word);
        Ok(Finding {
            item,
            word,
            reasons,
            rule,
            uncertainty,
            probability,
            standing,
            says_unconfirmed,
        })
    }

    /// Whether a value would pass by its size and doubt alone, with the rule that is chosen and the
    /// uncertainty at the limit.
    pub(super) fn would(
        &self,
        item: &Item,
    ) -> Result<(bool, Option<&'static str>, Option<Uncertainty>), Arithmetic> {
        let at_limit = self.at_limit(item)?;
        let own = self.uncertainty(item, item.reading);
        let own = own.zip(at_limit.as_ref()).map(|(own, limit)| own.covered_as(limit));
        let rule = self.choose(at_limit.as_ref())?;
        let passes =
            rule.is_some() && self.stand(item.shape, rule, own.as_ref())? == Standing::Pass;
        Ok((passes, rule.map(Rule::word), at_limit))
    }

    /// What an uncertainty is made of, where the record is to say it.
    pub(super) fn parts(&self, doubt: &Uncertainty) -> Vec<UncertaintyPart> {
        let part =
            |(of, u): &(&'static str, String)| UncertaintyPart { of: (*of).into(), u: u.clone() };
        if self.plain { Vec::new() } else { doubt.parts.iter().map(part).collect() }
    }

    /// What people see of a value or a bound.
    pub(super) fn shown(&self, item: &Item, ratio: Ratio) -> Result<String, Arithmetic> {
        match item.shape {
            Shape::Above(_) if !self.bounds_half_even => ratio.shown_bound(item.places, false),
            Shape::Below(_) if !self.bounds_half_even => ratio.shown_bound(item.places, true),
            _ if self.rounds_over => ratio.shown(item.places),
            _ => ratio.shown_beside(self.limit, item.places),
        }
    }

    pub(super) fn quantity(&self) -> Quantity {
        self.bound.quantity()
    }

    /// Percent of the limit, one decimal.
    pub(super) fn share(&self, ratio: Ratio) -> Result<String, Arithmetic> {
        let whole = Ratio::new(100, 1)?;
        let share = ratio.over(self.limit)?.times(whole)?;
        if self.rounds_over { share.shown(-1) } else { share.shown_beside(whole, -1) }
    }

    fn word(&self, standing: Standing, reasons: &[&str]) -> Word {
        let says = |reason: &str| self.says_unconfirmed && reason == "limit_unconfirmed";
        let held = |what| reasons.iter().any(|r| hold(r) == what && !says(r));
        let pass_held = held(Hold::Pass);
        match standing {
            _ if held(Hold::All) => Word::Undecided,
            Standing::Nothing | Standing::Bound => Word::Undecided,
            Standing::Pass | Standing::ConditionalPass if pass_held => Word::Undecided,
            Standing::Pass => Word::Pass,
            Standing::ConditionalPass => Word::ConditionalPass,
            Standing::ConditionalFail => Word::ConditionalFail,
            Standing::Fail => Word::Fail,
        }
    }

    fn uncertainty(&self, item: &Item, reading: Option<Ratio>) -> Option<Uncertainty> {
        let read = Read {
            reading: reading?,
            digit: item.digit,
            null: item.null,
            scatter: item.scatter,
            certificate: item.certificate,
        };
        doubt::uncertainty(self.stated.as_ref()?, &read)
    }

    /// Of a reading that gives the limit.
    fn at_limit(&self, item: &Item) -> Result<Option<Uncertainty>, Arithmetic> {
        let reading = self.limit.plus(item.null.unwrap_or(Ratio::new(0, 1)?))?;
        Ok(self.uncertainty(item, Some(reading)))
    }

    /// At most 15 % of the limit is what IEC 61557-16 asks of instruments (trade reports of
    /// DIN EN 61557-16:2015, excerpt seen), so that simple acceptance presupposes it.
    fn choose(&self, at_limit: Option<&Uncertainty>) -> Result<Option<Rule>, Arithmetic> {
        let known = self.stated.is_some();
        Ok(match self.rule {
            RuleAsked::Simple => Some(Rule::Simple),
            RuleAsked::GuardBand => known.then_some(Rule::GuardBand),
            RuleAsked::GuardBandZones => known.then_some(Rule::Zones),
            RuleAsked::WhereAllowed => match at_limit.and_then(Uncertainty::ratio) {
                None => None,
                Some(expanded) => {
                    let most = self.limit.times(Ratio::new(15, 100)?)?;
                    let wide = expanded.compare(most)? == Ordering::Greater;
                    Some(if wide { Rule::GuardBand } else { Rule::Simple })
                }
            },
        })
    }

    fn stand(
        &self,
        shape: Shape,
        rule: Option<Rule>,
        uncertainty: Option<&Uncertainty>,
    ) -> Result<Standing, Arithmetic> {
        if shape.ratio().is_none() {
            return Ok(Standing::Nothing);
        }
        let guard = match rule {
            Some(Rule::GuardBand | Rule::Zones) => {
                uncertainty.and_then(Uncertainty::ratio).ok_or(Arithmetic)?
            }
            Some(Rule::Simple) | None => Ratio::new(0, 1)?,
        };
        let accept = self.moved(guard)?;
        // Which bound is worse than its number, and which is better, depends on the direction.
        let (worse, better) = match (self.bound.direction, shape) {
            (Direction::Max, Shape::Above(x)) | (Direction::Min, Shape::Below(x)) => {
                (Some(x), None)
            }
            (Direction::Max, Shape::Below(x)) | (Direction::Min, Shape::Above(x)) => {
                (None, Some(x))
            }
            (_, Shape::Value(value)) => return self.stand_value(value, rule, guard),
            _ => return Ok(Standing::Nothing),
        };
        if let Some(x) = worse
            && self.badness(x, self.limit)? != Ordering::Less
        {
            return Ok(Standing::Fail);
        }
        if let Some(x) = better
            && self.badness(x, accept)? != Ordering::Greater
        {
            return Ok(Standing::Pass);
        }
        Ok(Standing::Bound)
    }

    /// ILAC-G8:09/2019 4.2.1 to 4.2.3 (excerpt seen): simple acceptance, guard band, zones.
    fn stand_value(
        &self,
        value: Ratio,
        rule: Option<Rule>,
        guard: Ratio,
    ) -> Result<Standing, Arithmetic> {
        let within = |limit| Ok(self.conforms(self.badness(value, limit)?));
        let accept = self.moved(guard)?;
        Ok(match rule {
            Some(Rule::Zones) => {
                let reject = self.moved(negated(guard)?)?;
                if self.badness(value, accept)? == Ordering::Less {
                    Standing::Pass
                } else if within(self.limit)? {
                    Standing::ConditionalPass
                } else if self.badness(value, reject)? != Ordering::Greater {
                    Standing::ConditionalFail
                } else {
                    Standing::Fail
                }
            }
            _ if within(accept)? => Standing::Pass,
            _ => Standing::Fail,
        })
    }

    /// The limit, moved to the good side.
    fn moved(&self, by: Ratio) -> Result<Ratio, Arithmetic> {
        match self.bound.direction {
            Direction::Max => self.limit.minus(by),
            Direction::Min => self.limit.plus(by),
        }
    }

    fn badness(&self, value: Ratio, limit: Ratio) -> Result<Ordering, Arithmetic> {
        let order = value.compare(limit)?;
        Ok(match self.bound.direction {
            Direction::Max => order,
            Direction::Min => order.reverse(),
        })
    }

    fn conforms(&self, badness: Ordering) -> bool {
        badness == Ordering::Less || (self.bound.inclusive && badness == Ordering::Equal)
    }

    /// From 90 % of the limit (IEC 62353 evaluation, from memory): a maximum from 0.9 of it, a
    /// minimum up to its value over 0.9.
    fn near(&self, shape: Shape) -> Result<bool, Arithmetic> {
        let Shape::Value(value) = shape else { return Ok(false) };
        let part = Ratio::new(9, 10)?;
        let (less, more) = match self.bound.direction {
            Direction::Max => (self.limit.times(part)?, value),
            Direction::Min => (value.times(part)?, self.limit),
        };
        Ok(less.compare(more)? != Ordering::Greater)
    }

    fn probability(&self, shape: Shape, uncertainty: Option<&Uncertainty>) -> Option<String> {
        let Shape::Value(value) = shape else { return None };
        doubt::probability(self.bound.direction, self.limit, value, uncertainty?)
    }
}

fn stated(question: &Question<'_>) -> Option<Stated> {
    let accuracy = question.accuracy.as_ref()?;
    let reading_percent = Ratio::of(Number::parse(&accuracy.reading_percent)?).ok()?;
    Some(Stated {
        reading_percent: reading_percent.abs(),
        digits: accuracy.digits,
        coverage: accuracy.coverage,
        network_percent: question.besides.network_percent.map(Ratio::abs),
        null_correlation: question.besides.null_correlation,
    })
}

fn plain(question: &Question<'_>) -> bool {
    let besides = &question.besides;
    let coverage = question.accuracy.as_ref().map(|accuracy| accuracy.coverage);
    besides.network_percent.is_none()
        && besides.null_correlation.is_none()
        && besides.scatter.is_none()
        && question.values.iter().all(|value| value.scatter.is_none())
        && question.certificate.is_none()
        && coverage.is_none_or(|coverage| coverage == Coverage::None)
}

/// The rule that was used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Rule {
    Simple,
    GuardBand,
    Zones,
}

impl Rule {
    fn word(self) -> &'static str {
        match self {
            Rule::Simple => "simple",
            Rule::GuardBand => "guard_band",
            Rule::Zones => "guard_band_zones",
        }
    }
}

/// The finding that people see: the worst of those which made the word.
pub(super) fn decisive<'f, 'a>(
    findings: &'f [Finding<'a>],
    word: Word,
    direction: Direction,
) -> Result<&'f Finding<'a>, Arithmetic> {
    let fails = matches!(word, Word::Fail | Word::ConditionalFail);
    let mut worst: Option<&Finding<'_>> = None;
    for finding in findings.iter().filter(|f| !fails || f.word == word) {
        worst = match worst {
            Some(best) if !worse(finding, best, direction)? => Some(best),
            _ => Some(finding),
        };
    }
    worst.ok_or(Arithmetic)
}

fn worse(a: &Finding<'_>, b: &Finding<'_>, direction: Direction) -> Result<bool, Arithmetic> {
    if a.standing != b.standing {
        return Ok(a.standing > b.standing);
    }
    let (Some(a), Some(b)) = (a.item.shape.ratio(), b.item.shape.ratio()) else {
        return Ok(false);
    };
    let order = a.compare(b)?;
    Ok(order == if direction == Direction::Max { Ordering::Greater } else { Ordering::Less })
}

/// A value below -2 u after its null refuses the null; without an uncertainty, any below zero.
fn negative(item: &Item, uncertainty: Option<&Uncertainty>) -> Result<bool, Arithmetic> {
    let Shape::Value(value) = item.shape else { return Ok(false) };
    if item.null.is_none() || !value.is_negative() {
        return Ok(false);
    }
    let noise = uncertainty.and_then(Uncertainty::ratio).unwrap_or(Ratio::new(0, 1)?);
    Ok(value.abs().compare(noise)? == Ordering::Greater)
}

fn negated(ratio: Ratio) -> Result<Ratio, Arithmetic> {
    Ratio::new(0, 1)?.minus(ratio)
}

/// Digits as sent, where there are any.
pub(super) fn as_sent(value: &Measured) -> Option<String> {
    match value.indication {
        Indication::Value(n) | Indication::Above(n) | Indication::Below(n) => Some(n.text()),
        Indication::Overload | Indication::NoValue => None,
    }
}

/// The word of a single value that is none or a bound.
pub(super) fn indication(values: &[Measured]) -> Option<String> {
    let [value] = values else { return None };
    let word = match value.indication {
        Indication::Value(_) => return None,
        Indication::Above(_) => "above",
        Indication::Below(_) => "below",
        Indication::Overload => "overload",
        Indication::NoValue => "none",
    };
    Some(word.into())
}
