//! Assets in and out: `tapline asset import`, `tapline asset export`.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use serde_json::{Value, json};
use tapline_protocols::register::{
    ASSETS, Asset, Columns, Encoding, ListMap, read_assets, write_assets,
};

use super::args::{AssetCommand, Common};
use super::client::Client;
use super::{Exit, Trouble, offline, output, register, values};
use crate::station::changes::{Changed, Changes};
use crate::words::english;

pub(super) fn run(
    client: &Client,
    command: AssetCommand,
    common: &Common,
) -> Result<Exit, Trouble> {
    match command {
        AssetCommand::List { under } => {
            register::list_of(client, "assets", &path(under.as_deref()), common)
        }
        AssetCommand::Places => places(client, common),
        AssetCommand::Show { id } => register::show(client, "assets", &id, common),
        AssetCommand::Import { file, map, dry_run } => {
            import(client, ("/v1/assets", &ASSETS), (&file, map), dry_run, common)
        }
        AssetCommand::Values(command) => values::run(client, command, common),
        AssetCommand::Visit { id, outcome, place, retry, reason } => {
            let body = json!({
                "outcome": outcome, "place": place, "retry": retry, "reason": reason,
                "bench": common.bench, "by": common.by,
            });
            let answer =
                client.post(&format!("/v1/assets/{}/visits", offline::escaped(&id)), &body)?;
            match crate::words::said(&answer["say"]).filter(|_| !common.json) {
                Some(sentence) => output::talk(&sentence),
                None => output::data(&answer.to_string())?,
            }
            Ok(Exit::Done)
        }
        AssetCommand::Export { file, under } => export(client, file.as_deref(), under.as_deref()),
    }
}

