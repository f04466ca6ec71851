//! Which formats of books this program reads. Older ones are read for ever; what a newer one means
//! nobody here can know, so it is refused before anything of it is believed or set aside.
//!
//! It is looked at once the mark of the first commit is right: a flipped bit in the name is damage,
//! and no newer format. So every format to come must keep the first commit and its mark in the
//! form of today, or older programs take it for damaged.

use std::fmt;
use std::io;

/// The format of every book that is written now.
pub const FORMAT: &str = "tapline-book-1";

/// What to do with a book of another format.
pub(super) const NEXT: &str = "read it with the version that wrote it, or a newer one";

const NAMED: &[u8] = b"\"format\":\"tapline-book-";

/// A book of a format that this program does not know.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unknown(String);

impl fmt::Display for Unknown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "it is a book of the format `tapline-book-{}`, and this program reads `{FORMAT}`; \
             nothing was changed",
            self.0
        )
    }
}

impl std::error::Error for Unknown {}

/// An error of reading a book, with what to do where its format is not known.
#[must_use]
pub fn said(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::Unsupported => format!("{error}; {NEXT}"),
        _ => error.to_string(),
    }
}

/// Looks at the first line of a book. A line that names no format is left to the marks.
///
/// # Errors
/// It names a format that this program does not know.
pub(super) fn known(first_line: &[u8]) -> io::Result<()> {
    let at = first_line.windows(NAMED.len()).position(|part| part == NAMED);
    let Some(at) = at else { return Ok(()) };
    let rest = &first_line[at + NAMED.len()..];
    if rest.starts_with(b"1\"") {
        return Ok(());
    }
    let word: Vec<u8> = rest.iter().copied().take(16).take_while(|byte| *byte != b'"').collect();
    let word = String::from_utf8_lossy(&word).escape_default().to_string();
    Err(io::Error::new(io::ErrorKind::Unsupported, Unknown(word)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_format_is_known_and_others_are_named() {
        for line in [r#"{"seq":1,"k":"open","format":"tapline-book-1"}"#, "", "{", "no book at all"]
        {
            assert!(known(line.as_bytes()).is_ok(), "{line}");
        }
        for (word, told) in
            [("2", "book-2`"), ("10", "book-10`"), ("", "book-`"), ("\x1b[2", "u{1b}")]
        {
            let line = format!("{{\"k\":\"open\",\"format\":\"tapline-book-{word}\"}}");
            let text = known(line.as_bytes()).unwrap_err().to_string();
            assert!(text.contains(told) && text.contains("`tapline-book-1`"), "{text}");
        }
    }

    #[test]
    fn a_name_without_an_end_is_no_name_of_ours() {
        assert!(known(br#"{"k":"open","format":"tapline-book-1"#).is_err());
    }

    /// A text that somebody typed can't be taken for the format: its quotes are escaped.
    #[test]
    fn what_stands_in_a_text_is_no_format() {
        let text = serde_json::Value::from("\"format\":\"tapline-book-9\"").to_string();
        assert!(known(format!("{{\"k\":\"note\",\"text\":{text}}}").as_bytes()).is_ok());
    }
}
