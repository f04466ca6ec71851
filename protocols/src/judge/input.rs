//! A value to judge as people and scripts write it: one JSON object.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::fmt;

use serde::Deserialize;
use tapline_drivers::{Indication, Number, Quantity, Unit};

use super::stated::{accuracy, besides, celsius, certificate};
use super::{Confirmed, Measured, Question, RuleAsked, Share, ask, validity};
use crate::amount::Amount;
use crate::correct::{Mains, Network, Null};
use crate::fact::Judged;
use crate::limits::{Key, NoRow, Supply, Table, at_110_percent, quantity_of};
use crate::plan::Correct;
use crate::register::{Gives, Kind};
use crate::terms;

/// Most values of one object: more than a sweep of any asset has.
pub const VALUES_MAX: usize = 512;

const OHM: [&str; 6] = ["uOhm", "mOhm", "Ohm", "kOhm", "MOhm", "GOhm"];
const AMPERE: [&str; 8] = ["nA", "uA", "mA", "A", "nV", "uV", "mV", "V"];
const VOLT: [&str; 5] = ["nV", "uV", "mV", "V", "kV"];

/// One object of `tapline judge`. Decimals are texts, so that their digits are kept.
///
/// A `value` is what is documented: for a dc measuring current the larger of both directions, or
/// give both as `values`. A leakage without `mains` is judged as if the supply had been at 0.9 of
/// nominal.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct JudgeInput {
    /// Standard.
    pub standard: Option<String>,
    /// Edition.
    pub edition: Option<String>,
    /// Measurand.
    pub measurand: Option<String>,
    /// Method.
    pub method: Option<String>,
    /// Protection class.
    pub class: Option<String>,
    /// Type of the applied part.
    pub applied_part: Option<String>,
    /// Condition.
    pub condition: Option<String>,
    /// `ac` or `dc`.
    pub kind: Option<String>,
    /// Value or bound.
    pub value: Option<String>,
    /// UCUM unit of value, values and lead null.
    pub unit: Option<String>,
    /// Several directions or conditions instead of `value`.
    pub values: Option<Vec<String>>,
    /// `value above below overload none`, of a single value.
    pub indication: Option<String>,
    /// Resistance of the leads: one, or one a direction.
    pub lead_null: Option<OneOrMany>,
    /// What the same meter read as dc of each value of an alternating current, in `unit`: one for
    /// all, or one each. Where it is more than a tenth, nothing is scaled to the reference voltage.
    pub direct: Option<OneOrMany>,
    /// Supply.
    pub mains: Option<MainsInput>,
    /// Temperatures of an insulation: it is reckoned from one to the other.
    pub celsius: Option<CelsiusInput>,
    /// What the meter gives to the asset.
    pub gives: Option<GivesInput>,
    /// `iec60601_fig12`; `iec60990_u1` or `iec60990_u2` by the terminals of that network; `none`
    /// for an instrument that does not weight by frequency. A limit of the unweighted current takes
    /// `none` alone, one of IEC 60990 its own terminals, all others never those.
    pub network: Option<String>,
    /// Stated accuracy.
    pub accuracy: Option<StatedInput>,
    /// Repeated readings of one thing, in `unit`, as the values are: their scatter adds to the
    /// uncertainty. They are not judged.
    pub repeats: Option<Vec<String>>,
    /// What the meter's calibration certificate says.
    pub certificate: Option<Vec<PointInput>>,
    /// `simple guard_band guard_band_zones`; without it simple where U allows it.
    pub rule: Option<String>,
    /// It was proved that current could have flown.
    pub proved: Option<bool>,
    /// The limit was confirmed in the workshop's own copy of the standard.
    pub confirmed: Option<bool>,
}

/// One text or a list of them.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(untagged, expecting = "expected a decimal in quotes, or a list of them")]
pub enum OneOrMany {
    /// The same for each value.
    One(String),
    /// One a value.
    Many(Vec<String>),
}

/// Supply of the asset.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MainsInput {
    /// As measured, `226 V`.
    pub measured: String,
    /// What it is scaled to, `230 V`: nominal for IEC 62353.
    pub reference: String,
}

/// Temperatures of an insulation, degrees Celsius, decimals from -10 to 80.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CelsiusInput {
    /// Of the asset, as measured.
    pub measured: String,
    /// What it is judged at.
    pub reference: String,
}

