//! `archive`, `import`, `prune`: copies of what is sealed, and what they are good for.

mod beside;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;
use serde_json::json;
use tapline_protocols::Fact;

use super::args::Common;
use super::{Exit, Trouble, offline, output};
use crate::archive::{self, Fault, Going, Made, Receipt, Stays};
use crate::books::place::KEYS;
use crate::books::{Folder, Halted, Key, Lock, Shelf};
use crate::config::Config;
use crate::serve;
use crate::station::event::BookId;
use crate::words::english;
use crate::{clock, past};

/// An archive and the station.
#[derive(Debug, Args)]
pub struct Archive {
    /// Folder of the archive, on another medium
    folder: PathBuf,
    /// Configuration file
    #[arg(long, env = "TAPLINE_CONFIG", default_value = "/etc/tapline/tapline.toml")]
    config: PathBuf,
}

/// What may go.
#[derive(Debug, Args)]
pub struct Prune {
    #[command(flatten)]
    of: Archive,
    /// Remove it; otherwise it is only said what would go
    #[arg(long)]
    remove: bool,
}

fn said(fault: Fault) -> Trouble {
    Trouble::Said(fault.to_string())
}

fn existing(folder: &Path) -> Result<Folder, Trouble> {
    let none = |error| said(Fault::File(folder.display().to_string(), error));
    Folder::existing(folder).map_err(none)
}

fn tell(code: &str, values: &[(&str, String)]) -> String {
    let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
    english().tell("archive", code, &values)
}

/// Makes an archive or brings it up to date. Exit: 0 all of it is right, 1 something is doubtful.
pub(super) fn archive(args: &Archive, common: &Common) -> Result<Exit, Trouble> {
    let config = offline::load(&args.config)?;
    let data = offline::disk(&config.store.folder)?;
    let folder = std::path::absolute(&args.folder).unwrap_or_else(|_| args.folder.clone());
    if folder.starts_with(&config.store.folder) {
        return Err(Trouble::Said(english().say("archive", "within").into()));
    }
    let target = Folder::open(&args.folder)
        .map_err(|error| said(Fault::File(args.folder.display().to_string(), error)))?;
    let progress = |done: usize, of: usize| {
        if done > 0 && done.is_multiple_of(1000) {
            output::talk(&format!("{done} of {of}"));
        }
    };
    let beside = |fresh: &[String], put: archive::Put<'_>| beside::made(&config, fresh, put);
    let made = archive::make(&data, &target, &config.station.id, (&beside, &progress));
    let made = made.map_err(said)?;
    let receipt = note(&config, &data, ("archive", &folder), &made)?;
    if receipt.is_none() {
        output::talk(english().say("archive", "no_key"));
    }
    for (file, why) in &made.doubtful {
        output::talk(&format!("FAILED {file}: {why}"));
    }
    let exit = if made.doubtful.is_empty() { Exit::Done } else { Exit::Fail };
    if common.json {
        let doubtful: Vec<_> =
            made.doubtful.iter().map(|(file, why)| json!({ "file": file, "why": why })).collect();
        let copied = made.copied;
        let line = json!({ "receipt": receipt, "copied": copied, "doubtful": doubtful });
        output::data(&line.to_string())?;
        return Ok(exit);
    }
    let code = if exit == Exit::Done { "made" } else { "made_in_doubt" };
    let values = [
        ("records", made.records.to_string()),
        ("folder", args.folder.display().to_string()),
        ("copied", made.copied.to_string()),
        ("doubtful", made.doubtful.len().to_string()),
        ("sums", made.sums.clone()),
    ];
    output::data(&tell(code, &values))?;
    Ok(exit)
}

/// Notes a receipt with the key that signs; `None` where the station has none yet, as after an
/// import: it makes and announces one when it starts.
fn note(
    config: &Config,
    data: &Folder,
    (what, folder): (&str, &Path),
    made: &Made,
) -> Result<Option<Receipt>, Trouble> {
    let Some(key) = signing(data)? else { return Ok(None) };
    let folder = folder.display().to_string();
    let about = (what, config.station.id.as_str(), folder.as_str());
    Receipt::note(data, &key, about, clock::now(), made).map(Some).map_err(said)
}

fn signing(data: &Folder) -> Result<Option<Key>, Trouble> {
    let trouble = |halted: Halted| said(Fault::Books(halted));
    let lines = Shelf::new(Arc::new(data.clone())).lines(&BookId::Station).map_err(trouble)?;
    let mut last = None;
    for line in lines {
        if let Fact::Key(fact) = line.map_err(trouble)?.fact {
            last = Some(fact.key);
        }
    }
    let key = last.map(|print| Key::find(data, &print)).transpose();
    Ok(key.map_err(|error| said(Fault::File(KEYS.into(), error)))?.flatten())
}

