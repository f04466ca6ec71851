//! Comma-separated values, for programs and for spreadsheets.
//!
//! For programs a field is exactly what it is (RFC 4180: CRLF, a quote doubled, UTF-8). A
//! spreadsheet takes `=1+1` for a formula, loses the zeros of `00012`, and makes a day of `3-4`:
//! for those a text of that kind begins with an apostrophe, and the heading says so.

use std::borrow::Cow;

/// A field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Field {
    /// Text, to stay what it is.
    Text(String),
    /// Digits that a spreadsheet may take for a number.
    Number(String),
}

impl Field {
    /// A text.
    pub fn text(text: impl Into<String>) -> Field {
        Field::Text(text.into())
    }
}

/// Whom the table is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Form {
    /// A spreadsheet.
    pub spreadsheet: bool,
    /// Between two fields: a comma, or what a spreadsheet of that language wants.
    pub separator: char,
}

impl Default for Form {
    fn default() -> Form {
        Form { spreadsheet: false, separator: ',' }
    }
}

/// What the heading says where apostrophes may stand.
const NOTE: &str = "(an apostrophe in front keeps text as it is)";
/// Names of months as spreadsheets know them, English and German.
const MONTHS: [&str; 15] = [
    "jan", "feb", "mar", "mär", "mrz", "apr", "may", "mai", "jun", "jul", "aug", "sep", "oct",
    "okt", "dec",
];

impl Form {
    /// With the sign between two fields that is called so: `,`, `;` or `tab`.
    #[must_use]
    pub fn named(spreadsheet: bool, separator: &str) -> Option<Form> {
        let separator = match separator {
            "," => ',',
            ";" => ';',
            "tab" => '\t',
            _ => return None,
        };
        Some(Form { spreadsheet, separator })
    }

    /// The heading; for a spreadsheet with the byte order mark by which it knows UTF-8.
    #[must_use]
    pub fn heading(self, columns: &[&str]) -> String {
        let mut names: Vec<String> = columns.iter().map(|name| (*name).to_owned()).collect();
        let mark = if self.spreadsheet { "\u{feff}" } else { "" };
        if let (true, Some(first)) = (self.spreadsheet, names.first_mut()) {
            *first = format!("{first} {NOTE}");
        }
        let fields: Vec<Field> = names.into_iter().map(Field::Text).collect();
        format!("{mark}{}", self.line(&fields))
    }

    /// A line with its end.
    #[must_use]
    pub fn line(self, fields: &[Field]) -> String {
        let fields: Vec<String> = fields.iter().map(|field| self.field(field)).collect();
        format!("{}\r\n", fields.join(&self.separator.to_string()))
    }

    fn field(self, field: &Field) -> String {
        let text: Cow<'_, str> = match field {
            Field::Number(digits) => digits.into(),
            Field::Text(text) if self.spreadsheet && is_taken_otherwise(text) => {
                format!("'{text}").into()
            }
            Field::Text(text) => text.into(),
        };
        let quotes = |c: char| c == self.separator || matches!(c, '"' | '\r' | '\n');
        let blank = text.starts_with([' ', '\t']) || text.ends_with([' ', '\t']);
        match text.contains(quotes) || blank {
            true => format!("\"{}\"", text.replace('"', "\"\"")),
            false => text.into_owned(),
        }
    }
}

/// A spreadsheet would take the text for a formula, a number, a day, or a word of its own.
fn is_taken_otherwise(text: &str) -> bool {
    let begins = |c: char| matches!(c, '=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | '\'' | ' ');
    let low = text.trim().to_lowercase();
    let digit = low.bytes().any(|b| b.is_ascii_digit());
    let word = ["true", "false", "wahr", "falsch", "inf", "nan"].contains(&low.as_str());
    let letter = low.chars().next().is_some_and(char::is_alphabetic);
    let month = MONTHS.iter().chain(&["dez", "nov"]).any(|month| low.starts_with(month));
    text.starts_with(begins) || text.ends_with(' ') || word || (digit && (!letter || month))
}

#[cfg(test)]
mod tests {
    use super::*;

    const SPREADSHEET: Form = Form { spreadsheet: true, separator: ',' };

    #[test]
    fn for_programs_a_field_is_what_it_is() {
        let fields = ["=1+1", "00012", "say \"a\"", "a,b", "line\nbreak", " x"].map(Field::text);
        assert_eq!(
            Form::default().line(&fields),
            "=1+1,00012,\"say \"\"a\"\"\",\"a,b\",\"line\nbreak\",\" x\"\r\n"
        );
    }

    #[test]
    fn for_a_spreadsheet_text_stays_text_and_numbers_are_numbers() {
        let kept = ["=1+1", "+CF", "-3", "@SUM(1)", "00012", "12E5", "3-4", "MARCH1", "TRUE", " x"];
        for text in kept {
            assert!(is_taken_otherwise(text), "{text}");
        }
        for text in ["P-0107", "infusion pump", "North/3/B", "May", "Ω µ"] {
            assert!(!is_taken_otherwise(text), "{text}");
        }
        let line = [Field::Number("0.182".into()), Field::text("0.182")];
        assert_eq!(SPREADSHEET.line(&line), "0.182,'0.182\r\n");
    }

    #[test]
    fn the_heading_says_what_the_apostrophe_is() {
        assert_eq!(Form::default().heading(&["a", "b"]), "a,b\r\n");
        let heading = SPREADSHEET.heading(&["a", "b"]);
        assert_eq!(heading, "\u{feff}a (an apostrophe in front keeps text as it is),b\r\n");
    }
}
