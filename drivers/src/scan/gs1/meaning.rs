//! What elements mean here: fields, what is missing beside them, and whose they are.

use super::dictionary::{entry, means};
use crate::scan::content::{Content, Said, field};
use crate::scan::date::yymmdd;

/// Elements that belong to a patient: the service relation of a recipient, and the demographics
/// that may stand with it (GSCN 22-246).
const PATIENT: &[&str] =
    &["8018", "7250", "7251", "7252", "7253", "7254", "7255", "7256", "7257", "7258", "7259"];

/// Fields that a value gives as it is, the stronger ones first.
const TEXTS: &[(&str, &str)] = &[
    ("01", field::DEVICE_ID),
    ("21", field::SERIAL),
    ("235", field::SERIAL),
    ("10", field::LOT),
    ("250", field::SERIAL2),
    ("240", field::MODEL_ALT),
    ("241", field::MODEL_ALT),
    ("8004", field::ASSET_ID),
    ("414", field::LOCATION),
    ("254", field::LOCATION_EXT),
    ("8017", field::OPERATOR),
    ("30", field::QUANTITY),
    ("37", field::QUANTITY),
];

const DAYS: &[(&str, &str)] = &[("11", field::MADE_ON), ("17", field::EXPIRES_ON)];

/// Length of a GRAI that has no serial number and so names a type of asset only.
const GRAI: usize = 14;

/// Whether an element is about a patient.
#[must_use]
pub(in crate::scan) fn names_a_patient(content: &Content) -> bool {
    content.elements.iter().any(|element| PATIENT.contains(&element.key.as_str()))
}

/// Gives the fields of elements that were read, and says what is missing beside them.
pub(in crate::scan) fn finish(content: &mut Content) {
    let elements = content.elements.clone();
    let value = |ai: &str| elements.iter().find(|one| one.key == ai).map(|one| one.value.as_str());
    for (ai, name) in TEXTS {
        if let Some(text) = value(ai) {
            content.text_field(name, text);
        }
    }
    if let Some(grai) = value("8003").filter(|grai| grai.len() > GRAI) {
        content.text_field(field::ASSET_ID, grai);
    }
    for (ai, name) in DAYS {
        if let Some(day) = value(ai).and_then(yymmdd) {
            content.says(name, Said::Day(day));
        }
    }
    let has = |pattern: &str| elements.iter().any(|one| means(pattern, &one.key));
    if elements.iter().any(|one| entry(&one.key).is_some_and(|entry| !entry.is_at_home(&has))) {
        content.warn("no_key");
    }
}
