//! `report`: a print-out of many lines, `label : value unit`, for a printer on 24 or 40 columns.
//!
//! It ends by a form feed or by 1.5 s of silence. A report is one record: it is held until it has
//! ended, its lines come out one behind the other, each with its own bytes, and a last note
//! `report` says from which byte to which it went and how many readings stand in it. A composite of
//! what testers print, from memory.
//!
//! `>` and `<` before a number make a bound. Ohm and micro come in the code pages 437, 850 and 1252
//! (EA, E6, B5) and in UTF-8.

use alloc::string::String;

use crate::driver::{Never, Output};
use crate::listen::{Listener, Reader};
use crate::reading::{Function, Indication, Note, Reading, Span};
use crate::unit::Unit;
use crate::wire::lines::{Framing, Line, Lines};
use crate::wire::words::shown;
use crate::wire::{blank, trim};

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 1;

/// Silence that ends a report, microseconds.
pub const SILENCE_US: u64 = 1_500_000;

/// Longest report, bytes; what is longer is noted in pieces and gives no reading.
const LONGEST: usize = 4096;

const FRAMING: Framing =
    Framing { longest: LONGEST, ends: b"\x0c", silence_us: Some(SILENCE_US), answers: false };

/// Labels, in any case of letters, and what is measured under them. A label that leaves open what
/// matters is not here: insulation without its voltage, leakage without ac or dc. The number of
/// wires is not printed, so the weaker is claimed.
const LABELS: &[(&[u8], Function)] = &[
    (b"protective earth", Function::Resistance2w),
    (b"resistance", Function::Resistance2w),
    (b"insulation 500 v", Function::InsulationResistance),
    (b"mains voltage", Function::VoltageAc),
    (b"leakage current ac", Function::CurrentAc),
    (b"leakage current dc", Function::CurrentDc),
    (b"frequency", Function::Frequency),
];

/// What stands for Ohm and micro on a printer.
const SIGNS: &[(&[u8], &str)] = &[
    (b"\xe2\x84\xa6", "Ohm"),
    (b"\xce\xa9", "Ohm"),
    (b"\xea", "Ohm"),
    (b"\xc2\xb5", "u"),
    (b"\xce\xbc", "u"),
    (b"\xb5", "u"),
    (b"\xe6", "u"),
];

/// A driver for such a printer line. Sends nothing, by type.
pub type Printer = Listener<Lines, Reports>;

impl Printer {
    /// A driver for one instrument.
    #[must_use]
    pub fn new() -> Printer {
        Listener::of(Lines::new(FRAMING), Reports::default())
    }
}

impl Default for Printer {
    fn default() -> Printer {
        Printer::new()
    }
}

/// Reads reports line by line; all readings of the first report after opening are suspect.
#[derive(Debug, Default)]
pub struct Reports {
    fresh: bool,
    current: Option<Report>,
}

/// A report that has ended and is being told.
#[derive(Debug)]
struct Report {
    whole: Line,
    suspect: bool,
    told: usize,
    offset: u64,
    readings: u32,
}

impl Reader for Reports {
    fn open(&mut self) {
        *self = Reports { fresh: true, current: None };
    }

    fn read(&mut self, piece: &Line) -> Output<Never> {
        let suspect = core::mem::take(&mut self.fresh);
        if piece.too_long {
            return Output::Note(piece.note("too_long", None));
        }
        let offset = piece.span.from;
        let mut report = Report { whole: piece.clone(), suspect, told: 0, offset, readings: 0 };
        let first = report.next();
        self.current = Some(report);
        first.unwrap_or_else(|| Output::Note(piece.note("text", None)))
    }

    fn more(&mut self) -> Option<Output<Never>> {
        let report = self.current.as_mut()?;
        let next = report.next();
        if next.is_none() {
            return self.current.take().map(|report| Output::Note(report.end()));
        }
        next
    }
}

impl Report {
    /// The next line with something on it, with the empty ones around it where nobody else has
    /// them; the first also has the form feeds in front, the last that behind.
    fn next(&mut self) -> Option<Output<Never>> {
        let Line { bytes, span, ended, .. } = &self.whole;
        let rest = bytes.get(self.told..).filter(|rest| !rest.is_empty())?;
        let end = |byte: &u8| matches!(byte, b'\r' | b'\n');
        let lead = rest.iter().take_while(|byte| end(byte) || blank(**byte)).count();
        let line = rest[lead..].iter().take_while(|byte| !end(byte)).count();
        let text = &rest[lead..lead + line];
        let behind = rest[lead + line..].iter().take_while(|b| end(b) || blank(**b)).count();
        self.told += lead + line + behind;
        let feeds = (span.to - span.from) - bytes.len() as u64 - u64::from(*ended);
        let last = self.told == bytes.len();
        let to = if last { span.to } else { span.from + feeds + self.told as u64 };
        let at = Span { from: core::mem::replace(&mut self.offset, to), to };
        let output = self.said(&Line { span: at, bytes: text.to_vec(), ..self.whole.clone() });
        self.readings += u32::from(matches!(output, Output::Reading(_)));
        Some(output)
    }

