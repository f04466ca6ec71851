//! `tapline report INSPECTION`: an inspection on paper.

use std::path::{Path, PathBuf};

use clap::Args;
use tapline_paper::report::{Paper, about, html, pages};
use tapline_paper::words::Language;
use tapline_paper::{pdf, report};

use super::again_args::Span;
use super::reports::reports;
use super::{Exit, Trouble, explain, output};
use crate::books::place::split;
use crate::config::Config;
use crate::past::{self, Past};
use crate::report::{House, Of};
use crate::words::english;

/// Which inspection, and how it is printed.
#[derive(Debug, Clone, Args)]
pub struct Report {
    /// Record (.jsonl), or the number of an inspection of the data folder; ID+1 is the report as it
    /// was when the first book had been added
    #[arg(required_unless_present = "into")]
    pub inspection: Option<String>,
    /// The reports of many inspections into a folder, each named by its number: of all, or of those
    /// that --from, --to and --asset say
    #[arg(long, value_name = "FOLDER", conflicts_with_all = ["inspection", "write", "as_of"])]
    pub into: Option<PathBuf>,
    /// Which of them
    #[command(flatten)]
    pub span: Span,
    /// The report as it was when so many books had been added after the seal; 0: as it was signed
    /// [default: as it is now]
    #[arg(long, value_name = "N")]
    pub as_of: Option<u32>,
    /// File to write [default: standard output, where that is no screen]
    #[arg(long, value_name = "FILE")]
    pub write: Option<PathBuf>,
    /// What it is written as; json: what the others tell, for pages of your own [default: by the
    /// name of the file, else pdf]
    #[arg(long = "as", value_name = "FORM", value_parser = ["pdf", "html", "json"])]
    pub form: Option<String>,
    /// Size of the paper [default: the one of the configuration]
    #[arg(long, value_name = "SIZE", value_parser = ["a4", "letter"])]
    pub paper: Option<String>,
    /// Language of the paper [default: the one of the configuration]
    #[arg(long, value_name = "LANGUAGE", value_parser = ["en", "de"])]
    pub language: Option<String>,
    /// Data folder [default: the one of the configuration]
    #[arg(long, value_name = "FOLDER")]
    pub folder: Option<PathBuf>,
    /// Configuration file, for its data folder and what stands on paper
    #[arg(long, env = "TAPLINE_CONFIG", default_value = "/etc/tapline/tapline.toml")]
    pub config: PathBuf,
}

/// Writes the report. Exit: 0, whatever the inspection came to.
pub(super) fn report(args: &Report) -> Result<Exit, Trouble> {
    let inspection = match (&args.into, &args.inspection) {
        (Some(into), _) => return reports(args, into),
        (None, Some(inspection)) => inspection,
        (None, None) => return Err(Trouble::Quiet),
    };
    let (inspection, until) = match split(inspection) {
        (of, n) if n > 0 => (of, Some(n)),
        (of, _) => (of, args.as_of),
    };
    let (file, in_work) = explain::file(inspection, args.folder.as_deref(), &args.config)?;
    let config = Config::load(&args.config).ok();
    let told = gathered(Of { file: &file, in_work, until }, config.as_ref())?;
    let usual = config.map(|config| config.paper).unwrap_or_default();
    let language = args.language.as_deref().unwrap_or(&usual.language);
    let language = Language::named(language).unwrap_or_default();
    let size = Paper::named(args.paper.as_deref().unwrap_or(&usual.size)).unwrap_or_default();
    let form = form(args.form.as_deref(), args.write.as_deref());
    let bytes = bytes_of(&told, form, language, size).map_err(Trouble::Said)?;
    written(args.write.as_deref(), &bytes)
}

/// A report in a form.
pub(super) fn bytes_of(
    told: &report::Report,
    form: &str,
    language: Language,
    size: Paper,
) -> Result<Vec<u8>, String> {
    Ok(match form {
        "html" => html::html(told, language).map_err(|why| why.to_string())?.into_bytes(),
        "json" => serde_json::to_vec_pretty(told).expect("it is plain fields and strings"),
        _ => {
            let pages = pages(told, language, size).map_err(|why| why.to_string())?;
            pdf::pdf(&pages, &about(told, language)).map_err(|why| why.to_string())?
        }
    })
}

/// An inspection, with what the asset's other records say.
pub(super) fn told(
    inspection: &str,
    folder: Option<&Path>,
    config: &Path,
) -> Result<report::Report, Trouble> {
    let (file, in_work) = explain::file(inspection, folder, config)?;
    let of = Of { file: &file, in_work, until: None };
    gathered(of, Config::load(config).ok().as_ref())
}

fn form<'a>(named: Option<&'a str>, file: Option<&Path>) -> &'a str {
    let ending = file.and_then(Path::extension);
    match named {
        Some(form) => form,
        None if ending.is_some_and(|ending| ending == "html") => "html",
        None if ending.is_some_and(|ending| ending == "json") => "json",
        None => "pdf",
    }
}

pub(super) fn said(why: impl std::fmt::Display) -> Trouble {
    Trouble::Said(why.to_string())
}

/// What the record tells, with what the asset's other records say.
pub(super) fn gathered(of: Of<'_>, config: Option<&Config>) -> Result<report::Report, Trouble> {
    let Of { file, in_work, .. } = of;
    let refused = |why| Trouble::Said(format!("{}: {why}", file.display()));
    let alone = crate::report::report(of, &House::of(config), &[]).map_err(refused)?;
    let pasts = if in_work { Vec::new() } else { pasts(file, &alone.asset.id) };
    crate::report::report(of, &House::of(config), &pasts).map_err(refused)
}

/// The asset's sealed inspections beside a record, `inspections/2026/11/` of a data folder; none
/// where it lies elsewhere, or where they can't be read: that is said.
fn pasts(file: &Path, asset: &str) -> Vec<Past> {
    let Some(folder) = file.ancestors().nth(4) else { return Vec::new() };
    let Ok(records) = past::records(folder) else { return Vec::new() };
    let mut found = Vec::new();
    for record in &records {
        match past::read(folder, record, Some(asset)) {
            Ok(past) => found.extend(past.filter(|past| past.signed.is_some())),
            Err(why) => output::talk(&format!("{}: {why}", record.id)),
        }
    }
    found.sort_by_key(|past| past.signed.map(|(seq, _)| seq));
    found
}

/// Into the file, or to whoever reads.
pub(super) fn written(file: Option<&Path>, bytes: &[u8]) -> Result<Exit, Trouble> {
    match file {
        None => output::piped(bytes)?,
        Some(file) => {
            let refused = |error| {
                let values = [("file", file.display().to_string()), ("why", format!("{error}"))];
                let values: Vec<(&str, &str)> =
                    values.iter().map(|(k, v)| (*k, v.as_str())).collect();
                Trouble::Said(english().tell("report", "not_written", &values))
            };
            std::fs::write(file, bytes).map_err(refused)?;
        }
    }
    Ok(Exit::Done)
}
