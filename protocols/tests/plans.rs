//! What can be left out of a plan unseen: each key of each measure step of each shipped plan is
//! taken away, and each word of its lists, and the check is asked.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::collections::BTreeMap;

use tapline_protocols::limits::Table;
use tapline_protocols::plan::{builtin, builtin_ids, check, read};

/// Lines of a step without which nothing is measured otherwise: what it is called, answered, said.
const NAMES: [&str; 9] =
    ["id", "kind", "title", "format", "items", "lead", "caution", "standard", "edition"];

fn sound(text: &str, tables: &[Table]) -> bool {
    read(text).is_ok_and(|(plan, lines)| check(&plan, &lines, tables).is_empty())
}

/// The line without its key, and without each word or part of its value.
fn less(key: &str, value: &str) -> Vec<(String, String)> {
    let mut all = vec![(key.to_owned(), String::new())];
    for word in value.split('"').skip(1).step_by(2) {
        for (from, to) in [(format!("\"{word}\", "), ""), (format!(", \"{word}\""), "")] {
            if value.contains(&from) {
                all.push((
                    format!("{key} {word}"),
                    format!("{key} = {}", value.replacen(&from, to, 1)),
                ));
                break;
            }
        }
    }
    let inner = value.trim_start_matches("{ ").trim_end_matches(" }");
    if value.starts_with('{') && !value.contains('[') || key == "needs" {
        let parts: Vec<&str> = inner.split(", ").filter(|part| part.contains(" = ")).collect();
        for part in parts {
            let name = part.split(' ').next().unwrap();
            for from in [format!("{part}, "), format!(", {part}")] {
                if value.contains(&from) {
                    all.push((
                        format!("{key}.{name}"),
                        format!("{key} = {}", value.replacen(&from, "", 1)),
                    ));
                    break;
                }
            }
        }
    }
    all
}

/// What may be missing, and why nothing passes by it that should not.
const MAY_BE_MISSING: [(&str, &str); 23] = [
    ("by_name", "a person chooses among more plans"),
    ("by_reason", "the step is on"),
    ("capture.while", "the window stays; that the cord is flexed is said to the person"),
    ("combine", "there is one value"),
    ("condition", "it follows from S1 that is open"),
    ("correct", "leads that are not taken away make a resistance larger"),
    ("each", "the joined parts have one limit for all"),
    ("each connection", "joined connections leak no less than one of them"),
    ("each dc_direction", "only IEC 62353 asks for it"),
    ("each operating_state", "the asset is measured in the state that it is left in"),
    ("fixtures", "of the whole plan: each step names its own"),
    ("fixtures isolated_source", "of the whole plan"),
    ("fixtures isolating_transformer", "it keeps a breaker in, and changes no value"),
    ("fixtures network_fig12", "of the whole plan"),
    ("fixtures supply_box", "of the whole plan"),
    ("for", "more or fewer assets have the plan"),
    ("gate", "no step of the plan waits for it"),
    ("needs", "another instrument; what it gives is judged with the value"),
    ("needs_gate", "of an insulation: nothing is energised"),
    ("set", "S7 is closed at rest"),
    ("sweep S10", "a functional earth is no fault"),
    ("when", "more assets or parts come to the step"),
    ("when ", "fewer types of part come to the step: `plan show` names those left out"),
];

fn may_be_missing(name: &str) -> bool {
    let fits = |(known, _): &(&str, &str)| match *known {
        "for" | "needs" => {
            name == *known
                || name.starts_with(&format!("{known} "))
                || name.starts_with(&format!("{known}."))
        }
        "when " => name.starts_with(known),
        known => name == known,
    };
    MAY_BE_MISSING.iter().any(fits)
}

/// Two thousand plans that lack one word: the check finds fault with each, or what is missing is in
/// the list above.
#[test]
fn nothing_can_be_left_out_of_a_plan_unseen() {
    let table = |(s, e)| Table::parse(Table::builtin(s, e).unwrap()).unwrap();
    let tables: Vec<Table> = Table::all().map(table).collect();
    let mut unseen: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut tried = 0;
    for id in builtin_ids() {
        let lines: Vec<&str> = builtin(id).unwrap().lines().collect();
        let mut step = "";
        for (at, line) in lines.iter().enumerate().filter(|(_, line)| !line.starts_with('#')) {
            let Some((key, value)) = line.split_once('=') else { continue };
            let (key, value) = (key.trim(), value.trim());
            if key == "id" {
                step = value.trim_matches('"');
            }
            if NAMES.contains(&key) {
                continue;
            }
            for (name, new) in less(key, value) {
                let mut changed = lines.clone();
                changed[at] = &new;
                tried += 1;
                if sound(&changed.join("\n"), &tables) {
                    unseen.entry(name).or_default().push(format!("{id}/{step}"));
                }
            }
        }
    }
    assert!(tried > 2000, "{tried}");
    for (known, _) in MAY_BE_MISSING {
        let met = unseen.keys().any(|name| name.starts_with(known));
        assert!(met, "`{known}` can't be left out: take it off the list");
    }
    unseen.retain(|name, _| !may_be_missing(name));
    assert_eq!(unseen, BTreeMap::new());
}