    fn said(&self, line: &Line) -> Output<Never> {
        let note = |word| Output::Note(line.note(word, None));
        let Some(colon) = line.bytes.iter().position(|byte| *byte == b':') else {
            return note("text");
        };
        let label = trim(&line.bytes[..colon]);
        let known = LABELS.iter().find(|(name, _)| name.eq_ignore_ascii_case(label));
        match (known, measured(&line.bytes[colon + 1..])) {
            (None, Some(_)) => note("other_function"),
            (None, None) => note("text"),
            (Some((_, function)), Some((indication, unit)))
                if function.quantity() == Some(unit.quantity) =>
            {
                let why = self.suspect.then_some("first_after_open");
                Output::Reading(Reading { why, ..line.reading(indication, *function, unit) })
            }
            _ => note("malformed"),
        }
    }

    fn end(&self) -> Note {
        let Span { from, to } = self.whole.span;
        let text = alloc::format!("{from}..{to}: {} readings", self.readings);
        let span = Span { from: to, to };
        Note { word: "report", span, text: Some(text), at: self.whole.last }
    }
}

/// A value and a unit.
fn measured(bytes: &[u8]) -> Option<(Indication, Unit)> {
    let sent = trim(bytes);
    let split = sent.iter().rposition(|byte| blank(*byte))?;
    let indication = shown(&sent[..split])?;
    let unit = Unit::from_ucum(&plain(&sent[split + 1..])?)?;
    let holds = indication.number().is_none_or(|number| unit.holds(number));
    holds.then_some((indication, unit))
}

/// A unit with the signs of its code page spelled out.
fn plain(mut unit: &[u8]) -> Option<String> {
    let mut text = String::new();
    while let Some((first, rest)) = unit.split_first() {
        let sign = SIGNS.iter().find_map(|(sign, name)| Some((unit.strip_prefix(*sign)?, name)));
        unit = match sign {
            Some((rest, name)) => {
                text.push_str(name);
                rest
            }
            None if first.is_ascii_alphabetic() => {
                text.push(char::from(*first));
                rest
            }
            None => return None,
        };
    }
    Some(text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::driver::{Driver, Input};
    use crate::reading::Now;
    use alloc::format;
    use alloc::vec::Vec;

    fn told(driver: &mut Printer) -> Vec<String> {
        let one = |output| match output {
            Output::Reading(r) => {
                let value = match r.indication {
                    Indication::Value(number) => number.text(),
                    Indication::Above(number) => format!(">{}", number.text()),
                    Indication::Below(number) => format!("<{}", number.text()),
                    other => format!("{other:?}"),
                };
                let Span { from, to } = r.span;
                let why = r.why.map(|why| format!(" {why}")).unwrap_or_default();
                format!("{from}..{to} {:?} {value} {}{why}", r.function, r.unit.ucum())
            }
            Output::Note(note) => match note.text {
                Some(text) => format!("{} {text}", note.word),
                None => format!("{}..{} {}", note.span.from, note.span.to, note.word),
            },
            other => format!("{other:?}"),
        };
        core::iter::from_fn(|| driver.poll()).map(one).collect()
    }

    #[test]
    fn a_report_is_told_when_it_has_ended_and_its_readings_are_linked() {
        let mut driver = Printer::new();
        let sent = b"\x0cTEST\r\n\r\nProtective earth: 0.182 Ohm\r\nInsulation 500 V : >999 M\xea\
            \r\nleakage current ac: <0.01 \xe6A\r\nTouch: 3 uA\r\nTime: 09:14\r\n\r\n\x0c";
        let (head, tail) = sent.split_at(40);
        driver.handle(Now(0), Input::Bytes(head));
        assert_eq!(told(&mut driver), [""; 0]);
        driver.handle(Now(1_000_000), Input::Bytes(tail));
        let want = [
            "0..9 text",
            "9..38 Resistance2w 0.182 Ohm",
            "38..66 InsulationResistance >999 MOhm",
            "66..96 CurrentAc <0.01 uA",
            "96..109 other_function",
            "109..125 text",
            "report 0..125: 3 readings",
        ];
        assert_eq!(told(&mut driver), want);
    }

    #[test]
    fn silence_ends_a_report_and_the_first_after_opening_is_suspect() {
        let mut driver = Printer::new();
        driver.handle(Now(0), Input::Open);
        driver.handle(Now(0), Input::Bytes(b"resistance: 5 Ohm\n"));
        driver.handle(Now(SILENCE_US), Input::Tick);
        let want = ["0..18 Resistance2w 5 Ohm first_after_open", "report 0..18: 1 readings"];
        assert_eq!(told(&mut driver), want);
        // Whether a tick came or only the next report.
        driver.handle(Now(9_000_000), Input::Bytes(b"resistance: 6 k\xe2\x84\xa6"));
        driver.handle(Now(11_000_000), Input::Bytes(b"resistance: OL V\x0c"));
        let want = [
            "18..36 Resistance2w 6 kOhm",
            "report 18..36: 1 readings",
            "36..53 malformed",
            "report 36..53: 0 readings",
        ];
        assert_eq!(told(&mut driver), want);
    }

    #[test]
    fn a_report_that_is_too_long_gives_no_reading() {
        let mut driver = Printer::new();
        driver.handle(Now(0), Input::Bytes(&b"resistance: 5 Ohm\n".repeat(300)));
        driver.handle(Now(1), Input::Bytes(b"\x0cresistance: 5 Ohm\x0c"));
        let got = told(&mut driver);
        assert_eq!(got.len(), 4, "{got:?}");
        assert!(got[..2].iter().all(|one| one.ends_with("too_long")));
    }
}
