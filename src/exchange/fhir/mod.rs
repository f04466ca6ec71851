//! An inspection as a FHIR R4 (4.0.1) bundle of type `collection`.
//!
//! Assets and instruments are `Device`s, an instrument's calibration a `DeviceMetric`, each step
//! that was measured an `Observation`, the inspection a `DiagnosticReport`, what was asked for and
//! what comes next a `Task`, signatures a `Provenance`. Codes are our own, under addresses that
//! lead nowhere on purpose: none is said to be one of LOINC or SNOMED CT. Units are UCUM. Numbers
//! keep their digits: `0.10` stays `0.10`.

mod observation;

use data_encoding::HEXLOWER;
use serde::Serialize;
use serde_json::value::RawValue;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use tapline_paper::report::{Meter, Outcome, Report};
use tapline_paper::seal::Word;

use super::tables::{moment, outcome, sha256};

/// Where our own codes and numbers live; `.invalid` (RFC 2606) is no one's.
const BASE: &str = "https://tapline.invalid/fhir";

/// A bundle.
#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Bundle {
    resource_type: &'static str,
    #[serde(rename = "type")]
    kind: &'static str,
    timestamp: Option<String>,
    entry: Vec<Entry>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Entry {
    full_url: String,
    resource: Box<RawValue>,
}

/// Names of the resources of one inspection: the same each time it is told.
struct Names<'r>(&'r Report);

impl Names<'_> {
    /// `urn:uuid:` of a thing; version 8 (RFC 9562), of the SHA-256 of its name.
    fn url(&self, kind: &str, id: &str) -> String {
        // An asset or instrument is the same in every inspection, a step is not.
        let own = matches!(kind, "asset" | "instrument" | "metric" | "operator");
        let within = if own { &self.0.site.station } else { &self.0.id };
        let hash = Sha256::digest(format!("tapline\n{kind}\n{within}\n{id}"));
        let mut bytes = [0_u8; 16];
        bytes.copy_from_slice(&hash[..16]);
        bytes[6] = (bytes[6] & 0x0f) | 0x80;
        bytes[8] = (bytes[8] & 0x3f) | 0x80;
        let hex = HEXLOWER.encode(&bytes);
        let parts = [&hex[..8], &hex[8..12], &hex[12..16], &hex[16..20], &hex[20..]];
        format!("urn:uuid:{}", parts.join("-"))
    }

    fn refer(&self, kind: &str, id: &str) -> Value {
        json!({ "reference": self.url(kind, id) })
    }
}

/// The bundle of an inspection, as text.
///
/// # Panics
/// Never: what is written is plain JSON.
#[must_use]
pub fn bundle(report: &Report) -> String {
    let names = Names(report);
    let mut entry = Vec::new();
    let mut put = |kind: &str, id: &str, resource: Box<RawValue>| {
        entry.push(Entry { full_url: names.url(kind, id), resource });
    };
    put("asset", &report.asset.id, plain(&asset(report)));
    for meter in &report.meters {
        put("instrument", &meter.id, plain(&instrument(meter)));
        if !meter.due.is_empty() {
            put("metric", &meter.id, plain(&metric(&names, meter)));
        }
    }
    for (id, name) in people(report) {
        put("operator", &id, plain(&practitioner(&id, &name)));
    }
    for group in &report.groups {
        put("step", &group.step, raw(&observation::observation(&names, group)));
    }
    put("report", &report.id, plain(&diagnostic(&names)));
    put("task", &report.id, plain(&done(&names)));
    if let Some(day) = &report.next.day {
        put("task", "next", plain(&next(&names, day)));
    }
    for (n, one) in report.signatures.iter().enumerate() {
        put("signature", &n.to_string(), plain(&provenance(&names, one)));
    }
    let timestamp = report.closed.map(|at| moment(Some(at)));
    let bundle = Bundle { resource_type: "Bundle", kind: "collection", timestamp, entry };
    serde_json::to_string_pretty(&bundle).expect("it is plain JSON")
}

fn raw(resource: &impl Serialize) -> Box<RawValue> {
    serde_json::value::to_raw_value(resource).expect("it is plain JSON")
}

/// A resource without what is empty: FHIR knows no empty string, list or object.
fn plain(resource: &Value) -> Box<RawValue> {
    raw(&pruned(resource.clone()).unwrap_or_default())
}

fn pruned(value: Value) -> Option<Value> {
    match value {
        Value::Null => None,
        Value::String(text) if text.trim().is_empty() => None,
        Value::Array(all) => {
            let all: Vec<Value> = all.into_iter().filter_map(pruned).collect();
            (!all.is_empty()).then_some(Value::Array(all))
        }
        Value::Object(all) => {
            let all = all.into_iter().filter_map(|(key, one)| Some((key, pruned(one)?)));
            let all: serde_json::Map<String, Value> = all.collect();
            (!all.is_empty()).then_some(Value::Object(all))
        }
        other => Some(other),
    }
}

/// A code of our own with what it means.
fn code(system: &str, code: &str) -> Value {
    let coding = json!([{ "system": format!("{BASE}/{system}"), "code": code }]);
    json!({ "coding": coding, "text": code.replace('_', " ") })
}

fn identifier(of: &str, value: &str) -> Value {
    json!([{ "system": format!("{BASE}/{of}"), "value": value }])
}