/// What the meter gives to the asset.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct GivesInput {
    /// `0.2 A`.
    pub test_current: Option<String>,
    /// `6 V`.
    pub open_circuit: Option<String>,
    /// `500 V`, of an insulation meter: without it an insulation is not judged.
    pub test_voltage: Option<String>,
}

/// Stated accuracy.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StatedInput {
    /// Percent of the reading, a decimal.
    pub reading_percent: String,
    /// Counts of the last digit.
    pub digits: u32,
    /// One count: `0.001 Ohm`, or a decimal in the unit of the value; without it, the last digit
    /// that is written.
    pub resolution: Option<String>,
    /// What the half-width covers: `none k2 k3 p95`; without it `none`, rectangular.
    pub coverage: Option<String>,
    /// How far the resistor of the network may be off, percent.
    pub network_percent: Option<String>,
    /// How far errors of a value and of its null go together, 0 to 1; without it 0.
    pub null_correlation: Option<String>,
}

/// A point of a certificate, decimals in the `unit` of the object.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PointInput {
    /// What the meter showed.
    pub at: String,
    /// Shown less true.
    pub error: String,
    /// Expanded uncertainty of the error, k = 2.
    pub expanded: String,
}

/// What is wrong with an object, by its key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InputFault {
    /// The key.
    pub key: String,
    /// What is wrong, with the words to choose from.
    pub text: String,
}

impl fmt::Display for InputFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "`{}` {}", self.key, self.text)
    }
}

/// Judges one object against the table of its standard and edition.
///
/// # Errors
/// [`InputFault`] for a word outside its list, a missing key that decides between rows, a text
/// that is no decimal. A key for which the standard has no limit is a verdict, not a fault.
pub fn judge(input: &JudgeInput, table: &Table) -> Result<Judged, InputFault> {
    for (key, own, theirs) in [
        ("standard", &input.standard, &table.standard),
        ("edition", &input.edition, &table.edition),
    ] {
        match own {
            Some(word) if word == theirs => {}
            Some(word) => return Err(fault(key, &format!("has no word `{word}`: {theirs}"))),
            None => return Err(fault(key, &format!("is missing: {theirs}"))),
        }
    }
    let mut question = question(input)?;
    match table.find(&question.key) {
        Err(NoRow::Missing { key, words }) => return Err(missing(key, &words.join(", "))),
        Err(NoRow::Unknown { key, word, words }) => {
            return Err(unknown(key, &word, &words.join(", ")));
        }
        Ok(row) if validity::unsaid(&question, row) => {
            let values = &mut question.values;
            values.iter_mut().for_each(|value| value.reasons.push("method_not_valid".into()));
        }
        _ => {}
    }
    Ok(ask(&question, table))
}

fn question(input: &JudgeInput) -> Result<Question<'_>, InputFault> {
    let measurand = input.measurand.as_deref();
    let measurand = measurand.ok_or_else(|| missing("measurand", &list("measurand")))?;
    let unit = unit(input, measurand)?;
    let mut correct = Vec::new();
    if input.lead_null.is_some() {
        correct.push(Correct::LeadNull);
    }
    if network(input, unit, measurand)? {
        correct.push(Correct::Network);
    }
    let current = quantity_of(measurand) == Quantity::Ampere;
    let mains = input.mains.as_ref().map(mains).transpose()?;
    let supply = Supply::of(input.standard.as_deref().unwrap_or_default());
    // Direct current does not come from the mains voltage in proportion.
    if current && supply == Supply::Nominal && input.kind.as_deref() != Some("dc") {
        correct.push(Correct::MainsScaling);
    }
    let celsius = input.celsius.as_ref().map(|one| celsius(one, measurand)).transpose()?;
    correct.extend(celsius.map(|_| Correct::Temperature));
    let mut values = values(input, unit)?;
    if current && supply == Supply::Rated110 && !at_110_percent(mains.as_ref()) {
        values.iter_mut().for_each(|value| value.reasons.push("supply_not_110".into()));
    }
    Ok(Question {
        key: Key {
            measurand,
            method: input.method.as_deref(),
            class: input.class.as_deref(),
            applied_part: input.applied_part.as_deref(),
            condition: input.condition.as_deref(),
            kind: input.kind.as_deref(),
        },
        values,
        correct,
        mains,
        temperature: celsius,
        gives: input.gives.as_ref().map(gives).transpose()?,
        accuracy: input.accuracy.as_ref().map(accuracy).transpose()?,
        besides: besides(input, unit)?,
        certificate: certificate(input, unit)?,
        resolution: resolution(input, unit)?,
        rule: rule(input)?,
        confirmed: match input.confirmed {
            Some(true) => Confirmed::Here,
            _ => Confirmed::No,
        },
        off: None,
        first_list: false,
        rounds_over: false,
        scales_all: false,
        network: input.network.as_deref().and_then(Network::of),
        unweighted: input.network.as_deref() == Some("none"),
    })
}

