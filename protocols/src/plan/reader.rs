//! Reading `tapline-plan-1`: shape and words. What steps mean together is [`super::check`].

use alloc::collections::{BTreeMap, BTreeSet};
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use super::compare::Comparison;
use super::model::{Capture, Method, Needs, Plan, PlanFor, Step};
use super::steps::{Settings, Switch};
use crate::fault::Fault;
use crate::read::{self, Form, Lines, Value};

/// Most steps of a plan.
pub const STEPS_MAX: usize = 64;
/// Most words in one list of a step.
const WORDS_MAX: usize = 32;

/// Reads a plan.
///
/// # Errors
/// All faults at once, each with its line.
pub fn parse(text: &str) -> Result<Plan, Vec<Fault>> {
    read(text).map(|(plan, _)| plan)
}

/// Reads a plan, and where each of its fields stands.
///
/// # Errors
/// As [`parse`].
pub fn read(text: &str) -> Result<(Plan, Lines), Vec<Fault>> {
    read::read(text, ("tapline-plan-", 1), plan)
}

fn plan(form: &mut Form<'_, '_>) -> Option<Plan> {
    let id = form.need("id").and_then(|v| v.name());
    let title = form.need("title").and_then(|v| v.text());
    let standard = form.need("standard").and_then(|v| v.text());
    let edition = form.need("edition").and_then(|v| v.text());
    let for_assets = form.may("for").and_then(|v| asset_filter(&v, false)).unwrap_or_default();
    let listed = form.need("step").map(|v| v.list(STEPS_MAX)).unwrap_or_default();
    let mut seen = BTreeSet::new();
    let read = |value: &Value<'_, '_>| {
        let step = step(value.form()?)?;
        match seen.insert(step.id.clone()) {
            true => Some(step),
            false => value.fault(format!("a second step is called `{}`", step.id)),
        }
    };
    let steps: Vec<Step> = listed.iter().filter_map(read).collect();
    let format = "tapline-plan-1".into();
    let (id, title, standard) = (id?, title?, standard?);
    Some(Plan { format, id, title, standard, edition: edition?, for_assets, steps })
}

fn step(mut form: Form<'_, '_>) -> Option<Step> {
    let id = form.need("id").and_then(|v| step_name(&v));
    let kind = form.need("kind").and_then(|v| v.word());
    let complete = id.is_some() && kind.is_some();
    let step = Step {
        id: id.unwrap_or_default(),
        kind: kind.unwrap_or(super::StepKind::Look),
        items: words(&mut form, "items", step_name),
        measurand: form.may("measurand").and_then(|v| v.text()),
        method: form.may("method").and_then(|v| method(&v)),
        when: form.may("when").and_then(|v| asset_filter(&v, true)).unwrap_or_default(),
        each: words(&mut form, "each", Value::word),
        contact: form.may("contact").and_then(|v| v.word()),
        potential: form.may("potential").and_then(|v| v.word()),
        combine: form.may("combine").and_then(|v| v.word()),
        needs: form.may("needs").and_then(|v| needs(&v)),
        capture: form.may("capture").and_then(|v| capture(&v)),
        correct: words(&mut form, "correct", Value::word),
        gate: form.may("gate").and_then(|v| v.word()),
        needs_gate: form.may("needs_gate").and_then(|v| v.word()),
        hazard: form.may("hazard").and_then(|v| v.word()),
        set: form.may("set").and_then(|v| settings(&v)).unwrap_or_default(),
        sweep: words(&mut form, "sweep", Value::word),
        fixtures: words(&mut form, "fixtures", Value::word),
        prove: words(&mut form, "prove", Value::word),
        lead: form.may("lead").and_then(|v| v.name()),
        caution: words(&mut form, "caution", Value::name),
        by_reason: form.may("by_reason").and_then(|v| v.flag()).unwrap_or_default(),
    };
    form.finish();
    complete.then_some(step)
}

/// A list without doubles.
fn words<'s, 'i, T: PartialEq>(
    form: &mut Form<'s, 'i>,
    key: &'static str,
    read: impl Fn(&Value<'s, 'i>) -> Option<T>,
) -> Vec<T> {
    let Some(list) = form.may(key) else { return Vec::new() };
    let mut words: Vec<T> = Vec::new();
    for value in list.list(WORDS_MAX) {
        match read(&value) {
            Some(word) if words.contains(&word) => {
                value.fault::<()>("stands twice in this list".into());
            }
            Some(word) => words.push(word),
            None => {}
        }
    }
    words
}

fn step_name(value: &Value<'_, '_>) -> Option<String> {
    let name = value.name()?;
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
    match name.chars().all(plain) {
        true => Some(name),
        false => value.fault("a step is named in a-z, 0-9 and `_`: `pe`, `leak_case`".into()),
    }
}

fn asset_filter(value: &Value<'_, '_>, of_step: bool) -> Option<PlanFor> {
    let mut form = value.form()?;
    let class = words(&mut form, "class", Value::word);
    let cord = words(&mut form, "cord", Value::word);
    let applied_part = match of_step {
        true => words(&mut form, "applied_part", Value::word),
        false => Vec::new(),
    };
    form.finish();
    Some(PlanFor { class, cord, applied_part })
}

fn method(value: &Value<'_, '_>) -> Option<Method> {
    if !value.is_table() {
        return value.name().map(Method::One);
    }
    let mut words = BTreeMap::new();
    for (cord, word) in value.form()?.all() {
        match read::word(&cord) {
            Ok(cord) => words.extend(word.name().map(|word| (cord, word))),
            Err(known) => {
                word.fault::<()>(format!("`{cord}` is no cord; known: {}", known.join(", ")));
            }
        }
    }
    match words.is_empty() {
        true => value.fault("needs a method for at least one kind of cord".into()),
        false => Some(Method::ByCord(words)),
    }
}

fn needs(value: &Value<'_, '_>) -> Option<Needs> {
    let mut form = value.form()?;
    let needs = Needs {
        function: words(&mut form, "function", Value::word),
        test_current: form.may("test_current").and_then(|v| comparison(&v)),
        open_circuit: form.may("open_circuit").and_then(|v| comparison(&v)),
        test_voltage: form.may("test_voltage").and_then(|v| comparison(&v)),
        network: form.may("network").and_then(|v| v.one_of(&["iec60601_fig12"])),
        mains: form.may("mains").and_then(|v| v.one_of(&["measured_or_worst_case"])),
    };
    if needs.function.is_empty() {
        form.fault("function", "needs at least one function of an instrument".into());
    }
    form.finish();
    Some(needs)
}

fn comparison(value: &Value<'_, '_>) -> Option<String> {
    let text = value.text()?;
    match Comparison::parse(&text) {
        Ok(_) => Some(text),
        Err(why) => value.fault(why),
    }
}

fn capture(value: &Value<'_, '_>) -> Option<Capture> {
    let mut form = value.form()?;
    let rule = form.need("rule").and_then(|v| v.word());
    let seconds = form.may("seconds").and_then(|v| v.count(1..=600));
    let during = form.may("while").and_then(|v| v.word());
    form.finish();
    Some(Capture { rule: rule?, seconds, during })
}

fn settings(value: &Value<'_, '_>) -> Option<Settings> {
    let mut set = Settings::new();
    for (name, word) in value.form()?.all() {
        match read::word::<Switch>(&name) {
            Ok(switch) => set.extend(word.one_of(switch.words()).map(|word| (switch, word))),
            Err(known) => {
                word.fault::<()>(format!("`{name}` is no switch; known: {}", known.join(", ")));
            }
        }
    }
    Some(set)
}
