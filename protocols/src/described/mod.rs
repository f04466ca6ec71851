//! Drivers described in a file (`tapline-driver-1`): every fault at once, each with its line.
//!
//! What a file says of itself is tried: each of its examples goes through the driver that it
//! describes, and a file of which one comes out otherwise is refused.
//!
//! Records hold the texts that their bytes were read by, and replay reads them with this reader:
//! what format 1 once took it takes for ever. A stricter check is for a format 2.

mod example;
mod fields;
mod frame;
mod maps;
#[cfg(test)]
mod tests;
mod top;

use alloc::string::String;
use alloc::vec::Vec;

use tapline_drivers::described::Description;

use crate::fault::Fault;

/// Longest file, bytes: its text is kept in every record that rests on it.
pub const TEXT_BYTES_MAX: usize = 16 << 10;

/// A driver as its file describes it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Described {
    /// What it does.
    pub description: Description,
    /// Where the layout was read, in the words of the file.
    pub source: String,
    /// Settings of the port, if it says them: the baud rate and bits such as `8N1`.
    pub line: Option<(u32, String)>,
    /// How many examples were tried.
    pub examples: usize,
}

/// Reads a file and tries its examples.
///
/// # Errors
/// All faults, in order of their lines.
pub fn parse(text: &str) -> Result<Described, Vec<Fault>> {
    if text.len() > TEXT_BYTES_MAX {
        let text = alloc::format!(
            "longer than {TEXT_BYTES_MAX} bytes: a record keeps the whole text, so leave out what \
             the driver does not need"
        );
        return Err(alloc::vec![Fault { line: 0, field: String::new(), text }]);
    }
    crate::read::read(text, ("tapline-driver-", 1), top::build).map(|(described, _)| described)
}