fn asset(report: &Report) -> Value {
    let asset = &report.asset;
    json!({
        "resourceType": "Device",
        "identifier": identifier("asset", &asset.id),
        "status": "active",
        "manufacturer": asset.maker,
        "serialNumber": asset.serial,
        "modelNumber": asset.model,
        "deviceName": [{ "name": asset.what, "type": "other" }],
        "property": property("protection-class", &asset.class),
        "note": [{ "text": asset.place }],
    })
}

fn property(kind: &str, value: &str) -> Value {
    match value.is_empty() {
        true => Value::Null,
        false => json!([{ "type": code("property", kind), "valueCode": [code(kind, value)] }]),
    }
}

fn instrument(meter: &Meter) -> Value {
    let what = if meter.what.is_empty() { &meter.fixture } else { &meter.what };
    json!({
        "resourceType": "Device",
        "identifier": identifier("instrument", &meter.id),
        "status": "active",
        "serialNumber": meter.serial,
        "deviceName": [{ "name": what, "type": "other" }],
    })
}

/// It was within its calibration when it was used, or the inspection says otherwise.
fn metric(names: &Names<'_>, meter: &Meter) -> Value {
    let day = names.0.opened.map(|at| moment(Some(at))[..10].to_owned());
    let state = match day {
        Some(day) if meter.due < day => "calibration-required",
        _ => "calibrated",
    };
    let certificate = match meter.certificate.is_empty() {
        true => Value::Null,
        false => identifier("certificate", &meter.certificate),
    };
    json!({
        "resourceType": "DeviceMetric",
        "identifier": certificate,
        "type": code("metric", "calibration"),
        "source": names.refer("instrument", &meter.id),
        "category": "measurement",
        "calibration": [{ "type": "unspecified", "state": state }],
    })
}

fn people(report: &Report) -> Vec<(String, String)> {
    let mut people: Vec<(String, String)> = Vec::new();
    for one in &report.signatures {
        if !people.iter().any(|(id, _)| *id == one.id) {
            people.push((one.id.clone(), one.name.clone()));
        }
    }
    people
}

fn practitioner(id: &str, name: &str) -> Value {
    json!({
        "resourceType": "Practitioner",
        "identifier": identifier("operator", id),
        "name": [{ "text": name }],
    })
}

/// Who measured; else whoever signed first.
fn performer(names: &Names<'_>) -> Value {
    let all = &names.0.signatures;
    let one = all.iter().find(|one| one.meaning == "performed").or_else(|| all.first());
    one.map_or(Value::Null, |one| json!([names.refer("operator", &one.id)]))
}

/// `preliminary` in work, `final` as signed, `amended` where a later act changed what it says.
fn status(report: &Report) -> &'static str {
    let amended = report.signatures.iter().any(|one| one.meaning == "amended");
    match report.outcome {
        Outcome::Open => "preliminary",
        _ if amended => "amended",
        _ => "final",
    }
}

fn diagnostic(names: &Names<'_>) -> Value {
    let report = names.0;
    let results: Vec<Value> =
        report.groups.iter().map(|group| names.refer("step", &group.step)).collect();
    let words = report.words.iter().map(|word| word.replace('_', " ")).collect::<Vec<_>>();
    let conclusion = std::iter::once(outcome(report).replace('_', " ")).chain(words);
    let number = json!([
        { "system": format!("{BASE}/inspection"), "value": report.id },
        { "system": format!("{BASE}/sha256"), "value": sha256(report) },
    ]);
    json!({
        "resourceType": "DiagnosticReport",
        "identifier": match report.head { Some(_) => number, None => identifier("inspection", &report.id) },
        "status": status(report),
        "code": code("plan", &report.plan.id),
        "subject": names.refer("asset", &report.asset.id),
        "effectivePeriod": { "start": moment(report.opened), "end": moment(report.closed) },
        "issued": moment(report.closed),
        "performer": performer(names),
        "result": results,
        "conclusion": conclusion.collect::<Vec<_>>().join("; "),
        "conclusionCode": [code("outcome", &outcome(report))],
    })
}

/// The work that was asked for, as done.
fn done(names: &Names<'_>) -> Value {
    let report = names.0;
    let status = match report.outcome {
        Outcome::Open => "in-progress",
        Outcome::Ended(_) => "failed",
        Outcome::Signed(_) => "completed",
    };
    json!({
        "resourceType": "Task",
        "status": status,
        "intent": "order",
        "code": code("reason", &report.reason),
        "focus": names.refer("asset", &report.asset.id),
        "executionPeriod": { "start": moment(report.opened), "end": moment(report.closed) },
        "owner": performer(names).get(0).cloned(),
        "output": [{
            "type": code("output", "report"),
            "valueReference": names.refer("report", &report.id),
        }],
    })
}

/// The next inspection.
fn next(names: &Names<'_>, day: &str) -> Value {
    let passed = matches!(names.0.outcome, Outcome::Signed(Word::Pass | Word::ConditionalPass));
    json!({
        "resourceType": "Task",
        "status": if passed { "requested" } else { "on-hold" },
        "intent": "plan",
        "code": code("reason", "scheduled"),
        "focus": names.refer("asset", &names.0.asset.id),
        "restriction": { "period": { "end": day } },
    })
}

fn provenance(names: &Names<'_>, one: &tapline_paper::report::Signature) -> Value {
    let at = one.at.or(names.0.closed);
    json!({
        "resourceType": "Provenance",
        "target": [names.refer("report", &names.0.id)],
        "recorded": moment(at),
        "activity": code("signature", &one.meaning),
        "agent": [{ "who": names.refer("operator", &one.id) }],
    })
}
