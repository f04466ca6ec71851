//! Registers and limits through the station.

use std::path::Path;

use serde_json::{Value, json};

use super::args::{Common, InstrumentCommand, LimitsCommand, OperatorCommand, RegisterCommand};
use super::client::Client;
use super::{Exit, Trouble, chart, offline, output, secret};
use crate::told::rows::table;

pub(super) fn run(
    client: &Client,
    what: &str,
    command: RegisterCommand,
    common: &Common,
) -> Result<Exit, Trouble> {
    match command {
        RegisterCommand::List => list(client, what, common),
        RegisterCommand::Show { id } => show(client, what, &id, common),
        RegisterCommand::Import { file } => import(client, what, &file, common),
    }
}

pub(super) fn instruments(
    client: &Client,
    command: InstrumentCommand,
    common: &Common,
) -> Result<Exit, Trouble> {
    let command = match command {
        InstrumentCommand::List => RegisterCommand::List,
        InstrumentCommand::Show { id } => RegisterCommand::Show { id },
        InstrumentCommand::Import { file } => RegisterCommand::Import { file },
        InstrumentCommand::Qualify { id } => return chart::qualify(client, &id, common),
        InstrumentCommand::Chart { id } => return chart::chart(client, &id, common),
    };
    run(client, "instruments", command, common)
}

pub(super) fn operators(
    client: &Client,
    command: OperatorCommand,
    common: &Common,
) -> Result<Exit, Trouble> {
    let badge = match command {
        OperatorCommand::List => return list(client, "operators", common),
        OperatorCommand::Show { id } => return show(client, "operators", &id, common),
        OperatorCommand::Import { file } => return import(client, "operators", &file, common),
        OperatorCommand::Pin { id, reset } => return secret::pin(client, &id, reset),
        OperatorCommand::Login { badge } => Some(badge),
        OperatorCommand::Logout => None,
    };
    let status = client.get("/v1/status")?;
    let bench = super::bench::bench(&status, common.bench.as_deref())?;
    let id = bench["id"].as_str().unwrap_or_default();
    client.post(&format!("/v1/benches/{id}/login"), &json!({ "badge": badge }))?;
    output::talk(match badge {
        Some(_) => "logged in",
        None => "logged out",
    });
    Ok(Exit::Done)
}

pub(super) fn limits(
    client: &Client,
    command: LimitsCommand,
    common: &Common,
) -> Result<Exit, Trouble> {
    let LimitsCommand::Confirm { rows, document, clause } = command else {
        return list(client, "limits", common);
    };
    let mut body = json!({ "rows": rows, "document": document, "clause": clause });
    if let Some(by) = &common.by {
        body["by"] = json!(by);
    }
    let answer = client.post("/v1/limits", &body)?;
    output::talk(&format!("confirmed and signed, line {}", answer["seq"]));
    Ok(Exit::Done)
}

pub(super) fn list(client: &Client, what: &str, common: &Common) -> Result<Exit, Trouble> {
    list_of(client, what, &format!("/v1/{what}"), common)
}

/// What a path lists.
pub(super) fn list_of(
    client: &Client,
    what: &str,
    path: &str,
    common: &Common,
) -> Result<Exit, Trouble> {
    let mut none = true;
    client.pages(path, |page| {
        let items = page["items"].as_array().map_or(&[][..], Vec::as_slice);
        none &= items.is_empty();
        let text = |item: &Value| if common.json { item.to_string() } else { row(what, item) };
        items.iter().try_for_each(|item| output::data(&text(item)))
    })?;
    if none && !common.json {
        output::talk(&{
            let one = what.trim_end_matches('s');
            format!("no {what} yet\n  next: tapline {one} import FILE")
        });
    }
    Ok(Exit::Done)
}

/// The columns that a person looks for, per register.
fn columns(what: &str) -> &'static [(&'static str, usize)] {
    match what {
        "assets" => &[("id", 12), ("description", 24), ("location", 18), ("class", 9), ("due", 10)],
        "instruments" => &[("id", 12), ("what", 34), ("source_class", 10), ("calibration_due", 10)],
        "operators" => &[("id", 12), ("name", 24)],
        "standards" => &[("id", 12), ("what", 34), ("value", 12), ("calibration_due", 10)],
        "limits" => {
            &[("id", 52), ("limit", 14), ("clause", 18), ("confidence", 12), ("confirmed", 9)]
        }
        _ => &[("id", 12), ("what", 34), ("inspection_due", 10)],
    }
}

fn row(what: &str, item: &Value) -> String {
    let cell = |(key, width): &(&str, usize)| {
        let text = match &item[*key] {
            Value::String(text) if is_word(text) && *key != "id" => text.replace('_', " "),
            Value::String(text) => text.clone(),
            Value::Null | Value::Bool(false) => "-".into(),
            Value::Bool(true) => key.replace('_', " "),
            other => other.to_string(),
        };
        format!("{text:width$}")
    };
    columns(what).iter().map(cell).collect::<Vec<_>>().join("  ").trim_end().to_owned()
}

/// A word of ours, not a name that somebody gave.
fn is_word(text: &str) -> bool {
    text.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'_')
}

/// Shows one thing of a register. Exit: 0.
pub(super) fn show(
    client: &Client,
    what: &str,
    id: &str,
    common: &Common,
) -> Result<Exit, Trouble> {
    let item = client.get(&format!("/v1/{what}/{}", offline::escaped(id)))?;
    if common.json {
        output::data(&item.to_string())?;
        return Ok(Exit::Done);
    }
    let fields = item.as_object().into_iter().flatten();
    let said = fields.filter_map(|(name, of)| Some((name.replace('_', " "), said(of)?)));
    let rows: Vec<[String; 2]> = said.map(|(name, of)| [name, of]).collect();
    output::data(table(&rows).trim_end())?;
    Ok(Exit::Done)
}

/// A field for people; `None` where nothing is said.
fn said(of: &Value) -> Option<String> {
    let list = |parts: Vec<String>, between| (!parts.is_empty()).then(|| parts.join(between));
    match of {
        Value::Null => None,
        Value::Bool(yes) => Some(if *yes { "yes" } else { "no" }.into()),
        Value::String(text) => (!text.is_empty()).then(|| text.clone()),
        Value::Number(number) => Some(number.to_string()),
        Value::Array(items) => list(items.iter().filter_map(said).collect(), "; "),
        Value::Object(fields) => {
            let field = |(name, of): (&String, &Value)| {
                Some(format!("{} {}", name.replace('_', " "), said(of)?))
            };
            list(fields.iter().filter_map(field).collect(), ", ")
        }
    }
}

fn import(client: &Client, what: &str, file: &Path, common: &Common) -> Result<Exit, Trouble> {
    let text = offline::text(file)?;
    let mut body = json!({ "text": text });
    if let Some(by) = &common.by {
        body["by"] = json!(by);
    }
    let answer = client.post(&format!("/v1/{what}"), &body)?;
    output::talk(&format!("taken into the register, line {}", answer["seq"]));
    Ok(Exit::Done)
}
