//! Sentences for codes. Core, books and JSON carry codes; only faces speak.

pub mod plan;

use std::collections::BTreeMap;
use std::sync::OnceLock;

use serde::Deserialize;
use serde_json::Value;

/// The words of one language (format `tapline-words-1`): tables of code and sentence.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Words {
    format: String,
    language: String,
    #[serde(flatten)]
    tables: BTreeMap<String, BTreeMap<String, String>>,
}

/// The English words, which are built in.
pub fn english() -> &'static Words {
    static WORDS: OnceLock<Words> = OnceLock::new();
    WORDS.get_or_init(|| {
        Words::read(include_str!("en.toml")).expect("a test reads the built-in words")
    })
}

/// What the station says of it: a key of the words, then its values.
#[must_use]
pub fn said(words: &Value) -> Option<String> {
    let words: Vec<&str> = words.as_array()?.iter().filter_map(Value::as_str).collect();
    let (key, values) = words.split_first()?;
    let mut sentence = english().say("say", key).to_owned();
    for (n, value) in values.iter().enumerate() {
        sentence = sentence.replace(&format!("{{{n}}}"), value);
    }
    Some(sentence)
}

impl Words {
    /// Reads a words file.
    ///
    /// # Errors
    /// What is wrong with it, in words.
    pub fn read(text: &str) -> Result<Words, String> {
        let words: Words = toml::from_str(text).map_err(|error| error.to_string())?;
        if words.format != "tapline-words-1" {
            return Err(format!("`format` must be \"tapline-words-1\", not `{}`", words.format));
        }
        Ok(words)
    }

    /// The language, `en`.
    #[must_use]
    pub fn language(&self) -> &str {
        &self.language
    }

    /// The sentence of a code, `None` where the table has none.
    #[must_use]
    pub fn find(&self, table: &str, code: &str) -> Option<&str> {
        self.tables.get(table)?.get(code).map(String::as_str)
    }

    /// The sentence of a code; the code itself where the table has none, so that nothing that
    /// was said is lost.
    #[must_use]
    pub fn say<'a>(&'a self, table: &str, code: &'a str) -> &'a str {
        self.find(table, code).unwrap_or(code)
    }

    /// A reason or remark as people read it: the sentence of a short word of a verdict or of a
    /// printed code, else what somebody wrote.
    #[must_use]
    pub fn reason<'a>(&'a self, text: &'a str) -> &'a str {
        self.find("reason", text).or_else(|| self.find("said", text)).unwrap_or(text)
    }

    /// The sentence of a code with its values: `{name}` stands for the value of that name.
    #[must_use]
    pub fn tell(&self, table: &str, code: &str, values: &[(&str, &str)]) -> String {
        let mut text = String::new();
        let mut rest = self.say(table, code);
        while let Some((before, behind)) = rest.split_once('{') {
            text.push_str(before);
            let Some((name, after)) = behind.split_once('}') else { break };
            let value = values.iter().find(|(known, _)| *known == name);
            text.push_str(value.map_or("", |(_, value)| value));
            rest = after;
        }
        text + rest
    }

    /// What is wrong with a book: what it says itself, else the sentence of its code.
    #[must_use]
    pub fn finding(&self, code: &str, values: &BTreeMap<&'static str, String>) -> String {
        if let Some(text) = values.get("text") {
            return text.clone();
        }
        let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
        self.tell("verify", code, &values)
    }

