//! Finding the one row of a key.

use alloc::string::{String, ToString};
use alloc::vec::Vec;
use alloc::{format, slice};
use core::fmt;

use super::{Row, Table};
use crate::terms;

/// What a row is found by, within one edition of one standard. `None`: not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Key<'a> {
    /// Measurand.
    pub measurand: &'a str,
    /// Method.
    pub method: Option<&'a str>,
    /// Protection class of the asset.
    pub class: Option<&'a str>,
    /// Type of the applied part.
    pub applied_part: Option<&'a str>,
    /// Condition.
    pub condition: Option<&'a str>,
    /// `ac` or `dc`.
    pub kind: Option<&'a str>,
}

/// Why a key has no row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoRow {
    /// The words are right, but the table has no limit for them: reason `no_limit`.
    NoLimit,
    /// A word that decides between rows is missing.
    Missing {
        /// Its key.
        key: &'static str,
        /// The words that rows know there.
        words: Vec<String>,
    },
    /// A word outside the closed vocabulary.
    Unknown {
        /// Its key.
        key: &'static str,
        /// What stands there.
        word: String,
        /// The choices.
        words: Vec<String>,
    },
    /// More than one row: reason `many_limits`.
    Many {
        /// Their ids.
        ids: Vec<String>,
    },
}

impl fmt::Display for NoRow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NoRow::NoLimit => f.write_str("the table has no limit for these words"),
            NoRow::Missing { key, words } => {
                write!(f, "`{key}` is missing: one of {}", words.join(", "))
            }
            NoRow::Unknown { key, word, words } => {
                write!(f, "`{key}` has no word `{word}`: one of {}", words.join(", "))
            }
            NoRow::Many { ids } => write!(f, "more than one limit fits: {}", ids.join(", ")),
        }
    }
}

/// The words of a key besides the measurand, in the order in which they are asked for.
const FIELDS: [&str; 5] = ["method", "class", "applied_part", "condition", "kind"];

impl Table {
    /// The one row of a key. A word that no row in question looks at may be missing. The maker's
    /// row goes before the workshop's, and that before the standard's.
    ///
    /// # Errors
    /// [`NoRow`]: no row, more than one, an unknown word, or a missing one that decides.
    pub fn find(&self, key: &Key<'_>) -> Result<&Row, NoRow> {
        check(key)?;
        let mut rows: Vec<&Row> =
            self.rows.iter().filter(|row| row.measurand == key.measurand).collect();
        for field in FIELDS {
            match key.word(field) {
                Some(word) => rows.retain(|row| row.takes(field, word)),
                None => decides(field, key.measurand, &rows)?,
            }
        }
        let top = rows.iter().map(|row| row.layer.rank()).max();
        rows.retain(|row| Some(row.layer.rank()) == top);
        match rows.as_slice() {
            [] => Err(NoRow::NoLimit),
            [row] => Ok(row),
            rows => Err(NoRow::Many { ids: rows.iter().map(|row| row.id.clone()).collect() }),
        }
    }
}

impl<'a> Key<'a> {
    fn word(&self, field: &str) -> Option<&'a str> {
        match field {
            "method" => self.method,
            "class" => self.class,
            "applied_part" => self.applied_part,
            "condition" => self.condition,
            _ => self.kind,
        }
    }
}

impl Row {
    /// Its words of a field of the key; empty: the field plays no part.
    pub(super) fn words(&self, field: &str) -> &[String] {
        match field {
            "method" => slice::from_ref(&self.method),
            "class" => &self.class,
            "applied_part" => &self.applied_part,
            "condition" => &self.condition,
            _ => &self.kind,
        }
    }

    fn takes(&self, field: &str, word: &str) -> bool {
        let words = self.words(field);
        words.is_empty() || words.iter().any(|w| w == word)
    }

    /// Some key reaches both, and neither goes before the other.
    pub(super) fn overlaps(&self, other: &Row) -> bool {
        self.layer.meets(&other.layer) && self.touches(other)
    }

