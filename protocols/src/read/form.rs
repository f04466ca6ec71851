//! A table whose keys are known.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use toml::de::DeTable;

use super::near::nearest;
use super::sheet::Sheet;
use super::value::Value;

/// A table that is asked for its keys one by one; what nobody asked for is a fault.
pub struct Form<'s, 'i> {
    sheet: &'s Sheet,
    table: &'s DeTable<'i>,
    path: String,
    line: u32,
    asked: Vec<&'static str>,
    missing: Vec<&'static str>,
}

impl<'s, 'i> Form<'s, 'i> {
    pub(super) fn top(sheet: &'s Sheet, table: &'s DeTable<'i>) -> Form<'s, 'i> {
        Form { sheet, table, path: String::new(), line: 1, asked: Vec::new(), missing: Vec::new() }
    }

    pub(super) fn new(
        sheet: &'s Sheet,
        table: &'s DeTable<'i>,
        path: &str,
        line: u32,
    ) -> Form<'s, 'i> {
        sheet.found(path, line);
        Form { sheet, table, path: path.to_string(), line, asked: Vec::new(), missing: Vec::new() }
    }

    /// The value of a key that must be there.
    pub fn need(&mut self, key: &'static str) -> Option<Value<'s, 'i>> {
        let value = self.may(key);
        if value.is_none() {
            self.missing.push(key);
        }
        value
    }

    /// The value of a key that may be left out.
    pub fn may(&mut self, key: &'static str) -> Option<Value<'s, 'i>> {
        self.asked.push(key);
        let value = self.table.get(key)?;
        Some(Value::new(self.sheet, value, self.field(key)))
    }

    /// Every key with its value, for tables whose keys are free.
    pub fn all(&mut self) -> Vec<(String, Value<'s, 'i>)> {
        let entry = |(key, value)| {
            let key: &toml::Spanned<toml::de::DeString<'i>> = key;
            let key = key.get_ref().to_string();
            let value = Value::new(self.sheet, value, self.field(&key));
            (key, value)
        };
        self.table.iter().map(entry).collect()
    }

    /// Adds a fault of the whole table.
    pub fn fault(&self, key: &str, text: String) {
        let field = if key.is_empty() { self.path.clone() } else { self.field(key) };
        self.sheet.fault(self.line, &field, text);
    }

    /// Says which keys nobody knows and which are missing; a mistyped one is not missing too.
    pub fn finish(mut self) {
        for key in self.table.keys() {
            let name = key.get_ref().as_ref();
            if self.asked.contains(&name) {
                continue;
            }
            let text = match nearest(name, self.asked.iter().copied()) {
                Some(meant) => {
                    self.missing.retain(|missing| *missing != meant);
                    format!("is no known key; did you mean `{meant}`?")
                }
                None => format!("is no known key; known here: {}", self.asked.join(", ")),
            };
            let line = self.sheet.line(key.span().start);
            self.sheet.fault(line, &self.field(name), text);
        }
        if !self.sheet.is_broken() {
            for key in &self.missing {
                self.sheet.fault(self.line, &self.field(key), "is missing".into());
            }
        }
    }

    fn field(&self, key: &str) -> String {
        let key: String = key.chars().take(60).collect();
        if self.path.is_empty() { key } else { format!("{}.{key}", self.path) }
    }
}