/// Makes an empty data folder what the archive holds.
pub(super) fn import(args: &Archive, common: &Common) -> Result<Exit, Trouble> {
    let config = offline::load(&args.config)?;
    let archive = existing(&args.folder)?;
    let folder = &config.store.folder;
    std::fs::create_dir_all(folder)
        .map_err(|error| said(Fault::File(folder.display().to_string(), error)))?;
    let _lock = Lock::take(folder).map_err(|fault| Trouble::Said(fault.to_string()))?;
    let records = archive::restore(&archive, folder).map_err(said)?.records;
    if common.json {
        output::data(&json!({ "records": records, "folder": folder }).to_string())?;
    } else {
        let values = [("records", records.to_string()), ("folder", folder.display().to_string())];
        output::data(&tell("restored", &values))?;
    }
    Ok(Exit::Done)
}

/// Brings an archive back into a folder for the moment and judges every record of it anew. Exit: 0
/// all of it came back, 1 a record gives other facts, 2 it can't be brought back.
pub(super) fn drill(args: &Archive, common: &Common) -> Result<Exit, Trouble> {
    let config = offline::load(&args.config)?;
    let data = offline::disk(&config.store.folder)?;
    let archive = existing(&args.folder)?;
    let name = format!("tapline-drill-{}", std::process::id());
    let moment = Moment(std::env::temp_dir().join(name));
    let made = archive::restore(&archive, &moment.0).map_err(said)?;
    let records = made.records;
    let mut other = Vec::new();
    for record in past::records(&moment.0).map_err(Trouble::Said)? {
        let (file, _) = past::place_of(&moment.0, &record);
        let replayed = super::replay::run(&file, true);
        if !matches!(Exit::of_code(replayed.exit), Exit::Done | Exit::Undecided) {
            other.push(record.id);
        }
    }
    let folder = std::path::absolute(&args.folder).unwrap_or_else(|_| args.folder.clone());
    let exit = if other.is_empty() { Exit::Done } else { Exit::Fail };
    let receipt = match exit {
        Exit::Done => note(&config, &data, ("drill", &folder), &made)?,
        _ => None,
    };
    if common.json {
        let line = json!({ "records": records, "other": other, "receipt": receipt });
        output::data(&line.to_string())?;
        return Ok(exit);
    }
    other.iter().for_each(|id| output::talk(&tell("other_facts", &[("id", id.clone())])));
    let code = if exit == Exit::Done { "drilled" } else { "drilled_in_doubt" };
    let values = [("records", records.to_string()), ("other", other.len().to_string())];
    output::data(&tell(code, &values))?;
    Ok(exit)
}

/// A folder that is there for the moment.
struct Moment(PathBuf);

impl Drop for Moment {
    fn drop(&mut self) {
        // Whoever looks finds it by its name; nothing of it is anywhere else.
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// Says what may go, and removes it where that is asked. The station must not be running.
pub(super) fn prune(args: &Prune, common: &Common) -> Result<Exit, Trouble> {
    let config = offline::load(&args.of.config)?;
    let data = offline::disk(&config.store.folder)?;
    let lock =
        Lock::take(&config.store.folder).map_err(|fault| Trouble::Said(fault.to_string()))?;
    let left = archive::unfinished(&data).map_err(said)?;
    if args.remove {
        archive::prune(&data, &left).map_err(said)?;
    }
    let Some(keep) = config.store.prune_after else {
        return Err(Trouble::Said(english().say("archive", "never").into()));
    };
    let archive = existing(&args.of.folder)?;
    let today = tapline_protocols::due::Day::parse(&clock::utc_day(clock::now().wall_us));
    let today = today.expect("a clock shows a day");
    let (going, facts) = archive::going(&data, &archive, (keep, today)).map_err(said)?;
    if args.remove && !facts.is_empty() {
        let facts = facts.into_iter().map(Fact::Pruned).collect();
        serve::note_down(&config, &data, facts, common.by.as_deref()).map_err(Trouble::Said)?;
        archive::prune(&data, &going.records).map_err(said)?;
        // What went is in no list any more.
        drop(lock);
        crate::index::rebuild(&config.store.folder, &|_| {})
            .map_err(|fault| Trouble::Said(fault.to_string()))?;
    }
    show(&going, args.remove, common)?;
    Ok(Exit::Done)
}

fn show(going: &Going, removed: bool, common: &Common) -> Result<(), Trouble> {
    let why = |stays: &Stays| match stays {
        Stays::NoReceipt => "no_receipt",
        Stays::NotInArchive => "not_in_archive",
    };
    if common.json {
        let stays: Vec<_> =
            going.stays.iter().map(|(id, stays)| json!({ "id": id, "why": why(stays) })).collect();
        let line = json!({
            "removed": removed, "records": going.records, "bytes": going.bytes, "stays": stays,
        });
        return output::data(&line.to_string());
    }
    for id in &going.records {
        output::data(id)?;
    }
    for (id, stays) in &going.stays {
        output::talk(&tell(why(stays), &[("id", id.clone())]));
    }
    let code = if removed { "pruned" } else { "would_go" };
    let values = [("records", going.records.len().to_string()), ("bytes", going.bytes.to_string())];
    output::talk(&tell(code, &values));
    Ok(())
}
