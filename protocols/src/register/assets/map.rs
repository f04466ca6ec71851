//! How another list is read: which of its columns is which of ours, what its words mean
//! (`tapline-asset-map-1`, `tapline-values-map-1`).

use alloc::collections::BTreeMap;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::cell::RefCell;

use super::read::Columns;
use crate::fault::Fault;
use crate::read::csv::Field;
use crate::read::{self, Form, Value, nearest};

/// Most columns that are joined to one.
const JOINED_MAX: usize = 16;
/// Most words of a column.
const WORDS_MAX: usize = 500;
/// How dates may be written, besides `2026-11-30`.
const DATES: [&str; 4] = ["D.M.Y", "D/M/Y", "M/D/Y", "Y/M/D"];

/// How the bytes of a list are letters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Encoding {
    /// UTF-8.
    #[default]
    Utf8,
    /// The code page that spreadsheets of Western Europe write by.
    Windows1252,
}

/// What a list calls our columns, and what its words mean.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListMap {
    encoding: Encoding,
    join: String,
    columns: BTreeMap<&'static str, Source>,
    words: BTreeMap<&'static str, BTreeMap<String, String>>,
    forms: BTreeMap<&'static str, String>,
}

/// Where the text of one of our columns comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Source {
    /// Columns of the list.
    Theirs(Vec<String>),
    /// Always this text.
    Always(String),
    /// This text for assets that the register does not know; what it knows stays.
    UnlessKnown(String),
}

impl ListMap {
    /// Reads a map of a list with these columns.
    ///
    /// # Errors
    /// All faults at once, each with its line.
    pub fn read(text: &str, of: &'static Columns) -> Result<ListMap, Vec<Fault>> {
        read::read(text, (of.map, 1), |form| map(form, of)).map(|(map, _)| map)
    }

    /// How the bytes of the list are letters.
    #[must_use]
    pub fn encoding(&self) -> Encoding {
        self.encoding
    }

    pub(super) fn is_unless_known(&self, column: &str) -> bool {
        matches!(self.columns.get(column), Some(Source::UnlessKnown(_)))
    }

    /// What the list calls one of our columns.
    pub(super) fn theirs(&self, column: &str) -> Option<String> {
        match self.columns.get(column)? {
            Source::Theirs(names) => Some(names.join(" + ")),
            Source::Always(_) | Source::UnlessKnown(_) => Some("the map's own".into()),
        }
    }

    /// The rows with our columns alone, in their order; each field with the line it came from.
    pub(super) fn renamed(
        &self,
        rows: &[Vec<Field>],
        faults: &RefCell<Vec<Fault>>,
    ) -> Vec<Vec<Field>> {
        let Some((heading, rows)) = rows.split_first() else { return Vec::new() };
        let fault = |line, field: String, text| {
            faults.borrow_mut().push(Fault { line, field, text });
        };
        let mut places: BTreeMap<&str, usize> = BTreeMap::new();
        let known = || heading.iter().map(|field| field.text.trim());
        for name in self.columns.values().flat_map(Source::names) {
            let mut found = known().enumerate().filter(|(_, column)| column == name);
            match (found.next(), found.next()) {
                (Some((at, _)), None) => {
                    places.insert(name, at);
                }
                (Some(_), Some(_)) => {
                    fault(1, name.clone(), "stands twice in the list's heading".into());
                }
                (None, _) => {
                    let near = nearest(name, known()).map(|near| format!("; is it `{near}`?"));
                    let text = "the map names this column, and the list has none of this name";
                    fault(1, name.clone(), format!("{text}{}", near.unwrap_or_default()));
                }
            }
        }
        let line = heading.first().map_or(1, |field| field.line);
        let own = self.columns.keys().map(|name| Field { line, text: (*name).to_string() });
        let mut renamed: Vec<Vec<Field>> = [own.collect()].into();
        for row in rows {
            if row.len() == heading.len() {
                renamed.push(self.row(row, &places));
            } else {
                let line = row.first().map_or(0, |field| field.line);
                let text = format!("has {} fields, the heading {}", row.len(), heading.len());
                fault(line, String::new(), text);
            }
        }
        renamed
    }

    fn row(&self, row: &[Field], places: &BTreeMap<&str, usize>) -> Vec<Field> {
        let field = |name: &String| places.get(name.as_str()).and_then(|at| row.get(*at));
        let first = row.first().map_or(0, |field| field.line);
        let cell = |(column, source): (&&'static str, &Source)| match source {
            Source::Always(text) | Source::UnlessKnown(text) => {
                Field { line: first, text: text.clone() }
            }
            Source::Theirs(names) => {
                let texts = names.iter().filter_map(field).map(|field| field.text.trim());
                let texts: Vec<&str> = texts.filter(|text| !text.is_empty()).collect();
                let line = names.iter().find_map(field).map_or(first, |field| field.line);
                Field { line, text: self.meant(column, texts.join(&self.join)) }
            }
        };
        self.columns.iter().map(cell).collect()
    }

    /// What a text of the list means in one of our columns; as it stands where the map has
    /// nothing for it, and the reader says what is wrong with it.
    fn meant(&self, column: &str, text: String) -> String {
        if let Some(word) = self.words.get(column).and_then(|words| words.get(&text)) {
            return word.clone();
        }
        match self.forms.get(column).map(String::as_str) {
            Some("comma") if !text.contains('.') => text.replace(',', "."),
            Some("comma") | None => text,
            Some(form) => date(form, &text).unwrap_or(text),
        }
    }
}

