//! What a set-up can prove, said before anything is measured.
//!
//! The farthest indication that would pass is found by trying indications, count by count of the
//! last digit, on the very way that a measured value takes. It is so rounded away from the limit.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::{Indication, Number, Unit};

use super::one::Context;
use super::{Measured, Question, corrected};
use crate::amount::Amount;
use crate::correct::{Items, Null};
use crate::exact::{Arithmetic, Ratio};
use crate::limits::{Direction, Row, Table};

/// Most counts of the last digit that are tried: a meter of twelve digits.
const COUNTS_MAX: u64 = 1_000_000_000_000;

/// What a set-up can prove about a limit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Prospect {
    /// The row.
    pub limit: String,
    /// `simple guard_band guard_band_zones`; `None` without a stated accuracy that the rule needs.
    pub rule: Option<&'static str>,
    /// Expanded uncertainty at the limit, in the unit that is judged.
    pub expanded: Option<String>,
    /// The same as a share of the limit, percent, one decimal.
    pub share: Option<String>,
    /// The farthest indication of the meter that passes: the highest for a maximum, the lowest for
    /// a minimum. `None`: none does, and the limit can't be proved with this set-up.
    pub passes: Option<Amount>,
    /// An indication beyond the range end passes: for a minimum, where the path was proved.
    pub overload_passes: bool,
}

impl Prospect {
    /// Some indication would pass.
    #[must_use]
    pub fn proves(&self) -> bool {
        self.passes.is_some() || self.overload_passes
    }
}

/// What a set-up can prove. `question` as it will be asked, but without values; `reads`: one count
/// of the meter's last digit, with its unit (volts before a network); `null`: what the leads are
/// expected to have; `to`: the range end, where the register knows it.
///
/// Proofs, gates and whether a limit was confirmed play no part: they are no matter of doubt.
/// `None` where the key finds no row, the unit does not fit, or a number has no room.
#[must_use]
pub fn prospect(
    question: &Question<'_>,
    table: &Table,
    reads: Amount,
    null: Option<Amount>,
    to: Option<Amount>,
) -> Option<Prospect> {
    let row = table.find(&question.key).ok()?;
    let count = Number { negative: false, ..reads.number };
    let trial = Trial { question, row, count, unit: reads.unit, null };
    trial.prospect(to).ok()?
}

struct Trial<'a> {
    question: &'a Question<'a>,
    row: &'a Row,
    /// One count.
    count: Number,
    unit: Unit,
    null: Option<Amount>,
}

/// What one indication comes to.
struct Tried {
    passes: bool,
    rule: Option<&'static str>,
    expanded: Option<String>,
    share: Option<String>,
}

