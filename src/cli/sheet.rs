//! `tapline sheet`: what is hung up or laid beside a bench, as pages.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use tapline_paper::pdf::pdf;
use tapline_paper::report::Paper;
use tapline_paper::words::Language;

use super::report::{said, written};
use super::{Exit, Trouble};
use crate::config::Config;
use crate::told::sheet as pages;

/// Which sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Kind {
    /// Control codes, and the card for steps that are live
    Control,
    /// Known codes, for `tapline scanner test`
    Selftest,
    /// What can hurt, to be hung up
    Cautions,
}

/// A sheet, and how it is printed.
#[derive(Debug, Clone, Args)]
pub struct Sheet {
    /// Which one
    pub what: Kind,
    /// Lead set of the bench that is nulled by a code; several times for several
    #[arg(long = "lead", value_name = "LEAD")]
    pub leads: Vec<String>,
    /// Lines (Code 128) for readers that read no squares (Data Matrix)
    #[arg(long)]
    pub lines: bool,
    /// File to write (PDF) [default: standard output, where that is no screen]
    #[arg(long, value_name = "FILE")]
    pub write: Option<PathBuf>,
    /// Size of the paper [default: the one of the configuration]
    #[arg(long, value_name = "SIZE", value_parser = ["a4", "letter"])]
    pub paper: Option<String>,
    /// Language of the paper [default: the one of the configuration]
    #[arg(long, value_name = "LANGUAGE", value_parser = ["en", "de"])]
    pub language: Option<String>,
    /// Configuration file, for what stands on paper
    #[arg(long, env = "TAPLINE_CONFIG", default_value = "/etc/tapline/tapline.toml")]
    pub config: PathBuf,
}

/// Writes the sheet.
pub(super) fn sheet(args: &Sheet) -> Result<Exit, Trouble> {
    let usual = Config::load(&args.config).map(|config| config.paper).unwrap_or_default();
    let language = args.language.as_deref().unwrap_or(&usual.language);
    let language = Language::named(language).unwrap_or_default();
    let paper = Paper::named(args.paper.as_deref().unwrap_or(&usual.size)).unwrap_or_default();
    let what = match args.what {
        Kind::Control => pages::Sheet::Control { leads: args.leads.clone(), lines: args.lines },
        Kind::Selftest => pages::Sheet::Selftest,
        Kind::Cautions => pages::Sheet::Cautions,
    };
    let (pages, about) = pages::pages(&what, language, paper).map_err(said)?;
    written(args.write.as_deref(), &pdf(&pages, &about).map_err(said)?)
}
