//! What can be typed about assets.

use std::path::PathBuf;

use clap::Subcommand;

use crate::station::OUTCOMES;

/// Assets.
#[derive(Debug, Subcommand)]
pub enum AssetCommand {
    /// All of them, or those of a place
    List {
        /// Only what lies in this place, such as North/2: its wards and rooms too
        #[arg(long, value_name = "PLACE")]
        under: Option<String>,
    },
    /// Places as a tree, each with how many assets lie in it
    Places,
    /// One of them
    Show {
        /// Its number
        id: String,
    },
    /// Take a list into the register: CSV with `,` or `;`. What the list has no column for stays as
    /// the register has it
    Import {
        /// The list (.csv)
        file: PathBuf,
        /// Which of its columns is which of ours, and what its words mean (.toml; see
        /// contrib/example/assets-map.toml)
        #[arg(long, value_name = "FILE")]
        map: Option<PathBuf>,
        /// Only say what would be new, changed and unchanged
        #[arg(long)]
        dry_run: bool,
    },
    /// Values that were measured before the station was, from paper or a spreadsheet: shown with
    /// its history, and marked there; nothing passes by them
    #[command(subcommand)]
    Values(ValuesCommand),
    /// Note that it was looked for and not inspected; no inspection is opened. The list of what is
    /// due shows it, and how long nobody has found it
    Visit {
        /// Its number
        id: String,
        /// What came of it; retired takes it off the lists
        #[arg(long, value_parser = OUTCOMES)]
        outcome: String,
        /// Where it was looked for, or is
        #[arg(long)]
        place: Option<String>,
        /// Day on which somebody will look for it again, such as 2026-12-01
        #[arg(long, value_name = "DAY")]
        retry: Option<String>,
        /// Why
        #[arg(long)]
        reason: Option<String>,
    },
    /// Write the register as CSV, which imports again to the same. Text stays exactly what it is:
    /// a spreadsheet may take a field that begins with = for a formula
    Export {
        /// The file, which must not be there yet [default: standard output]
        file: Option<PathBuf>,
        /// Only what lies in this place, such as North/2: its wards and rooms too
        #[arg(long, value_name = "PLACE")]
        under: Option<String>,
    },
}

/// Values from before the station was.
#[derive(Debug, Subcommand)]
pub enum ValuesCommand {
    /// All of them, or those of an asset
    List {
        /// Its number
        asset: Option<String>,
    },
    /// Take a list in: CSV with `,` or `;`, a row a value. What stands there already is put right
    /// by a row of the same asset, day and measurement, or taken back by a reason in `withdrawn`
    Import {
        /// The list (.csv): asset, day, measurand, value, unit, source; and if known method, kind,
        /// point, condition, measured_by, meter, remark
        file: PathBuf,
        /// Which of its columns is which of ours, and what its words mean (.toml; see
        /// contrib/example/values-map.toml). A list of whole inspections is taken in once for each
        /// of its columns, with a map each
        #[arg(long, value_name = "FILE")]
        map: Option<PathBuf>,
        /// Only say what would be new, changed and unchanged
        #[arg(long)]
        dry_run: bool,
    },
    /// Write them as CSV, which imports again to the same
    Export {
        /// The file, which must not be there yet [default: standard output]
        file: Option<PathBuf>,
    },
}