fn unit(input: &JudgeInput, measurand: &str) -> Result<Unit, InputFault> {
    let codes = match quantity_of(measurand) {
        Quantity::Ohm => OHM.as_slice(),
        Quantity::Volt => VOLT.as_slice(),
        _ => AMPERE.as_slice(),
    };
    let code = input.unit.as_deref().ok_or_else(|| missing("unit", &codes.join(", ")))?;
    let fits = codes.contains(&code);
    let unit = Unit::from_ucum(code).filter(|_| fits);
    unit.ok_or_else(|| unknown("unit", code, &codes.join(", ")))
}

/// Whether the values are voltages across the network.
fn network(input: &JudgeInput, unit: Unit, measurand: &str) -> Result<bool, InputFault> {
    let word = input.network.as_deref();
    if let Some(word) = word.filter(|word| !terms::known("network", word)) {
        return Err(unknown("network", word, &list("network")));
    }
    match (unit.quantity, word) {
        _ if quantity_of(measurand) == Quantity::Volt => Ok(false),
        (Quantity::Volt, Some(word)) if Network::of(word).is_some() => Ok(true),
        (Quantity::Volt, _) => {
            let words = "iec60601_fig12, iec60990_u1, iec60990_u2";
            Err(fault("network", &format!("is needed for a value in volts: {words}")))
        }
        _ => Ok(false),
    }
}

fn values(input: &JudgeInput, unit: Unit) -> Result<Vec<Measured>, InputFault> {
    let indications = indications(input)?;
    let nulls = nulls(input, unit, indications.len())?;
    let direct = direct(input, unit, indications.len())?;
    let proved = input.proved == Some(true);
    let of = |(i, indication): (usize, Indication)| Measured {
        null: nulls.get(i).copied(),
        direct: direct.get(i).copied(),
        proved,
        ..Measured::new(indication, unit)
    };
    Ok(indications.into_iter().enumerate().map(of).collect())
}

fn indications(input: &JudgeInput) -> Result<Vec<Indication>, InputFault> {
    let word = input.indication.as_deref().unwrap_or("value");
    if !terms::known("indication", word) {
        return Err(unknown("indication", word, &list("indication")));
    }
    match (&input.value, &input.values) {
        (Some(_), Some(_)) => Err(fault("values", "stands beside `value`: give one of both")),
        (None, Some(values)) if word != "value" => {
            let text = format!("`{word}` goes with a single `value`, not with {}", values.len());
            Err(fault("indication", &text))
        }
        (None, Some(values)) if values.is_empty() || values.len() > VALUES_MAX => {
            Err(fault("values", &format!("needs 1 to {VALUES_MAX} decimals")))
        }
        (None, Some(values)) => {
            values.iter().map(|v| number("values", v).map(Indication::Value)).collect()
        }
        (value, None) => single(word, value.as_deref()).map(|i| Vec::from([i])),
    }
}

fn single(word: &str, value: Option<&str>) -> Result<Indication, InputFault> {
    let number = match (word, value) {
        ("overload", _) => return Ok(Indication::Overload),
        ("none", _) => return Ok(Indication::NoValue),
        (_, Some(value)) => number("value", value)?,
        (_, None) => {
            let text = "is missing: a decimal in quotes, or give `values`, or indication none";
            return Err(fault("value", text));
        }
    };
    Ok(match word {
        "above" => Indication::Above(number),
        "below" => Indication::Below(number),
        _ => Indication::Value(number),
    })
}

fn nulls(input: &JudgeInput, unit: Unit, count: usize) -> Result<Vec<Null>, InputFault> {
    if input.lead_null.is_some() && unit.quantity != Quantity::Ohm {
        return Err(fault("lead_null", "goes with a resistance only"));
    }
    let null = |amount| Null { amount, seq: None };
    Ok(each("lead_null", input.lead_null.as_ref(), unit, count)?.into_iter().map(null).collect())
}

