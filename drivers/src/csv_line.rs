//! `csv-line`: date, time, value, unit and label, with commas or, in some locales, with semicolons
//! and a decimal comma. A header line comes first.
//!
//! `2026-11-24,09:14:03,0.198,OHM,PE`. A composite of what loggers print, from memory.
//! The label says the function. Units in capitals alone are taken only where no prefix can be
//! meant: nobody knows whether `MOHM` is a million or a thousandth.

use crate::driver::{Never, Output};
use crate::reading::Function;
use crate::talker::Talker;
use crate::unit::Unit;
use crate::wire::lines::Line;
use crate::wire::trim;
use crate::wire::words::shown;

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 1;

/// One conversion, milliseconds, where nothing better is known.
pub const PERIOD_MS: u32 = 1_000;

/// Longest line, bytes.
const LONGEST: usize = 128;

/// Labels and what is measured under them. `PE` does not say how many wires there are, so the
/// weaker is claimed. Insulation is missing: the line does not say at which voltage.
const LABELS: &[(&[u8], Function)] = &[
    (b"DCV", Function::VoltageDc),
    (b"ACV", Function::VoltageAc),
    (b"DCA", Function::CurrentDc),
    (b"ACA", Function::CurrentAc),
    (b"PE", Function::Resistance2w),
    (b"R2", Function::Resistance2w),
    (b"R4", Function::Resistance4w),
    (b"HZ", Function::Frequency),
];

/// A driver for such an instrument.
#[must_use]
pub fn driver() -> Talker {
    Talker::new(LONGEST, read)
}

fn read(line: &Line) -> Output<Never> {
    let semicolons = line.bytes.contains(&b';');
    let mut fields = [&b""[..]; 5];
    let mut sent = line.bytes.split(|byte| *byte == if semicolons { b';' } else { b',' });
    for field in &mut fields {
        let Some(next) = sent.next() else { return Output::Note(line.note("malformed", None)) };
        *field = trim(next);
    }
    if sent.next().is_some() {
        return Output::Note(line.note("malformed", None));
    }
    if fields.iter().all(|field| field.first().is_some_and(u8::is_ascii_alphabetic)) {
        return Output::Note(line.note("event", None));
    }
    row(line, fields, semicolons)
}

fn row(line: &Line, [date, time, value, unit, label]: [&[u8]; 5], comma: bool) -> Output<Never> {
    let malformed = || Output::Note(line.note("malformed", None));
    if !like(date, b"0000-00-00") || !like(time, b"00:00:00") {
        return malformed();
    }
    let point = |byte: &u8| if comma && *byte == b',' { b'.' } else { *byte };
    let mixed = comma && value.contains(&b'.') && value.contains(&b',');
    let value: alloc::vec::Vec<u8> = value.iter().map(point).collect();
    let known = LABELS.iter().find(|(code, _)| *code == label);
    let Some((_, function)) = known else {
        return Output::Note(line.note("other_function", None));
    };
    match (shown(&value), self::unit(unit)) {
        (Some(indication), Some(unit))
            if !mixed
                && function.quantity() == Some(unit.quantity)
                && indication.number().is_none_or(|number| unit.holds(number)) =>
        {
            Output::Reading(line.reading(indication, *function, unit))
        }
        _ => malformed(),
    }
}

fn unit(sent: &[u8]) -> Option<Unit> {
    match sent {
        b"OHM" => Unit::from_ucum("Ohm"),
        b"HZ" => Unit::from_ucum("Hz"),
        sent => Unit::from_ucum(core::str::from_utf8(sent).ok()?),
    }
}

/// Digits where the pattern has them, its own characters elsewhere.
fn like(bytes: &[u8], pattern: &[u8]) -> bool {
    let fits = |(byte, want): (&u8, &u8)| match want {
        b'0' => byte.is_ascii_digit(),
        want => byte == want,
    };
    bytes.len() == pattern.len() && bytes.iter().zip(pattern).all(fits)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::driver::{Driver, Input};
    use crate::reading::{Indication, Now};
    use alloc::format;
    use alloc::string::String;

    fn said(line: &str) -> String {
        let mut driver = driver();
        driver.handle(Now(0), Input::Bytes(format!("{line}\r\n").as_bytes()));
        match driver.poll() {
            Some(Output::Reading(r)) => {
                let value = match r.indication {
                    Indication::Value(number) => number.text(),
                    other => format!("{other:?}"),
                };
                format!("{:?} {value} {}", r.function, r.unit.ucum())
            }
            Some(Output::Note(note)) => note.word.into(),
            other => format!("{other:?}"),
        }
    }

    macro_rules! cases {
        ($($name:ident: $sent:literal => $want:literal;)*) => {
            $(#[test] fn $name() { assert_eq!(said($sent), $want); })*
        };
    }

    // From memory, as the layout is.
    cases! {
        commas: "2026-11-24,09:14:03,0.198,OHM,PE" => "Resistance2w 0.198 Ohm";
        semicolons: "2026-11-24; 09:14:03; 0,198; Ohm; R4" => "Resistance4w 0.198 Ohm";
        semicolons_and_point: "2026-11-24;09:14:03;0.198;Ohm;R4" => "Resistance4w 0.198 Ohm";
        thousands: "2026-11-24;09:14:03;1.234,5;Ohm;R4" => "malformed";
        decimal_comma_between_commas: "2026-11-24,09:14:03,0,198,Ohm,R4" => "malformed";
        overload: "2026-11-24,09:14:03,OL,MOhm,R2" => "Resistance2w Overload MOhm";
        million_or_thousandth: "2026-11-24,09:14:03,0.198,MOHM,PE" => "malformed";
        unit_of_another: "2026-11-24,09:14:03,0.198,V,PE" => "malformed";
        unknown_label: "2026-11-24,09:14:03,0.198,V,ISO" => "other_function";
        header: "date,time,value,unit,label" => "event";
        no_date: "24.11.2026,09:14:03,0.198,OHM,PE" => "malformed";
        tail: "198,OHM,PE" => "malformed";
        more: "2026-11-24,09:14:03,0.198,OHM,PE,x" => "malformed";
    }
}
