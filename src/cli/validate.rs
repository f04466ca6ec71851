//! `tapline validate`: is this program, on this machine, with this site's limits, to be believed?
//!
//! What it prints is a record like those of inspections: a text of JSON lines, its head in the
//! format of `sha256sum`, and the station's signature of the head. `verify.sh` checks it.

use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::thread;

use clap::Args;
use data_encoding::HEXLOWER;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use super::args::Common;
use super::{Exit, Trouble, offline, output};
use crate::books::{Disk, Key, place, seal::head_text};
use crate::clock::{self, rfc3339};
use crate::config::Config;
use crate::serve;
use crate::station::Library;
use crate::validate::assets::{FAULTY, GOOD};
use crate::validate::campaign::{self, Played};
use crate::validate::{limits, reference};
use crate::words::english;

/// What is asked of it.
#[derive(Debug, Clone, Args)]
pub struct Validate {
    /// Folder that the record is written to, with its head and its signature
    #[arg(long, value_name = "DIR", default_value = ".")]
    out: PathBuf,
    /// Configuration file
    #[arg(long, env = "TAPLINE_CONFIG", default_value = "/etc/tapline/tapline.toml")]
    config: PathBuf,
}

/// Plays everything, writes the record, prints it. Exit: 0 all came as it should, 1 something did
/// not.
pub(super) fn run(args: &Validate, common: &Common) -> Result<Exit, Trouble> {
    let config = offline::load(&args.config)?;
    let key = key(&config)?;
    let library = serve::library(&config);
    let library = library.map_err(|halted| Trouble::Said(halted.to_string()))?;
    output::talk(english().say("validate", "begins"));
    let at = rfc3339(clock::now().wall_us);
    let mut record = vec![first(&config, &key, &at)?];
    let tables = tables(&library);
    let inspections = inspections();
    let threads = thread::available_parallelism().map_or(2, usize::from).min(8);
    let campaign = campaign(&campaign::play(threads));
    let right = [&tables, &inspections, &campaign].into_iter().flatten().all(holds);
    record.extend(tables.into_iter().chain(inspections).chain(campaign));
    record.push(json!({ "k": "outcome", "as_it_should_be": right }));
    let name = format!("{}-validation-{}", config.station.id, stamp(&at));
    let file = store(&args.out, &name, &record, &key)?;
    if common.json {
        record.iter().try_for_each(|line| output::data(&line.to_string()))?;
    } else {
        record.iter().flat_map(told).try_for_each(|line| output::data(&line))?;
    }
    let public = config.store.folder.join(key.public_file()).display().to_string();
    output::talk(&english().tell("validate", "stored", &[("file", &file), ("key", &public)]));
    Ok(if right { Exit::Done } else { Exit::Fail })
}

fn holds(line: &Value) -> bool {
    line["wrong"].as_array().is_none_or(Vec::is_empty)
}

/// `2026-11-26T14:59:00.000000Z` as `20261126-145900`.
fn stamp(at: &str) -> String {
    let digits: String = at.chars().filter(char::is_ascii_digit).take(14).collect();
    let (day, time) = digits.split_at(digits.len().min(8));
    format!("{day}-{time}")
}

/// The newest key of the station; none is made here.
fn key(config: &Config) -> Result<Key, Trouble> {
    let disk = offline::disk(&config.store.folder)?;
    let files = disk.list(place::KEYS).unwrap_or_default();
    if !files.iter().any(|file| file.ends_with(".pem") && !file.ends_with(".pub.pem")) {
        return Err(Trouble::Said(english().say("validate", "no_key").into()));
    }
    Key::open(&disk, &config.station.id).map_err(|error| {
        let why = error.to_string();
        Trouble::Said(english().tell("validate", "key_unread", &[("why", &why)]))
    })
}

/// Who, when, which program.
fn first(config: &Config, key: &Key, at: &str) -> Result<Value, Trouble> {
    let refused = |error: io::Error| Trouble::Said(format!("the program itself: {error}"));
    let program = std::env::current_exe().and_then(fs::read).map_err(refused)?;
    Ok(json!({
        "k": "validation", "format": "tapline-validation-1", "at": at,
        "station": config.station.id, "name": config.station.name,
        "version": env!("CARGO_PKG_VERSION"), "judge": tapline_protocols::judge::JUDGE,
        "program": HEXLOWER.encode(&Sha256::digest(&program)),
        "machine": format!("{} {}", std::env::consts::OS, std::env::consts::ARCH),
        "key": key.public().fingerprint(),
    }))
}

