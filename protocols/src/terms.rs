//! The closed vocabulary of `terms.toml`: one list that limits, plans and judgements read.
//!
//! The file is scanned where it lies, as each of its lists is a key and quoted words; a test
//! reads it with a TOML parser as well and compares.

use alloc::vec::Vec;

const TEXT: &str = include_str!("../terms.toml");

/// The words of a list in the file's order: `measurand`, `method` (of every measurand),
/// `method.insulation_resistance`, `class`, `reason` … Empty for a list that does not exist.
#[must_use]
pub fn choices(list: &str) -> Vec<&'static str> {
    let mut words = Vec::new();
    for (_, more) in lists().filter(|(name, _)| belongs(name, list)) {
        for word in quoted(more) {
            if !words.contains(&word) {
                words.push(word);
            }
        }
    }
    words
}

/// The word stands in the list.
#[must_use]
pub fn known(list: &str, word: &str) -> bool {
    lists().any(|(name, words)| belongs(name, list) && quoted(words).any(|w| w == word))
}

/// `method` holds every list `method.…`.
fn belongs(name: &str, list: &str) -> bool {
    let rest = name.strip_prefix(list);
    rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
}

/// Each list as its name and the text between its brackets.
fn lists() -> impl Iterator<Item = (&'static str, &'static str)> {
    TEXT.split(']').filter_map(|piece| {
        let (before, words) = piece.split_once(" = [")?;
        let name = before.rsplit('\n').next()?;
        Some((name.trim_matches('"'), words))
    })
}

fn quoted(words: &'static str) -> impl Iterator<Item = &'static str> {
    words.split('"').skip(1).step_by(2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    #[test]
    fn a_toml_parser_reads_the_same_lists() {
        let table: toml::Table = toml::from_str(TEXT).unwrap();
        let mut seen = 0;
        for (name, value) in &table {
            let Some(words) = value.as_array() else { continue };
            let words: Vec<_> = words.iter().map(|w| w.as_str().unwrap().to_string()).collect();
            assert_eq!(choices(name), words, "{name}");
            seen += 1;
        }
        assert_eq!(seen, lists().count());
    }

    #[test]
    fn a_word_is_known_in_its_own_list_only() {
        assert!(known("measurand", "touch_current"));
        assert!(known("method", "inlet"));
        assert!(known("method.protective_earth_resistance", "inlet"));
        assert!(!known("method.insulation_resistance", "inlet"));
        assert!(!known("class", "III"));
        assert!(!known("no such list", "I"));
        assert_eq!(choices("class"), ["I", "II", "internal", "system"]);
        assert!(choices("meth").is_empty());
    }

    #[test]
    fn every_measurand_has_methods() {
        for measurand in choices("measurand") {
            assert!(!choices(&alloc::format!("method.{measurand}")).is_empty(), "{measurand}");
        }
    }
}
