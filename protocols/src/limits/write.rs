//! Rows as text of `tapline-limits-1`.

use alloc::string::String;
use core::fmt::Write;

use super::{Direction, Row, Table};

pub(super) fn table(table: &Table, rows: &[&Row]) -> String {
    let mut text = String::new();
    line(&mut text, "format", "tapline-limits-1");
    line(&mut text, "standard", &table.standard);
    line(&mut text, "edition", &table.edition);
    for row in rows {
        limit(&mut text, row);
    }
    text
}

fn limit(text: &mut String, row: &Row) {
    text.push_str("\n[[limit]]\n");
    line(text, "id", &row.id);
    line(text, "clause", &row.clause);
    line(text, "measurand", &row.measurand);
    line(text, "method", &row.method);
    list(text, "class", &row.class);
    list(text, "applied_part", &row.applied_part);
    list(text, "condition", &row.condition);
    list(text, "kind", &row.kind);
    let bound = match (row.bound.direction, row.bound.inclusive) {
        (Direction::Max, true) => "max",
        (Direction::Max, false) => "max_below",
        (Direction::Min, true) => "min",
        (Direction::Min, false) => "min_above",
    };
    line(text, bound, &String::from(row.bound.amount));
    list(text, "source", &row.source);
    line(text, "confidence", row.confidence.word());
    line(text, "source_edition", &row.source_edition);
    if let Some(basis) = &row.basis {
        line(text, "basis", basis);
    }
    if let Some(plus) = &row.plus {
        text.push_str("plus = { ");
        for (i, (key, value)) in plus.fields().iter().enumerate() {
            text.push_str(if i == 0 { "" } else { ", " });
            text.push_str(key);
            text.push_str(" = ");
            quoted(text, value);
        }
        text.push_str(" }\n");
    }
    if let Some(computed) = &row.computed {
        line(text, "computed", computed);
    }
    for (key, value) in row.layer.fields() {
        line(text, key, &value);
    }
}

fn line(text: &mut String, key: &str, value: &str) {
    text.push_str(key);
    text.push_str(" = ");
    quoted(text, value);
    text.push('\n');
}

fn list(text: &mut String, key: &str, words: &[String]) {
    text.push_str(key);
    text.push_str(" = [");
    for (i, word) in words.iter().enumerate() {
        text.push_str(if i == 0 { "" } else { ", " });
        quoted(text, word);
    }
    text.push_str("]\n");
}

/// A basic string of TOML.
fn quoted(text: &mut String, value: &str) {
    text.push('"');
    for c in value.chars() {
        match c {
            '"' | '\\' => text.extend(['\\', c]),
            c if c.is_control() => {
                write!(text, "\\u{:04X}", u32::from(c)).expect("a String takes any text");
            }
            c => text.push(c),
        }
    }
    text.push('"');
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_text_is_quoted_so_that_it_reads_back() {
        for value in ["a \"b\" \\ c", "tab\tline\n\u{7f}", "µ"] {
            let mut text = String::from("v = ");
            quoted(&mut text, value);
            let table: toml::Table = toml::from_str(&text).unwrap();
            assert_eq!(table["v"].as_str(), Some(value));
        }
    }
}
