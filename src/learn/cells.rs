//! Lines of text cut into cells: which of them is the value, the unit, the code of a function.

use tapline_drivers::Unit;
use tapline_drivers::wire::latin;
use tapline_drivers::wire::number::numeric;
use tapline_drivers::wire::words::{indication, word};

/// What parts the cells of a line.
const PARTS: &[u8] = b" ,;=:\t";

/// Units as instruments write them, and what they are. Common practice, no source.
const UNITS: &[(&str, &str)] = &[
    ("ohm", "Ohm"),
    ("ohms", "Ohm"),
    ("o", "Ohm"),
    ("r", "Ohm"),
    ("kohm", "kOhm"),
    ("ko", "kOhm"),
    ("vac", "V"),
    ("vdc", "V"),
    ("volt", "V"),
    ("aac", "A"),
    ("adc", "A"),
    ("hz", "Hz"),
    ("khz", "kHz"),
];

/// More different words than this are no list that somebody would fill in.
const WORDS_MAX: usize = 12;

/// What a cell is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Cell {
    /// It is always this text.
    Always(String),
    /// The value.
    Value,
    /// The value and the unit behind it.
    ValueUnit,
    /// The unit.
    Unit,
    /// A word: what is measured, perhaps.
    Function,
    /// A word that varies.
    Flag,
    /// Something that varies and is not read.
    Skip,
}

/// A kind of line: its cells, what parts them, and the lines of that kind.
pub(super) struct Kind {
    pub cells: Vec<Cell>,
    pub parts: Vec<String>,
    /// Texts of the cells, by line.
    pub rows: Vec<Vec<String>>,
}

/// Text of a line in cells and the parts behind each of them.
fn cut(line: &[u8]) -> (Vec<String>, Vec<String>) {
    let (mut cells, mut parts) = (Vec::new(), Vec::new());
    let mut rest = line;
    while !rest.is_empty() {
        let cell = rest.iter().take_while(|byte| !PARTS.contains(byte)).count();
        let behind = &rest[cell..];
        let part = behind.iter().take_while(|byte| PARTS.contains(byte)).count();
        cells.push(latin(&rest[..cell]));
        let part = latin(&behind[..part]);
        // However many blanks: one.
        let blank = part.trim().is_empty() && !part.is_empty();
        parts.push(if blank { " ".into() } else { part });
        rest = &rest[cell..][behind.iter().take_while(|byte| PARTS.contains(byte)).count()..];
    }
    (cells, parts)
}

/// The commonest kind of line: those that are parted alike.
pub(super) fn kind(lines: &[Vec<u8>]) -> Option<Kind> {
    let cut: Vec<_> = lines.iter().map(|line| cut(tapline_drivers::wire::trim(line))).collect();
    let alike = |parts: &Vec<String>| cut.iter().filter(|(_, own)| own == parts).count();
    let (_, parts) = cut.iter().max_by_key(|(_, parts)| alike(parts))?;
    let parts = parts.clone();
    let rows: Vec<Vec<String>> =
        cut.into_iter().filter(|(_, own)| *own == parts).map(|(cells, _)| cells).collect();
    let columns = parts.len();
    let column = |at: usize| rows.iter().map(|row| row[at].as_str()).collect::<Vec<_>>();
    let value = (0..columns).filter(|at| is_value(&column(*at))).max_by_key(|at| {
        let column = column(*at);
        let point = column.iter().any(|cell| cell.contains('.') || cell.contains('-'));
        (point, distinct(&column), columns - at)
    });
    let mut named = false;
    let mut cells: Vec<Cell> = Vec::new();
    for at in 0..columns {
        let column = column(at);
        cells.push(match value {
            Some(value) if value == at && column.iter().all(|cell| glued(cell).is_none()) => {
                Cell::Value
            }
            Some(value) if value == at => Cell::ValueUnit,
            _ => other(&column, &mut named),
        });
    }
    one_unit(&mut cells, &mut named, |at| column(at)[0].to_owned());
    Some(Kind { cells, parts, rows })
}