impl Source {
    fn names(&self) -> &[String] {
        match self {
            Source::Theirs(names) => names,
            Source::Always(_) | Source::UnlessKnown(_) => &[],
        }
    }
}

/// `30.11.2026` as `2026-11-30`: the year has four digits.
fn date(form: &str, text: &str) -> Option<String> {
    let mark = form.chars().nth(1)?;
    let (parts, names) = (text.split(mark), form.split(mark));
    let (mut year, mut month, mut day) = ("", "", "");
    let mut count = 0;
    for (part, name) in parts.zip(names) {
        let digits = part.bytes().all(|b| b.is_ascii_digit());
        let fits = if name == "Y" { part.len() == 4 } else { (1..=2).contains(&part.len()) };
        if !digits || !fits {
            return None;
        }
        count += 1;
        match name {
            "Y" => year = part,
            "M" => month = part,
            _ => day = part,
        }
    }
    (count == 3 && text.matches(mark).count() == 2).then(|| format!("{year}-{month:0>2}-{day:0>2}"))
}

fn map(form: &mut Form<'_, '_>, of: &'static Columns) -> Option<ListMap> {
    let encoding = form.may("encoding").map(|v| v.one_of(&["utf-8", "windows-1252"]));
    let join = form.may("join").map(|v| v.text());
    let tables = ["columns", "constants", "unless_known"].map(|key| entries(form, key, of));
    let [theirs, always, unless_known] = tables;
    let mut columns = BTreeMap::new();
    let mut add = |name, value: &Value<'_, '_>, source: Option<Source>| {
        if columns.insert(name, source).is_some() {
            value.fault::<()>("is named twice: as a column, a constant or `unless_known`".into());
        }
    };
    for (name, value) in theirs {
        add(name, &value, names(&value).map(Source::Theirs));
    }
    for (name, value) in always {
        add(name, &value, value.any_text().map(|text| Source::Always(text.into())));
    }
    for (name, value) in unless_known {
        add(name, &value, value.any_text().map(|text| Source::UnlessKnown(text.into())));
    }
    for column in of.needed {
        if !columns.contains_key(column) {
            let text = "is needed: name a column of the list, or a text in [constants] or \
                        [unless_known]";
            form.fault(&format!("columns.{column}"), text.into());
        }
    }
    let words: Option<_> = entries(form, "words", of)
        .into_iter()
        .map(|(column, value)| Some((column, words_of(&value)?)))
        .collect();
    let forms: Option<_> = entries(form, "forms", of)
        .into_iter()
        .map(|(column, value)| Some((column, form_of(column, &value, of)?)))
        .collect();
    let columns: Option<_> =
        columns.into_iter().map(|(name, source)| Some((name, source?))).collect();
    Some(ListMap {
        encoding: match encoding.unwrap_or(Some("utf-8".into()))?.as_str() {
            "windows-1252" => Encoding::Windows1252,
            _ => Encoding::Utf8,
        },
        join: join.unwrap_or(Some("/".into()))?,
        columns: columns?,
        words: words?,
        forms: forms?,
    })
}

/// The entries of a table whose keys are our columns.
fn entries<'s, 'i>(
    form: &mut Form<'s, 'i>,
    key: &'static str,
    of: &'static Columns,
) -> Vec<(&'static str, Value<'s, 'i>)> {
    let Some(mut table) = form.may(key).and_then(|value| value.form()) else { return Vec::new() };
    let known = || of.all();
    let own = |(name, value): (String, Value<'s, 'i>)| {
        let found = known().find(|column| *column == name);
        if found.is_none() {
            let near = nearest(&name, known()).map(|near| format!("; did you mean `{near}`?"));
            let near = near.unwrap_or_default();
            value.fault::<()>(format!("is no column of ours{near}"));
        }
        found.map(|found| (found, value))
    };
    table.all().into_iter().filter_map(own).collect()
}

/// A name of a column, or a list of them.
fn names(value: &Value<'_, '_>) -> Option<Vec<String>> {
    if value.is_text() {
        return Some([value.text()?].into());
    }
    let names: Option<Vec<String>> = value.list(JOINED_MAX).iter().map(Value::text).collect();
    match names {
        Some(names) if names.is_empty() => value.fault("needs a column, or a list of them".into()),
        names => names,
    }
}

fn words_of(value: &Value<'_, '_>) -> Option<BTreeMap<String, String>> {
    let words = value.form()?.all();
    if words.len() > WORDS_MAX {
        return value.fault(format!("has {} words, at most {WORDS_MAX} are read", words.len()));
    }
    let word = |(theirs, ours): (String, Value<'_, '_>)| {
        Some((theirs.trim().to_string(), ours.any_text()?.to_string()))
    };
    words.into_iter().map(word).collect()
}

fn form_of(column: &str, value: &Value<'_, '_>, of: &Columns) -> Option<String> {
    match column {
        _ if of.dated.contains(&column) => value.one_of(&DATES),
        _ if of.decimal.contains(&column) => value.one_of(&["comma"]),
        _ => value.fault("holds neither a day nor a decimal".into()),
    }
}
