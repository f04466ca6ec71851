//! A first draft of a described driver. What is measured is a `?`, which no reader takes: a person
//! who looks at the display fills it in.

use std::collections::BTreeMap;
use std::fmt::Write;

use tapline_drivers::Unit;
use tapline_drivers::described::fixed::Kind as Sum;
use tapline_drivers::wire::latin;
use tapline_drivers::wire::number::{Numeric, numeric};

use super::cells::{self, Cell, Kind};
use super::frames::{Guess, Shape};
use super::views::{bits, kind};
use crate::words::english;

/// Settings that were listened with, as the draft says them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Bits a second.
    pub baud: u32,
    /// Such as `8N1`.
    pub bits: String,
}

/// The draft; `None` where nothing was found that a file could describe.
#[must_use]
pub fn draft(guess: &Guess, line: Option<&Line>) -> Option<String> {
    let mut out = head(guess, line);
    match &guess.shape {
        Shape::Lines(end) | Shape::Between(_, end) => {
            let start = match &guess.shape {
                Shape::Between(start, _) => start.as_slice(),
                _ => b"",
            };
            let inner = |frame: &Vec<u8>| {
                let inner = frame.strip_prefix(start)?.strip_suffix(&end[..])?;
                Some(inner.to_vec())
            };
            let lines: Vec<Vec<u8>> = guess.frames.iter().filter_map(inner).collect();
            let kind = cells::kind(&lines)?;
            text(&mut out, guess, (start, end), &kind);
        }
        Shape::Fixed(length) => fixed(&mut out, guess, *length)?,
        Shape::Indexed(_) | Shape::Unknown => return None,
    }
    Some(out)
}

/// Adds a row of text. `write!` to a string can't fail.
macro_rules! put {
    ($out:expr, $($what:tt)*) => {
        writeln!($out, $($what)*).expect("a string takes any text")
    };
}

fn head(guess: &Guess, line: Option<&Line>) -> String {
    let mut out = String::new();
    for row in english().say("learn", "draft").lines() {
        put!(out, "# {row}");
    }
    put!(out, "format = \"tapline-driver-1\"");
    put!(out, "name   = \"new-instrument\"");
    put!(out, "what   = \"?\"");
    put!(out, "source = \"unconfirmed\"");
    if let Some(Line { baud, bits: own }) = line {
        let own = match guess.parity {
            Some(parity) => bits(parity),
            None => own,
        };
        put!(out, "line   = {{ baud = {baud}, bits = \"{own}\" }}");
    }
    put!(out, "period_ms = {}\n", guess.period_ms.unwrap_or(500).clamp(10, 60_000));
    out
}

/// Bytes as a text of TOML: printable ones as they are.
pub(super) fn quoted(bytes: &[u8]) -> String {
    let mut out = String::from("\"");
    for byte in bytes {
        match byte {
            b'"' => out.push_str("\\\""),
            b'\\' => out.push_str("\\\\"),
            b'\r' => out.push_str("\\r"),
            b'\n' => out.push_str("\\n"),
            b'\t' => out.push_str("\\t"),
            b' '..=b'~' => out.push(char::from(*byte)),
            byte => write!(out, "\\u{byte:04x}").expect("a string takes any text"),
        }
    }
    out + "\""
}

fn text(out: &mut String, guess: &Guess, (start, end): (&[u8], &[u8]), kind: &Kind) {
    let longest = guess.frames.iter().map(Vec::len).max().unwrap_or(0);
    put!(out, "[frame]");
    if !start.is_empty() {
        put!(out, "start   = {}", quoted(start));
    }
    // One LF behind an ETX, or a CR before it, is in the pattern of nobody: lines end by one byte.
    put!(out, "end     = {}", quoted(end));
    put!(out, "longest = {}\n", (longest * 2).clamp(16, 256));
    put!(out, "[read]");
    put!(out, "pattern = {}", quoted(pattern(kind).as_bytes()));
    let has = |wanted: &[Cell]| kind.cells.iter().any(|cell| wanted.contains(cell));
    if !has(&[Cell::Function]) {
        put!(out, "function = \"?\"");
    }
    if !has(&[Cell::Unit, Cell::ValueUnit]) {
        put!(out, "unit = \"?\"");
    }
    maps(out, kind);
    examples(out, (start, end), kind);
}

