//! Text that came from elsewhere, made harmless to a terminal.
//!
//! A code, an instrument or a file may hold characters that a terminal obeys: it clears what was
//! shown, sets a title, writes over a verdict. And some turn the direction of writing, so that a
//! person reads another text than is there (CVE-2021-42574).

use std::borrow::Cow;
use std::fmt::Write;

/// The text with every character that a terminal would obey as `\u001b`: C0 but for the line's end
/// and the tab, DEL, C1 (ECMA-48), and what turns the direction of writing (UAX 9). That spelling
/// means the same character in JSON.
pub(super) fn plain(text: &str) -> Cow<'_, str> {
    spelled(text, |c| c != '\n' && c != '\t' && obeyed(c))
}

/// The same for what has to stay in one line.
pub(super) fn line(text: &str) -> Cow<'_, str> {
    spelled(text, obeyed)
}

fn obeyed(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{61c}' | '\u{200e}'..='\u{200f}' | '\u{2028}'..='\u{202e}')
        || matches!(c, '\u{2066}'..='\u{2069}')
}

fn spelled(text: &str, odd: impl Fn(char) -> bool) -> Cow<'_, str> {
    if !text.contains(&odd) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        if odd(c) {
            // A String takes everything.
            let _ = write!(out, "\\u{:04x}", u32::from(c));
        } else {
            out.push(c);
        }
    }
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_terminal_obeys_is_spelled_out() {
        for (text, shown) in [
            ("\u{1b}]0;title\u{7}", "\\u001b]0;title\\u0007"),
            ("\u{1b}[2J", "\\u001b[2J"),
            ("\u{9b}31m", "\\u009b31m"),
            ("FAIL\r PASS", "FAIL\\u000d PASS"),
            ("FAIL\u{8}\u{8}\u{8}\u{8}PASS", "FAIL\\u0008\\u0008\\u0008\\u0008PASS"),
            ("\u{202e}SSAP", "\\u202eSSAP"),
            ("\u{2066}\u{200f}", "\\u2066\\u200f"),
            ("\u{7f}\0", "\\u007f\\u0000"),
        ] {
            assert_eq!(plain(text), shown);
            assert_eq!(line(text), shown);
        }
    }

    #[test]
    fn other_text_stays_as_it_is() {
        let text = "0,214 Ohm\tPrüfling µ Ω → \\u001b\n";
        assert!(matches!(plain(text), Cow::Borrowed(same) if same == text));
        assert_eq!(line("a\nb\tc"), "a\\u000ab\\u0009c");
    }

    #[test]
    fn json_means_the_same() {
        let told = serde_json::json!({"raw": "\u{9b}\u{202e}\u{1b}A\n"});
        let shown = told.to_string();
        assert_eq!(serde_json::from_str::<serde_json::Value>(&plain(&shown)).unwrap(), told);
    }
}
