//! What can be typed.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

pub use super::again_args::{Due, Explain, Find, History, Month, Replay, Span};
pub use super::asset_args::{AssetCommand, ValuesCommand};
pub use super::bench_args::BenchCommand;
pub use super::life_args::LifeCommand;
pub use super::order::OrderCommand;

/// Taps the bench instruments of a clinical-engineering workshop and keeps what they said as
/// evidence.
#[derive(Debug, Parser)]
#[command(name = "tapline", version, about, max_term_width = 100)]
pub struct Cli {
    /// What is common to all commands.
    #[command(flatten)]
    pub common: Common,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What is common to all commands.
#[derive(Debug, Clone, Args)]
pub struct Common {
    /// Print JSON
    #[arg(long, global = true)]
    pub json: bool,
    /// Where the station listens [default: /run/tapline/tapline.sock]
    #[arg(long, global = true, value_name = "FILE", env = "TAPLINE_SOCKET")]
    pub socket: Option<PathBuf>,
    /// Which bench is meant; needed where a station has several
    #[arg(long, global = true)]
    pub bench: Option<String>,
    /// Who acts; otherwise whoever is logged in at the bench
    #[arg(long, global = true, value_name = "OPERATOR")]
    pub by: Option<String>,
}

/// The commands. Those that need no station come first.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Run the station in the foreground
    Serve {
        /// Configuration file
        #[arg(long, env = "TAPLINE_CONFIG", default_value = "/etc/tapline/tapline.toml")]
        config: PathBuf,
        /// Only say what is wrong with the configuration
        #[arg(long)]
        check: bool,
        /// Open the page on loopback, whatever the configuration says; any free port without one
        #[arg(long, value_name = "PORT", num_args = 0..=1, default_missing_value = "0")]
        page: Option<u16>,
    },
    /// A simulated bench in an invented clinic, through to sealed records
    Demo(Demo),
    /// The process of the simulated bench, started by `demo`
    #[command(hide = true)]
    DemoBench {
        /// Its own arguments
        #[arg(trailing_var_arg = true, allow_hyphen_values = true)]
        args: Vec<String>,
    },
    /// What is plugged in, who has it, what it is used for. Opens no port; needs no station
    Ports(super::ports::Ports),
    /// Listen what speaks on a port; gives a piece of configuration. Sends nothing unasked
    Identify(super::identify::Identify),
    /// Listen to a stranger, guess its framing, write a first draft of its driver. Sends nothing
    Learn(super::learn::Learn),
    /// Record what a port says into a file that `decode` reads; sends nothing, needs no station
    Record(super::record::Record),
    /// Self-test of a barcode reader with a printed sheet; needs no station
    Scanner {
        /// What to do with it.
        #[command(subcommand)]
        what: super::scanner::ScannerCommand,
    },
    /// Bytes in, readings out as JSON lines; needs no station
    Decode {
        /// Name of a driver, or a file that describes one (.toml): without bytes its examples are
        /// tried
        #[arg(long)]
        driver: String,
        /// File of bytes, or a capture (.cap) [default: standard input]
        file: Option<PathBuf>,
    },
    /// Measured values in, one JSON object a line; verdicts out; needs no station
    Judge {
        /// File of questions [default: standard input]
        file: Option<PathBuf>,
    },
    /// Inspection plans: check one, or show what one becomes for an asset
    Plan {
        /// What to do with it.
        #[command(subcommand)]
        what: PlanCommand,
    },
    /// Check sealed records, or a whole data folder; needs no station
    Verify {
        /// Records (.jsonl), or a data folder: every book, what was sealed against what is there,
        /// keys against what was announced. The station may run meanwhile
        #[arg(required = true)]
        files: Vec<PathBuf>,
        /// Public key of the station (PEM) [default: the station's folder of keys]
        #[arg(long)]
        key: Option<PathBuf>,
    },
    /// Let a record's raw bytes give its facts once more, and compare; needs no station
    Replay(Replay),
    /// What rests on a meter, a limit or a driver that turned out wrong; needs no station
    Find(Find),
    /// When each asset is to be inspected next, by its interval: as the station has it, or from the
    /// books of a folder
    Due(Due),
    /// What an asset measured, like for like, and where it is going; needs no station
    History(History),
    /// A verdict from its bytes on: readings, window, corrections, limit, rule; needs no station
    Explain(Explain),
    /// An inspection on paper (PDF or HTML), from its record; needs no station
    Report(super::report::Report),
    /// A result's label or tag, or the label that an asset is scanned by; needs no station
    Label(super::label::Label),
    /// Control codes, a reader's self-test, cautions, as pages (PDF); needs no station
    Sheet(super::sheet::Sheet),
    /// Judge this site's limits, play reference inspections and mistakes on this machine: a signed
    /// record
    Validate(super::validate::Validate),
    /// Make the index again from the books; the station must not be running
    Rebuild {
        /// Configuration file
        #[arg(long, env = "TAPLINE_CONFIG", default_value = "/etc/tapline/tapline.toml")]
        config: PathBuf,
    },
    /// Give out what was measured: tables, JSON Lines, FHIR, a calendar; needs no station
    Export {
        /// What is given out.
        #[command(subcommand)]
        what: super::export::Export,
    },
    /// Copy all that is sealed to another medium, read it back, note a receipt; the station may run
    Archive(super::archive::Archive),
    /// Try what an archive gives back: bring it into a folder for the moment, check all of it, and
    /// let the raw bytes of every record give its facts once more
    Drill(super::archive::Archive),
    /// Bring an archive into an empty data folder, byte for byte; the station must not be running
    Import(super::archive::Archive),
    /// Say which records of retired assets may go, or remove them: what an archive holds, after the
    /// time that the configuration names; the station must not be running
    Prune(super::archive::Prune),
    /// The station's signing keys: list them, or make a new one
    Key {
        /// What to do with them.
        #[command(subcommand)]
        what: super::key::KeyCommand,
    },
    /// What is going on, and what to do now
    Status,
    /// The address of the bench page, with the key of this run of the station
    Page,
    /// A day, a week or a month on paper or as a table: numbers, plots, what is missing
    Summary(super::summary::Summary),
    /// The numbers of a month: in time, found, faults, minutes, overdue, what is missing
    Month(Month),
    /// Follow the live log
    Tail(Tail),
    /// An inspection: result, or its raw bytes
    Show {
        /// Inspection
        id: String,
        /// Raw bytes with their stamps
        #[arg(long)]
        raw: bool,
    },
    /// Limits: list them, or confirm rows against your own copy of the standard
    Limits {
        /// What to do with them.
        #[command(subcommand)]
        what: LimitsCommand,
    },
    /// Assets: list, show, import, export
    Asset {
        /// What to do with them.
        #[command(subcommand)]
        what: AssetCommand,
    },
    /// Work orders: what other programs want to be inspected, and what came of it
    Order {
        /// What to do with them.
        #[command(subcommand)]
        what: OrderCommand,
    },
    /// Operators: list, show, import, log in at the bench
    Operator {
        /// What to do with them.
        #[command(subcommand)]
        what: OperatorCommand,
    },
    /// Instruments: list, show, import, chart
    Instrument {
        /// What to do with them.
        #[command(subcommand)]
        what: InstrumentCommand,
    },
    /// Check standards: list, show, import
    Standard {
        /// What to do with them.
        #[command(subcommand)]
        what: RegisterCommand,
    },
    /// Fixtures and leads: list, show, import
    Fixture {
        /// What to do with them.
        #[command(subcommand)]
        what: RegisterCommand,
    },
    /// Print what makes a shell complete commands and options
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
    /// Write the pages for `man`, one a command
    Man {
        /// Folder that takes them
        folder: PathBuf,
    },
    /// What is done to a sealed inspection.
    #[command(flatten)]
    Life(LifeCommand),
    /// What is done at the bench.
    #[command(flatten)]
    Bench(BenchCommand),
}