/// Takes a list in, by the map of its columns where there is one.
pub(super) fn import(
    client: &Client,
    (path, columns): (&str, &'static Columns),
    (file, map): (&Path, Option<PathBuf>),
    dry_run: bool,
    common: &Common,
) -> Result<Exit, Trouble> {
    let mut encoding = Encoding::Utf8;
    let mut body = json!({ "dry_run": dry_run });
    if let Some(name) = map {
        let text = offline::text(&name)?;
        let read = ListMap::read(&text, columns).map_err(|faults| {
            let faults: Vec<String> = faults.iter().map(ToString::to_string).collect();
            let name = name.display().to_string();
            let values = [("file", name.as_str()), ("faults", &faults.join("\n"))];
            Trouble::Said(english().tell("register", "map", &values))
        })?;
        encoding = read.encoding();
        body["map"] = text.into();
    }
    body["text"] = letters(file, &offline::bytes(Some(file))?, encoding)?.into();
    if let Some(by) = &common.by {
        body["by"] = json!(by);
    }
    let answer = client.post(path, &body)?;
    told(&answer, dry_run, common)?;
    Ok(Exit::Done)
}

/// What a list changed, or would: a line for each asset of which the register says or said
/// something else.
pub(super) fn told(answer: &Value, dry_run: bool, common: &Common) -> Result<(), Trouble> {
    if common.json {
        return output::data(&answer.to_string());
    }
    let changes: Changes = serde_json::from_value(answer["changes"].clone()).unwrap_or_default();
    if dry_run {
        for id in &changes.new {
            output::data(&english().tell("register", "new", &[("id", id)]))?;
        }
        changes.changed.iter().try_for_each(|one| output::data(&changed(one)))?;
    }
    if changes.left_out > 0 {
        let count = changes.left_out.to_string();
        output::talk(&english().tell("register", "left_out", &[("count", &count)]));
    }
    let counts = [changes.new.len() as u64, changes.changed.len() as u64, changes.unchanged];
    let [new, changed, unchanged] = counts.map(|count| count.to_string());
    let seq = answer["seq"].to_string();
    let values =
        [("new", new.as_str()), ("changed", &changed), ("unchanged", &unchanged), ("seq", &seq)];
    output::talk(&english().tell("register", if dry_run { "would" } else { "done" }, &values));
    Ok(())
}

fn changed(one: &Changed) -> String {
    let text = |value: &Value| match value {
        Value::String(text) => text.clone(),
        Value::Null => "-".into(),
        other => other.to_string(),
    };
    let field = |one: &crate::station::changes::Difference| {
        let (before, after) = (text(&one.before), text(&one.after));
        let values = [("field", one.field.as_str()), ("before", &before), ("after", &after)];
        english().tell("register", "field", &values)
    };
    let fields: Vec<String> = one.fields.iter().map(field).collect();
    english().tell("register", "changed", &[("id", &one.id), ("fields", &fields.join("; "))])
}

/// The letters of a list.
fn letters(file: &Path, bytes: &[u8], encoding: Encoding) -> Result<String, Trouble> {
    if encoding == Encoding::Windows1252 {
        return Ok(bytes.iter().map(|byte| windows_1252(*byte)).collect());
    }
    std::str::from_utf8(bytes).map(String::from).map_err(|error| {
        let at = error.valid_up_to();
        let line = 1 + bytes[..at].iter().filter(|byte| **byte == b'\n').count();
        let (file, at, line) = (file.display().to_string(), at.to_string(), line.to_string());
        let values = [("file", file.as_str()), ("at", &at), ("line", &line)];
        Trouble::Said(english().tell("register", "no_text", &values))
    })
}

/// Characters of the bytes 80 to 9F (WHATWG Encoding Standard, index windows-1252). The five
/// that stand for none stay control characters, which no field may hold.
const HIGH: [char; 32] = [
    '\u{20ac}', '\u{81}', '\u{201a}', '\u{192}', '\u{201e}', '\u{2026}', '\u{2020}', '\u{2021}',
    '\u{2c6}', '\u{2030}', '\u{160}', '\u{2039}', '\u{152}', '\u{8d}', '\u{17d}', '\u{8f}',
    '\u{90}', '\u{2018}', '\u{2019}', '\u{201c}', '\u{201d}', '\u{2022}', '\u{2013}', '\u{2014}',
    '\u{2dc}', '\u{2122}', '\u{161}', '\u{203a}', '\u{153}', '\u{9d}', '\u{17e}', '\u{178}',
];

fn windows_1252(byte: u8) -> char {
    match byte {
        0x80..=0x9f => HIGH[usize::from(byte - 0x80)],
        other => char::from(other),
    }
}

/// Where the assets of a place are listed.
fn path(under: Option<&str>) -> String {
    match under {
        Some(place) => format!("/v1/assets?under={}", offline::escaped(place)),
        None => "/v1/assets".into(),
    }
}

fn assets(client: &Client, under: Option<&str>) -> Result<Vec<Asset>, Trouble> {
    let mut assets: Vec<Asset> = Vec::new();
    client.pages(&path(under), |page| {
        for item in page["items"].as_array().map_or(&[][..], Vec::as_slice) {
            let read = serde_json::from_value(item.clone());
            assets.push(read.map_err(|why| not_the_same(&why.to_string()))?);
        }
        Ok(())
    })?;
    Ok(assets)
}

/// Every place with how many assets lie in it, wider places before those within them.
fn places(client: &Client, common: &Common) -> Result<Exit, Trouble> {
    let mut counts: BTreeMap<Vec<String>, usize> = BTreeMap::new();
    for asset in assets(client, None)? {
        let parts = asset.location.split('/').map(str::trim).filter(|part| !part.is_empty());
        let parts: Vec<String> = parts.map(String::from).collect();
        for depth in 1..=parts.len() {
            *counts.entry(parts[..depth].to_vec()).or_default() += 1;
        }
        if parts.is_empty() {
            *counts.entry(parts).or_default() += 1;
        }
    }
    for (parts, count) in counts {
        let place = parts.join("/");
        output::data(&match common.json {
            true => json!({ "place": place, "assets": count }).to_string(),
            false => {
                let indent = "  ".repeat(parts.len().saturating_sub(1));
                let nowhere = english().say("register", "nowhere").to_owned();
                format!("{count:>6}  {indent}{}", parts.last().unwrap_or(&nowhere))
            }
        })?;
    }
    Ok(Exit::Done)
}

/// Writes what reads back as the register has it, or nothing.
fn export(client: &Client, file: Option<&Path>, under: Option<&str>) -> Result<Exit, Trouble> {
    let assets = assets(client, under)?;
    let text = write_assets(&assets);
    match read_assets(&text) {
        Ok(back) if back == assets => {}
        Ok(back) => {
            let differs = assets.iter().zip(&back).find(|(one, back)| one != back);
            return Err(not_the_same(differs.map_or("", |(one, _)| one.id.as_str())));
        }
        Err(faults) => {
            return Err(not_the_same(&faults.first().map(ToString::to_string).unwrap_or_default()));
        }
    }
    let count = assets.len().to_string();
    written(file, &text, ("exported", &count))
}

/// Writes a list to a new file, or puts it out.
pub(super) fn written(
    file: Option<&Path>,
    text: &str,
    (done, count): (&str, &str),
) -> Result<Exit, Trouble> {
    let Some(file) = file else { return output::exactly(text.as_bytes()).map(|()| Exit::Done) };
    let name = file.display().to_string();
    match File::create_new(file).and_then(|mut out| {
        out.write_all(text.as_bytes())?;
        out.sync_all()
    }) {
        Ok(()) => {}
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
            return Err(Trouble::Said(english().tell("register", "there", &[("file", &name)])));
        }
        Err(error) => {
            // Half a list must never be taken for the register.
            let _ = fs::remove_file(file);
            let values = [("file", name.as_str()), ("why", &error.to_string())];
            return Err(Trouble::Said(english().tell("register", "unwritten", &values)));
        }
    }
    output::talk(&english().tell("register", done, &[("count", count), ("file", &name)]));
    Ok(Exit::Done)
}

pub(super) fn not_the_same(why: &str) -> Trouble {
    Trouble::Said(english().tell("register", "not_the_same", &[("why", why)]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_without_utf8_is_named_by_its_line_or_read_by_its_map() {
        let bytes = b"asset;Gr\xf6\xdfe\n1;\x80 5\n";
        let text = letters(Path::new("x.csv"), bytes, Encoding::Windows1252).unwrap();
        assert_eq!(text, "asset;Gr\u{f6}\u{df}e\n1;\u{20ac} 5\n");
        let second = b"a\nb\xff";
        let refused = letters(Path::new("x.csv"), second, Encoding::Utf8).unwrap_err();
        assert!(refused.to_string().contains("byte 3, line 2"), "{refused}");
    }
}
