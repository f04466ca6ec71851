//! `key`: which keys sign, and a new one on purpose. Needs no station; `new` needs it stopped.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Subcommand;
use serde_json::json;
use tapline_protocols::Fact;
use tapline_protocols::fact::KeyFact;

use super::args::Common;
use super::{Exit, Trouble, offline, output};
use crate::books::line::time_text;
use crate::books::{Line, Shelf};
use crate::serve::keys::{Said, renew};
use crate::station::event::BookId;

/// Signing keys.
#[derive(Debug, Subcommand)]
pub enum KeyCommand {
    /// All keys that were announced, oldest first
    List {
        /// Configuration file
        #[arg(long, env = "TAPLINE_CONFIG", default_value = "/etc/tapline/tapline.toml")]
        config: PathBuf,
    },
    /// Sign with a new key from now on; the old one signs its announcement, then its private half
    /// is removed. The station must not be running
    New {
        /// Why
        #[arg(long)]
        reason: String,
        /// Configuration file
        #[arg(long, env = "TAPLINE_CONFIG", default_value = "/etc/tapline/tapline.toml")]
        config: PathBuf,
    },
}

pub(super) fn run(command: KeyCommand, common: &Common) -> Result<Exit, Trouble> {
    match command {
        KeyCommand::List { config } => list(&config, common),
        KeyCommand::New { reason, config } => new(&config, reason, common),
    }
}

fn list(config: &Path, common: &Common) -> Result<Exit, Trouble> {
    let config = offline::load(config)?;
    let folder = offline::disk(&config.store.folder)?;
    let said = |halted: crate::books::Halted| Trouble::Said(halted.to_string());
    for line in Shelf::new(Arc::new(folder)).lines(&BookId::Station).map_err(said)? {
        let line = line.map_err(said)?;
        if let Fact::Key(fact) = &line.fact {
            output::data(&row(&line, fact, common.json))?;
        }
    }
    Ok(Exit::Done)
}

fn row(line: &Line, fact: &KeyFact, as_json: bool) -> String {
    let since = time_text(line.at.wall_us).unwrap_or_default();
    if as_json {
        return json!({ "since": since, "by": line.by, "announcement": fact }).to_string();
    }
    let before = match fact.before.as_deref() {
        Some(KeyFact::SIGNED) => "announced by the key before",
        Some(KeyFact::LOST) => "the key before was lost",
        _ => "",
    };
    let reason = fact.reason.as_deref().map(|text| format!(": {text}")).unwrap_or_default();
    format!("{}  {}  since {since}  {before}{reason}", fact.file, fact.key).trim_end().to_owned()
}

fn new(config: &Path, reason: String, common: &Common) -> Result<Exit, Trouble> {
    if reason.trim().is_empty() {
        return Err(Trouble::Said("say why there is a new key: --reason".into()));
    }
    let config = offline::load(config)?;
    let said = Said { reason: Some(reason), by: common.by.clone() };
    let fact = renew(&config, said).map_err(Trouble::Said)?;
    output::data(&if common.json { json!(fact).to_string() } else { fact.key.clone() })?;
    output::talk(&format!(
        "`{}` signs from now on; records signed before stay valid with their own key\n  next: put \
         the fingerprint on paper where others can find it, then start the station",
        fact.file
    ));
    Ok(Exit::Done)
}
