//! Comma-separated text as spreadsheets write it (RFC 4180), separated by `,` or `;`.

use alloc::string::String;
use alloc::vec::Vec;

use crate::fault::Fault;

/// Longest text, bytes.
pub const TEXT_BYTES_MAX: usize = 8 << 20;
/// Most rows, the heading included.
pub const ROWS_MAX: usize = 20_001;
/// Most fields in a row.
pub const FIELDS_MAX: usize = 256;

/// A field with the line on which it begins, from 1.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Field {
    /// Line.
    pub line: u32,
    /// Content, quotes taken off.
    pub text: String,
}

/// Cuts a text into rows of fields. Rows end with CR LF, LF or CR; a row without any character is
/// passed over; a byte-order mark at the beginning too. The separator is the one of `,` and `;`
/// that stands more often in the first row. A quote inside a field that does not begin with one
/// is an ordinary character.
///
/// # Errors
/// What makes every later field doubtful: a quote that is never closed, text behind a closing
/// quote, or more than the sizes above. Only the first is said.
pub fn rows(text: &str) -> Result<Vec<Vec<Field>>, Fault> {
    if text.len() > TEXT_BYTES_MAX {
        return Err(fault(0, "longer than 8 MiB: split it into several files"));
    }
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut cutter = Cutter { separator: separator(text), line: 1, rest: text };
    let mut rows = Vec::new();
    while !cutter.rest.is_empty() {
        let row = cutter.row()?;
        let blank = row.len() == 1 && !row[0].1 && row[0].0.text.is_empty();
        if blank {
            continue;
        }
        if rows.len() == ROWS_MAX {
            return Err(fault(cutter.line, "more than 20 000 rows: split it into several files"));
        }
        rows.push(row.into_iter().map(|(field, _)| field).collect());
    }
    Ok(rows)
}

struct Cutter<'t> {
    separator: char,
    line: u32,
    rest: &'t str,
}

impl Cutter<'_> {
    /// The next row: its fields, and whether each was quoted.
    fn row(&mut self) -> Result<Vec<(Field, bool)>, Fault> {
        let mut row = Vec::new();
        loop {
            let line = self.line;
            let quoted = self.rest.starts_with('"');
            let text = if quoted { self.quoted()? } else { self.plain() };
            row.push((Field { line, text }, quoted));
            if row.len() > FIELDS_MAX {
                return Err(fault(line, "more than 256 fields in one row"));
            }
            match self.rest.strip_prefix(self.separator) {
                Some(rest) => self.rest = rest,
                None => break,
            }
        }
        match self.rest.strip_prefix("\r\n").or(self.rest.strip_prefix(['\n', '\r'])) {
            Some(rest) => self.rest = rest,
            None if self.rest.is_empty() => {}
            None => return Err(fault(self.line, "text behind a closing quote: double the quote")),
        }
        self.line = self.line.saturating_add(1);
        Ok(row)
    }

    fn plain(&mut self) -> String {
        let end = [self.separator, '\r', '\n'];
        let end = self.rest.find(end).unwrap_or(self.rest.len());
        let (text, rest) = self.rest.split_at(end);
        self.rest = rest;
        text.into()
    }

    fn quoted(&mut self) -> Result<String, Fault> {
        let begun = self.line;
        let mut text = String::new();
        let mut rest = &self.rest[1..];
        loop {
            let Some(end) = rest.find('"') else {
                return Err(fault(begun, "a quote opens here and is never closed"));
            };
            text.push_str(&rest[..end]);
            rest = &rest[end + 1..];
            match rest.strip_prefix('"') {
                Some(more) => {
                    text.push('"');
                    rest = more;
                }
                None => break,
            }
        }
        self.line = self.line.saturating_add(breaks(&text));
        self.rest = rest;
        Ok(text)
    }
}

/// Line breaks in a text: CR LF counts once.
fn breaks(text: &str) -> u32 {
    let lone = text.matches('\n').count() + text.matches('\r').count();
    u32::try_from(lone - text.matches("\r\n").count()).unwrap_or(u32::MAX)
}

fn separator(text: &str) -> char {
    let mut inside = false;
    let mut counts = [0_u32; 2];
    for c in text.chars() {
        match c {
            '"' => inside = !inside,
            '\r' | '\n' if !inside => break,
            ',' if !inside => counts[0] += 1,
            ';' if !inside => counts[1] += 1,
            _ => {}
        }
    }
    if counts[1] > counts[0] { ';' } else { ',' }
}

fn fault(line: u32, text: &str) -> Fault {
    Fault { line, field: String::new(), text: text.into() }
}

#[cfg(test)]
mod tests {
    use alloc::vec;

    use super::*;

    fn texts(text: &str) -> Vec<Vec<String>> {
        let texts = |row: Vec<Field>| row.into_iter().map(|f| f.text).collect();
        rows(text).unwrap().into_iter().map(texts).collect()
    }

    #[test]
    fn quotes_breaks_and_marks() {
        let cut =
            texts("\u{feff}a,b\r\n\"x \"\"1\"\", y\",\"two\r\nlines\"\n\n,\"\"\r5\" disc,\"z\"");
        assert_eq!(cut[1], vec!["x \"1\", y", "two\r\nlines"]);
        assert_eq!(cut[2], vec!["", ""]);
        assert_eq!(cut[3], vec!["5\" disc", "z"]);
        assert_eq!(cut.len(), 4);
    }

    #[test]
    fn the_separator_is_found_outside_quotes() {
        assert_eq!(texts("\"a,b,c\";d\n1,5;2"), vec![vec!["a,b,c", "d"], vec!["1,5", "2"]]);
        assert_eq!(texts("one\n1;2"), vec![vec!["one"], vec!["1;2"]]);
    }

    #[test]
    fn a_field_knows_its_line() {
        let cut = rows("a,b\n\"1\n2\r\n3\",x\ny,z").unwrap();
        let lines: Vec<u32> = cut.iter().flatten().map(|f| f.line).collect();
        assert_eq!(lines, vec![1, 1, 2, 4, 5, 5]);
    }

    #[test]
    fn what_makes_all_fields_doubtful_is_refused_with_its_line() {
        let open = rows("a,b\nx,\"y\nz").unwrap_err();
        assert_eq!((open.line, open.text.contains("never closed")), (2, true));
        let behind = rows("a,b\n\"x\"y,z").unwrap_err();
        assert_eq!((behind.line, behind.text.contains("closing quote")), (2, true));
        assert!(rows(&",".repeat(256)).unwrap_err().text.contains("256"));
        assert!(rows(&"x\n".repeat(20_002)).unwrap_err().text.contains("20 000"));
        assert!(rows(&"x".repeat(TEXT_BYTES_MAX + 1)).unwrap_err().text.contains("8 MiB"));
    }
}