impl Trial<'_> {
    fn prospect(&self, to: Option<Amount>) -> Result<Option<Prospect>, Arithmetic> {
        if self.count.digits == 0 {
            return Ok(None);
        }
        let Some(nothing) = self.at(Indication::Value(self.counts(0)))? else { return Ok(None) };
        let most = self.most(to)?;
        let counts = match self.row.bound.direction {
            Direction::Max => self.farthest(0, most)?,
            Direction::Min => self.farthest(most, 0)?,
        };
        let to = to.filter(|to| to.unit.quantity == self.unit.quantity);
        let above = to.map(|to| self.above(to)).transpose()?.flatten();
        Ok(Some(Prospect {
            limit: self.row.id.clone(),
            rule: nothing.rule,
            expanded: nothing.expanded,
            share: nothing.share,
            passes: counts.map(|n| Amount { number: self.counts(n), unit: self.unit }),
            overload_passes: self.row.bound.direction == Direction::Min
                && above.is_some_and(|tried| tried.passes),
        }))
    }

    /// Counts up to the range end, else as far as a meter of twelve digits goes.
    fn most(&self, to: Option<Amount>) -> Result<u64, Arithmetic> {
        let Some(to) = to else { return Ok(COUNTS_MAX) };
        let one = Ratio::of(self.count)?;
        let end = crate::correct::amount_in(to, self.unit)?.abs().over(one)?.parts();
        Ok(u64::try_from(end.0 / end.1).unwrap_or(COUNTS_MAX).min(COUNTS_MAX))
    }

    /// From an end that is as good as can be to the last count that passes.
    fn farthest(&self, good: u64, bad: u64) -> Result<Option<u64>, Arithmetic> {
        if !self.passes(good)? {
            return Ok(None);
        }
        if self.passes(bad)? {
            return Ok(Some(bad));
        }
        let (mut good, mut bad) = (good, bad);
        while good.abs_diff(bad) > 1 {
            let middle = u64::midpoint(good, bad);
            if self.passes(middle)? { good = middle } else { bad = middle }
        }
        Ok(Some(good))
    }

    fn passes(&self, counts: u64) -> Result<bool, Arithmetic> {
        let tried = self.at(Indication::Value(self.counts(counts)))?;
        Ok(tried.is_some_and(|tried| tried.passes))
    }

    fn counts(&self, counts: u64) -> Number {
        Number { digits: self.count.digits.saturating_mul(counts), ..self.count }
    }

    fn above(&self, to: Amount) -> Result<Option<Tried>, Arithmetic> {
        let up = i32::from(to.unit.prefix.exponent()) - i32::from(self.unit.prefix.exponent());
        let exponent = i32::from(to.number.exponent) + up;
        let Ok(exponent) = i8::try_from(exponent) else { return Err(Arithmetic) };
        self.at(Indication::Above(Number { exponent, ..to.number }))
    }

    /// Along the way of a measured value, up to where it stands.
    fn at(&self, indication: Indication) -> Result<Option<Tried>, Arithmetic> {
        let reads = Amount { number: self.count, unit: self.unit };
        let Some(mut items) = Items::new(&[(indication, self.unit)], Some(reads))? else {
            return Ok(None);
        };
        super::meter(self.question, &mut items)?;
        let null = self.null.map(|amount| Null { amount, seq: None });
        let value = Measured { null, ..Measured::new(indication, self.unit) };
        let question = Question { values: Vec::from([value]), ..self.question.clone() };
        let Some(items) = corrected(&question, self.row, items, &mut Vec::new())? else {
            return Ok(None);
        };
        let context = Context::new(&question, self.row, &items, Vec::new())?;
        let Some(item) = items.list.first() else { return Ok(None) };
        let (passes, rule, at_limit) = context.would(item)?;
        let share = at_limit.as_ref().and_then(|u| u.ratio()).map(|u| context.share(u));
        Ok(Some(Tried {
            passes,
            rule,
            expanded: at_limit.map(|u| u.expanded.to_string()),
            share: share.transpose()?,
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fact::Word;
    use crate::judge::{RuleAsked, ask, trial};
    use crate::limits::Key;
    use crate::plan::Correct;
    use crate::register::{Accuracy, Coverage};
    use proptest::prelude::*;
    use proptest::sample::select;

    fn table() -> Table {
        Table::parse(Table::builtin("IEC 62353", "2014").unwrap()).unwrap()
    }

    fn amount(text: &str) -> Amount {
        Amount::parse(text).unwrap()
    }

    fn key<'a>(measurand: &'a str, method: &'a str, kind: &'a str) -> Key<'a> {
        let (method, class, kind) = (Some(method), Some("I"), Some(kind));
        Key { measurand, method, class, kind, ..Key::default() }
    }

    fn with<'a>(key: Key<'a>, percent: &str, rule: RuleAsked) -> Question<'a> {
        let reading_percent = percent.into();
        let accuracy = Accuracy { reading_percent, digits: 0, coverage: Coverage::K2 };
        Question { key, accuracy: Some(accuracy), rule, ..Question::default() }
    }

    fn says(
        question: &Question<'_>,
        reads: &str,
        null: Option<&str>,
        to: Option<&str>,
    ) -> Prospect {
        prospect(question, &table(), amount(reads), null.map(amount), to.map(amount)).unwrap()
    }

    /// With instruments of 30 % and 15 % (operating uncertainty of IEC 61557-2, excerpt seen, and
    /// -16): L / 1.3, L / 0.7, L / 1.15, rounded away from the limit: 0.230 ohm, 2.86 Mohm and
    /// 434.7 uA (arithmetic).
    #[test]
    fn the_farthest_indication_is_rounded_away_from_the_limit() {
        let earth = key("protective_earth_resistance", "fixed_cord", "dc");
        let found = says(&with(earth, "30", RuleAsked::WhereAllowed), "1 mOhm", None, None);
        assert_eq!(found.passes.unwrap().to_string(), "230 mOhm");
        assert_eq!((found.rule, found.share.as_deref()), (Some("guard_band"), Some("30.0")));
        let insulation = key("insulation_resistance", "mains_to_earth", "dc");
        let question = with(insulation, "30", RuleAsked::GuardBand);
        let found = says(&question, "0.01 MOhm", None, Some("200 MOhm"));
        assert_eq!(found.passes.unwrap().to_string(), "2.86 MOhm");
        assert!(found.overload_passes);
        let leakage = key("equipment_leakage", "direct", "ac");
        let question = with(leakage, "15", RuleAsked::GuardBand);
        assert_eq!(says(&question, "0.1 uA", None, None).passes.unwrap().to_string(), "434.7 uA");
    }

    /// The limit, the null beside it, volts over 1 kohm, the worst supply: 0.9 of 500 (arithmetic).
    #[test]
    fn the_indication_is_that_of_the_meter() {
        let earth = key("protective_earth_resistance", "inlet", "dc");
        let correct = Vec::from([Correct::LeadNull]);
        let question = Question { correct, ..with(earth, "1", RuleAsked::WhereAllowed) };
        let found = says(&question, "0.001 Ohm", Some("61 mOhm"), None);
        assert_eq!(
            (found.passes.unwrap().to_string().as_str(), found.rule),
            ("0.261 Ohm", Some("simple"))
        );
        let leakage = key("equipment_leakage", "direct", "ac");
        let correct = Vec::from([Correct::Network, Correct::MainsScaling]);
        let question = Question { correct, ..with(leakage, "1", RuleAsked::WhereAllowed) };
        assert_eq!(says(&question, "1 mV", None, None).passes.unwrap().to_string(), "450 mV");
    }

    #[test]
    fn a_setup_that_can_prove_nothing_is_found_before() {
        let insulation = key("insulation_resistance", "mains_to_earth", "dc");
        let question = with(insulation, "10", RuleAsked::WhereAllowed);
        // It ends below the limit, or where the guard band begins.
        for (to, proves) in [("1.9 MOhm", false), ("2.2 MOhm", true)] {
            assert_eq!(says(&question, "0.01 MOhm", None, Some(to)).proves(), proves, "{to}");
        }
        let question = with(insulation, "30", RuleAsked::WhereAllowed);
        assert!(!says(&question, "0.01 MOhm", None, Some("2.8 MOhm")).proves());
        // 1000 counts of a milliohm: no reading is certain enough for 0.3 ohm.
        let earth = key("protective_earth_resistance", "fixed_cord", "dc");
        let mut question = with(earth, "1", RuleAsked::WhereAllowed);
        question.accuracy.as_mut().unwrap().digits = 1000;
        let found = says(&question, "1 mOhm", None, None);
        assert_eq!((found.proves(), found.rule), (false, Some("guard_band")));
        question.accuracy = None;
        let found = says(&question, "1 mOhm", None, None);
        assert_eq!((found.proves(), found.rule, found.expanded), (false, None, None));
    }

    #[test]
    fn what_has_no_row_has_no_prospect() {
        let strange = key("protective_earth_resistance", "direct", "dc");
        let question = with(strange, "1", RuleAsked::Simple);
        assert_eq!(prospect(&question, &table(), amount("1 mOhm"), None, None), None);
        let earth = key("protective_earth_resistance", "inlet", "dc");
        let question = with(earth, "1", RuleAsked::Simple);
        for reads in ["1 mV", "0 Ohm"] {
            assert_eq!(prospect(&question, &table(), amount(reads), None, None), None);
        }
    }

    /// A question that lacks nothing, for a row.
    fn whole(row: &Row, percent: u32, digits: u32, rule: RuleAsked) -> Question<'_> {
        let accuracy = Accuracy {
            reading_percent: alloc::format!("{percent}"),
            digits,
            coverage: Coverage::None,
        };
        let trial = trial(row, row.bound.amount.number, row.bound.amount.unit);
        Question { values: Vec::new(), accuracy: Some(accuracy), rule, ..trial }
    }

    proptest! {
        /// What is said before is what is judged afterwards: the farthest indication passes, one
        /// count beyond it does not.
        #[test]
        fn what_is_said_before_is_judged_so_afterwards(
            row in select(table().rows), percent in 0..40_u32, digits in 0..9_u32,
            rule in select(Vec::from([RuleAsked::WhereAllowed, RuleAsked::GuardBand])),
        ) {
            let table = table();
            let question = whole(&row, percent, digits, rule);
            let unit = row.bound.amount.unit.ucum();
            let reads = amount(&alloc::format!("0.01 {unit}"));
            let found = prospect(&question, &table, reads, None, None).unwrap();
            let judged = |counts: u64| {
                let number = Number { digits: counts, ..reads.number };
                let value = Measured::new(Indication::Value(number), reads.unit);
                let values = Vec::from([Measured { proved: true, ..value }]);
                let resolution = Some(reads);
                ask(&Question { values, resolution, ..question.clone() }, &table).verdict
            };
            let Some(passes) = found.passes else {
                prop_assert_ne!(judged(0), Word::Pass);
                return Ok(());
            };
            let counts = passes.number.digits;
            prop_assert_eq!(judged(counts), Word::Pass);
            let beyond = match row.bound.direction {
                Direction::Max => counts + 1,
                Direction::Min => counts - 1,
            };
            prop_assert_ne!(judged(beyond), Word::Pass);
        }
    }
}