fn direct(input: &JudgeInput, unit: Unit, count: usize) -> Result<Vec<Share>, InputFault> {
    let measurand = input.measurand.as_deref().unwrap_or_default();
    let fits = quantity_of(measurand) == Quantity::Ampere
        && input.kind.as_deref().is_none_or(|kind| kind == "ac");
    if input.direct.is_some() && !fits {
        return Err(fault("direct", "goes with an alternating current only: `kind` ac"));
    }
    let share = |amount| Share { amount: Some(amount), seq: None };
    Ok(each("direct", input.direct.as_ref(), unit, count)?.into_iter().map(share).collect())
}

/// One amount a value, given once or for each.
fn each(
    key: &str,
    texts: Option<&OneOrMany>,
    unit: Unit,
    count: usize,
) -> Result<Vec<Amount>, InputFault> {
    let amount = |text: &String| Ok(Amount { number: number(key, text)?, unit });
    match texts {
        None => Ok(Vec::new()),
        Some(OneOrMany::One(text)) => Ok(alloc::vec![amount(text)?; count]),
        Some(OneOrMany::Many(texts)) if texts.len() == count => texts.iter().map(amount).collect(),
        Some(OneOrMany::Many(texts)) => {
            let text = format!("has {} texts for {count} values: one, or one each", texts.len());
            Err(fault(key, &text))
        }
    }
}

fn mains(input: &MainsInput) -> Result<Mains, InputFault> {
    Ok(Mains {
        measured: amount("mains.measured", &input.measured, Quantity::Volt)?,
        reference: amount("mains.reference", &input.reference, Quantity::Volt)?,
        seq: None,
    })
}

fn gives(input: &GivesInput) -> Result<Gives, InputFault> {
    let of = |key, text: &Option<String>, quantity| {
        text.as_ref().map(|text| amount(key, text, quantity)).transpose()
    };
    Ok(Gives {
        test_current: of("gives.test_current", &input.test_current, Quantity::Ampere)?,
        open_circuit: of("gives.open_circuit", &input.open_circuit, Quantity::Volt)?,
        test_voltage: of("gives.test_voltage", &input.test_voltage, Quantity::Volt)?,
        kind: Kind::Dc,
    })
}

fn resolution(input: &JudgeInput, unit: Unit) -> Result<Option<Amount>, InputFault> {
    let text = input.accuracy.as_ref().and_then(|a| a.resolution.as_ref());
    let Some(text) = text else { return Ok(None) };
    let key = "accuracy.resolution";
    match text.contains(' ') {
        true => amount(key, text, unit.quantity).map(Some),
        false => Ok(Some(Amount { number: number(key, text)?, unit })),
    }
}

fn rule(input: &JudgeInput) -> Result<RuleAsked, InputFault> {
    match input.rule.as_deref() {
        None => Ok(RuleAsked::WhereAllowed),
        Some("simple") => Ok(RuleAsked::Simple),
        Some("guard_band") => Ok(RuleAsked::GuardBand),
        Some("guard_band_zones") => Ok(RuleAsked::GuardBandZones),
        Some(word) => Err(unknown("rule", word, &list("rule"))),
    }
}

pub(super) fn number(key: &str, text: &str) -> Result<Number, InputFault> {
    let why = "is no decimal of at most 15 digits";
    Number::parse(text).ok_or_else(|| fault(key, &format!("`{text}` {why}")))
}

fn amount(key: &str, text: &str, quantity: Quantity) -> Result<Amount, InputFault> {
    let amount = Amount::parse(text).map_err(|why| fault(key, &format!("can't be read: {why}")))?;
    if amount.unit.quantity != quantity {
        let text = format!("`{text}` has the unit of another quantity");
        return Err(fault(key, &text));
    }
    Ok(amount)
}

pub(super) fn list(name: &str) -> String {
    terms::choices(name).join(", ")
}

pub(super) fn fault(key: &str, text: &str) -> InputFault {
    InputFault { key: key.to_string(), text: text.to_string() }
}

pub(super) fn missing(key: &str, words: &str) -> InputFault {
    fault(key, &format!("is missing: one of {words}"))
}

pub(super) fn unknown(key: &str, word: &str, words: &str) -> InputFault {
    fault(key, &format!("has no word `{word}`: one of {words}"))
}
