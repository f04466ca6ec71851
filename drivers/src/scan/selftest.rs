//! Self-test of a reader: a printed sheet of known codes, and what became of them on their way.
//!
//! The codes begin with letters that stand at the same keys of the common keyboard layouts, so that
//! each is known again however it was changed.

use alloc::string::String;
use alloc::vec::Vec;

use super::aim;
use super::gs1::GS;
use super::profile::{Profile, escaped};

/// Element string with one separator in it; the part in front of it and the part behind.
pub const SEPARATED: (&str, &str) = ("010950110153000321TLSEP", "10TLEND");

/// Characters that stand elsewhere on other layouts, each once.
pub const LAYOUT: &str = "TLK+AQWZYM0123456789-_/=?&%#@:;.,<>()[]{}|~^aqwzym'\"*!$";

/// A code with a blank at each end.
pub const BLANKS: &str = " TLB 1 ";

/// What became of the separator.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Separator {
    /// It arrives.
    Kept,
    /// Nothing arrives in its place.
    Lost,
    /// This arrives in its place.
    Replaced(String),
    /// Something arrives that can't be named in a configuration.
    Broken,
}

/// What became of the codes of the sheet.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Findings {
    /// What became of the separator; `None`: its code did not come.
    pub separator: Option<Separator>,
    /// The reader sends symbology identifiers.
    pub identifiers: bool,
    /// The code of the layout came.
    pub layout: bool,
    /// Characters that came as others: what was printed, what came.
    pub changed: Vec<(char, char)>,
    /// The layout's code came with another length: characters are lost or doubled.
    pub length: Option<usize>,
    /// Blanks at the beginning and at the end arrive; `None`: their code did not come.
    pub blanks: Option<(bool, bool)>,
    /// Lines that are none of the sheet's codes.
    pub strange: usize,
}

/// Looks through what a reader sent of the sheet: lines that end by CR, LF, CR LF or TAB.
#[must_use]
pub fn diagnose(sent: &[u8]) -> Findings {
    let mut findings = Findings::default();
    let lines = sent.split(|byte| b"\r\n\t".contains(byte)).filter(|line| !line.is_empty());
    for line in lines {
        let (identifier, payload) = aim::split(line);
        findings.identifiers |= identifier.is_some();
        findings.take(&crate::wire::latin(payload));
    }
    findings
}

impl Findings {
    fn take(&mut self, code: &str) {
        let upper = code.to_ascii_uppercase();
        let between =
            code.strip_prefix(SEPARATED.0).and_then(|rest| rest.strip_suffix(SEPARATED.1));
        if let Some(between) = between {
            self.separator = Some(separator(between));
        } else if upper.starts_with("TLK") {
            self.layout(code);
        } else if upper.trim() == BLANKS.trim() {
            self.blanks = Some((code.starts_with(' '), code.ends_with(' ')));
        } else {
            self.strange += 1;
        }
    }

    fn layout(&mut self, code: &str) {
        let (came, printed) = (code.chars().count(), LAYOUT.chars().count());
        self.layout = true;
        self.length = (came != printed).then_some(came);
        if self.length.is_none() {
            let pairs = LAYOUT.chars().zip(code.chars());
            self.changed = pairs.filter(|(printed, came)| printed != came).collect();
        }
    }

    /// All codes came, and as they were printed.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        let separator = matches!(self.separator, Some(Separator::Kept | Separator::Replaced(_)));
        let layout = self.layout && self.changed.is_empty() && self.length.is_none();
        separator && layout && self.blanks == Some((true, true)) && self.strange == 0
    }

    /// What to store of the reader: that it is proven, and what it sends in place of a separator.
    /// `None` where it must be set otherwise first.
    #[must_use]
    pub fn profile(&self) -> Option<Profile> {
        let gs_alias = match self.separator.as_ref()? {
            Separator::Kept => None,
            Separator::Replaced(text) => Some(text.clone()),
            Separator::Lost | Separator::Broken => return None,
        };
        self.is_clean().then(|| Profile { gs_alias, proven: true, ..Profile::default() })
    }
}

fn separator(between: &str) -> Separator {
    if between.is_empty() {
        return Separator::Lost;
    }
    if between == GS.encode_utf8(&mut [0; 4]) {
        return Separator::Kept;
    }
    let told = ["gs_alias=", &escaped(between)].concat();
    match Profile::parse(&told) {
        Ok(_) => Separator::Replaced(between.into()),
        Err(_) => Separator::Broken,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::format;

    fn sheet(between: &str) -> String {
        let (before, behind) = SEPARATED;
        format!("]d2{before}{between}{behind}\r\n]C0{LAYOUT}\r\n]C0{BLANKS}\r\n")
    }

    #[test]
    fn a_good_reader_is_proven() {
        let found = diagnose(sheet("\u{1d}").as_bytes());
        assert!(found.is_clean() && found.identifiers);
        let told = found.profile().map(|profile| format!("{profile}"));
        assert_eq!(told.as_deref(), Some("proven"));
    }

    #[test]
    fn what_stands_for_a_separator_is_named() {
        for alias in ["^]", "|", "{GS}", "<GS>", "#", "]"] {
            let found = diagnose(sheet(alias).as_bytes());
            assert_eq!(found.separator, Some(Separator::Replaced(alias.into())));
            let told = found.profile().and_then(|profile| profile.gs_alias);
            assert_eq!(told.as_deref(), Some(alias));
        }
        for (between, separator) in [("", Separator::Lost), ("G", Separator::Broken)] {
            let found = diagnose(sheet(between).as_bytes());
            assert_eq!((found.profile(), found.separator.clone()), (None, Some(separator)));
        }
    }

    #[test]
    fn a_layout_a_trimmed_blank_and_what_did_not_come_are_found() {
        let swapped = sheet("\u{1d}").replace("ZYM", "YZM").replace('-', "\u{df}");
        let swapped: Vec<u8> =
            swapped.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
        let found = diagnose(&swapped);
        assert_eq!(found.changed, [('Z', 'Y'), ('Y', 'Z'), ('-', '\u{df}')]);
        assert_eq!(found.profile(), None);
        let trimmed = sheet("\u{1d}").replace("TLB 1 \r", "TLB 1\r");
        assert_eq!(diagnose(trimmed.as_bytes()).blanks, Some((true, false)));
        assert_eq!(diagnose(trimmed.as_bytes()).profile(), None);
        let lost = sheet("\u{1d}").replace('~', "");
        assert_eq!(diagnose(lost.as_bytes()).length, Some(LAYOUT.len() - 1));
        let nothing = diagnose(b"P-0107\r\n");
        assert_eq!((nothing.strange, &nothing.separator, nothing.layout), (1, &None, false));
        assert_eq!(nothing.profile(), None);
    }
}
