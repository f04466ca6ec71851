//! What can be typed to read records again.

use std::path::PathBuf;

use clap::Args;

use crate::past;

/// Records read again.
#[derive(Debug, Clone, Args)]
pub struct Replay {
    /// Record (.jsonl): an inspection, or a day of idle bytes; with --all a data folder
    /// [default with --all: the one of the configuration]
    #[arg(required_unless_present = "all")]
    pub file: Option<PathBuf>,
    /// All inspections of a data folder, sealed and in work; only what differs is listed. The
    /// station may run meanwhile
    #[arg(long)]
    pub all: bool,
    /// Which of them
    #[command(flatten)]
    pub span: Span,
    /// Configuration file, for its data folder
    #[arg(long, env = "TAPLINE_CONFIG", default_value = "/etc/tapline/tapline.toml")]
    pub config: PathBuf,
}

/// What rests on something that turned out wrong. Of a data folder or a configuration that is named
/// the books are read, not an index, and the station may run meanwhile; without one the running
/// station is asked, and only what has to be judged again is read.
#[derive(Debug, Clone, Args)]
#[command(group = clap::ArgGroup::new("basis").required(true))]
pub struct Find {
    /// Data folder whose books are read [default: the one of --config; without that the station is
    /// asked]
    pub folder: Option<PathBuf>,
    /// Verdicts that rest on readings of this instrument, or of this setup
    #[arg(long, value_name = "LABEL", group = "basis")]
    pub instrument: Option<String>,
    /// Verdicts that rest on this network or lead set
    #[arg(long, value_name = "LABEL", group = "basis")]
    pub fixture: Option<String>,
    /// Verdicts by this limit: a row (iec62353-2014.pe.fixed_cord), an edition
    /// ("IEC 62353/2014"), or at least 12 digits of a table's SHA-256
    #[arg(long, value_name = "LIMIT", group = "basis")]
    pub limit_table: Option<String>,
    /// Verdicts that rest on bytes read by this driver, such as scpi or scpi@1; of a described one
    /// also by at least 12 digits of its file's SHA-256
    #[arg(long, value_name = "NAME[@VERSION]", group = "basis")]
    pub driver: Option<String>,
    /// Which inspections
    #[command(flatten)]
    pub span: Span,
    /// What if the instrument read so many percent too high (5) or too low (-5): only verdicts
    /// that would be others, or lie within their doubt of the limit then, are listed. Values,
    /// nulls and readings of the network are put right; acts, switches and times stay
    #[arg(long, value_name = "PERCENT", requires = "instrument", allow_negative_numbers = true)]
    pub reading_off: Option<String>,
    /// Only readings of this function were off, such as resistance_4w [default: all]
    #[arg(long, value_name = "FUNCTION", requires = "reading_off")]
    pub function: Option<String>,
    /// What if the limit were this one, such as "0.2 Ohm"
    #[arg(long, value_name = "VALUE", requires = "limit_table")]
    pub limit: Option<String>,
    /// Configuration file, for its data folder
    #[arg(long, env = "TAPLINE_CONFIG")]
    pub config: Option<PathBuf>,
}

/// When assets are due. Of a data folder or a configuration that is named the books are read, not
/// an index, and the station may run meanwhile; without one the running station is asked.
#[derive(Debug, Clone, Args)]
pub struct Due {
    /// Data folder whose books are read [default: the one of --config; without that the station is
    /// asked]
    pub folder: Option<PathBuf>,
    /// Only this asset
    #[arg(long, value_name = "ASSET")]
    pub asset: Option<String>,
    /// Only what lies in this place, such as North/2: its wards and rooms too
    #[arg(long, value_name = "PLACE")]
    pub under: Option<String>,
    /// Only what work orders ask for
    #[arg(long)]
    pub ordered: bool,
    /// Only what goes back to whom it belongs, with its day
    #[arg(long)]
    pub back: bool,
    /// At most so many lines, those that are due first
    #[arg(long, value_name = "N")]
    pub limit: Option<usize>,
    /// Count from the day on which it was due, so that early and late days move nothing [default:
    /// as the configuration said when the station started: from the day of the inspection]
    #[arg(long)]
    pub from_due: bool,
    /// To the end of the month in which the day falls [default: as the configuration said]
    #[arg(long)]
    pub month_end: bool,
    /// What is overdue on this day [default: today, UTC]
    #[arg(long, value_name = "DAY")]
    pub on: Option<String>,
    /// Configuration file, for its data folder
    #[arg(long, env = "TAPLINE_CONFIG")]
    pub config: Option<PathBuf>,
}

/// The numbers of a month, as the running station counts them.
#[derive(Debug, Clone, Args)]
pub struct Month {
    /// Month, such as 2026-11 [default: this one, UTC]
    pub month: Option<String>,
    /// Days after the due day on which an inspection is in time yet
    #[arg(long, value_name = "DAYS", default_value_t = 0)]
    pub grace: u32,
    /// Name at most so many of what is missing; 0: all
    #[arg(long, value_name = "N", default_value_t = 100)]
    pub missing: usize,
}

/// What an asset measured, like for like. Of a data folder or a configuration that is named the
/// books are read, not an index, and the station may run meanwhile; without one the running station
/// is asked.
#[derive(Debug, Clone, Args)]
pub struct History {
    /// Asset
    pub asset: String,
    /// Data folder whose books are read [default: the one of --config; without that the station is
    /// asked]
    pub folder: Option<PathBuf>,
    /// Configuration file, for its data folder
    #[arg(long, env = "TAPLINE_CONFIG")]
    pub config: Option<PathBuf>,
}

/// How a verdict came about.
#[derive(Debug, Clone, Args)]
pub struct Explain {
    /// Record (.jsonl), or the number of an inspection of the data folder
    pub inspection: String,
    /// Step of the plan (pe), or one of its values (pe/1)
    pub step: String,
    /// Data folder [default: the one of the configuration]
    #[arg(long, value_name = "FOLDER")]
    pub folder: Option<PathBuf>,
    /// Configuration file, for its data folder
    #[arg(long, env = "TAPLINE_CONFIG", default_value = "/etc/tapline/tapline.toml")]
    pub config: PathBuf,
}

/// Which inspections of a data folder.
#[derive(Debug, Clone, Default, Args)]
pub struct Span {
    /// Opened on this day or later, UTC (2026-03-01, or a moment)
    #[arg(long, value_name = "DAY", value_parser = day)]
    pub from: Option<String>,
    /// Opened before this day, UTC
    #[arg(long, value_name = "DAY", value_parser = day)]
    pub to: Option<String>,
    /// Of this asset
    #[arg(long, value_name = "ASSET")]
    pub asset: Option<String>,
}

impl Span {
    /// It is among those that are wanted; `opened` in UTC, microseconds and `Z`.
    #[must_use]
    pub fn wants(&self, asset: Option<&str>, opened: &str) -> bool {
        self.plain().wants(asset, opened)
    }

    /// The same for the readers of records.
    pub(crate) fn plain(&self) -> past::Span {
        let Span { from, to, asset } = self.clone();
        past::Span { asset, from, to }
    }
}

/// A day, `2026-03-01`, or a moment that begins with one.
fn day(text: &str) -> Result<String, String> {
    match text.get(..10).unwrap_or("").parse::<jiff::civil::Date>() {
        Ok(_) => Ok(text.into()),
        Err(_) => Err("is no day such as 2026-03-01".into()),
    }
}
