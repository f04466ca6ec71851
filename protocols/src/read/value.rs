//! One value of a TOML file, asked for what it should be.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::ops::RangeInclusive;

use serde::de::DeserializeOwned;
use tapline_drivers::{Number, Quantity};
use toml::Spanned;
use toml::de::DeValue;

use super::date::is_date;
use super::form::Form;
use super::near::nearest;
use super::sheet::Sheet;
use super::word::word;
use crate::amount::Amount;

/// Longest text in a field, characters.
const TEXT_CHARS_MAX: usize = 500;

/// A value with its place. Each question adds a fault and answers `None` when the value is
/// something else.
pub struct Value<'s, 'i> {
    sheet: &'s Sheet,
    value: &'s Spanned<DeValue<'i>>,
    field: String,
}

impl<'s, 'i> Value<'s, 'i> {
    pub(super) fn new(
        sheet: &'s Sheet,
        value: &'s Spanned<DeValue<'i>>,
        field: String,
    ) -> Value<'s, 'i> {
        sheet.found(&field, sheet.line(value.span().start));
        Value { sheet, value, field }
    }

    /// Adds a fault of this value.
    pub fn fault<T>(&self, text: String) -> Option<T> {
        self.sheet.fault(self.sheet.line(self.value.span().start), &self.field, text);
        None
    }

    /// Text without control characters, 1 to 500 characters.
    #[must_use]
    pub fn text(&self) -> Option<String> {
        let text = self.string("a text in quotes")?;
        match plain_text(text) {
            true => Some(text.to_string()),
            false => self.fault(format!("needs 1 to {TEXT_CHARS_MAX} characters on one row")),
        }
    }

    /// Bytes as raw text, 1 to `most` of them: character n of U+0000 to U+00FF is the byte n.
    #[must_use]
    pub fn bytes(&self, most: usize) -> Option<Vec<u8>> {
        match raw(self.string("bytes as text in quotes")?) {
            Ok(bytes) if (1..=most).contains(&bytes.len()) => Some(bytes),
            Ok(bytes) => self.fault(format!("has {} bytes, it needs 1 to {most}", bytes.len())),
            Err(why) => self.fault(why),
        }
    }