/// Of several cells that could be the unit (`R` is a function to some) it is the one behind the
/// value.
fn one_unit(cells: &mut [Cell], named: &mut bool, text: impl Fn(usize) -> String) {
    let value = cells.iter().position(|cell| matches!(cell, Cell::Value | Cell::ValueUnit));
    let units =
        || cells.iter().enumerate().filter(|(_, cell)| **cell == Cell::Unit).map(|(at, _)| at);
    let behind = match cells.contains(&Cell::ValueUnit) {
        true => None,
        false => units().find(|at| Some(*at) > value).or_else(|| units().next()),
    };
    for at in units().filter(|at| Some(*at) != behind).collect::<Vec<_>>() {
        cells[at] = match std::mem::replace(named, true) {
            false => Cell::Function,
            true => Cell::Always(text(at)),
        };
    }
}

fn distinct(column: &[&str]) -> usize {
    let mut all = column.to_vec();
    all.sort_unstable();
    all.dedup();
    all.len()
}

fn other(column: &[&str], named: &mut bool) -> Cell {
    let letters = |cell: &str| cell.starts_with(|c: char| c.is_ascii_alphabetic());
    let always = distinct(column) == 1;
    let units = column.iter().filter(|cell| unit_of(cell).is_some()).count();
    if units * 2 > column.len() && column.iter().all(|cell| !cell.is_empty()) {
        return Cell::Unit;
    }
    // A number of the line, with a letter before it: no list of words would hold it.
    if distinct(column) > WORDS_MAX {
        return Cell::Skip;
    }
    if column.iter().all(|cell| letters(cell)) && !*named {
        *named = true;
        return Cell::Function;
    }
    let first = column.first().copied().unwrap_or_default();
    // A day is the same all day long.
    let dated =
        first.len() >= 6 && first.bytes().all(|b| b.is_ascii_digit() || b"-/.".contains(&b));
    match always {
        true if !dated => Cell::Always(first.into()),
        false if column.iter().all(|cell| letters(cell)) => Cell::Flag,
        _ => Cell::Skip,
    }
}

/// Most cells are numbers, the others words for none.
fn is_value(column: &[&str]) -> bool {
    let number = |cell: &&str| {
        let bare = cell.trim_start_matches(['>', '<']);
        glued(bare).is_some() || numeric(bare.as_bytes()).is_some()
    };
    let numbers = column.iter().filter(|cell| number(cell)).count();
    let stands = |cell: &&str| number(cell) || said(cell).is_some() || with_unit(cell);
    numbers * 2 >= column.len()
        && column.iter().filter(|cell| stands(cell)).count() * 10 >= column.len() * 8
}

/// What a word in place of a number says: `overload` or `none`.
pub(super) fn said(cell: &str) -> Option<&'static str> {
    use tapline_drivers::Indication::{NoValue, Overload};
    let (below, sent) = match cell.trim_start_matches(['>', '<']) {
        sent if word(sent.as_bytes()).is_some() => (false, sent),
        // Signs that the usual words don't have.
        sent => (sent.starts_with('-'), sent.trim_start_matches(['+', '-'])),
    };
    match word(sent.as_bytes()).map(indication)? {
        Overload if !below => Some("overload"),
        Overload | NoValue => Some("none"),
        _ => None,
    }
}

/// A word in place of a number, with a unit right behind it.
fn with_unit(cell: &str) -> bool {
    let parts = |at: usize| Some((cell.get(..at)?, cell.get(at..)?));
    (1..cell.len())
        .filter_map(parts)
        .any(|(sent, unit)| said(sent).is_some() && unit_of(unit).is_some())
}

/// A number with a unit right behind it, in its two parts.
pub(super) fn glued(cell: &str) -> Option<(&str, &str)> {
    let (at, _) = cell.char_indices().rfind(|(_, c)| c.is_ascii_digit() || *c == '.')?;
    let (number, unit) = cell.split_at(at + 1);
    (numeric(number.as_bytes()).is_some() && unit_of(unit).is_some()).then_some((number, unit))
}

/// The unit that a text probably is.
pub(super) fn unit_of(text: &str) -> Option<Unit> {
    let known = UNITS.iter().find(|(code, _)| code.eq_ignore_ascii_case(text));
    Unit::from_ucum(text).or_else(|| Unit::from_ucum(known?.1))
}
