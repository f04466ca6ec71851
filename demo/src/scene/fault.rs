//! What is wrong with a scene, and where.

use std::fmt;

/// One fault of a scene.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// Line, from 1; 0 where something is missing.
    pub line: usize,
    /// Key or field.
    pub field: String,
    /// What is wrong and what to write instead.
    pub text: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Fault { line, field, text } = self;
        write!(f, "line {line}, `{field}`: {text}")
    }
}

/// Faults of one text, collected.
pub(super) struct Faults<'a> {
    text: &'a str,
    found: Vec<Fault>,
}

impl<'a> Faults<'a> {
    pub(super) fn new(text: &'a str) -> Faults<'a> {
        Faults { text, found: Vec::new() }
    }

    /// Line of a byte offset, from 1.
    pub(super) fn line(&self, offset: usize) -> usize {
        let before = self.text.get(..offset).unwrap_or(self.text);
        before.bytes().filter(|b| *b == b'\n').count() + 1
    }

    pub(super) fn at(&mut self, offset: usize, field: &str, text: impl Into<String>) {
        let line = self.line(offset);
        self.found.push(Fault { line, field: field.to_owned(), text: text.into() });
    }

    pub(super) fn missing(&mut self, field: &str) {
        let text = "is missing: add it".to_owned();
        self.found.push(Fault { line: 0, field: field.to_owned(), text });
    }

    /// Nothing was found, or everything in order of lines.
    pub(super) fn done(mut self) -> Result<(), Vec<Fault>> {
        self.found.sort();
        if self.found.is_empty() { Ok(()) } else { Err(self.found) }
    }
}
