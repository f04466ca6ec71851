//! What a verdict of an inspection may be compared by.

use std::collections::BTreeSet;

use serde::Serialize;
use tapline_protocols::doubt::trend::Like;
use tapline_protocols::fact::Judged;
use tapline_protocols::plan::Expanded;
use tapline_protocols::register::Asset;

use super::Book;

impl Book {
    /// Everything in which two values must agree. A verdict is the worst of the values it rests
    /// on: those of the same points and conditions.
    pub(super) fn like(&self, step: &str, judged: &Judged, asset: &Asset) -> Like {
        let names = judged.from.iter().filter_map(|seq| self.values.get(seq));
        let steps: Vec<&Expanded> = names.filter_map(|name| self.steps.get(name)).collect();
        let contact = self.plan.as_ref().and_then(|plan| plan.steps.iter().find(|s| s.id == step));
        let row = judged.limit.as_ref().and_then(|limit| self.limits.as_ref()?.row(&limit.id));
        Like {
            measurand: judged.measurand.clone().unwrap_or_default(),
            method: judged.method.clone().unwrap_or_default(),
            condition: joined(&steps, condition),
            kind: row.map(|row| row.kind.join("+")).unwrap_or_default(),
            point: joined(&steps, |one| {
                [&one.part, &one.point].into_iter().flatten().cloned().collect()
            }),
            cord: cord(asset),
            contact: contact.map(|step| word(&step.contact)).unwrap_or_default(),
            setup: joined(&steps, |one| {
                [&one.instrument, &one.leads].into_iter().flatten().cloned().collect()
            }),
            reference: 0,
        }
    }
}

/// `S5=normal S7=open standby`.
fn condition(one: &Expanded) -> Vec<String> {
    let set = one.set.iter().map(|(switch, at)| format!("{}={at}", switch.name()));
    let words: Vec<String> = set.chain(one.state.clone()).collect();
    if words.is_empty() { words } else { vec![words.join(" ")] }
}

fn joined(steps: &[&Expanded], of: impl Fn(&Expanded) -> Vec<String>) -> String {
    let all: BTreeSet<String> = steps.iter().flat_map(|one| of(one)).collect();
    all.into_iter().collect::<Vec<_>>().join(", ")
}

/// Its mains connection, with the cords that are kept with it and their length.
fn cord(asset: &Asset) -> String {
    let mut words = vec![word(&asset.cord)];
    words.extend(asset.cords.iter().cloned());
    words.extend(asset.cord_metres.iter().map(|metres| format!("{metres} m")));
    words.join(", ")
}

/// The closed word of a value.
fn word(of: &impl Serialize) -> String {
    match serde_json::to_value(of) {
        Ok(serde_json::Value::String(word)) => word,
        _ => String::new(),
    }
}
