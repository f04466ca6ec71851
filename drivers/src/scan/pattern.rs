//! How a site writes its asset numbers: `AS-#######`, `https://inv.example/(P-####)`.
//!
//! `#` is a digit, `@` a letter, `*` a letter or digit; everything else is itself, capitals as they
//! are. Round brackets say which part is the asset number; without them it is all of it.

use alloc::string::{String, ToString};

/// Longest pattern, characters.
pub const LENGTH_MAX: usize = 100;

/// A pattern.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pattern {
    text: String,
}

impl Pattern {
    /// Reads a pattern.
    ///
    /// # Errors
    /// What is wrong with it, in words.
    pub fn parse(text: &str) -> Result<Pattern, &'static str> {
        let plain = text.bytes().all(|byte| (b' '..=b'~').contains(&byte));
        let inner = match (text.matches('(').count(), text.matches(')').count()) {
            (0, 0) => text,
            (1, 1) => text
                .split_once('(')
                .and_then(|(_, rest)| rest.split_once(')'))
                .map_or("", |(inner, _)| inner),
            _ => return Err("has one pair of brackets at most"),
        };
        if !(1..=LENGTH_MAX).contains(&text.len()) || !plain {
            return Err("has 1 to 100 visible characters");
        }
        if !inner.contains(['#', '@', '*']) {
            return Err(
                "needs `#` for a digit, `@` for a letter or `*` for either in its asset number",
            );
        }
        Ok(Pattern { text: text.into() })
    }

    /// The asset number in a code; `None` where the code does not fit as a whole.
    #[must_use]
    pub fn find<'a>(&self, code: &'a str) -> Option<&'a str> {
        let (mut from, mut to, mut at) = (0, code.len(), 0);
        for sign in self.text.chars() {
            match sign {
                '(' => from = at,
                ')' => to = at,
                _ => {
                    let given = char::from(*code.as_bytes().get(at)?);
                    let fits = match sign {
                        '#' => given.is_ascii_digit(),
                        '@' => given.is_ascii_alphabetic(),
                        '*' => given.is_ascii_alphanumeric(),
                        _ => given == sign,
                    };
                    at += 1;
                    fits.then_some(())?;
                }
            }
        }
        code.get(from..to).filter(|_| at == code.len())
    }
}

impl core::fmt::Display for Pattern {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(&self.text.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pattern_fits_as_a_whole_and_names_a_part() {
        let find =
            |pattern: &str, code| Pattern::parse(pattern).unwrap().find(code).map(String::from);
        assert_eq!(find("AS-#######", "AS-0001234").as_deref(), Some("AS-0001234"));
        for code in ["AS-000123", "AS-00012345", "as-0001234", "AS-000123A", "", "AS-000123\u{e9}"]
        {
            assert_eq!(find("AS-#######", code), None, "{code}");
        }
        let link = "https://inv.example/(P-####)/x";
        assert_eq!(find(link, "https://inv.example/P-0107/x").as_deref(), Some("P-0107"));
        assert_eq!(find("@**#", "Ab99").as_deref(), Some("Ab99"));
    }

    #[test]
    fn a_pattern_that_fits_anything_or_nothing_is_told() {
        for (text, why) in [
            ("", "1 to 100"),
            ("AS", "needs"),
            ("(AS)##", "needs"),
            (")##(", "needs"),
            ("((#)", "one pair"),
        ] {
            assert!(Pattern::parse(text).unwrap_err().contains(why), "{text}");
        }
    }
}
