//! The life of a sealed inspection: `tapline review`, `amend`, `reattach`, `release`.

use serde_json::{Map, Value, json};

use super::args::Common;
use super::client::Client;
use super::life_args::LifeCommand;
use super::offline::escaped;
use super::{Exit, Trouble, output, secret};
use crate::words::english;

pub(super) fn run(client: &Client, command: LifeCommand, common: &Common) -> Result<Exit, Trouble> {
    let (act, id, mut body) = match command {
        LifeCommand::Review { id: None, .. } => return waiting(client, common),
        LifeCommand::Review { id: Some(id), remark, reject } => {
            ("review", id, json!({ "remark": remark, "reject": reject }))
        }
        LifeCommand::Amend { id, change, reason, text, second } => {
            let change = changes(&change)?;
            let body =
                json!({ "reason": reason, "text": text, "change": change, "second": second });
            ("amend", id, body)
        }
        LifeCommand::Reattach { id, to, text, second } => {
            ("reattach", id, json!({ "to": to, "text": text, "second": second }))
        }
        LifeCommand::Release { id } => ("release", id, json!({})),
    };
    for (name, value) in [("by", &common.by), ("bench", &common.bench)] {
        if let Some(value) = value {
            body[name] = json!(value);
        }
    }
    let path = format!("/v1/inspections/{}/{act}", escaped(&id));
    let answer = secret::signed(client, &path, body, "by")?;
    if common.json {
        output::data(&answer.to_string())?;
        return Ok(Exit::Done);
    }
    output::data(answer["id"].as_str().unwrap_or(&id))?;
    let besides = answer["besides"].as_array().into_iter().flatten();
    for words in std::iter::once(&answer["say"]).chain(besides) {
        if let Some(sentence) = crate::words::said(words) {
            output::talk(&sentence);
        }
    }
    Ok(Exit::Done)
}

/// `owner="West clinic"` and its like.
fn changes(words: &[String]) -> Result<Value, Trouble> {
    let mut changes = Map::new();
    for word in words {
        let Some((field, after)) = word.split_once('=') else {
            let next = "next: write FIELD=TEXT, such as owner=\"West clinic\"";
            return Err(Trouble::Said(format!("`{word}` has no `=`\n  {next}")));
        };
        if changes.insert(field.into(), after.into()).is_some() {
            return Err(Trouble::Said(format!("`{field}` stands twice\n  next: write it once")));
        }
    }
    Ok(changes.into())
}

/// What waits for a review.
fn waiting(client: &Client, common: &Common) -> Result<Exit, Trouble> {
    let mut count = 0;
    client.pages("/v1/reviews", |page| {
        for item in page["items"].as_array().into_iter().flatten() {
            count += 1;
            output::data(&if common.json { item.to_string() } else { row(item) })?;
        }
        Ok(())
    })?;
    if count == 0 && !common.json {
        output::talk(english().say("say", "life.none_waits"));
    }
    Ok(Exit::Done)
}

fn row(item: &Value) -> String {
    let text = |key: &str| item[key].as_str().unwrap_or("-").to_owned();
    let word = english().say("verdict", item["verdict"].as_str().unwrap_or("-")).to_owned();
    format!("{}  {:10}  {word:17}  {}  {}", text("id"), text("asset"), text("closed"), text("by"))
}

/// What was added to an inspection, a line each.
pub(super) fn lines(result: &Value) -> Vec<String> {
    let mut lines = Vec::new();
    for one in result["addenda"].as_array().into_iter().flatten() {
        let text = |key: &str| one[key].as_str().unwrap_or("-").to_owned();
        let who = one["name"].as_str().map_or_else(|| text("by"), str::to_owned);
        let facts = one["facts"].as_array().into_iter().flatten();
        let what: Vec<String> = facts.filter_map(said).collect();
        let state = match what.is_empty() {
            true => english().say("life", &text("as")).to_owned(),
            false => what.join("; "),
        };
        let (by, pin) = (text("by"), super::about::with_pin(one));
        lines.push(format!("  {}  {}  {who} ({by}){pin}  {state}", text("id"), text("at")));
    }
    if result["waits"] == true {
        lines.push(format!("  {}", english().say("life", "waits")));
    }
    let why = result["why_not"].as_array().into_iter().flatten().filter_map(Value::as_str);
    let why: Vec<String> = why.map(|word| english().say("life", word).replace('_', " ")).collect();
    if !why.is_empty() {
        lines.push(english().tell("life", "why_not", &[("why", &why.join(", "))]));
    }
    lines
}

/// What a fact of an addendum says.
fn said(fact: &Value) -> Option<String> {
    let text = |value: &Value| value.as_str().unwrap_or("-").to_owned();
    let remark = |value: &Value| value.as_str().map(|text| format!(": {text}")).unwrap_or_default();
    match fact["k"].as_str()? {
        "review" => {
            let word = if fact["accepted"] == true { "reviewed" } else { "rejected" };
            Some(format!("{}{}", english().say("life", word), remark(&fact["remark"])))
        }
        "amend" => {
            let fields = fact["fields"].as_array().into_iter().flatten().map(|one| {
                let before = one["before"].as_str().unwrap_or("");
                format!("{} {before:?} -> {:?}", text(&one["field"]), text(&one["after"]))
            });
            let fields = fields.collect::<Vec<_>>().join(", ");
            let reason = text(&fact["reason"]).replace('_', " ");
            let second = second(fact);
            Some(format!(
                "{}: {fields}; {reason}: {}{second}",
                english().say("life", "amended"),
                text(&fact["text"])
            ))
        }
        "reattach" => Some(format!(
            "{}: {} -> {}; {}{}",
            english().say("life", "reattached"),
            text(&fact["from"]),
            text(&fact["to"]["id"]),
            text(&fact["text"]),
            second(fact)
        )),
        _ => None,
    }
}

fn second(fact: &Value) -> String {
    let name = fact["second"].as_str();
    name.map(|name| english().tell("life", "second", &[("by", name)])).unwrap_or_default()
}
