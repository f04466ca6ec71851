//! The command line.

mod about;
mod again;
mod again_args;
mod archive;
pub mod args;
mod asset;
mod asset_args;
pub(crate) mod bench;
mod bench_args;
mod chart;
pub mod client;
mod crowd;
pub mod decode;
mod demo;
mod due;
pub mod explain;
mod export;
mod find;
mod folder;
mod history;
mod identify;
pub mod judge;
pub mod key;
mod label;
mod learn;
mod life;
mod life_args;
mod month;
mod offline;
pub(crate) mod order;
mod output;
mod page;
mod plain;
pub mod plan;
mod ports;
pub mod rebuild;
mod record;
mod register;
pub mod render;
pub mod replay;
mod report;
mod reports;
pub mod scanner;
mod secret;
mod sheet;
mod shell;
mod show;
mod status;
mod summary;
mod tail;
mod validate;
mod values;
pub mod verify;

use std::fmt;
use std::path::{Path, PathBuf};

use clap::Parser;

use crate::serve;
use crate::station::event::Problem;
use crate::words::english;
use args::{Cli, Command, Common, PlanCommand};
use client::Client;

/// How a command ended (exit code).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Exit {
    /// 0: done, pass, conditional pass.
    Done,
    /// 3: undecided, or replayed under other versions.
    Undecided,
    /// 1: fail, conditional fail, or a difference was found.
    Fail,
    /// 2: anything wrong with input, station or disk.
    Trouble,
}

impl Exit {
    /// The exit code.
    #[must_use]
    pub fn code(self) -> u8 {
        match self {
            Exit::Done => 0,
            Exit::Fail => 1,
            Exit::Trouble => 2,
            Exit::Undecided => 3,
        }
    }

    /// The end that a code means.
    #[must_use]
    pub fn of_code(code: u8) -> Exit {
        match code {
            0 => Exit::Done,
            1 => Exit::Fail,
            3 => Exit::Undecided,
            _ => Exit::Trouble,
        }
    }

    /// The end of a verdict's word.
    #[must_use]
    pub fn of_word(word: &str) -> Exit {
        match word {
            "pass" | "conditional_pass" => Exit::Done,
            "fail" | "conditional_fail" => Exit::Fail,
            _ => Exit::Undecided,
        }
    }
}

/// Why a command could not be done.
#[derive(Debug)]
pub enum Trouble {
    /// The station refused.
    Refused(Problem),
    /// Anything else: a sentence that says what to do next.
    Said(String),
    /// Nobody reads our output any more.
    Quiet,
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Trouble::Refused(Problem { detail, next, .. }) if next.is_empty() => {
                write!(f, "{detail}")
            }
            Trouble::Refused(Problem { detail, next, .. }) => write!(f, "{detail}\n  next: {next}"),
            Trouble::Said(text) => write!(f, "{text}"),
            Trouble::Quiet => Ok(()),
        }
    }
}

/// Parses the arguments and runs the command.
#[must_use]
pub fn main() -> u8 {
    let cli = Cli::parse();
    let exit = run(cli).unwrap_or_else(|trouble| output::trouble(&trouble));
    exit.code()
}

/// Each file, or a whole data folder.
fn verified(files: &[PathBuf], key: Option<&Path>, common: &Common) -> Result<Exit, Trouble> {
    if !files.iter().any(|file| file.is_dir()) {
        return output::said(&verify::run(files, key, common.json));
    }
    if key.is_some() {
        return Err(Trouble::Said(english().say("verify", "key_and_folder").into()));
    }
    let exits = files.iter().map(|file| match file.is_dir() {
        true => folder::verify(file, common.json),
        false => output::said(&verify::run(std::slice::from_ref(file), None, common.json)),
    });
    exits.reduce(|one, other| Ok(one?.max(other?))).unwrap_or(Ok(Exit::Done))
}

fn run(cli: Cli) -> Result<Exit, Trouble> {
    let common = cli.common;
    let client = || Client::new(common.socket.as_deref());
    match cli.command {
        Command::Serve { config, check, page } => {
            let socket = common.socket.clone().unwrap_or_else(serve::socket_path);
            Ok(Exit::of_code(serve::run(&config, check, &socket, page)))
        }
        Command::Demo(demo) => demo::demo(&demo),
        Command::DemoBench { args } => Ok(demo::bench(args)),
        Command::Ports(args) => ports::run(&args, &client(), &common),
        Command::Learn(args) => learn::run(&args),
        Command::Identify(args) => identify::run(&args, &client(), &common),
        Command::Scanner { what } => scanner::run(&what),
        Command::Record(args) => record::run(&args, &common),
        Command::Decode { driver, file } => offline::decode(&driver, file.as_deref()),
        Command::Judge { file } => offline::judge(file.as_deref()),
        Command::Plan { what: PlanCommand::Check { plan, limits, config } } => {
            offline::plan(&plan::check_at(&plan, config.parent(), limits, common.json))
        }
        Command::Plan { what: PlanCommand::Show(show) } => match (&show.assets, &show.fixtures) {
            (Some(assets), Some(fixtures)) => offline::plan_show(&show, assets, fixtures, &common),
            _ => show::plan(&client(), &show, &common),
        },
        Command::Verify { files, key } => verified(&files, key.as_deref(), &common),
        Command::Replay(args) if args.all => again::all(&args, &common),
        Command::Replay(args) => {
            let file = args.file.as_deref().expect("it is required without --all");
            output::said(&replay::run(file, common.json))
        }
        Command::Find(args) => find::find(&args, &client(), &common),
        Command::Due(args) => due::due(&args, &client(), &common),
        Command::History(args) => history::history(&args, &client(), &common),
        Command::Validate(args) => validate::run(&args, &common),
        Command::Explain(args) => explain::explain(&args, &common),
        Command::Report(args) => report::report(&args),
        Command::Label(args) => label::label(&args),
        Command::Sheet(args) => sheet::sheet(&args),
        Command::Rebuild { config } => offline::rebuild(&config, &common),
        Command::Export { what } => export::run(&what),
        Command::Archive(args) => archive::archive(&args, &common),
        Command::Drill(args) => archive::drill(&args, &common),
        Command::Import(args) => archive::import(&args, &common),
        Command::Prune(args) => archive::prune(&args, &common),
        Command::Key { what } => key::run(what, &common),
        Command::Status => status::status(&client(), &common),
        Command::Page => page::page(&client(), &common),
        Command::Summary(args) => summary::summary(&args, &client()),
        Command::Month(args) => month::month(&args, &client(), &common),
        Command::Tail(tail) => tail::tail(&client(), &tail, &common),
        Command::Show { id, raw } => show::inspection(&client(), &id, raw, &common),
        Command::Limits { what } => register::limits(&client(), what, &common),
        Command::Asset { what } => asset::run(&client(), what, &common),
        Command::Instrument { what } => register::instruments(&client(), what, &common),
        Command::Standard { what } => register::run(&client(), "standards", what, &common),
        Command::Fixture { what } => register::run(&client(), "fixtures", what, &common),
        Command::Order { what } => order::run(&client(), what, &common),
        Command::Operator { what } => register::operators(&client(), what, &common),
        Command::Completions { shell } => shell::completions(shell),
        Command::Man { folder } => shell::man(&folder),
        Command::Life(what) => life::run(&client(), what, &common),
        Command::Bench(what) => bench::run(&client(), what, &common),
    }
}
