//! What was said, counted.

use std::collections::BTreeMap;
use std::fmt;

use super::folder::Kind;

/// What a face says of a damaged file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Said {
    /// What is shown is byte for byte what it was.
    Unchanged,
    /// Nothing is shown; the file and what is wrong are named.
    Refused,
    /// The bytes behind the last right mark were put aside as torn, and a line says so.
    SetAside,
    /// What stands before the damage is shown, with the word `damaged`.
    Damaged,
    /// Built again from the books: what is shown is what it was.
    BuiltAgain,
    /// Looks as if the power had gone before the next commit, and is shown so.
    Prefix,
}

/// How often each face said what, by the kind of file.
#[derive(Debug, Default)]
pub(crate) struct Table {
    said: BTreeMap<(Kind, &'static str), BTreeMap<Said, usize>>,
    harms: BTreeMap<Kind, usize>,
}

impl Table {
    pub(crate) fn harm(&mut self, kind: Kind) {
        *self.harms.entry(kind).or_default() += 1;
    }

    pub(crate) fn said(&mut self, kind: Kind, face: &'static str, said: Said) {
        *self.said.entry((kind, face)).or_default().entry(said).or_default() += 1;
    }

    /// How often something was said by a face, over all kinds.
    pub(crate) fn count(&self, face: &str, said: Said) -> usize {
        let of = self.said.iter().filter(|((_, of), _)| *of == face);
        of.filter_map(|(_, counts)| counts.get(&said)).sum()
    }
}

impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let columns = ["unchanged", "refused", "set aside", "damaged", "built again", "prefix"];
        let all = [
            Said::Unchanged,
            Said::Refused,
            Said::SetAside,
            Said::Damaged,
            Said::BuiltAgain,
            Said::Prefix,
        ];
        writeln!(f, "| file | harms | face | {} |", columns.join(" | "))?;
        writeln!(f, "|---|---|---|{}", "---|".repeat(columns.len()))?;
        for ((kind, face), counts) in &self.said {
            let cells = all.map(|said| counts.get(&said).map_or(String::new(), usize::to_string));
            let harms = self.harms.get(kind).copied().unwrap_or_default();
            writeln!(f, "| {kind:?} | {harms} | {face} | {} |", cells.join(" | "))?;
        }
        Ok(())
    }
}
