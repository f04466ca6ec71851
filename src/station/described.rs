//! A driver that a file describes, with the text itself: what was read by it can be read again
//! from the text alone.

use std::sync::Arc;

use tapline_drivers::described::Description;
use tapline_protocols::{Fault, described};

use super::library::sha256;

/// A described driver.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Described {
    /// What it does.
    pub description: Arc<Description>,
    /// The file's text.
    pub text: String,
    /// SHA-256 of the text, hex.
    pub sha256: String,
    /// Settings of the port that the file says: the baud rate and bits such as `8N1`.
    pub line: Option<(u32, String)>,
    /// How many examples of the file were tried.
    pub examples: usize,
}

impl Described {
    /// Reads the text of a file and tries its examples.
    ///
    /// # Errors
    /// All faults of the text, in order of their lines.
    pub fn read(text: &str) -> Result<Described, Vec<Fault>> {
        let described = described::parse(text)?;
        Ok(Described {
            description: Arc::new(described.description),
            text: text.into(),
            sha256: sha256(text),
            line: described.line,
            examples: described.examples,
        })
    }

    /// Its name, as books and faces call it.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.description.name
    }
}
