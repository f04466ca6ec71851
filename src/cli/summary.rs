//! `tapline summary`: a day, a week or a month on paper, as a table, as data.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;
use tapline_paper::pdf;
use tapline_paper::report::Paper;
use tapline_paper::summary::{Summary as Told, about, html, pages};
use tapline_paper::words::Language;
use tapline_protocols::due::{Day, Period};

use super::client::Client;
use super::report::{said, written};
use super::{Exit, Trouble, offline, output, rebuild};
use crate::books::Shelf;
use crate::clock;
use crate::config::Config;
use crate::exchange::csv::Form;
use crate::exchange::summary::table;
use crate::index::{Index, NumbersQuery};
use crate::report::House;
use crate::report::summary::summary as told;
use crate::words::english;

/// Which days, and how they are told. Of a data folder that is named the books are read, every one,
/// and the station may run meanwhile; without one the running station is asked.
#[derive(Debug, Clone, Args)]
pub struct Summary {
    /// A day (2026-11-27), a week (2026-W48) or a month (2026-11) [default: this month, UTC]
    pub period: Option<String>,
    /// Days after the due day on which an inspection is in time yet
    #[arg(long, value_name = "DAYS", default_value_t = 0)]
    pub grace: u32,
    /// File to write [default: standard output, where that is no screen]
    #[arg(long, visible_alias = "out", value_name = "FILE")]
    pub write: Option<PathBuf>,
    /// What it is written as; csv and json name all that is missing [default: by the name of the
    /// file, else pdf]
    #[arg(
        long = "as",
        visible_alias = "format",
        value_name = "FORM",
        value_parser = ["pdf", "csv", "html", "json"]
    )]
    pub form: Option<String>,
    /// Size of the paper [default: the one of the configuration]
    #[arg(long, value_name = "SIZE", value_parser = ["a4", "letter"])]
    pub paper: Option<String>,
    /// Language of the paper [default: the one of the configuration]
    #[arg(long, value_name = "LANGUAGE", value_parser = ["en", "de"])]
    pub language: Option<String>,
    /// Data folder, or an archive, whose books are read [default: the station is asked]
    #[arg(long, value_name = "FOLDER")]
    pub folder: Option<PathBuf>,
    /// Configuration file, for what stands on paper
    #[arg(long, env = "TAPLINE_CONFIG", default_value = "/etc/tapline/tapline.toml")]
    pub config: PathBuf,
}

/// Writes the summary. Exit: 0, or 2 where a record counts for nothing, since it is damaged.
pub(super) fn summary(args: &Summary, client: &Client) -> Result<Exit, Trouble> {
    let today = Day::parse(&clock::utc_day(clock::now().wall_us)).expect("a clock shows a day");
    let period = match &args.period {
        None => Period::month_of(today),
        Some(text) => Period::parse(text).ok_or_else(|| {
            Trouble::Said(english().tell("month", "no_period", &[("period", text)]))
        })?,
    };
    let config = Config::load(&args.config).ok();
    let summary = match &args.folder {
        Some(folder) => {
            let query =
                NumbersQuery { period, today, grace: args.grace, after: None, limit: usize::MAX };
            of_books(folder, &query, &House::of(config.as_ref()))?
        }
        None => {
            let path = format!("/v1/periods/{}/summary.json?grace={}", period.name(), args.grace);
            let answer = client.get(&path)?;
            serde_json::from_value(answer).map_err(said)?
        }
    };
    let usual = config.map(|config| config.paper).unwrap_or_default();
    let language = args.language.as_deref().unwrap_or(&usual.language);
    let size = Paper::named(args.paper.as_deref().unwrap_or(&usual.size)).unwrap_or_default();
    let bytes = bytes(args, &summary, Language::named(language).unwrap_or_default(), size)?;
    written(args.write.as_deref(), &bytes)?;
    if summary.damaged > 0 {
        let n = summary.damaged.to_string();
        output::talk(&english().tell("month", "damaged", &[("n", &n)]));
        return Ok(Exit::of_code(2));
    }
    Ok(Exit::Done)
}

fn bytes(
    args: &Summary,
    summary: &Told,
    language: Language,
    size: Paper,
) -> Result<Vec<u8>, Trouble> {
    Ok(match form(args.form.as_deref(), args.write.as_deref()) {
        "csv" => table(summary, Form::default()).into_bytes(),
        "html" => html::html(summary, language).into_bytes(),
        "json" => serde_json::to_vec_pretty(summary).expect("it is plain fields and strings"),
        _ => pdf::pdf(&pages(summary, language, size), &about(summary, language)).map_err(said)?,
    })
}

fn form<'a>(named: Option<&'a str>, file: Option<&'a Path>) -> &'a str {
    let ending = file.and_then(Path::extension).and_then(|ending| ending.to_str());
    named.or(ending).filter(|form| ["csv", "html", "json"].contains(form)).unwrap_or("pdf")
}

/// The books are indexed anew, beside them: nothing is written where they lie.
fn of_books(folder: &Path, query: &NumbersQuery, house: &House) -> Result<Told, Trouble> {
    let shelf = Shelf::new(Arc::new(offline::disk(folder)?));
    let beside = Beside::new()?;
    let told_how_far = rebuild::teller();
    let (index, _) = Index::open_as_is(&beside.0, &shelf, &told_how_far).map_err(said)?;
    let numbers = index.numbers(query).map_err(said)?;
    Ok(told(&numbers, query, house, clock::now().wall_us))
}

/// A folder for an index that is of use once.
struct Beside(PathBuf);

impl Beside {
    fn new() -> Result<Beside, Trouble> {
        let at = std::env::temp_dir().join(format!("tapline-summary-{}", std::process::id()));
        std::fs::create_dir(&at)
            .map_err(|error| Trouble::Said(format!("{}: {error}", at.display())))?;
        Ok(Beside(at))
    }
}

impl Drop for Beside {
    fn drop(&mut self) {
        // What stays is a cache that nobody asks.
        let _ = std::fs::remove_dir_all(&self.0);
    }
}
