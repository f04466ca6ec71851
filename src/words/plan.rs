//! What a plan leaves to the words file, and whether it is said there.

use tapline_protocols::Fault;
use tapline_protocols::plan::Plan;
use tapline_protocols::read::{Lines, nearest};

use super::{Words, english};

/// Keys of leads and cautions that have no sentence: a person would read the key, and no caution.
#[must_use]
pub fn unsaid(plan: &Plan, lines: &Lines) -> Vec<Fault> {
    let words = english();
    let mut faults = Vec::new();
    for step in &plan.steps {
        let mut look = |table: &str, key: &str, field: String| {
            if words.find(table, key).is_none() {
                let line = lines.of(&field);
                faults.push(Fault { line, field, text: fault(words, table, key) });
            }
        };
        if let Some(lead) = &step.lead {
            look("lead", lead, format!("step.{}.lead", step.id));
        }
        for (at, caution) in step.caution.iter().enumerate() {
            look("caution", caution, format!("step.{}.caution.{}", step.id, at + 1));
        }
    }
    faults
}

fn fault(words: &Words, table: &str, key: &str) -> String {
    let known: Vec<&str> = words.codes(table).collect();
    match nearest(key, known.iter().copied()) {
        Some(meant) => format!("no sentence is called `{key}`; did you mean `{meant}`?"),
        None => format!("no sentence is called `{key}`: one of {}", known.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tapline_protocols::plan::{builtin, builtin_ids, read};

    #[test]
    fn every_shipped_plan_is_said() {
        for id in builtin_ids() {
            let (plan, lines) = read(builtin(id).unwrap()).unwrap();
            assert_eq!(unsaid(&plan, &lines), [], "{id}");
        }
    }

    #[test]
    fn a_slip_in_a_key_is_found_with_its_line() {
        let text = builtin("iec62353-recurrent-direct").unwrap();
        let text = text.replace("\"leak.case\"", "\"leak.caes\"");
        let text = text.replace("\"discharge\"", "\"wait_until_dead\"");
        let (plan, lines) = read(&text).unwrap();
        let found: Vec<String> = unsaid(&plan, &lines).iter().map(ToString::to_string).collect();
        assert_eq!(found.len(), 3, "{found:?}");
        assert!(
            found[0].contains("insulation.caution.3") && found[0].contains("one of"),
            "{found:?}"
        );
        assert!(found[2].ends_with("did you mean `leak.case`?"), "{found:?}");
        let line = text.lines().position(|line| line.contains("leak.caes")).unwrap() + 1;
        assert!(found[2].starts_with(&format!("line {line},")), "{found:?}");
    }
}
