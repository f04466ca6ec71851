//! Text in rows: columns side by side, and running text.

use std::fmt::Write;

/// Columns side by side, two blanks in front; a column without content is left out, and a last
/// cell with nothing between it and the first stands beside it.
pub(crate) fn table<const N: usize>(rows: &[[String; N]]) -> String {
    let width = |column: usize| {
        rows.iter().map(|row| row[column].chars().count()).max().unwrap_or_default()
    };
    let widths: [usize; N] = std::array::from_fn(width);
    let mut out = String::new();
    for row in rows {
        let mut line = String::new();
        let alone = row[1..N - 1].iter().all(String::is_empty);
        let shown = |at: usize| widths[at] > 0 && !(alone && at > 0 && at < N - 1);
        for (cell, width) in (0..N).filter(|at| shown(*at)).map(|at| (&row[at], widths[at])) {
            let cell = one_row(cell);
            let _ = write!(line, "  {cell:width$}");
        }
        let _ = writeln!(out, "{}", line.trim_end());
    }
    out
}

/// Widest row of running text, characters.
const ROW_CHARS: usize = 96;

/// Running text in rows behind a lead-in, later rows indented alike.
pub(crate) fn wrapped(lead_in: &str, text: &str) -> String {
    let mut out = String::from(lead_in);
    let mut column = lead_in.len();
    for (at, word) in text.split_whitespace().enumerate() {
        let letters = word.chars().count();
        if at > 0 && column + 1 + letters > ROW_CHARS {
            let _ = write!(out, "\n{:indent$}", "", indent = lead_in.len());
            column = lead_in.len();
        } else if at > 0 {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += letters;
    }
    out
}

/// Running text in one row.
pub(crate) fn one_row(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
