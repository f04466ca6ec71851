//! Barcode scanners on a line of their own.
//!
//! A code ends by CR, LF, CR LF or TAB, or by 50 ms of silence, and is at most 4 096 bytes long
//! with its end. Nothing is trimmed: a blank at the end may be data. A code that is refused leaves
//! no bytes behind, only why and where. The same code again within a second is the same scan.
//!
//! What a code says is read by its grammar: GS1 element strings, their bracketed text and Digital
//! Links, HIBC, ISBT 128, bare GTINs, the numbers that the site writes. Nothing here knows assets.

mod aim;
mod check;
mod content;
pub mod control;
mod date;
mod gs1;
mod hibc;
mod isbt;
mod join;
mod link;
mod patient;
mod pattern;
mod profile;
pub mod selftest;
mod sniff;
#[cfg(test)]
mod tests;

pub use content::{Content, ELEMENTS_MAX, Element, Fault, Said, field};
pub use date::{Day, Year};
pub use join::{JOIN_US, Join};
pub use pattern::{LENGTH_MAX, Pattern};
pub use profile::{ALIAS_MAX, OWN, PATTERNS_MAX, Profile};

use alloc::string::String;
use alloc::vec::Vec;

use crate::driver::{Never, Output};
use crate::listen::{Listener, Reader};
use crate::reading::{Now, Scan, ScanKind};
use crate::wire;
use crate::wire::lines::{Framing, Line, Lines};

/// Raised whenever the same bytes give another output.
pub const VERSION: u32 = 3;

/// Silence that ends a code, microseconds.
pub const SILENCE_US: u64 = 50_000;

/// The same code within this time of its last sight is one scan, microseconds.
pub const SAME_US: u64 = 1_000_000;

/// Longest code with its end, bytes.
const LONGEST: usize = 4096;

const FRAMING: Framing =
    Framing { longest: LONGEST, ends: b"\r\n\t", silence_us: Some(SILENCE_US), answers: false };

/// A barcode scanner. Sends nothing, by type.
pub type Scanner = Listener<Lines, Scans>;

impl Default for Scanner {
    fn default() -> Scanner {
        Scanner::new()
    }
}

impl Scanner {
    /// A driver for one scanner of which nothing is known.
    #[must_use]
    pub fn new() -> Scanner {
        Scanner::with(Profile::default())
    }

    /// A driver for one scanner at a site.
    #[must_use]
    pub fn with(profile: Profile) -> Scanner {
        Listener::of(Lines::new(FRAMING), Scans { profile, ..Scans::default() })
    }
}

/// Reads codes and knows the last one.
#[derive(Debug, Default)]
pub struct Scans {
    profile: Profile,
    last: Option<(Vec<u8>, Now)>,
    join: Join,
}

impl Scans {
    /// A reader held on a code sends it again and again: every sight counts from the one before.
    fn seen_again(&mut self, line: &Line) -> bool {
        let Some((raw, seen)) = &mut self.last else { return false };
        let again = *raw == line.bytes && line.first.0 <= seen.0 + SAME_US;
        if again {
            *seen = line.last;
        }
        again
    }
}

impl Reader for Scans {
    fn open(&mut self) {
        self.last = None;
        self.join.clear();
    }

    fn read(&mut self, line: &Line) -> Output<Never> {
        if line.continued {
            return Output::Note(line.note("too_long", None));
        }
        if self.seen_again(line) {
            return Output::Note(line.note("duplicate", None));
        }
        let mut scan = scan(line, &self.profile);
        let kept = scan.refused.is_none();
        self.last = kept.then(|| (scan.raw.clone(), line.last));
        match scan.content.take() {
            Some(content) => scan.content = Some(self.join.take(content, line.first)),
            None => self.join.clear(),
        }
        Output::Scan(scan)
    }
}

/// Understands one code, without its suffix. Nothing of it is joined to another one.
///
/// # Errors
/// It is refused: which grammar, and why.
pub fn read(bytes: &[u8], profile: &Profile) -> Result<Content, (ScanKind, Fault)> {
    let (aim, payload) = aim::split(bytes);
    if is_of_a_patient(payload, profile) {
        return Err((ScanKind::Gs1, Fault::new("patient_identifier", 0)));
    }
    if let Some(at) = payload.iter().position(|byte| byte.is_ascii_control() && *byte != 0x1d) {
        return Err((ScanKind::Other, Fault::new("control_bytes", at)));
    }
    if payload.is_empty() {
        return Err((ScanKind::Control, Fault::new("damaged_code", 0)));
    }
    if control::claims(payload) {
        let whole = control::read(payload).map(|_| Content::new(ScanKind::Control));
        let whole = whole.map_err(|_| (ScanKind::Control, Fault::new("damaged_code", 0)));
        return whole.map(|content| Content { sniffed: aim.is_none(), ..content });
    }
    let carrier = aim::carrier(aim);
    let mut content = sniff::read(carrier, payload, profile)
        .map_err(|fault| (sniff::kind(carrier, payload), fault))?;
    if gs1::names_a_patient(&content) {
        return Err((ScanKind::Gs1, Fault::new("patient_identifier", 0)));
    }
    content.sniffed = aim.is_none();
    if content.kind == ScanKind::Gs1 {
        profile.own_number(&mut content);
    }
    Ok(content)
}

/// The patient comes first: nothing else is said of that code. Looked for in the bytes as they are,
/// with the separators that the reader means, and behind the escapes of a link.
fn is_of_a_patient(payload: &[u8], profile: &Profile) -> bool {
    let text = wire::latin(payload);
    let forms = [Some(profile.separated(&text)), link::decoded(&text)];
    let other = |form: &String| *form != text && patient::identifies(form.as_bytes());
    patient::identifies(payload) || forms.iter().flatten().any(other)
}

/// One code as a scan.
fn scan(line: &Line, profile: &Profile) -> Scan {
    let (aim, payload) = aim::split(&line.bytes);
    let read = match read(&line.bytes, profile) {
        Err((kind, fault)) if fault.word == "patient_identifier" => Err((kind, fault)),
        _ if line.too_long => Err((ScanKind::Other, Fault::new("too_long", LONGEST))),
        read => read,
    };
    let kind = match &read {
        Ok(content) => content.kind,
        Err((kind, _)) => *kind,
    };
    let kept = read.is_ok();
    let (content, fault) = match read {
        Ok(content) => (Some(content), None),
        Err((_, fault)) => (None, Some(fault)),
    };
    Scan {
        kind,
        raw: if kept { line.bytes.clone() } else { Vec::new() },
        aim: aim.filter(|_| kept).map(String::from),
        refused: fault.as_ref().map(|fault| fault.word),
        content,
        fault,
        length: payload.len(),
        span: line.span,
        at: line.first,
    }
}