fn pattern(kind: &Kind) -> String {
    let cell = |(cell, part): (&Cell, &String)| {
        let cell = match cell {
            Cell::Always(text) => text.as_str(),
            Cell::Value => "{value}",
            Cell::ValueUnit => "{value}{unit}",
            Cell::Unit => "{unit}",
            Cell::Function => "{function}",
            Cell::Flag => "{flag}",
            Cell::Skip => "{skip}",
        };
        format!("{cell}{part}")
    };
    kind.cells.iter().zip(&kind.parts).map(cell).collect::<String>().trim().to_owned()
}

/// The texts of a kind of cell, each once.
fn codes<'k>(kind: &'k Kind, of: &Cell) -> Vec<&'k str> {
    let columns = (0..kind.cells.len()).filter(|at| kind.cells[*at] == *of);
    let mut all: Vec<&str> =
        columns.flat_map(|at| kind.rows.iter().map(move |row| row[at].as_str())).collect();
    all.sort_unstable();
    all.dedup();
    all
}

fn maps(out: &mut String, kind: &Kind) {
    let mut map = |name: &str, rows: BTreeMap<String, String>| {
        if rows.is_empty() {
            return;
        }
        put!(out, "\n[map.{name}]");
        for (code, means) in rows {
            put!(out, "{} = \"{means}\"", quoted(&bytes(&code)));
        }
    };
    let all = |of: &Cell, means: &dyn Fn(&str) -> Option<String>| {
        let codes = codes(kind, of).into_iter();
        codes.filter_map(|code| Some((code.to_owned(), means(code)?))).collect::<BTreeMap<_, _>>()
    };
    let unit = |code: &str| Some(cells::unit_of(code).map_or("?", Unit::ucum).to_owned());
    let unknown = |_: &str| Some("?".to_owned());
    map("function", all(&Cell::Function, &unknown));
    let mut units = all(&Cell::Unit, &unit);
    for cell in codes(kind, &Cell::ValueUnit) {
        units.extend(cells::glued(cell).and_then(|(_, code)| Some((code.into(), unit(code)?))));
    }
    let behind: Vec<String> = units.keys().cloned().collect();
    map("unit", units);
    map("flag", all(&Cell::Flag, &unknown));
    let values = [Cell::Value, Cell::ValueUnit].map(|cell| codes(kind, &cell)).concat();
    // A word may have the unit behind it, as a number has.
    let alone = |cell: &str| {
        let stripped = behind.iter().filter_map(|unit| cell.strip_suffix(unit.as_str()));
        std::iter::once(cell)
            .chain(stripped)
            .find(|word| cells::said(word).is_some())
            .map(String::from)
    };
    let words = values.iter().filter(|cell| !cell.starts_with(['>', '<'])).filter_map(|cell| {
        let word = alone(cell)?;
        let means = cells::said(&word)?.to_owned();
        Some((word, means))
    });
    map("value", words.collect());
    let bounds = [('>', "above"), ('<', "below")];
    let bounds = bounds.iter().filter(|(mark, _)| values.iter().any(|v| v.starts_with(*mark)));
    map("prefix", bounds.map(|(mark, word)| (mark.to_string(), (*word).to_owned())).collect());
}

/// The bytes of a text that was made of bytes.
fn bytes(text: &str) -> Vec<u8> {
    text.chars().filter_map(|c| u8::try_from(c).ok()).collect()
}

