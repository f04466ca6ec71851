//! What a printed report tells, gathered from the lines of a record; how it looks is the crate
//! `tapline-paper`'s. Nothing here judges: words and numbers are those that stand in the record.
//!
//! Reading order: `book` takes the lines in, `values` puts verdicts and values together, `gather`
//! the rest, `past` what earlier inspections say, [`report`] the whole;
//! [`exports`] what is given out of many.

mod book;
mod entered;
pub(crate) mod exports;
mod gather;
mod later;
mod past;
pub(crate) mod summary;
mod values;

use std::path::{Path, PathBuf};

use tapline_paper::report::{Next, Report, Site};
use tapline_protocols::due::Counting;
use tapline_protocols::fact::Open;

use crate::config::Config;
use crate::past::{Past, Refused, believed};

/// What is not in the record: who prints it, and how the site counts days.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct House {
    /// Name of the workshop.
    pub(crate) workshop: String,
    /// Its address, in lines.
    pub(crate) address: Vec<String>,
    /// The station.
    pub(crate) station: String,
    /// How days are counted.
    pub(crate) counting: Counting,
}

impl House {
    /// As the configuration has it.
    pub(crate) fn of(config: Option<&Config>) -> House {
        config.map_or_else(House::default, |config| House {
            workshop: config.paper.workshop.clone().unwrap_or_else(|| config.station.name.clone()),
            address: config.paper.address.clone(),
            station: config.station.id.clone(),
            counting: config.due,
        })
    }
}

/// A record.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Of<'a> {
    pub(crate) file: &'a Path,
    pub(crate) in_work: bool,
    /// So many addenda are told, and no later one; all of them without.
    pub(crate) until: Option<u32>,
}

/// The report of a record. `pasts`: the asset's sealed inspections, this one among them, in the
/// order in which they were signed; later ones are not looked at.
///
/// # Errors
/// It can't be read, is no inspection's, or is not believed: a sentence.
pub(crate) fn report(of: Of<'_>, house: &House, pasts: &[Past]) -> Result<Report, String> {
    let report = of_book(of, house, pasts, |_, _| true)?;
    report.ok_or_else(|| "no inspection begins here".to_owned())
}

/// The report of a sealed record, if it is `wanted` by its first line and the moment of it; what
/// the asset's other records say is left out.
///
/// # Errors
/// It can't be read or is not believed: a sentence.
pub(crate) fn wanted(
    file: &Path,
    house: &House,
    wanted: impl Fn(&Open, &str) -> bool,
) -> Result<Option<Report>, String> {
    of_book(Of { file, in_work: false, until: None }, house, &[], wanted)
}

/// `None`: it is no inspection's, or not wanted.
fn of_book(
    Of { file, in_work, until: last }: Of<'_>,
    house: &House,
    pasts: &[Past],
    wanted: impl Fn(&Open, &str) -> bool,
) -> Result<Option<Report>, String> {
    let mut book = book::Book::default();
    let own = |open: &Open, at: &str| open.inspection.is_some() && wanted(open, at);
    match believed(file, in_work, own, |line| book.take(line)) {
        Ok(()) => {}
        Err(Refused::Unwanted) => return Ok(None),
        Err(Refused::Trouble(why)) => return Err(why),
    }
    let id = book.open.as_ref().map(|open| open.fact.id.clone()).unwrap_or_default();
    let added = if in_work { None } else { later::beside(file, &id, last)? };
    if let Some(added) = &added {
        later::put_right(&mut book, added);
    }
    let mut report = gather::gathered(&book)?;
    report.site =
        Site { workshop: house.workshop.clone(), address: house.address.clone(), ..report.site };
    if !in_work {
        report.head = head(file);
    }
    if let Some(added) = &added {
        later::tell(&mut report, &book, added);
    }
    let pasts = until(pasts, &report.id);
    past::history(&mut report, &book, pasts);
    report.next = match last {
        None => past::next(&report.outcome, &book, house.counting, pasts),
        // Dates are those of now.
        Some(_) => Next { day: None, why: "earlier".into() },
    };
    Ok(Some(report))
}

/// Those up to the one of that name.
fn until<'p>(pasts: &'p [Past], id: &str) -> &'p [Past] {
    let at = pasts.iter().position(|past| past.id == id);
    at.map_or(&[][..], |at| &pasts[..=at])
}

/// The hash that was signed, of the file beside the record.
fn head(file: &Path) -> Option<[u8; 32]> {
    let head: PathBuf = file.with_extension("head");
    let text = std::fs::read_to_string(head).ok()?;
    let bytes = data_encoding::HEXLOWER.decode(text.get(..64)?.as_bytes()).ok()?;
    bytes.try_into().ok()
}
