//! What a step came to. Numbers are written with the digits that they have.

use serde::Serialize;
use serde_json::value::RawValue;
use serde_json::{Value, json};
use tapline_paper::report::{Amount, Group, Limit};
use tapline_paper::seal::Word;

use super::{BASE, Names, code, performer, pruned, status};
use crate::exchange::tables::moment;

const UCUM: &str = "http://unitsofmeasure.org";
const INTERPRETATION: &str = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation";
const ABSENT: &str = "http://terminology.hl7.org/CodeSystem/data-absent-reason";

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Observation {
    resource_type: &'static str,
    status: &'static str,
    code: Value,
    subject: Value,
    #[serde(skip_serializing_if = "String::is_empty")]
    effective_date_time: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    performer: Option<Value>,
    #[serde(skip_serializing_if = "Option::is_none")]
    value_quantity: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    data_absent_reason: Option<Value>,
    interpretation: Value,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<Value>,
    #[serde(skip_serializing_if = "Option::is_none")]
    method: Option<Value>,
    #[serde(skip_serializing_if = "Option::is_none")]
    device: Option<Value>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    reference_range: Vec<Range>,
}

#[derive(Serialize)]
struct Quantity {
    value: Box<RawValue>,
    #[serde(skip_serializing_if = "Option::is_none")]
    comparator: Option<&'static str>,
    unit: String,
    system: &'static str,
    code: String,
}

#[derive(Serialize)]
struct Range {
    #[serde(skip_serializing_if = "Option::is_none")]
    low: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    high: Option<Quantity>,
    text: String,
}

pub(super) fn observation(names: &Names<'_>, group: &Group) -> Observation {
    let report = names.0;
    let value = group.result.as_ref().and_then(quantity);
    let absent = value.is_none().then(|| {
        let why = if group.values.is_empty() { "not-performed" } else { "error" };
        json!({ "coding": [{ "system": ABSENT, "code": why }] })
    });
    let meter = group.values.iter().find(|one| one.worst).or_else(|| group.values.first());
    let known = |id: &str| report.meters.iter().any(|meter| meter.id == id);
    let device = meter.filter(|one| known(&one.meter));
    let reasons = group.reasons.iter().map(|one| one.replace('_', " "));
    let typed = group.values.iter().any(|one| one.typed && one.aside.is_none());
    let typed = typed.then(|| "typed twice by hand".to_owned());
    let note = reasons.chain(typed).collect::<Vec<_>>().join("; ");
    Observation {
        resource_type: "Observation",
        status: status(report),
        code: code("measurand", &group.measurand),
        subject: names.refer("asset", &report.asset.id),
        effective_date_time: moment(report.closed.or(report.opened)),
        performer: pruned(performer(names)),
        value_quantity: value,
        data_absent_reason: absent,
        interpretation: interpretation(group),
        note: (!note.is_empty()).then(|| json!([{ "text": note }])),
        method: (!group.method.is_empty()).then(|| code("method", &group.method)),
        device: device.map(|one| names.refer("instrument", &one.meter)),
        reference_range: group.limit.iter().filter_map(range).collect(),
    }
}

/// `None`: it has no number.
fn quantity(amount: &Amount) -> Option<Quantity> {
    let comparator = match amount.mark.as_str() {
        "" => None,
        ">" => Some(">"),
        "<" => Some("<"),
        _ => return None,
    };
    let value = number(&amount.digits)?;
    let (unit, code) = (amount.unit.clone(), amount.unit.clone());
    Some(Quantity { value, comparator, unit, system: UCUM, code })
}

/// The digits as a number of JSON: no sign of plus, no bare point.
fn number(digits: &str) -> Option<Box<RawValue>> {
    let digits = digits.strip_prefix('+').unwrap_or(digits);
    RawValue::from_string(digits.to_owned()).ok().filter(|raw| {
        raw.get()
            .bytes()
            .all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'e' | b'E' | b'+'))
    })
}

/// Normal, high, low, or indeterminate; and our own word.
fn interpretation(group: &Group) -> Value {
    let high = group.limit.as_ref().is_none_or(|limit| limit.direction != "min");
    let short = match group.word {
        Word::Pass | Word::ConditionalPass => "N",
        Word::Fail | Word::ConditionalFail if high => "H",
        Word::Fail | Word::ConditionalFail => "L",
        Word::Undecided => "IND",
    };
    json!([{ "coding": [
        { "system": INTERPRETATION, "code": short },
        { "system": format!("{BASE}/verdict"), "code": group.word.code() },
    ] }])
}

fn range(limit: &Limit) -> Option<Range> {
    let value = quantity(&limit.value)?;
    let (low, high) = match limit.direction.as_str() {
        "min" => (Some(value), None),
        _ => (None, Some(value)),
    };
    let parts = [&limit.layer, &limit.standard, &limit.clause, &limit.confidence];
    let parts: Vec<&str> =
        parts.iter().map(|one| one.as_str()).filter(|one| !one.is_empty()).collect();
    let own = if limit.inclusive { "the limit itself passes" } else { "the limit itself fails" };
    Some(Range { low, high, text: format!("{}; {own}", parts.join(", ")) })
}