/// One with a value, one with an overload where one came, and one that was damaged on purpose.
fn examples(out: &mut String, (start, end): (&[u8], &[u8]), kind: &Kind) {
    let Some(at) = kind.cells.iter().position(|c| matches!(c, Cell::Value | Cell::ValueUnit))
    else {
        return;
    };
    let frame = |row: &Vec<String>| {
        let line: String = row.iter().zip(&kind.parts).flat_map(|(a, b)| [a.as_str(), b]).collect();
        [start, &bytes(line.trim()), end].concat()
    };
    let number = |row: &Vec<String>| {
        let cell = cells::glued(&row[at]).map_or(row[at].as_str(), |(number, _)| number);
        match numeric(cell.as_bytes()) {
            Some(Numeric::Value(number)) => Some(number.text()),
            _ => None,
        }
    };
    let unit = |row: &Vec<String>| {
        let own = kind.cells.iter().position(|cell| *cell == Cell::Unit);
        let code = own.map(|at| row[at].as_str()).or(cells::glued(&row[at]).map(|(_, unit)| unit));
        code.and_then(cells::unit_of).map_or("?", |unit| unit.ucum()).to_owned()
    };
    let Some(row) = kind.rows.iter().find(|row| number(row).is_some()) else { return };
    let (value, whole) = (number(row).unwrap_or_default(), frame(row));
    example(out, &whole, &format!("\"value\", value = \"{value}\", unit = \"{}\"", unit(row)));
    if let Some(row) = kind.rows.iter().find(|row| cells::said(&row[at]) == Some("overload")) {
        example(out, &frame(row), &format!("\"overload\", unit = \"{}\"", unit(row)));
    }
    let mut damaged = whole;
    let digit = damaged.iter().rposition(u8::is_ascii_digit).unwrap_or(start.len());
    damaged[digit] |= 0x80;
    put!(out, "\n[[example]]\nbytes = {}\nnote  = \"malformed\"", quoted(&damaged));
}

fn example(out: &mut String, bytes: &[u8], gives: &str) {
    put!(out, "\n[[example]]\nbytes   = {}", quoted(bytes));
    put!(out, "reading = {{ function = \"?\", indication = {gives} }}");
}

/// Places of a fixed frame: what is always the same, what is digits, and the rest.
fn fixed(out: &mut String, guess: &Guess, length: usize) -> Option<()> {
    let frame = guess.frames.first()?;
    put!(out, "[frame]\nlength = {length}");
    let check = guess.checks.first();
    let summed =
        |at: usize| check.is_some_and(|c| (c.at - 1..c.at - 1 + c.kind.width()).contains(&at));
    let sort = |at: usize| {
        let column = || guess.frames.iter().map(|frame| frame[at]);
        match guess.always.iter().find(|(place, _)| *place == at) {
            _ if summed(at) => "sum",
            Some((_, byte)) if !byte.is_ascii_digit() => "is",
            _ if column().all(|byte| byte.is_ascii_digit() || b" .+-".contains(&byte)) => "value",
            _ => "skip",
        }
    };
    let mut runs: Vec<(&str, usize, usize)> = Vec::new();
    for at in 0..length {
        match runs.last_mut() {
            Some((last, _, to)) if *last == sort(at) => *to = at + 1,
            _ => runs.push((sort(at), at, at + 1)),
        }
    }
    // One value: the longest run of digits. What else looks like one may be a range.
    let value = runs.iter().filter(|run| run.0 == "value").max_by_key(|run| run.2 - run.1);
    let value = value.copied()?;
    for (sort, from, to) in runs {
        if sort == "sum" {
            continue;
        }
        let seen: Vec<String> =
            guess.frames.iter().take(6).map(|f| format!("{:02x?}", &f[from..to])).collect();
        let what = match sort {
            "is" => format!("is   = {}", quoted(&frame[from..to])),
            "value" if (from, to) == (value.1, value.2) => "name = \"value\"".to_owned(),
            _ => "name = \"skip\" # ? function, range, unit, sign, point, flag, or bits".to_owned(),
        };
        put!(out, "\n[[field]] # {}\n{what}", latin(seen.join(" ").as_bytes()));
        put!(out, "from = {}\nto   = {to}", from + 1);
    }
    if let Some(check) = check {
        put!(out, "\n[check]\nkind = \"{}\"\nfrom = {}", kind(check.kind), check.from);
        put!(out, "to   = {}\nat   = {}", check.to, check.at);
        if check.kind == Sum::Sum16LowFirst {
            put!(out, "low_first = true");
        }
    }
    put!(out, "\n[read]\nfunction = \"?\"\nunit     = \"?\"");
    let sent = |frame: &Vec<u8>| frame[value.1..value.2].contains(&b'.');
    if !guess.frames.iter().any(sent) {
        put!(out, "places   = 0 # ? digits behind the point");
    }
    example(out, frame, "\"value\", value = \"?\", unit = \"?\"");
    let mut damaged = frame.clone();
    damaged[value.1] |= 0x80;
    put!(out, "\n[[example]]\nbytes = {}\nnote  = \"malformed\"", quoted(&damaged));
    Some(())
}
