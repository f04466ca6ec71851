//! `tapline export`: what other programs take. The books are read, one record after the other on
//! all cores; a station is not needed and may run meanwhile.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use tapline_protocols::due::Day;

use super::again_args::Span;
use super::{Exit, Trouble, crowd, offline, output, report as paper};
use crate::books::OnShelf;
use crate::config::Config;
use crate::exchange::csv::Form;
use crate::exchange::{fhir, pseudonyms::Pseudonyms};
use crate::past;
use crate::past::due::Ledger;
use crate::report::{House, exports, exports::Kind};
use crate::words::english;

/// What is given out.
#[derive(Debug, Subcommand)]
pub enum Export {
    /// A table of what was measured: a line a value, with limit, verdict and instrument (CSV)
    Measurements(Table),
    /// A table of inspections: a line each, with outcome and signature (CSV)
    Inspections(Table),
    /// All that a report tells of each inspection, one JSON object a line
    Lines(Lines),
    /// An inspection as a FHIR R4 bundle
    Fhir {
        /// Record (.jsonl), or the number of an inspection of the data folder
        inspection: String,
        /// Where it goes and comes from
        #[command(flatten)]
        place: Place,
    },
    /// Due dates as a calendar (iCalendar): a to-do an asset
    Calendar {
        /// Only what lies in this place, such as North/2: its wards and rooms too
        #[arg(long, value_name = "PLACE")]
        under: Option<String>,
        /// Only what is due before this day
        #[arg(long, value_name = "DAY")]
        before: Option<String>,
        /// Where it goes and comes from
        #[command(flatten)]
        place: Place,
    },
}

/// A table.
#[derive(Debug, Args)]
pub struct Table {
    #[command(flatten)]
    lines: Lines,
    /// For a spreadsheet: a text that it would take for a number, a day or a formula begins with
    /// an apostrophe
    #[arg(long)]
    spreadsheet: bool,
    /// Between two fields
    #[arg(long, value_name = "SIGN", default_value = ",", value_parser = [",", ";", "tab"])]
    separator: String,
}

/// Which inspections.
#[derive(Debug, Args)]
pub struct Lines {
    #[command(flatten)]
    span: Span,
    /// Operators by numbers of this file alone, instead of their ids and names
    #[arg(long)]
    pseudonyms: bool,
    #[command(flatten)]
    place: Place,
}

/// Where it goes and comes from.
#[derive(Debug, Args)]
pub struct Place {
    /// File to write, which must not be there yet [default: standard output]
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
    /// Data folder, or an archive [default: the data folder of the configuration]
    #[arg(long, value_name = "FOLDER")]
    folder: Option<PathBuf>,
    /// Configuration file
    #[arg(long, env = "TAPLINE_CONFIG", default_value = "/etc/tapline/tapline.toml")]
    config: PathBuf,
}

pub(super) fn run(what: &Export) -> Result<Exit, Trouble> {
    match what {
        Export::Measurements(table) => each(&table.lines, Kind::Measurements(form(table))),
        Export::Inspections(table) => each(&table.lines, Kind::Inspections(form(table))),
        Export::Lines(lines) => each(lines, Kind::Lines),
        Export::Fhir { inspection, place } => {
            let told = paper::told(inspection, place.folder.as_deref(), &place.config)?;
            let mut out = Out::open(place.write.as_deref())?;
            out.put(&(fhir::bundle(&told) + "\n"))?;
            out.end()
        }
        Export::Calendar { under, before, place } => {
            of_due(under.as_deref(), before.as_deref(), place)
        }
    }
}

fn form(table: &Table) -> Form {
    Form::named(table.spreadsheet, &table.separator).expect("clap takes no other word")
}

/// Writes what is made of each inspection, in the order of their names.
fn each(lines: &Lines, kind: Kind) -> Result<Exit, Trouble> {
    let mut out = Out::open(lines.place.write.as_deref())?;
    out.put(&kind.heading())?;
    let folder = offline::folder(lines.place.folder.as_deref(), &lines.place.config)?;
    let house = House::of(Config::load(&lines.place.config).ok().as_ref());
    let records = past::records(&folder).map_err(Trouble::Said)?;
    let mut names = Pseudonyms::default();
    let mut exit = Exit::Done;
    let span = lines.span.plain();
    let wants = |asset: &str, at: &str| span.wants(Some(asset), at);
    let work = |record: &OnShelf| exports::told(&folder, record, wants, &house);
    crowd::each(&records, work, |record, told| {
        match told {
            Ok(None) => {}
            Ok(Some(mut report)) => {
                if lines.pseudonyms {
                    names.hide(&mut report);
                }
                out.put(&kind.text(&report))?;
            }
            Err(why) => {
                exit = Exit::Trouble;
                output::talk(&format!("{}: {why}", record.id));
            }
        }
        Ok(())
    })?;
    out.end().map(|done| done.max(exit))
}

/// Every book is read: a calendar that leaves an asset out is worse than none.
fn of_due(under: Option<&str>, before: Option<&str>, place: &Place) -> Result<Exit, Trouble> {
    let before = before.map(|day| {
        let no_day = || Trouble::Said(english().tell("due", "no_day", &[("day", day)]));
        Day::parse(day).ok_or_else(no_day)
    });
    let before = before.transpose()?;
    let config = offline::load(&place.config)?;
    let folder = place.folder.clone().unwrap_or_else(|| config.store.folder.clone());
    let mut ledger = Ledger::of(&folder, None).map_err(Trouble::Said)?;
    let records = past::records(&folder).map_err(Trouble::Said)?;
    let read = |record: &OnShelf| past::read(&folder, record, None);
    crowd::each(&records, read, |record, result| match result {
        Ok(past) => {
            past.into_iter().for_each(|past| ledger.take(past));
            Ok(())
        }
        Err(why) => Err(Trouble::Said(format!("{}: {why}", record.id))),
    })?;
    let station = (config.station.id.as_str(), config.station.name.as_str());
    let text = exports::due(ledger, station, (under, before));
    let mut out = Out::open(place.write.as_deref())?;
    out.put(&text)?;
    out.end()
}

/// A file that was not there before, or standard output.
struct Out(Box<dyn Write>);

impl Out {
    fn open(file: Option<&Path>) -> Result<Out, Trouble> {
        let Some(path) = file else {
            return Ok(Out(Box::new(BufWriter::new(io::stdout().lock()))));
        };
        let file = File::create_new(path).map_err(|error| not_written(Some(path), &error))?;
        Ok(Out(Box::new(BufWriter::new(file))))
    }

    fn put(&mut self, text: &str) -> Result<(), Trouble> {
        self.0.write_all(text.as_bytes()).map_err(|error| not_written(None, &error))
    }

    fn end(mut self) -> Result<Exit, Trouble> {
        self.0.flush().map_err(|error| not_written(None, &error))?;
        Ok(Exit::Done)
    }
}

fn not_written(file: Option<&Path>, error: &io::Error) -> Trouble {
    if file.is_none() && error.kind() == io::ErrorKind::BrokenPipe {
        return Trouble::Quiet;
    }
    let file = file.map_or_else(|| "the output".to_owned(), |file| file.display().to_string());
    let values = [("file", file.as_str()), ("why", &error.to_string())];
    Trouble::Said(english().tell("export", "not_written", &values))
}
