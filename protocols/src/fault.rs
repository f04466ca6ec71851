//! What is wrong with a file that a person wrote, with its place.

use alloc::string::String;
use core::fmt;

/// One fault. A reader returns all of a file's faults at once.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// Line, from 1; 0 where the whole file is meant.
    pub line: u32,
    /// Field or key, `step.pe.capture.seconds`; empty where none is meant.
    pub field: String,
    /// What is wrong and what to do next.
    pub text: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.line, self.field.as_str()) {
            (0, "") => write!(f, "{}", self.text),
            (0, field) => write!(f, "`{field}`: {}", self.text),
            (line, "") => write!(f, "line {line}: {}", self.text),
            (line, field) => write!(f, "line {line}, `{field}`: {}", self.text),
        }
    }
}
