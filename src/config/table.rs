//! A walk through a TOML file that notes every fault with its line and goes on.

use std::ops::RangeInclusive;

use tapline_protocols::Fault;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::nearest::nearest;

/// Faults found so far, with the text that they are in.
pub(crate) struct Faults<'a> {
    text: &'a str,
    list: Vec<Fault>,
}

impl<'a> Faults<'a> {
    pub(crate) fn of(text: &'a str) -> Faults<'a> {
        Faults { text, list: Vec::new() }
    }

    /// Notes a fault at a byte of the text.
    pub(crate) fn note(&mut self, byte: usize, field: &str, text: impl Into<String>) {
        self.list.push(Fault { line: self.line(byte), field: field.into(), text: text.into() });
    }

    /// All faults, in the order of the file.
    pub(crate) fn into_sorted(mut self) -> Vec<Fault> {
        // By their place: what one place has to say stays in the order it was said in.
        self.list.sort_by(|a, b| (a.line, &a.field).cmp(&(b.line, &b.field)));
        self.list.dedup();
        self.list
    }

    fn line(&self, byte: usize) -> u32 {
        let before = self.text.as_bytes().iter().take(byte);
        u32::try_from(before.filter(|b| **b == b'\n').count()).map_or(u32::MAX, |n| n + 1)
    }
}

/// A table of the file with its place.
#[derive(Clone)]
pub(crate) struct Table<'t> {
    path: String,
    at: usize,
    map: &'t DeTable<'t>,
}