/// Plans.
#[derive(Debug, Subcommand)]
pub enum PlanCommand {
    /// Say what is wrong with a plan, with lines; needs no station
    Check {
        /// A plan's file (.toml), or the name of a built-in one
        plan: String,
        /// List every limit that it can come to, those to be confirmed first
        #[arg(long)]
        limits: bool,
        /// Configuration file: what lies in `limits/` beside it counts, too
        #[arg(long, value_name = "FILE", env = "TAPLINE_CONFIG", default_value = CONFIG)]
        config: PathBuf,
    },
    /// Steps, conditions, limits, placements and minutes for one asset
    Show(PlanShow),
}

/// What a plan becomes for one asset: with files no station is needed.
#[derive(Debug, Args)]
pub struct PlanShow {
    /// A plan's name, or its file (.toml)
    pub plan: String,
    /// Asset
    #[arg(long)]
    pub asset: String,
    /// Assets (.csv); without it the station is asked
    #[arg(long, requires = "fixtures")]
    pub assets: Option<PathBuf>,
    /// Fixtures and leads (.toml)
    #[arg(long)]
    pub fixtures: Option<PathBuf>,
    /// Instruments (.toml); without it none is called missing
    #[arg(long)]
    pub instruments: Option<PathBuf>,
    /// Steps that are off unless there is a reason, such as insulation
    #[arg(long, value_name = "STEP")]
    pub with: Vec<String>,
    /// Configuration file: what lies in `limits/` beside it counts, too
    #[arg(long, value_name = "FILE", env = "TAPLINE_CONFIG", default_value = CONFIG)]
    pub config: PathBuf,
}

