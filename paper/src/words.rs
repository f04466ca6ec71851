//! Words of paper, in the languages of its readers, and how numbers and days are written there.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use serde::Deserialize;

use crate::moment::Moment;

/// A language that everything on paper is written in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum Language {
    /// English.
    #[default]
    English,
    /// German.
    German,
}

/// The words of one language (format `tapline-words-1`): tables of code and text.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Words {
    format: String,
    language: String,
    #[serde(flatten)]
    tables: BTreeMap<String, BTreeMap<String, String>>,
}

impl Language {
    /// `en`, `de`.
    pub const ALL: [Language; 2] = [Language::English, Language::German];

    /// The language of a code.
    #[must_use]
    pub fn named(code: &str) -> Option<Language> {
        Language::ALL.into_iter().find(|one| one.code() == code)
    }

    /// Its code.
    #[must_use]
    pub fn code(self) -> &'static str {
        match self {
            Language::English => "en",
            Language::German => "de",
        }
    }

    /// Its words.
    #[must_use]
    pub fn words(self) -> &'static Words {
        static WORDS: [OnceLock<Words>; 2] = [OnceLock::new(), OnceLock::new()];
        let read = |text: &str| toml::from_str(text).expect("a test reads the built-in words");
        match self {
            Language::English => WORDS[0].get_or_init(|| read(include_str!("../words/en.toml"))),
            Language::German => WORDS[1].get_or_init(|| read(include_str!("../words/de.toml"))),
        }
    }
}

impl Words {
    /// The text of a code, `None` where the table has none.
    #[must_use]
    pub fn find(&self, table: &str, code: &str) -> Option<&str> {
        self.tables.get(table)?.get(code).map(String::as_str)
    }

    /// The text of a code; the code itself in plain letters where the table has none, so that
    /// nothing that was said is lost.
    #[must_use]
    pub fn say(&self, table: &str, code: &str) -> String {
        self.find(table, code).map_or_else(|| code.replace('_', " "), str::to_owned)
    }

    /// The text of a code with its values: `{name}` stands for the value of that name.
    #[must_use]
    pub fn tell(&self, table: &str, code: &str, values: &[(&str, &str)]) -> String {
        let text = self.say(table, code);
        let mut out = String::new();
        let mut rest = text.as_str();
        while let Some((before, behind)) = rest.split_once('{') {
            out.push_str(before);
            let Some((name, after)) = behind.split_once('}') else { break };
            let value = values.iter().find(|(known, _)| *known == name);
            out.push_str(value.map_or("", |(_, value)| value));
            rest = after;
        }
        out + rest
    }

    /// All codes, as `table.code`, in order.
    #[must_use]
    pub fn codes(&self) -> Vec<String> {
        let of = |(table, words): (&String, &BTreeMap<String, String>)| {
            words.keys().map(|code| format!("{table}.{code}")).collect::<Vec<_>>()
        };
        self.tables.iter().flat_map(of).collect()
    }

    /// Digits with the decimal sign of the reader; digits stay as they were sent.
    #[must_use]
    pub fn number(&self, digits: &str) -> String {
        let digits = digits.strip_prefix('+').unwrap_or(digits).replace('-', "−");
        match self.language.as_str() {
            "de" => digits.replace('.', ","),
            _ => digits,
        }
    }

    /// `0.182 Ω`.
    #[must_use]
    pub fn amount(&self, digits: &str, ucum: &str) -> String {
        format!("{}\u{a0}{}", self.number(digits), unit(ucum))
    }

    /// A day, `2026-11-24`, as the reader writes it.
    #[must_use]
    pub fn day(&self, text: &str) -> String {
        let parts: Vec<&str> = text.split('-').collect();
        match (self.language.as_str(), parts.as_slice()) {
            ("de", [year, month, day]) => format!("{day}.{month}.{year}"),
            _ => text.to_owned(),
        }
    }

    /// A month of a day, `11/2026` or `2026-11`.
    #[must_use]
    pub fn month(&self, text: &str) -> String {
        let parts: Vec<&str> = text.split('-').collect();
        match (self.language.as_str(), parts.as_slice()) {
            ("de", [year, month, ..]) => format!("{month}/{year}"),
            (_, [year, month, ..]) => format!("{year}-{month}"),
            _ => text.to_owned(),
        }
    }

    /// A moment to the minute.
    #[must_use]
    pub fn moment(&self, at: Moment) -> String {
        let day = self.day(&format!("{:04}-{:02}-{:02}", at.year, at.month, at.day));
        format!("{day} {:02}:{:02}", at.hour, at.minute)
    }
}

/// `UTC+01:00`.
#[must_use]
pub fn offset(at: Moment) -> String {
    let sign = if at.offset < 0 { '−' } else { '+' };
    format!("UTC{sign}{:02}:{:02}", at.offset_hour().unsigned_abs(), at.offset_minute())
}

/// A unit as people write it.
#[must_use]
pub fn unit(ucum: &str) -> String {
    let text = ucum.replace("Ohm", "Ω");
    match text.strip_prefix('u') {
        Some(rest) => format!("µ{rest}"),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_languages_say_the_same_things() {
        let [english, german] = Language::ALL.map(Language::words);
        assert_eq!(english.codes(), german.codes());
        assert!(english.codes().len() > 100);
        for words in [english, german] {
            assert_eq!(words.format, "tapline-words-1");
        }
        let values = |text: &str| -> Vec<String> {
            let mut names: Vec<String> = text
                .split('{')
                .skip(1)
                .filter_map(|part| part.split_once('}').map(|(name, _)| name.to_owned()))
                .collect();
            names.sort();
            names
        };
        for code in english.codes() {
            let (table, code) = code.split_once('.').unwrap();
            let texts = [english, german].map(|words| words.find(table, code).unwrap());
            assert_eq!(values(texts[0]), values(texts[1]), "{table}.{code}");
            assert!(texts.iter().all(|text| !text.trim().is_empty()), "{table}.{code}");
        }
    }

    #[test]
    fn numbers_and_days_are_the_readers() {
        let [english, german] = Language::ALL.map(Language::words);
        assert_eq!(english.amount("+0.10", "Ohm"), "0.10\u{a0}Ω");
        assert_eq!(german.amount("-0.10", "uA"), "−0,10\u{a0}µA");
        let at = Moment::read("2026-11-24T08:04:03+01:00").unwrap();
        assert_eq!(
            (english.moment(at), german.moment(at)),
            ("2026-11-24 08:04".into(), "24.11.2026 08:04".into())
        );
        assert_eq!(
            (english.month("2028-11-24"), german.month("2028-11-24")),
            ("2028-11".into(), "11/2028".into())
        );
        assert_eq!(offset(at), "UTC+01:00");
    }
}
