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
    LISTS.iter().map(|list| (&TEXT[list.name.0..list.name.1], &TEXT[list.words.0..list.words.1]))
}

/// Where a list stands in the file, byte offsets.
#[derive(Clone, Copy)]
struct List {
    name: (usize, usize),
    words: (usize, usize),
}

/// Found when the program is compiled: looking a word up then costs no walk through the file.
const LISTS: [List; count()] = find();

const fn count() -> usize {
    let (bytes, mut at, mut lists) = (TEXT.as_bytes(), 0, 0);
    while at < bytes.len() {
        if bytes[at] == b'[' {
            lists += 1;
        }
        at += 1;
    }
    lists
}

const fn find() -> [List; count()] {
    let mut lists = [List { name: (0, 0), words: (0, 0) }; count()];
    let (bytes, mut at, mut found) = (TEXT.as_bytes(), 0, 0);
    while at < bytes.len() {
        if bytes[at] == b'[' {
            let from = at + 1;
            while bytes[at] != b']' {
                at += 1;
            }
            lists[found] = List { name: name(bytes, from), words: (from, at) };
            found += 1;
        }
        at += 1;
    }
    lists
}

/// The key in front of ` = [`, without its quotes.
const fn name(bytes: &[u8], bracket: usize) -> (usize, usize) {
    let mut to = bracket - 4;
    let mut from = to;
    while from > 0 && bytes[from - 1] != b'\n' {
        from -= 1;
    }
    if bytes[from] == b'"' {
        (from, to) = (from + 1, to - 1);
    }
    (from, to)
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
        assert!(!known("class", "IV"));
        assert!(!known("no such list", "I"));
        assert_eq!(choices("class"), ["I", "II", "III", "internal", "system"]);
        assert!(choices("meth").is_empty());
    }

    #[test]
    fn every_measurand_has_methods() {
        for measurand in choices("measurand") {
            assert!(!choices(&alloc::format!("method.{measurand}")).is_empty(), "{measurand}");
        }
    }
}
