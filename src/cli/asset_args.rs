//! What can be typed about assets.

use std::path::PathBuf;

use clap::Subcommand;

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