    /// All codes of a table, in order.
    pub fn codes(&self, table: &str) -> impl Iterator<Item = &str> {
        self.tables.get(table).into_iter().flat_map(|t| t.keys().map(String::as_str))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    /// The closed list of reasons of a verdict.
    const REASONS: &str = "no_reading stale overload bound not_settled wrong_function wrong_unit \
        unknown_instrument out_of_calibration lead_not_nulled null_too_old negative_after_null \
        method_not_valid no_limit many_limits limit_unconfirmed no_mains_value direct_share \
        supply_not_checked \
        condition_not_set path_not_proved not_released link_not_isolated open_seen unweighted \
        uncertainty_unknown gate_closed fixture_missing arithmetic bandwidth_unknown \
        bench_check_failed \
        supply_not_110 test_current_unknown not_alive near_limit worse_than_before \
        nothing_earlier conditions_declared typed";
    /// The closed list of why a reading belongs to no step.
    const WHYS: &str = "idle not_asked guard wrong_function wrong_unit first_after_open unsolicited \
        duplicate unpaired parked out_of_calibration unknown_instrument spent not_live \
        window_closed no_operator";

    #[test]
    fn every_closed_word_has_a_sentence() {
        let closed = [
            ("reason", REASONS),
            ("why", WHYS),
            ("verdict", "pass conditional_pass conditional_fail fail undecided"),
            ("act", "connected clear live dead arm"),
            ("problem", "bad_input not_found conflict halted forbidden"),
            ("index", "checking building away full"),
        ];
        for (table, words) in closed {
            for word in words.split_whitespace() {
                assert!(english().find(table, word).is_some(), "no words for {table}.{word}");
            }
        }
    }

    #[test]
    fn every_state_of_the_prompt_has_a_sentence() {
        for state in tapline_protocols::inspection::STATES {
            assert!(english().find("prompt", state).is_some(), "no words for prompt.{state}");
        }
    }

    #[test]
    fn every_key_of_the_built_in_plans_has_a_sentence() {
        use tapline_protocols::plan::{builtin, builtin_ids, parse};
        let plans = builtin_ids().into_iter().map(|id| parse(builtin(id).unwrap()).unwrap());
        let steps: Vec<_> = plans.flat_map(|plan| plan.steps).collect();
        assert!(!steps.is_empty());
        for step in steps {
            let lead = step.lead.iter().map(|key| ("lead", key));
            let cautions = step.caution.iter().map(|key| ("caution", key));
            let items = step.items.iter().map(|key| ("item", key));
            for (table, key) in lead.chain(cautions).chain(items) {
                assert!(english().find(table, key).is_some(), "no words for {table}.{key}");
            }
        }
    }

    #[test]
    fn sentences_are_whole() {
        for table in ["reason", "prompt", "lead", "caution", "item", "problem", "index"] {
            for code in english().codes(table) {
                let text = english().say(table, code);
                assert!(text.ends_with('.'), "{table}.{code} is no sentence: {text}");
                assert!(text.starts_with(|c: char| c.is_uppercase()), "{table}.{code}: {text}");
            }
        }
    }

    // The field uses each of these for two things.
    #[test]
    fn no_word_means_two_things() {
        let text = include_str!("en.toml").to_lowercase();
        for word in ["device", "ground", "session"] {
            assert!(!text.contains(word), "the words file says `{word}`");
        }
    }

    #[test]
    fn values_stand_where_their_names_do_and_are_not_read_again() {
        let text = "format = \"tapline-words-1\"\nlanguage = \"en\"\n[t]\na = \"{x} of {y}, {z}.\"";
        let words = Words::read(text).unwrap();
        assert_eq!(words.tell("t", "a", &[("y", "{x}"), ("x", "1")]), "1 of {x}, .");
    }

    #[test]
    fn an_unknown_code_is_said_as_it_is() {
        assert_eq!(english().say("reason", "never_heard"), "never_heard");
        assert!(Words::read("format = \"x\"\nlanguage = \"en\"").is_err());
    }

    // The keys are read from the sources of the inspection: none may be without words.
    #[test]
    fn every_refusal_has_its_sentence() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/protocols/src/inspection");
        let mut keys = 0;
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let Ok(text) = std::fs::read_to_string(path) else { continue };
            for part in text.split("\"refusal.").skip(1) {
                let key = part.split('"').next().unwrap();
                assert!(english().find("refusal", key).is_some(), "no words for {key}");
                keys += 1;
            }
        }
        assert!(keys > 40, "only {keys} keys found");
    }

    #[test]
    fn what_the_station_says_is_a_sentence() {
        let words = json!(["scan.selected", "P-0107", "a-plan"]);
        assert_eq!(said(&words).unwrap(), "P-0107 is selected; plan a-plan.");
        assert_eq!(said(&json!(null)), None);
    }
}
