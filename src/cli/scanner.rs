//! `scanner`: a printed sheet of known codes, and what a reader makes of them. Needs no station.

mod codes;
mod draw;
mod sheet;

use std::path::PathBuf;

use clap::Subcommand;
use tapline_drivers::scan::selftest::{Findings, Separator, diagnose};

use super::{Exit, Trouble, offline, output};
use crate::words::english;
pub use codes::codes;
pub use sheet::sheet;

/// What is done with a reader.
#[derive(Debug, Clone, Subcommand)]
pub enum ScannerCommand {
    /// Print the sheet, a page of HTML; print it at its full size
    Sheet,
    /// Print the control codes, two pages of HTML: a sheet, and a card for steps that are live
    Codes {
        /// Lead set of the bench that is nulled by a code; several times for several
        #[arg(long = "lead", value_name = "LEAD")]
        leads: Vec<String>,
        /// Lines (Code 128) for readers that read no squares (Data Matrix)
        #[arg(long)]
        lines: bool,
    },
    /// Say what the reader does to the codes of the sheet, and the setting to store
    Test {
        /// What it sent, each code once [default: standard input, until ^D]
        file: Option<PathBuf>,
    },
}

pub(super) fn run(what: &ScannerCommand) -> Result<Exit, Trouble> {
    match what {
        ScannerCommand::Sheet => {
            output::data(sheet().map_err(|error| Trouble::Said(error.to_string()))?.trim_end())?;
            Ok(Exit::Done)
        }
        ScannerCommand::Codes { leads, lines } => {
            let page = codes(leads, *lines).map_err(|error| Trouble::Said(error.to_string()))?;
            output::data(page.trim_end())?;
            Ok(Exit::Done)
        }
        ScannerCommand::Test { file } => {
            let found = diagnose(&offline::bytes(file.as_deref())?);
            told(&found).iter().for_each(|line| output::talk(line));
            match found.profile() {
                Some(profile) => {
                    // Visible ASCII is quoted in TOML as it is in Rust.
                    if let Some(alias) = profile.gs_alias {
                        output::data(&format!("gs_alias = {alias:?}"))?;
                    }
                    output::data("proven = true")?;
                    Ok(Exit::Done)
                }
                None => Ok(Exit::Fail),
            }
        }
    }
}

fn say(code: &str, values: &[(&str, &str)]) -> String {
    english().tell("scanner", code, values)
}

/// What was found, a sentence each.
#[must_use]
pub fn told(found: &Findings) -> Vec<String> {
    let mut lines = vec![match &found.separator {
        None => say("separator_missing", &[]),
        Some(Separator::Kept) => say("separator_kept", &[]),
        Some(Separator::Lost) => say("separator_lost", &[]),
        Some(Separator::Replaced(text)) => say("separator_replaced", &[("text", text)]),
        Some(Separator::Broken) => say("separator_broken", &[]),
    }];
    let pairs = found.changed.iter().map(|(printed, came)| format!("{printed} as {came}"));
    let pairs = pairs.collect::<Vec<_>>().join(", ");
    lines.push(match (found.layout, found.length, pairs.is_empty()) {
        (false, ..) => say("layout_missing", &[]),
        (_, Some(_), _) => say("layout_length", &[]),
        (_, None, true) => say("layout_kept", &[]),
        (_, None, false) => say("layout_changed", &[("pairs", &pairs)]),
    });
    lines.push(match found.blanks {
        None => say("blanks_missing", &[]),
        Some((true, true)) => say("blanks_kept", &[]),
        Some(_) => say("blanks_trimmed", &[]),
    });
    if !found.identifiers {
        lines.push(say("identifiers", &[]));
    }
    if found.strange > 0 {
        lines.push(say("strange", &[("count", &found.strange.to_string())]));
    }
    lines.push(say(if found.profile().is_some() { "store" } else { "again" }, &[]));
    lines
}