    /// Some key reaches both.
    pub(super) fn touches(&self, other: &Row) -> bool {
        let common = |field: &str| {
            let (mine, theirs) = (self.words(field), other.words(field));
            mine.is_empty() || theirs.is_empty() || mine.iter().any(|w| theirs.contains(w))
        };
        self.measurand == other.measurand && FIELDS.iter().all(|field| common(field))
    }
}

/// The closed list of a field, for one measurand.
pub(super) fn list_of(field: &str, measurand: &str) -> Vec<&'static str> {
    match field {
        "method" => terms::choices(&format!("method.{measurand}")),
        _ => terms::choices(field),
    }
}

fn check(key: &Key<'_>) -> Result<(), NoRow> {
    let unknown = |key, word: &str, words: Vec<&str>| NoRow::Unknown {
        key,
        word: word.into(),
        words: owned(&words),
    };
    if !terms::known("measurand", key.measurand) {
        return Err(unknown("measurand", key.measurand, terms::choices("measurand")));
    }
    for field in FIELDS {
        let Some(word) = key.word(field) else { continue };
        let words = list_of(field, key.measurand);
        if !words.contains(&word) {
            return Err(unknown(field, word, words));
        }
    }
    Ok(())
}

/// A missing word is no fault where every row in question takes any word.
fn decides(field: &'static str, measurand: &str, rows: &[&Row]) -> Result<(), NoRow> {
    let heard = |word: &&str| rows.iter().any(|row| row.takes(field, word));
    // Peak values are asked for by few standards: elsewhere nobody has to say that it is none.
    let mut all = list_of(field, measurand);
    all.retain(|word| *word != "peak" || heard(word));
    let open =
        |row: &&Row| row.words(field).is_empty() || all.iter().all(|word| row.takes(field, word));
    if rows.iter().all(open) {
        return Ok(());
    }
    let words: Vec<&str> = all.iter().copied().filter(heard).collect();
    Err(NoRow::Missing { key: field, words: owned(&words) })
}

fn owned(words: &[&str]) -> Vec<String> {
    words.iter().map(ToString::to_string).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(key: Key<'_>) -> Result<String, String> {
        let text = Table::builtin("IEC 62353", "2014").unwrap();
        let table = Table::parse(text).unwrap();
        table.find(&key).map(|row| row.id.clone()).map_err(|e| e.to_string())
    }

    fn words(text: &str) -> Vec<&str> {
        text.rsplit("one of ").next().unwrap().split(", ").collect()
    }

    #[test]
    fn a_missing_word_that_decides_is_named_with_its_choices() {
        let key = Key { measurand: "protective_earth_resistance", ..Key::default() };
        let text = found(key).unwrap_err();
        assert!(text.starts_with("`method` is missing"), "{text}");
        assert_eq!(words(&text).len(), 6);
        let key = Key { method: Some("inlet"), ..key };
        assert!(found(key).unwrap_err().starts_with("`class` is missing"));
    }

    #[test]
    fn a_word_that_decides_nothing_may_be_missing() {
        let key = Key {
            measurand: "protective_earth_resistance",
            method: Some("inlet"),
            class: Some("I"),
            ..Key::default()
        };
        assert_eq!(found(key).unwrap(), "iec62353-2014.pe.inlet");
    }

    #[test]
    fn leakage_without_its_method_has_no_limit() {
        let key = Key {
            measurand: "equipment_leakage",
            class: Some("I"),
            kind: Some("ac"),
            ..Key::default()
        };
        let text = found(key).unwrap_err();
        assert_eq!(text, "`method` is missing: one of direct, differential, alternative");
    }

    #[test]
    fn unknown_words_and_absent_rows_differ() {
        let key = Key { measurand: "heat", ..Key::default() };
        assert!(found(key).unwrap_err().starts_with("`measurand` has no word `heat`"));
        let key = Key {
            measurand: "touch_current",
            method: Some("inlet"),
            class: Some("I"),
            ..Key::default()
        };
        assert!(found(key).unwrap_err().starts_with("`method` has no word `inlet`"));
        let key = Key { method: Some("alternative"), kind: Some("ac"), ..key };
        assert_eq!(found(key).unwrap_err(), "the table has no limit for these words");
    }
}
