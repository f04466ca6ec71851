//! One TOML file on its way to what it means.

use alloc::collections::BTreeMap;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec;
use alloc::vec::Vec;
use core::cell::RefCell;

use toml::de::{DeTable, DeValue};

use super::form::Form;
use crate::fault::Fault;

/// Longest file, bytes. A longer one is refused unread.
pub const TEXT_BYTES_MAX: usize = 1 << 20;

/// Most faults that are said at once; the last one then says that there are more.
pub const FAULTS_MAX: usize = 100;

/// Where each field stands: `step.pe.capture` to its line, from 1.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Lines(BTreeMap<String, u32>);

impl Lines {
    /// Line of a field, or of the nearest field around it; 0 where nothing is known.
    #[must_use]
    pub fn of(&self, field: &str) -> u32 {
        let mut field = field;
        loop {
            if let Some(line) = self.0.get(field) {
                return *line;
            }
            match field.rsplit_once('.') {
                Some((outer, _)) => field = outer,
                None => return 0,
            }
        }
    }
}

/// Reads a file of one format: `family` and the number that this program knows
/// (`tapline-plan-`, 1).
///
/// # Errors
/// All faults, in order of their lines. While the TOML itself is broken, nothing is called
/// missing: it may stand in the part that could not be read.
pub fn read<T>(
    text: &str,
    format: (&str, u32),
    build: impl FnOnce(&mut Form<'_, '_>) -> Option<T>,
) -> Result<(T, Lines), Vec<Fault>> {
    if text.len() > TEXT_BYTES_MAX {
        let text = format!("longer than {TEXT_BYTES_MAX} bytes: split it into several files");
        return Err(vec![Fault { line: 0, field: String::new(), text }]);
    }
    let (table, broken) = DeTable::parse_recoverable(text);
    let sheet = Sheet::new(text, &broken);
    if let Some(refused) = sheet.format_fault(table.get_ref(), format) {
        sheet.faults.borrow_mut().push(refused);
        return Err(sheet.into_faults());
    }
    let mut form = Form::top(&sheet, table.get_ref());
    let _ = form.need("format");
    let built = build(&mut form);
    form.finish();
    match built {
        Some(built) if sheet.faults.borrow().is_empty() => {
            Ok((built, Lines(sheet.lines.into_inner())))
        }
        _ => Err(sheet.into_faults()),
    }
}

/// The file with what was found in it so far.
pub struct Sheet {
    /// Byte offsets at which lines begin.
    starts: Vec<usize>,
    /// Lines on which the TOML itself is broken.
    broken: Vec<u32>,
    faults: RefCell<Vec<Fault>>,
    lines: RefCell<BTreeMap<String, u32>>,
}

impl Sheet {
    fn new(text: &str, broken: &[toml::de::Error]) -> Sheet {
        let ends = text.bytes().enumerate().filter(|(_, b)| *b == b'\n').map(|(at, _)| at + 1);
        let starts = core::iter::once(0).chain(ends).collect();
        let lines = RefCell::default();
        let mut sheet = Sheet { starts, broken: Vec::new(), faults: RefCell::default(), lines };
        for error in broken.iter().take(FAULTS_MAX) {
            let line = error.span().map_or(0, |span| sheet.line(span.start));
            let text = format!("this is no TOML: {}", error.message());
            sheet.faults.borrow_mut().push(Fault { line, field: String::new(), text });
            sheet.broken.push(line);
        }
        sheet
    }

    /// Line of a byte offset, from 1.
    pub(super) fn line(&self, offset: usize) -> u32 {
        u32::try_from(self.starts.partition_point(|start| *start <= offset)).unwrap_or(u32::MAX)
    }

    pub(super) fn is_broken(&self) -> bool {
        !self.broken.is_empty()
    }

    pub(super) fn found(&self, field: &str, line: u32) {
        self.lines.borrow_mut().insert(field.to_string(), line);
    }

    /// Adds a fault, but none that only follows from broken TOML on its line.
    pub(super) fn fault(&self, line: u32, field: &str, text: String) {
        let mut faults = self.faults.borrow_mut();
        if faults.len() <= FAULTS_MAX && !self.broken.contains(&line) {
            faults.push(Fault { line, field: field.to_string(), text });
        }
    }

    fn format_fault(&self, table: &DeTable<'_>, format: (&str, u32)) -> Option<Fault> {
        let (family, known) = format;
        let wanted = format!("{family}{known}");
        let Some(found) = table.get("format") else {
            let text = format!("the file needs `format = \"{wanted}\"` at its top");
            return (!self.is_broken()).then(|| fault(1, text));
        };
        let line = self.line(found.span().start);
        let DeValue::String(found) = found.get_ref() else {
            return Some(fault(line, format!("write `format = \"{wanted}\"`")));
        };
        if *found == wanted {
            return None;
        }
        let number = found.strip_prefix(family).and_then(|n| n.parse::<u32>().ok());
        Some(fault(
            line,
            match number {
                Some(number) if number > known => format!(
                    "format {number} is newer than this program, which reads up to {known}: \
                 install a newer version"
                ),
                _ => format!("`{found}` is another format: here `{wanted}` is read"),
            },
        ))
    }

    fn into_faults(self) -> Vec<Fault> {
        let mut faults = self.faults.into_inner();
        faults.sort();
        faults.dedup();
        if faults.len() > FAULTS_MAX {
            faults.truncate(FAULTS_MAX);
            let text = "more faults follow: mend these first".into();
            faults.push(Fault { line: 0, field: String::new(), text });
        }
        faults
    }
}

fn fault(line: u32, text: String) -> Fault {
    Fault { line, field: "format".into(), text }
}
