//! `tapline export`: what other programs take. The books are read, one record after the other on
//! all cores; a station is not needed and may run meanwhile.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use tapline_paper::report::Report;
use tapline_protocols::due::Day;
use tapline_protocols::fact::Open;

use super::again_args::Span;
use super::{Exit, Trouble, crowd, offline, output, report as paper};
use crate::books::OnShelf;
use crate::clock;
use crate::config::Config;
use crate::exchange::calendar::{Item, calendar};
use crate::exchange::csv::{Field, Form};
use crate::exchange::{fhir, pseudonyms::Pseudonyms, tables};
use crate::past::due::{Counted, Ledger, Row};
use crate::past::{self, place_of};
use crate::report::House;
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
        Export::Measurements(table) => {
            let lines = |report: &Report| tables::measurements(report);
            of_table(table, &tables::MEASUREMENTS, lines)
        }
        Export::Inspections(table) => {
            let line = |report: &Report| vec![tables::inspection(report)];
            of_table(table, &tables::INSPECTIONS, line)
        }
        Export::Lines(lines) => {
            let text = |report: &Report| {
                serde_json::to_string(report).expect("it is plain fields and strings") + "\n"
            };
            let out = Out::open(lines.place.write.as_deref())?;
            each(lines, out, text)
        }
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

fn of_table(
    table: &Table,
    columns: &[&str],
    lines: impl Fn(&Report) -> Vec<Vec<Field>> + Sync,
) -> Result<Exit, Trouble> {
    let separator = match table.separator.as_str() {
        "tab" => '\t',
        sign => sign.chars().next().unwrap_or(','),
    };
    let form = Form { spreadsheet: table.spreadsheet, separator };
    let mut out = Out::open(table.lines.place.write.as_deref())?;
    out.put(&form.heading(columns))?;
    let text =
        |report: &Report| lines(report).iter().map(|fields| form.line(fields)).collect::<String>();
    each(&table.lines, out, text)
}

/// Writes what `text` makes of each inspection, in the order of their names.
fn each(
    lines: &Lines,
    mut out: Out,
    text: impl Fn(&Report) -> String + Sync,
) -> Result<Exit, Trouble> {
    let folder = offline::folder(lines.place.folder.as_deref(), &lines.place.config)?;
    let house = House::of(Config::load(&lines.place.config).ok().as_ref());
    let records = past::records(&folder).map_err(Trouble::Said)?;
    let mut names = Pseudonyms::default();
    let mut exit = Exit::Done;
    let work = |record: &OnShelf| told(&folder, record, &lines.span, &house);
    crowd::each(&records, work, |record, told| {
        match told {
            Ok(None) => {}
            Ok(Some(mut report)) => {
                if lines.pseudonyms {
                    names.hide(&mut report);
                }
                out.put(&text(&report))?;
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

/// `None`: it is no inspection that is wanted, or in work.
fn told(
    folder: &Path,
    record: &OnShelf,
    span: &Span,
    house: &House,
) -> Result<Option<Report>, String> {
    // What came after an inspection stands with it.
    if !record.sealed || record.id.contains('+') {
        return Ok(None);
    }
    let wants = |open: &Open, at: &str| {
        open.inspection.as_ref().is_some_and(|one| span.wants(Some(&one.asset), at))
    };
    crate::report::wanted(&place_of(folder, record).0, house, wants)
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
    let now = clock::rfc3339(clock::now().wall_us);
    let today = Day::parse(&now[..10]).expect("a clock shows a day");
    let rows = ledger.rows(Counted::default(), today);
    let items: Vec<Item> = rows.iter().filter_map(|row| item(row, under, before)).collect();
    let at: String = now[..19].chars().filter(|c| !matches!(c, '-' | ':')).collect();
    let text = calendar(&config.station.id, &config.station.name, &format!("{at}Z"), &items);
    let mut out = Out::open(place.write.as_deref())?;
    out.put(&text)?;
    out.end()
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
