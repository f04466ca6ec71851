//! Where books lie, by their names.
//!
//! `station/2026.jsonl`, `idle/2026-11-24.jsonl`, `open/ID.jsonl`, and sealed
//! `inspections/2026/11/ID.jsonl`. A book whose station year or idle day is damaged is followed
//! by one with `+1` behind its name.

use crate::station::event::BookId;

/// Folder of station books.
pub const STATION: &str = "station";
/// Folder of idle books.
pub const IDLE: &str = "idle";
/// Folder of inspections in work.
pub const OPEN: &str = "open";
/// Folder of sealed inspections.
pub const INSPECTIONS: &str = "inspections";
/// Folder of keys.
pub const KEYS: &str = "keys";

/// `2026-11-24` or `2026-11-24+1`, and nothing that could leave the folder.
#[must_use]
pub fn is_day(name: &str) -> bool {
    let (day, _) = split(name);
    day.len() == 10
        && day.bytes().enumerate().all(|(n, b)| match n {
            4 | 7 => b == b'-',
            _ => b.is_ascii_digit(),
        })
}

/// The parts of an inspection's name `K3-20261124-0007` or `K3-20261124-0007+1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct InspectionName<'a> {
    /// Station.
    pub station: &'a str,
    /// Local day of its opening, `20261124`.
    pub day: &'a str,
    /// Number on that day.
    pub number: u32,
    /// 0 for the inspection, above for its addenda.
    pub addendum: u32,
}

impl InspectionName<'_> {
    /// Takes a name apart; `None` if it is none. Whatever passes is safe as a file name.
    #[must_use]
    pub fn read(name: &str) -> Option<InspectionName<'_>> {
        let (id, addendum) = split(name);
        let mut parts = id.split('-');
        let (station, day, number) = (parts.next()?, parts.next()?, parts.next()?);
        let digits = |text: &str, n: usize| {
            text.len() >= n && text.len() <= 9 && text.bytes().all(|b| b.is_ascii_digit())
        };
        let station_ok = (2..=6).contains(&station.len())
            && station.bytes().all(|b| b.is_ascii_uppercase() || b.is_ascii_digit());
        if !station_ok || day.len() != 8 || !digits(day, 8) || !digits(number, 4) {
            return None;
        }
        if parts.next().is_some() || (name.contains('+') && addendum == 0) {
            return None;
        }
        Some(InspectionName { station, day, number: number.parse().ok()?, addendum })
    }

    /// Its sealed book belongs into the folder of this year and month.
    #[must_use]
    pub fn is_of(&self, year: &str, month: &str) -> bool {
        (&self.day[..4], &self.day[4..6]) == (year, month)
    }

    /// Folder of the sealed book: `inspections/2026/11`.
    #[must_use]
    pub fn folder(&self) -> String {
        format!("{INSPECTIONS}/{}/{}", &self.day[..4], &self.day[4..6])
    }
}

/// The name is that of an addendum, `K3-20261124-0007+1`.
#[must_use]
pub fn is_addendum(id: &str) -> bool {
    InspectionName::read(id).is_some_and(|name| name.addendum > 0)
}

/// The inspection that a book belongs to: itself, or what it adds to.
#[must_use]
pub fn inspection_of(id: &str) -> &str {
    split(id).0
}

/// Where a sealed inspection lies, `inspections/2026/11/ID.jsonl`; `None` if the name is none.
#[must_use]
pub fn sealed_path(id: &str) -> Option<String> {
    Some(format!("{}/{id}.jsonl", InspectionName::read(id)?.folder()))
}

/// What a book is called on faces: `station`, `idle/2026-11-24`, `K3-20261124-0007`.
#[must_use]
pub fn shown(book: &BookId) -> String {
    match book {
        BookId::Station => "station".into(),
        BookId::Idle(day) => format!("idle/{day}"),
        BookId::Inspection(id) => id.clone(),
    }
}

/// A name and the number behind its `+`; 0 without one.
#[must_use]
pub fn split(name: &str) -> (&str, u32) {
    match name.split_once('+') {
        Some((stem, n)) => (stem, n.parse().unwrap_or(0)),
        None => (name, 0),
    }
}

/// The name with a number behind it; 0 leaves it out.
#[must_use]
pub fn join(stem: &str, n: u32) -> String {
    if n == 0 { stem.to_owned() } else { format!("{stem}+{n}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_taken_apart_and_give_their_place() {
        let name = InspectionName::read("K3-20261124-0007").unwrap();
        assert_eq!((name.station, name.day, name.number, name.addendum), ("K3", "20261124", 7, 0));
        assert_eq!(
            sealed_path("K3-20261124-0007+1").unwrap(),
            "inspections/2026/11/K3-20261124-0007+1.jsonl"
        );
    }

    #[test]
    fn nothing_that_could_leave_the_folder_is_a_name() {
        for bad in [
            "",
            "..",
            "../../etc/passwd",
            "K3-20261124-0007/..",
            "K3-20261124",
            "k3-20261124-0007",
            "K3-2026112-0007",
            "K3-20261124-7",
            "K3-20261124-0007-1",
            "K3-20261124-0007+",
            "K3-20261124-0007+x",
            "K3-20261124-0007+0",
            "K3-20é61124-0007",
        ] {
            assert_eq!(InspectionName::read(bad), None, "{bad}");
        }
        assert!(is_day("2026-11-24") && is_day("2026-11-24+2"));
        assert!(!is_day("2026-11-2x") && !is_day("../2026-11") && !is_day(""));
    }
}
