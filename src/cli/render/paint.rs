//! Colour on top of words, never instead of them.

use std::io::IsTerminal;

/// Whether words are coloured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paint {
    /// Words alone.
    Plain,
    /// Verdict words in colour.
    Colour,
}

/// Verdict words, longest first so that a word inside another is not painted twice.
const PAINTED: &[(&str, &str)] = &[
    ("CONDITIONAL PASS", "1;33"),
    ("CONDITIONAL FAIL", "1;31"),
    ("UNDECIDED", "1;33"),
    ("PASS", "1;34"),
    ("FAIL", "1;31"),
];

impl Paint {
    /// Colour on a terminal, unless `NO_COLOR` is set to anything.
    #[must_use]
    pub fn of_stdout() -> Paint {
        let wanted = std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
        if wanted && std::io::stdout().is_terminal() { Paint::Colour } else { Paint::Plain }
    }

    /// The text with its verdict word painted.
    #[must_use]
    pub fn verdicts(self, text: &str) -> String {
        let found = PAINTED.iter().find(|(word, _)| text.contains(word));
        match (self, found) {
            (Paint::Colour, Some((word, colour))) => {
                text.replacen(word, &format!("\u{1b}[{colour}m{word}\u{1b}[0m"), 1)
            }
            _ => text.to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_stay_whole_under_colour() {
        assert_eq!(Paint::Plain.verdicts("PASS"), "PASS");
        let painted = Paint::Colour.verdicts("CONDITIONAL PASS 0.2");
        assert_eq!(painted, "\u{1b}[1;33mCONDITIONAL PASS\u{1b}[0m 0.2");
    }
}
