//! The columns of tables: one line a captured value, one line an inspection.

use tapline_paper::moment::Moment;
use tapline_paper::report::{Amount, Group, Limit, Meter, Outcome, Report, Value};
use tapline_paper::seal::Word;

use super::csv::Field;

/// Columns of `measurements-1`: a line a captured value, or a step without one.
pub const MEASUREMENTS: [&str; 49] = [
    "table",
    "record",
    "asset",
    "description",
    "maker",
    "model",
    "serial",
    "owner",
    "place",
    "class",
    "opened",
    "closed",
    "by",
    "by_name",
    "reason",
    "plan",
    "outcome",
    "step",
    "measurand",
    "method",
    "points",
    "state",
    "direction",
    "switches",
    "known",
    "instrument",
    "instrument_serial",
    "certificate",
    "calibration_due",
    "readings",
    "set_aside",
    "sent_mark",
    "sent",
    "sent_unit",
    "corrections",
    "mark",
    "value",
    "unit",
    "limit_is",
    "limit",
    "limit_unit",
    "limit_itself_passes",
    "limit_from",
    "limit_confidence",
    "uncertainty",
    "coverage_factor",
    "verdict",
    "reasons",
    "sha256",
];

/// Columns of `inspections-1`: a line an inspection.
pub const INSPECTIONS: [&str; 24] = [
    "table",
    "record",
    "asset",
    "description",
    "maker",
    "model",
    "serial",
    "owner",
    "place",
    "class",
    "opened",
    "closed",
    "by",
    "by_name",
    "reason",
    "retest_of",
    "plan",
    "standard",
    "outcome",
    "words",
    "steps_failed",
    "values_set_aside",
    "sha256",
    "key",
];

/// The lines of an inspection in `measurements-1`.
#[must_use]
pub fn measurements(report: &Report) -> Vec<Vec<Field>> {
    let lines = |group: &Group| -> Vec<Vec<Field>> {
        let none = Value::default();
        let values: Vec<&Value> = match group.values.is_empty() {
            true => vec![&none],
            false => group.values.iter().collect(),
        };
        values.into_iter().map(|value| measurement(report, group, value)).collect()
    };
    report.groups.iter().flat_map(lines).collect()
}

fn measurement(report: &Report, group: &Group, value: &Value) -> Vec<Field> {
    let meter = report.meters.iter().find(|meter| meter.id == value.meter);
    let meter = |of: fn(&Meter) -> &String| text(meter.map_or("", |meter| of(meter).as_str()));
    let switches = value.set.iter().map(|(name, at)| format!("{name}={at}"));
    let corrections = value.corrections.iter().map(|(code, number)| match number.is_empty() {
        true => code.clone(),
        false => format!("{code}({number})"),
    });
    let mut line = vec![text("measurements-1")];
    line.extend(about(report));
    line.extend([text(&report.reason), text(&report.plan.id), text(&outcome(report))]);
    line.extend([text(&group.step), text(&group.measurand), text(&group.method)]);
    line.extend([text(&value.points.join(" | "))]);
    line.extend(
        [&value.state, &value.direction].map(|one| text(one.as_deref().unwrap_or_default())),
    );
    line.extend([text(&joined(switches)), text(value.known.as_deref().unwrap_or_default())]);
    line.extend([text(&value.meter), meter(|m| &m.serial), meter(|m| &m.certificate)]);
    line.extend([meter(|m| &m.due), Field::Number(value.readings.to_string())]);
    line.push(text(value.aside.as_deref().unwrap_or_default()));
    line.extend(amount(Some(&value.sent)));
    line.push(text(&joined(corrections)));
    line.extend(amount(value.result.as_ref().or(group.result.as_ref().filter(|_| value.worst))));
    line.extend(limit(group.limit.as_ref()));
    let (doubt, factor) = group.doubt.clone().unwrap_or_default();
    line.extend([Field::Number(doubt), Field::Number(factor)]);
    line.extend([text(group.word.code()), text(&group.reasons.join(" ")), text(&sha256(report))]);
    line
}

/// The line of an inspection in `inspections-1`.
#[must_use]
pub fn inspection(report: &Report) -> Vec<Field> {
    let failed = |group: &&Group| matches!(group.word, Word::Fail | Word::ConditionalFail);
    let failed = report.groups.iter().filter(failed).map(|group| group.step.clone());
    let mut line = vec![text("inspections-1")];
    line.extend(about(report));
    line.extend([text(&report.reason), text(report.retest_of.as_deref().unwrap_or_default())]);
    line.extend([text(&report.plan.id), text(&report.plan.standard), text(&outcome(report))]);
    line.extend([text(&report.words.join(" ")), text(&joined(failed))]);
    line.push(Field::Number(report.aside.len().to_string()));
    line.extend([text(&sha256(report)), text(&report.key)]);
    line
}

/// `record` to `by_name`.
fn about(report: &Report) -> Vec<Field> {
    let asset = &report.asset;
    let who = report.signatures.iter().find(|one| one.meaning == "performed");
    let texts = [
        &report.id,
        &asset.id,
        &asset.what,
        &asset.maker,
        &asset.model,
        &asset.serial,
        &asset.owner,
        &asset.place,
        &asset.class,
        &moment(report.opened),
        &moment(report.closed),
        &who.map(|one| one.id.clone()).unwrap_or_default(),
        &who.map(|one| one.name.clone()).unwrap_or_default(),
    ];
    texts.iter().map(|one| text(one)).collect()
}

fn amount(amount: Option<&Amount>) -> [Field; 3] {
    let none = Amount::default();
    let Amount { mark, digits, unit } = amount.unwrap_or(&none);
    [text(mark), Field::Number(digits.clone()), text(unit)]
}

/// `limit_is` to `limit_confidence`.
fn limit(limit: Option<&Limit>) -> Vec<Field> {
    let Some(limit) = limit else { return vec![text(""); 6] };
    let from = [&limit.layer, &limit.standard, &limit.clause];
    let from = from.iter().filter(|one| !one.is_empty()).map(|one| (**one).clone());
    vec![
        text(&limit.direction),
        Field::Number(limit.value.digits.clone()),
        text(&limit.value.unit),
        text(if limit.inclusive { "yes" } else { "no" }),
        text(&from.collect::<Vec<_>>().join(", ")),
        text(&limit.confidence),
    ]
}

/// `pass`, `fail` …; how it ended without a signature; `in_work`.
#[must_use]
pub fn outcome(report: &Report) -> String {
    match &report.outcome {
        Outcome::Signed(signed) => signed.code().to_owned(),
        Outcome::Ended(code) => code.clone(),
        Outcome::Open => "in_work".to_owned(),
    }
}

/// `2026-11-24T08:14:03+01:00`; nothing where there is none.
pub(super) fn moment(at: Option<Moment>) -> String {
    let Some(at) = at else { return String::new() };
    let sign = if at.offset < 0 { '-' } else { '+' };
    let (hours, minutes) = (at.offset.unsigned_abs() / 60, at.offset.unsigned_abs() % 60);
    let Moment { year, month, day, hour, minute, second, .. } = at;
    format!(
        "{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}{sign}{hours:02}:{minutes:02}"
    )
}

/// SHA-256 of the sealed record, hex.
pub(super) fn sha256(report: &Report) -> String {
    report.head.map(|head| data_encoding::HEXLOWER.encode(&head)).unwrap_or_default()
}

fn text(text: &str) -> Field {
    Field::Text(text.to_owned())
}

fn joined(parts: impl Iterator<Item = String>) -> String {
    parts.collect::<Vec<_>>().join(" ")
}