/// Where a station's configuration lies.
const CONFIG: &str = "/etc/tapline/tapline.toml";

/// Limits.
#[derive(Debug, Subcommand)]
pub enum LimitsCommand {
    /// All rows with clause, value and how sure we are of them
    List,
    /// Say that rows were read in your own copy of the standard; the station signs it
    Confirm {
        /// Rows
        #[arg(required = true)]
        rows: Vec<String>,
        /// Your copy
        #[arg(long)]
        document: String,
        /// Clause that was read
        #[arg(long)]
        clause: String,
    },
}

/// Registers.
#[derive(Debug, Subcommand)]
pub enum RegisterCommand {
    /// All of them
    List,
    /// One of them
    Show {
        /// Its label or number
        id: String,
    },
    /// Take a file into the register
    Import {
        /// The file
        file: PathBuf,
    },
}

/// Instruments.
#[derive(Debug, Subcommand)]
pub enum InstrumentCommand {
    /// All of them
    List,
    /// One of them
    Show {
        /// Its label
        id: String,
    },
    /// Take a file into the register
    Import {
        /// The file
        file: PathBuf,
    },
    /// Which check standards judge it, and what the last check of each came to
    Qualify {
        /// Its label
        id: String,
    },
    /// What it showed on check standards, newest last
    Chart {
        /// Its label
        id: String,
    },
}

/// Operators.
#[derive(Debug, Subcommand)]
pub enum OperatorCommand {
    /// All of them
    List,
    /// One of them
    Show {
        /// Operator
        id: String,
    },
    /// Take a file into the register
    Import {
        /// The file
        file: PathBuf,
    },
    /// Set the PIN that an operator signs with, where the policy asks for one. Badge and PIN are
    /// asked for and not shown; from a pipe they are read a line each: badge, the PIN so far
    /// (empty if there is none), the new one twice
    Pin {
        /// Operator
        id: String,
        /// Take it away, so that a new one can be set; for the user that runs the station
        #[arg(long)]
        reset: bool,
    },
    /// Log in at the bench
    Login {
        /// Badge or operator
        badge: String,
    },
    /// Log out at the bench
    Logout,
}

/// The live log.
#[derive(Debug, Clone, Args)]
pub struct Tail {
    /// Only this inspection
    #[arg(long)]
    pub inspection: Option<String>,
    /// Begin behind this line [default: now]
    #[arg(long, value_name = "SEQ")]
    pub after: Option<u64>,
    /// With --json: one object a reading instead of one a stored line
    #[arg(long)]
    pub readings: bool,
}

/// The demonstration.
#[derive(Debug, Clone, Args)]
pub struct Demo {
    /// One scene, by name or file [default: the five of the clinic]
    #[arg(long, value_name = "SCENE")]
    pub scene: Option<String>,
    /// End when the scenes are played; the exit is 0 when each came to what it expects
    #[arg(long)]
    pub once: bool,
    /// Folder of the records [default: a new one among the temporary files]
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    /// Open the page in a browser, too, and say where
    #[arg(long)]
    pub page: bool,
}
