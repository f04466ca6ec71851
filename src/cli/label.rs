//! `tapline label`: what came of an inspection, to be stuck on the asset; and the asset's own code.

use std::path::{Path, PathBuf};

use clap::Args;
use tapline_paper::canvas::Page;
use tapline_paper::label::{NoLabel, Own, Size, asset, result};
use tapline_paper::pdf::{About, pdf};
use tapline_paper::raster::raster;
use tapline_paper::svg::svg;
use tapline_paper::words::Language;
use tapline_protocols::due::Day;
use tapline_protocols::register::Asset;

use super::report::{gathered, said, written};
use super::{Exit, Trouble, explain, offline};
use crate::config::{Config, Paper};
use crate::past::due::{Counted, Ledger};
use crate::report::Of;
use crate::told::label::{USUAL_DPI, USUAL_SIZE, none};
use crate::words::english;

/// Which label, and how it is printed.
#[derive(Debug, Clone, Args)]
pub struct Label {
    /// Record (.jsonl), or the number of an inspection of the data folder
    #[arg(required_unless_present = "asset")]
    pub inspection: Option<String>,
    /// The asset's own label instead, by which it is scanned
    #[arg(long, value_name = "ASSET", conflicts_with = "inspection")]
    pub asset: Option<String>,
    /// File to write [default: standard output, where that is no screen]
    #[arg(long, value_name = "FILE")]
    pub write: Option<PathBuf>,
    /// What it is written as [default: by the name of the file, else pdf]
    #[arg(long = "as", value_name = "FORM", value_parser = ["pdf", "svg", "png"])]
    pub form: Option<String>,
    /// Dots an inch of the printer: all edges of codes lie on them
    #[arg(long, default_value_t = USUAL_DPI)]
    pub dpi: u16,
    /// Width and height
    #[arg(long, default_value = USUAL_SIZE)]
    pub size: String,
    /// Language of the label [default: the one of the configuration]
    #[arg(long, value_name = "LANGUAGE", value_parser = ["en", "de"])]
    pub language: Option<String>,
    /// Data folder [default: the one of the configuration]
    #[arg(long, value_name = "FOLDER")]
    pub folder: Option<PathBuf>,
    /// Configuration file, for its data folder and what stands on paper
    #[arg(long, env = "TAPLINE_CONFIG", default_value = "/etc/tapline/tapline.toml")]
    pub config: PathBuf,
}

/// Writes the label. Exit: 0, whatever the inspection came to.
pub(super) fn label(args: &Label) -> Result<Exit, Trouble> {
    let config = Config::load(&args.config).ok();
    let usual = config.as_ref().map(|config| config.paper.clone()).unwrap_or_default();
    let dpi = args.dpi.to_string();
    let size = Size::read(&args.size, args.dpi)
        .ok_or_else(|| no("size", &[("size", &args.size), ("dpi", &dpi)]))?;
    let page = match (&args.asset, &args.inspection) {
        (Some(id), _) => own(&registered(args, id)?, &usual, size)?,
        (None, Some(inspection)) => of_result(args, inspection, config.as_ref(), size)?,
        (None, None) => return Err(Trouble::Quiet),
    };
    let title = args.asset.as_ref().or(args.inspection.as_ref()).cloned().unwrap_or_default();
    let bytes = match form(args.form.as_deref(), args.write.as_deref()) {
        "svg" => svg(&page).into_bytes(),
        "png" => {
            let dots = raster(&page, u32::from(size.dpi));
            dots.expect("a size is read within its bounds").png()
        }
        _ => {
            let about =
                About { title: title.clone(), id: title, language: "en".into(), date: None };
            pdf(&[page], &about).map_err(said)?
        }
    };
    written(args.write.as_deref(), &bytes)
}

fn form<'a>(named: Option<&'a str>, file: Option<&'a Path>) -> &'a str {
    let ending = file.and_then(Path::extension).and_then(|ending| ending.to_str());
    named.or(ending.filter(|ending| ["svg", "png"].contains(ending))).unwrap_or("pdf")
}

fn of_result(
    args: &Label,
    inspection: &str,
    config: Option<&Config>,
    size: Size,
) -> Result<Page, Trouble> {
    let (file, in_work) = explain::file(inspection, args.folder.as_deref(), &args.config)?;
    let report = gathered(Of { file: &file, in_work, until: None }, config)?;
    let usual = config.map(|config| config.paper.clone()).unwrap_or_default();
    let language = args.language.as_deref().unwrap_or(&usual.language);
    let words = Language::named(language).unwrap_or_default().words();
    result(&report, words, size).map_err(|why| refused(&report.id, &why))
}

fn own(registered: &Asset, usual: &Paper, size: Size) -> Result<Page, Trouble> {
    let own = match usual.asset_code.as_str() {
        "lines" => Own::Lines,
        "gs1" => Own::Gs1,
        _ => Own::Squares,
    };
    let Asset { id, description, giai, .. } = registered;
    asset(id, description, giai.as_deref(), own, size).map_err(|why| refused(id, &why))
}

fn refused(id: &str, why: &NoLabel) -> Trouble {
    Trouble::Said(none(id, why))
}

fn no(code: &str, values: &[(&str, &str)]) -> Trouble {
    Trouble::Said(english().tell("label", code, values))
}

/// The asset as the station's books have it, in use or not.
fn registered(args: &Label, id: &str) -> Result<Asset, Trouble> {
    let folder = offline::folder(args.folder.as_deref(), &args.config)?;
    let ledger = Ledger::of(&folder, Some(id)).map_err(Trouble::Said)?;
    let before_all = Day::parse("1900-01-01").expect("it is one");
    let rows = ledger.rows(Counted::default(), before_all);
    let found = rows.into_iter().find_map(|row| row.asset);
    found.ok_or_else(|| no("no_asset", &[("id", id)]))
}