fn tables(library: &Library) -> Vec<Value> {
    let table = |table: &tapline_protocols::limits::Table| {
        let judged = limits::judge(table);
        json!({
            "k": "limits", "standard": table.standard, "edition": table.edition,
            "sha256": table.sha256, "rows": judged.rows, "under": judged.under,
            "judged": judged.judged, "wrong": judged.wrong,
        })
    };
    library.tables().iter().map(table).collect()
}

fn inspections() -> Vec<Value> {
    let one = |came: reference::Came| {
        json!({
            "k": "reference", "scene": came.name, "title": came.title, "wanted": came.wanted,
            "outcome": came.outcome, "wrong": came.wrong,
        })
    };
    reference::play().into_iter().map(one).collect()
}

fn campaign(played: &Played) -> Vec<Value> {
    let count = |word: &str| played.faulty().filter(|came| came.word == word).count();
    let mut lines = vec![json!({
        "k": "campaign", "faulty": FAULTY.len(), "good": GOOD.len(),
        "mistakes": played.mistakes.len(), "inspections": played.faulty().count(),
        "fail": count("fail"), "undecided": count("undecided"), "given_up": count("given_up"),
        "pass": count("pass"), "wrong": played.wrong(),
    })];
    for (row, mistake) in played.mistakes.iter().enumerate() {
        let passed = played.passed(row);
        if !passed.is_empty() {
            lines.push(json!({
                "k": "not_caught", "mistake": mistake.id, "says": mistake.says, "passed": passed,
                "why": mistake.cannot, "instead": mistake.instead,
            }));
        }
    }
    lines
}

/// Record, head and signature; the record's name is new.
fn store(folder: &Path, name: &str, record: &[Value], key: &Key) -> Result<String, Trouble> {
    let text: String = record.iter().map(|line| format!("{line}\n")).collect();
    let head = head_text(&HEXLOWER.encode(&Sha256::digest(text.as_bytes())), name);
    let signature = key.sign(head.as_bytes());
    let files: [(&str, &[u8]); 3] =
        [("jsonl", text.as_bytes()), ("head", head.as_bytes()), ("sig", &signature)];
    for (ending, bytes) in files {
        let path = folder.join(format!("{name}.{ending}"));
        let new = fs::OpenOptions::new().write(true).create_new(true).open(&path);
        let stored = new.and_then(|mut file| file.write_all(bytes).and_then(|()| file.sync_all()));
        let (file, why) = (path.display().to_string(), |error: io::Error| error.to_string());
        stored.map_err(|error| {
            let values = [("file", file.as_str()), ("why", &why(error))];
            Trouble::Said(english().tell("validate", "not_stored", &values))
        })?;
    }
    Ok(folder.join(format!("{name}.jsonl")).display().to_string())
}

/// A line of the record, for a person.
fn told(line: &Value) -> Vec<String> {
    let kind = line["k"].as_str().unwrap_or_default();
    let plain = |value: &Value| match value {
        Value::String(text) => text.clone(),
        Value::Array(list) => list.iter().filter_map(Value::as_str).collect::<Vec<_>>().join(", "),
        other => other.to_string(),
    };
    let fields: Vec<(String, String)> =
        line.as_object().into_iter().flatten().map(|(k, v)| (k.clone(), plain(v))).collect();
    let values: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (k.as_str(), v.as_str())).collect();
    let code = match (kind, line["as_it_should_be"].as_bool()) {
        ("outcome", Some(false)) => "outcome_wrong",
        _ => kind,
    };
    let mut lines = vec![english().tell("validate", code, &values)];
    for wrong in line["wrong"].as_array().into_iter().flatten() {
        lines.push(english().tell("validate", "wrong", &[("what", &plain(wrong))]));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_becomes_a_part_of_a_name() {
        assert_eq!(stamp("2026-11-26T14:59:07.000001Z"), "20261126-145907");
    }

    #[test]
    fn every_kind_of_line_has_its_sentence_and_what_is_wrong_is_listed() {
        let lines = told(&json!({ "k": "limits", "standard": "S", "edition": "1", "sha256": "ab",
            "rows": 3, "under": 0, "judged": 18, "wrong": ["a: 1 gives Pass"] }));
        assert_eq!(lines.len(), 2);
        assert!(lines[0].contains("18") && lines[1].contains("a: 1 gives Pass"), "{lines:?}");
        assert!(!holds(&json!({ "wrong": ["x"] })) && holds(&json!({ "wrong": [] })));
    }
}