impl<'t> Table<'t> {
    /// The whole file.
    pub(crate) fn root(file: &'t Spanned<DeTable<'t>>) -> Table<'t> {
        Table { path: String::new(), at: 0, map: file.get_ref() }
    }

    /// Byte where the table stands.
    pub(crate) fn at(&self) -> usize {
        self.at
    }

    /// Byte where the value of a key stands, else the table's own.
    pub(crate) fn place(&self, key: &str) -> usize {
        self.value(key).map_or(self.at, |v| v.span().start)
    }

    /// Full name of a key, `link.line.baud`.
    pub(crate) fn name(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    pub(crate) fn has(&self, key: &str) -> bool {
        self.value(key).is_some()
    }

    /// Refuses every key that is not in the list.
    pub(crate) fn only(&self, faults: &mut Faults<'_>, keys: &[&str]) {
        for (key, _) in self.map {
            let word = key.get_ref().as_ref();
            if keys.contains(&word) {
                continue;
            }
            let hint = match nearest(word, keys) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("known here: {}", keys.join(", ")),
            };
            faults.note(key.span().start, &self.name(word), format!("unknown key; {hint}"));
        }
    }

    /// A text that may be absent.
    pub(crate) fn text(&self, faults: &mut Faults<'_>, key: &str) -> Option<&'t str> {
        let value = self.value(key)?;
        let text = value.get_ref().as_str();
        if text.is_none() {
            self.wrong(faults, key, value, "a text in quotes");
        }
        text
    }

    /// A text that must be there; empty after a fault.
    pub(crate) fn need(&self, faults: &mut Faults<'_>, key: &str) -> &'t str {
        if !self.has(key) {
            faults.note(self.at, &self.name(key), "missing");
        }
        self.text(faults, key).unwrap_or("")
    }

    /// A word of a closed list; the first one where the key is absent or at fault.
    pub(crate) fn word(&self, faults: &mut Faults<'_>, key: &str, words: &[&'t str]) -> &'t str {
        let Some(text) = self.text(faults, key) else { return words[0] };
        if let Some(word) = words.iter().find(|w| **w == text) {
            return word;
        }
        let say = format!("`{text}` is none of {}", words.join(", "));
        faults.note(self.place(key), &self.name(key), say);
        words[0]
    }

    /// A whole number in a range; `usual` where the key is absent or at fault.
    pub(crate) fn whole(
        &self,
        faults: &mut Faults<'_>,
        key: &str,
        range: RangeInclusive<u32>,
        usual: u32,
    ) -> u32 {
        let Some(value) = self.value(key) else { return usual };
        let number = value.get_ref().as_integer();
        let number = number.and_then(|n| i64::from_str_radix(n.as_str(), n.radix()).ok());
        match number.and_then(|n| u32::try_from(n).ok()).filter(|n| range.contains(n)) {
            Some(number) => number,
            None => {
                let want = format!("a whole number from {} to {}", range.start(), range.end());
                self.wrong(faults, key, value, &want);
                usual
            }
        }
    }

    /// `true` or `false`; `usual` where the key is absent or at fault.
    pub(crate) fn flag(&self, faults: &mut Faults<'_>, key: &str, usual: bool) -> bool {
        let Some(value) = self.value(key) else { return usual };
        value.get_ref().as_bool().unwrap_or_else(|| {
            self.wrong(faults, key, value, "true or false");
            usual
        })
    }

    /// A list of texts, empty where the key is absent.
    pub(crate) fn texts(&self, faults: &mut Faults<'_>, key: &str) -> Vec<String> {
        let Some(value) = self.value(key) else { return Vec::new() };
        let list = value.get_ref().as_array().map(|list| {
            list.iter().map(|v| v.get_ref().as_str().map(str::to_owned)).collect::<Option<Vec<_>>>()
        });
        list.flatten().unwrap_or_else(|| {
            self.wrong(faults, key, value, "a list of texts");
            Vec::new()
        })
    }

    /// A table within, `None` where the key is absent or at fault.
    pub(crate) fn table(&self, faults: &mut Faults<'_>, key: &str) -> Option<Table<'t>> {
        let value = self.value(key)?;
        let map = value.get_ref().as_table();
        if map.is_none() {
            self.wrong(faults, key, value, "a table");
        }
        Some(Table { path: self.name(key), at: value.span().start, map: map? })
    }

    /// A list of tables within (`[[key]]`).
    pub(crate) fn tables(&self, faults: &mut Faults<'_>, key: &str) -> Vec<Table<'t>> {
        let Some(value) = self.value(key) else { return Vec::new() };
        let Some(list) = value.get_ref().as_array() else {
            self.wrong(faults, key, value, &format!("tables headed `[[{key}]]`"));
            return Vec::new();
        };
        let table = |v: &'t Spanned<DeValue<'t>>| {
            let map = v.get_ref().as_table()?;
            Some(Table { path: self.name(key), at: v.span().start, map })
        };
        let tables: Option<Vec<_>> = list.iter().map(table).collect();
        tables.unwrap_or_else(|| {
            self.wrong(faults, key, value, &format!("tables headed `[[{key}]]`"));
            Vec::new()
        })
    }

    /// Every key with a text, for tables whose keys are free.
    pub(crate) fn pairs(&self, faults: &mut Faults<'_>) -> Vec<(String, String)> {
        let keys: Vec<&str> = self.map.iter().map(|(key, _)| key.get_ref().as_ref()).collect();
        let text = |key: &str, faults: &mut Faults<'_>| self.text(faults, key).map(str::to_owned);
        keys.into_iter().filter_map(|key| Some((key.to_owned(), text(key, faults)?))).collect()
    }

    fn value(&self, key: &str) -> Option<&'t Spanned<DeValue<'t>>> {
        self.map.get(key)
    }

    fn wrong(&self, faults: &mut Faults<'_>, key: &str, value: &Spanned<DeValue<'_>>, want: &str) {
        faults.note(value.span().start, &self.name(key), format!("must be {want}"));
    }
}

/// Parses a file; what is no TOML is noted and passed over.
pub(crate) fn parse<'a>(text: &'a str, faults: &mut Faults<'_>) -> Spanned<DeTable<'a>> {
    let (file, errors) = DeTable::parse_recoverable(text);
    for error in errors {
        let at = error.span().map_or(0, |span| span.start);
        faults.note(at, "", error.message().replace('\n', "; "));
    }
    file
}
