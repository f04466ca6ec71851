//! Reading `tapline-plan-1`: shape and words. What steps mean together is `check`.

use alloc::collections::{BTreeMap, BTreeSet};
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use super::compare::Comparison;
use super::model::{Capture, Method, Needs, Plan, PlanFor, Step};
use super::steps::{Settings, Switch};
use crate::fault::Fault;
use crate::read::{self, Form, Lines, Value};
use crate::terms;

/// Most steps of a plan.
pub const STEPS_MAX: usize = 64;
/// Most words in one list of a step.
const WORDS_MAX: usize = 32;

/// What a step may ask of the supply.
const NETWORKS: [&str; 3] = ["iec60601_fig12", "iec60990_u1", "iec60990_u2"];
const MAINS: [&str; 2] = ["measured_or_worst_case", "at_110_percent"];

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
    let fixtures = words(form, "fixtures", Value::word);
    let by_name = form.may("by_name").and_then(|v| v.flag()).unwrap_or_default();
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
    let edition = edition?;
    Some(Plan { format, id, title, standard, edition, for_assets, fixtures, by_name, steps })
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
        celsius: form.may("celsius").and_then(|v| v.text()),
        gate: form.may("gate").and_then(|v| v.word()),
        needs_gate: form.may("needs_gate").and_then(|v| v.word()),
        hazard: form.may("hazard").and_then(|v| v.word()),
        set: form.may("set").and_then(|v| settings(&v)).unwrap_or_default(),
        sweep: words(&mut form, "sweep", Value::word),
        condition: form.may("condition").and_then(|v| v.one_of(&terms::choices("condition"))),
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
    let built_to = match of_step {
        true => Vec::new(),
        false => words(&mut form, "built_to", Value::text),
    };
    form.finish();
    Some(PlanFor { class, cord, applied_part, built_to })
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
        network: form.may("network").and_then(|v| v.one_of(&NETWORKS)),
        mains: form.may("mains").and_then(|v| v.one_of(&MAINS)),
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

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::plan::{Axis, Combine, Rule, builtin};
    use crate::register::Cord;

    fn plan_text() -> &'static str {
        builtin("iec62353-recurrent-direct").unwrap()
    }

    #[test]
    fn the_built_in_plan_reads_as_it_stands() {
        let (plan, lines) = read(plan_text()).unwrap();
        let pe = &plan.steps[1];
        assert_eq!(pe.each, [Axis::EarthedPoint, Axis::DcDirection]);
        assert_eq!(pe.capture.unwrap().rule, Rule::WorstOver);
        assert_eq!(pe.combine, Some(Combine::LargestMagnitude));
        let Some(Method::ByCord(words)) = &pe.method else { panic!("{:?}", pe.method) };
        assert_eq!(words[&Cord::Detachable], "inlet");
        let line = plan_text().lines().position(|l| l.starts_with("each      = [\"cord")).unwrap();
        assert_eq!(lines.of("step.cord.each"), u32::try_from(line).unwrap() + 1);
        assert_eq!(lines.of("step.cord.unknown"), lines.of("step.cord"));
        assert_eq!(lines.of("nothing"), 0);
    }

    /// Serde, which stops at its first fault, reads the same plan.
    #[test]
    fn serde_reads_the_same_plan() {
        assert_eq!(toml::from_str::<Plan>(plan_text()).unwrap(), parse(plan_text()).unwrap());
    }

    macro_rules! faults {
        ($($name:ident: $from:literal => $to:literal: $field:literal, $said:literal;)*) => {$(
            #[test]
            fn $name() {
                assert!(plan_text().contains($from));
                let text = plan_text().replacen($from, $to, 1);
                let faults = parse(&text).unwrap_err();
                let found: Vec<&str> = faults.iter().map(|f| f.field.as_str()).collect();
                assert_eq!(found, [$field], "{faults:?}");
                assert!(faults[0].text.contains($said), "{}", faults[0].text);
                let at = plan_text().find($from).unwrap();
                let last = plan_text()[..at + $from.len()].lines().count();
                let first = plan_text()[..at].lines().count();
                assert!((first..=last + 1).contains(&(faults[0].line as usize)), "{}", faults[0]);
            }
        )*};
    }

    faults! {
        a_newer_format: "plan-1" => "plan-2": "format", "newer than this program";
        an_unreadable_number: "plan-1" => "plan-one": "format", "another format";
        an_unknown_kind: "kind      = \"measure\"" => "kind = \"mesure\""
            : "step.pe.kind", "did you mean `measure`";
        an_unknown_class: "class = [\"I\", \"II\"]" => "class = [\"I\", \"IV\"]"
            : "for.class.2", "II";
        an_applied_part_of_the_whole_plan: "for      = { " => "for = { applied_part = [\"B\"], "
            : "for.applied_part", "no known key";
        an_unknown_cord_of_a_method: "{ fixed = " => "{ fixd = "
            : "step.pe.method.fixd", "no cord";
        an_unknown_axis: "\"dc_direction\"]" => "\"direction\"]": "step.pe.each.2", "unknown word";
        an_axis_twice: "[\"earthed_point\", \"dc_direction\"]" => "[\"cord\", \"cord\"]"
            : "step.pe.each.2", "twice";
        a_window_that_is_too_long: "seconds = 5" => "seconds = 601"
            : "step.pe.capture.seconds", "1 to 600";
        a_need_that_is_no_comparison: ">= 0.2 A" => "0.2 A"
            : "step.pe.needs.test_current", "none of";
        a_need_without_function:
            "function = [\"resistance_4w\", \"resistance_2w\"]" => "function = []"
            : "step.pe.needs.function", "at least one";
        an_unknown_network: "iec60601_fig12" => "fig13": "step.leak.needs.network", "known here";
        an_unknown_switch: "{ S7 = " => "{ S8 = ": "step.leak.set.S8", "no switch";
        an_unknown_position: "S7 = \"open\"" => "S7 = \"up\"": "step.leak.set.S7", "closed, open";
        a_name_in_capitals: "\"insulation\"\n" => "\"Insulation\"\n"
            : "step.Insulation.id", "a-z";
        a_step_twice: "id        = \"cord\"" => "id = \"pe\"": "step.pe", "a second step";
        a_flag_in_quotes: "by_reason = true" => "by_reason = \"yes\""
            : "step.insulation.by_reason", "without quotes";
        a_limit_in_a_plan: "combine   = \"largest_magnitude\"" => "max = \"0.3 Ohm\""
            : "step.pe.max", "no known key";
    }

    #[test]
    fn too_many_steps_are_refused() {
        let step = |n: usize| format!("[[step]]\nid = \"s{n}\"\nkind = \"look\"\n");
        let steps: String = (0..=STEPS_MAX).map(step).collect();
        let (head, _) = plan_text().split_once("[[step]]").unwrap();
        let faults = parse(&format!("{head}{steps}")).unwrap_err();
        assert!(faults.iter().any(|f| f.text.contains("at most 64")), "{faults:?}");
        let long = " ".repeat(read::TEXT_BYTES_MAX + 1);
        assert!(parse(&long).unwrap_err()[0].text.contains("split it"));
    }

    proptest! {
        #[test]
        fn no_text_panics(
            text in "(?s).{0,300}",
            tail in "[a-z\\[\\]{}=\". \n0-9_-]{0,200}",
            cut in 0_usize..9_000,
        ) {
            let _ = parse(&text);
            let _ = parse(&format!("{}\n{tail}", plan_text()));
            let end = cut.min(plan_text().len());
            if let Some(begin) = plan_text().get(..end) {
                let _ = parse(begin);
                let _ = parse(&format!("{begin}{tail}"));
            }
        }
    }
}
