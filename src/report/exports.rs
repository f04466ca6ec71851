//! What is given out of many records, put together alike for `tapline export` and for the addresses
//! of the page. Books are read one by one; nothing is judged or written.

use std::path::Path;

use tapline_paper::report::Report;
use tapline_protocols::due::Day;
use tapline_protocols::fact::Open;

use super::{House, wanted};
use crate::books::OnShelf;
use crate::clock;
use crate::exchange::calendar::{Item, calendar};
use crate::exchange::csv::Form;
use crate::exchange::tables;
use crate::past::due::{Counted, Ledger, Row};
use crate::past::place_of;
use crate::words::english;

/// What is made of each inspection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A line a value.
    Measurements(Form),
    /// A line an inspection.
    Inspections(Form),
    /// All that a report tells, as JSON.
    Lines,
}

impl Kind {
    /// What stands before the first inspection.
    pub(crate) fn heading(self) -> String {
        match self {
            Kind::Measurements(form) => form.heading(&tables::MEASUREMENTS),
            Kind::Inspections(form) => form.heading(&tables::INSPECTIONS),
            Kind::Lines => String::new(),
        }
    }

    /// The lines of an inspection.
    pub(crate) fn text(self, report: &Report) -> String {
        match self {
            Kind::Measurements(form) => {
                let lines = tables::measurements(report);
                lines.iter().map(|fields| form.line(fields)).collect()
            }
            Kind::Inspections(form) => form.line(&tables::inspection(report)),
            Kind::Lines => {
                serde_json::to_string(report).expect("it is plain fields and strings") + "\n"
            }
        }
    }
}

/// What a record tells; `wants` is asked of its asset and its opening. `None`: it is no inspection
/// that is wanted, or in work.
///
/// # Errors
/// It can't be read, or is not believed: a sentence.
pub(crate) fn told(
    folder: &Path,
    record: &OnShelf,
    wants: impl Fn(&str, &str) -> bool,
    house: &House,
) -> Result<Option<Report>, String> {
    // What came after an inspection stands with it.
    if !record.sealed || record.id.contains('+') {
        return Ok(None);
    }
    let wants =
        |open: &Open, at: &str| open.inspection.as_ref().is_some_and(|one| wants(&one.asset, at));
    wanted(&place_of(folder, record).0, house, wants)
}

/// Due dates of a station, id and name, as a calendar of this moment: of what lies under a place
/// and is due before a day, where those are named.
pub(crate) fn due(
    ledger: Ledger,
    (station, name): (&str, &str),
    (under, before): (Option<&str>, Option<Day>),
) -> String {
    let now = clock::rfc3339(clock::now().wall_us);
    let today = Day::parse(&now[..10]).expect("a clock shows a day");
    let rows = ledger.rows(Counted::default(), today);
    let items: Vec<Item> = rows.iter().filter_map(|row| item(row, under, before)).collect();
    let at: String = now[..19].chars().filter(|c| !matches!(c, '-' | ':')).collect();
    calendar(station, name, &format!("{at}Z"), &items)
}

fn item(row: &Row, under: Option<&str>, before: Option<Day>) -> Option<Item> {
    let asset = row.asset.as_ref().filter(|asset| asset.lies_in(under.unwrap_or_default()))?;
    let day = row.due().filter(|day| before.is_none_or(|before| *day < before))?;
    let note = row.last.as_ref().map(|(id, day, word)| {
        let outcome = serde_json::to_value(word).unwrap_or_default();
        let outcome = outcome.as_str().unwrap_or_default().replace('_', " ");
        let values = [("id", id.as_str()), ("day", &day.text()), ("outcome", &outcome)];
        english().tell("export", "last", &values)
    });
    Some(Item {
        asset: asset.id.clone(),
        what: asset.description.clone(),
        place: asset.location.clone(),
        day: day.text(),
        changed: row.changed,
        note: note.unwrap_or_default(),
    })
}