    /// Any text.
    #[must_use]
    pub fn any_text(&self) -> Option<&'s str> {
        self.string("a text in quotes")
    }

    /// A name: 1 to 60 visible characters without blank, never beginning with `.TL-`.
    #[must_use]
    pub fn name(&self) -> Option<String> {
        let text = self.string("a name in quotes")?;
        match is_name(text) {
            true => Some(text.to_string()),
            false => self.fault(NAME.into()),
        }
    }

    /// A word of a closed list.
    #[must_use]
    pub fn word<T: DeserializeOwned>(&self) -> Option<T> {
        match word(self.string("a word in quotes")?) {
            Ok(found) => Some(found),
            Err(words) => self.unknown(words),
        }
    }

    /// A word of the list given.
    #[must_use]
    pub fn one_of(&self, words: &[&str]) -> Option<String> {
        let text = self.string("a word in quotes")?;
        if words.contains(&text) { Some(text.to_string()) } else { self.unknown(words) }
    }

    /// A whole number.
    #[must_use]
    pub fn count(&self, within: RangeInclusive<u32>) -> Option<u32> {
        let number = match self.value.get_ref() {
            DeValue::Integer(i) => u32::from_str_radix(i.as_str(), i.radix()).ok(),
            _ => None,
        };
        match number.filter(|n| within.contains(n)) {
            Some(number) => Some(number),
            None => {
                self.fault(format!("needs a whole number, {} to {}", within.start(), within.end()))
            }
        }
    }

    /// `true` or `false`.
    #[must_use]
    pub fn flag(&self) -> Option<bool> {
        match self.value.get_ref() {
            DeValue::Boolean(flag) => Some(*flag),
            _ => self.fault("needs `true` or `false`, without quotes".into()),
        }
    }

    /// A day: `2027-03-31`, with or without quotes.
    #[must_use]
    pub fn date(&self) -> Option<String> {
        let text = match self.value.get_ref() {
            DeValue::Datetime(day) => day.to_string(),
            DeValue::String(text) => text.to_string(),
            _ => String::new(),
        };
        match is_date(&text) {
            true => Some(text),
            false => self.fault("needs a day of the calendar, such as 2027-03-31".into()),
        }
    }

    /// A decimal in quotes: `"0.5"`.
    #[must_use]
    pub fn decimal(&self) -> Option<String> {
        let text = self.string("a decimal in quotes, such as \"0.5\"")?;
        match is_decimal(text) {
            true => Some(text.to_string()),
            false => self.fault(format!("`{}` is no decimal", short(text))),
        }
    }

    /// A decimal with a unit of the quantity: `"2 Ohm"`.
    #[must_use]
    pub fn amount(&self, quantity: Quantity) -> Option<Amount> {
        let text = self.string("a decimal with its unit, such as \"2 Ohm\"")?;
        match Amount::parse(text) {
            Ok(amount) if amount.unit.quantity == quantity => Some(amount),
            Ok(_) => self.fault(format!("`{}` has a unit of another quantity", short(text))),
            Err(why) => self.fault(why),
        }
    }

    /// The values of a list of at most `most`.
    #[must_use]
    pub fn list(&self, most: usize) -> Vec<Value<'s, 'i>> {
        let DeValue::Array(values) = self.value.get_ref() else {
            self.fault::<()>("needs a list: [ … ]".into());
            return Vec::new();
        };
        if values.len() > most {
            self.fault::<()>(format!("has {} entries, at most {most} are read", values.len()));
            return Vec::new();
        }
        let entry = |(at, value): (usize, &'s Spanned<DeValue<'i>>)| {
            let name = own_name(value.get_ref()).unwrap_or_else(|| (at + 1).to_string());
            Value { sheet: self.sheet, value, field: format!("{}.{name}", self.field) }
        };
        values.iter().enumerate().map(entry).collect()
    }

    /// A table.
    #[must_use]
    pub fn form(&self) -> Option<Form<'s, 'i>> {
        match self.value.get_ref() {
            DeValue::Table(table) => {
                let line = self.sheet.line(self.value.span().start);
                Some(Form::new(self.sheet, table, &self.field, line))
            }
            _ => self.fault("needs a table: { … }".into()),
        }
    }

    /// It is a text.
    #[must_use]
    pub fn is_text(&self) -> bool {
        matches!(self.value.get_ref(), DeValue::String(_))
    }

    /// It is a table.
    #[must_use]
    pub fn is_table(&self) -> bool {
        self.value.get_ref().is_table()
    }

    fn string(&self, wanted: &str) -> Option<&'s str> {
        match self.value.get_ref() {
            DeValue::String(text) => Some(text.as_ref()),
            _ => self.fault(format!("needs {wanted}")),
        }
    }

    fn unknown<T>(&self, words: &[&str]) -> Option<T> {
        let text = self.string("a word")?;
        let known = words.join(", ");
        self.fault(match nearest(text, words.iter().copied()) {
            Some(meant) => format!("unknown word `{}`; did you mean `{meant}`?", short(text)),
            None => format!("unknown word `{}`; known here: {known}", short(text)),
        })
    }
}

/// What a name may be, said to the person.
const NAME: &str = "needs 1 to 60 visible characters without blank, and not `.TL-` at its \
                    beginning, which is kept for control codes";

/// The words of [`Value::name`] hold for this text.
#[must_use]
pub fn is_name(text: &str) -> bool {
    let control = text.get(..4).is_some_and(|start| start.eq_ignore_ascii_case(".TL-"));
    let visible = |c: char| !c.is_whitespace() && !c.is_control();
    !text.is_empty() && text.chars().count() <= 60 && text.chars().all(visible) && !control
}

/// The words of [`Value::text`] hold for this text.
#[must_use]
pub fn plain_text(text: &str) -> bool {
    let letters = text.chars().count();
    !text.trim().is_empty() && letters <= TEXT_CHARS_MAX && !text.chars().any(char::is_control)
}

/// The bytes of a raw text: character n is byte n.
///
/// # Errors
/// A character beyond U+00FF, with what to write.
pub fn raw(text: &str) -> Result<Vec<u8>, String> {
    let byte = |c: char| {
        u8::try_from(c).map_err(|_| {
            let mut utf8 = [0; 4];
            let sent: Vec<u8> = c.encode_utf8(&mut utf8).bytes().collect();
            let sent = sent.iter().map(|byte| format!("\\u{byte:04x}")).collect::<String>();
            format!("`{c}` is more than one byte: write the bytes that are sent, such as {sent}")
        })
    };
    text.chars().map(byte).collect()
}

/// A decimal that is not negative, in plain notation.
#[must_use]
pub fn is_decimal(text: &str) -> bool {
    let plain = text.bytes().all(|b| b.is_ascii_digit() || b == b'.');
    plain && text.starts_with(|c: char| c.is_ascii_digit()) && Number::parse(text).is_some()
}

fn own_name(value: &DeValue<'_>) -> Option<String> {
    let DeValue::String(id) = value.as_table()?.get("id")?.get_ref() else { return None };
    is_name(id).then(|| id.to_string())
}

fn short(text: &str) -> String {
    match text.char_indices().nth(40) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_string(),
    }
}
