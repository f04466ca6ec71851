//! What is done at the bench, as requests to the station.

use serde_json::{Value, json};

use super::args::{BenchCommand, Common};
use super::client::Client;
use super::{Exit, Trouble, output, secret};
use crate::words;

/// Acts that are valid only for what was seen: the status is read first and sent along.
const SEEN: &[&str] = &["act", "capture"];

pub(super) fn run(
    client: &Client,
    command: BenchCommand,
    common: &Common,
) -> Result<Exit, Trouble> {
    if let BenchCommand::Scan { codes } = &command
        && let Some((last, before)) = codes.split_last()
        && !before.is_empty()
    {
        for code in before {
            // The part of a label names no asset alone: what it is refused for is said.
            match run(client, BenchCommand::Scan { codes: vec![code.clone()] }, common) {
                Err(Trouble::Refused(problem)) => output::talk(&problem.detail),
                other => drop(other?),
            }
        }
        return run(client, BenchCommand::Scan { codes: vec![last.clone()] }, common);
    }
    let (word, mut body) = request(command)?;
    if let Some(by) = &common.by {
        body["by"] = json!(by);
    }
    let status = client.get("/v1/status")?;
    let bench = bench(&status, common.bench.as_deref())?;
    if SEEN.contains(&word) {
        body["expect"] = expect(bench);
        say_what_is_meant(&body);
    }
    let id = bench["id"].as_str().unwrap_or_default();
    let path = match word {
        "scan" | "begin" => {
            body["bench"] = json!(id);
            if word == "scan" { "/v1/scan".to_owned() } else { "/v1/inspections".to_owned() }
        }
        _ => format!("/v1/benches/{id}/{word}"),
    };
    let answer = match word {
        "sign" => secret::signed(client, &path, body, "badge")?,
        _ => client.post(&path, &body)?,
    };
    print(client, id, &answer, common)
}

/// The bench that is meant: the named one, else the only one.
pub(super) fn bench<'a>(status: &'a Value, named: Option<&str>) -> Result<&'a Value, Trouble> {
    let benches = status["benches"].as_array().map_or(&[][..], Vec::as_slice);
    let ids = || benches.iter().filter_map(|b| b["id"].as_str()).collect::<Vec<_>>().join(", ");
    match (named, benches) {
        (_, []) => Err(Trouble::Said(
            "the station has no bench yet: it is starting\n  next: try again in a moment, or ask \
             `tapline status`"
                .to_owned(),
        )),
        (None, [only]) => Ok(only),
        (None, _) => {
            Err(Trouble::Said(format!("several benches\n  next: say --bench, one of {}", ids())))
        }
        (Some(name), _) => benches.iter().find(|b| b["id"] == name).ok_or_else(|| {
            Trouble::Said(format!("no bench `{name}`\n  next: say --bench, one of {}", ids()))
        }),
    }
}

fn expect(bench: &Value) -> Value {
    let prompt = &bench["inspection"]["prompt"];
    json!({ "step": prompt["step"], "state": prompt["state"], "seq": prompt["seq"] })
}

fn say_what_is_meant(body: &Value) {
    if let Some(step) = body["expect"]["step"].as_str() {
        output::talk(&format!("for step {step}"));
    }
}

/// The word of a request and its fields.
fn request(command: BenchCommand) -> Result<(&'static str, Value), Trouble> {
    Ok(match command {
        BenchCommand::Scan { codes } => ("scan", json!({ "code": codes.last() })),
        BenchCommand::Check { standard, instrument } => {
            ("check", json!({ "standard": standard, "instrument": instrument }))
        }
        BenchCommand::Describe { tell } => ("describe", json!({ "tell": told(&tell)? })),
        BenchCommand::Begin { plan, asset, reason, order, with } => {
            let body = json!({
                "plan": plan, "asset": asset, "reason": reason, "order": order, "with": with,
            });
            ("begin", body)
        }
        BenchCommand::Act { what } => ("act", json!({ "what": what })),
        BenchCommand::Capture => ("capture", json!({})),
        BenchCommand::Discard { seq, cause, second } => {
            ("discard", json!({ "seq": seq, "cause": cause, "second": second }))
        }
        BenchCommand::Repeat { step } => ("repeat", json!({ "step": step })),
        BenchCommand::Skip { reason } => ("skip", json!({ "reason": reason })),
        BenchCommand::Answer { answer, item, reason } => {
            ("answer", json!({ "answer": answer, "item": item, "reason": reason }))
        }
        BenchCommand::Null { lead } => ("null", json!({ "lead": lead })),
        BenchCommand::Prove { what, ln, npe, lpe } => {
            ("prove", json!({ "what": what, "ln": ln, "npe": npe, "lpe": lpe }))
        }
        BenchCommand::Temperature { celsius, source } => {
            ("temperature", json!({ "celsius": celsius, "source": source }))
        }
        BenchCommand::Enter { shows } => ("enter", json!({ "shows": shows.join(" ") })),
        BenchCommand::Switch { set } => ("switch", json!({ "set": settings(&set)? })),
        BenchCommand::Override { step, reason } => {
            ("override", json!({ "step": step, "reason": reason }))
        }
        BenchCommand::Note { text } => ("note", json!({ "text": text })),
        BenchCommand::Park => ("park", json!({})),
        BenchCommand::Resume { id } => ("resume", json!({ "id": id })),
        BenchCommand::End { outcome, reason } => {
            ("end", json!({ "outcome": outcome, "reason": reason }))
        }
        BenchCommand::Sign { meaning, tag, reason } => {
            ("sign", json!({ "as": meaning, "tag": tag, "reason": reason }))
        }
    })
}

/// `S5=reversed` and its like, as an object.
fn settings(words: &[String]) -> Result<Value, Trouble> {
    let mut set = serde_json::Map::new();
    for word in words {
        let (switch, setting) = word.split_once('=').ok_or_else(|| {
            Trouble::Said(format!("`{word}` is no setting\n  next: write it as S5=reversed"))
        })?;
        set.insert(switch.to_owned(), json!(setting));
    }
    Ok(Value::Object(set))
}

/// Prints what came of it: the outcome where there is one, otherwise what to do now.
fn print(client: &Client, bench: &str, answer: &Value, common: &Common) -> Result<Exit, Trouble> {
    if common.json {
        output::data(&answer.to_string())?;
        return Ok(answer["outcome"].as_str().map_or(Exit::Done, Exit::of_word));
    }
    if let Some(id) = answer["id"].as_str() {
        output::data(id)?;
    }
    if let Some(sentence) = words::said(&answer["say"]) {
        output::talk(&sentence);
    }
    for sentence in answer["besides"].as_array().into_iter().flatten().filter_map(words::said) {
        output::talk(&sentence);
    }
    if let Some(outcome) = answer["outcome"].as_str() {
        output::data(words::english().say("verdict", outcome))?;
        return Ok(Exit::of_word(outcome));
    }
    let status = client.get("/v1/status")?;
    output::talk(&super::status::now(self::bench(&status, Some(bench))?));
    Ok(Exit::Done)
}

/// `class=I` and its like.
fn told(tell: &[String]) -> Result<Value, Trouble> {
    let mut told = serde_json::Map::new();
    for one in tell {
        let Some((column, text)) = one.split_once('=') else {
            let next = "next: write COLUMN=TEXT, such as class=I";
            return Err(Trouble::Said(format!("`{one}` has no `=`\n  {next}")));
        };
        if told.insert(column.into(), text.into()).is_some() {
            return Err(Trouble::Said(format!("`{column}` stands twice\n  next: write it once")));
        }
    }
    Ok(told.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_become_an_object() {
        let set = settings(&["S5=reversed".into(), "S7=open".into()]).unwrap();
        assert_eq!(set, json!({ "S5": "reversed", "S7": "open" }));
        assert!(settings(&["S5".into()]).is_err());
    }

    #[test]
    fn every_request_is_one_that_the_station_knows() {
        let commands = [
            BenchCommand::Scan { codes: vec!["P-0107".into()] },
            BenchCommand::Begin {
                plan: None,
                asset: None,
                reason: None,
                order: Some("A".into()),
                with: vec!["insulation".into()],
            },
            BenchCommand::Act { what: "clear".into() },
            BenchCommand::Capture,
            BenchCommand::Discard { seq: 7, cause: "wrong_point".into(), second: None },
            BenchCommand::Prove { what: "alive".into(), ln: None, npe: None, lpe: None },
            BenchCommand::Enter { shows: vec!["2.5".into(), "MOhm".into()] },
            BenchCommand::Switch { set: vec!["S5=normal".into()] },
            BenchCommand::Park,
            BenchCommand::Sign { meaning: "performed".into(), tag: None, reason: None },
        ];
        for command in commands {
            let (word, mut body) = request(command).unwrap();
            body["do"] = json!(word);
            let read = serde_json::from_value::<crate::station::event::Request>(body.clone());
            assert!(read.is_ok(), "{body}: {read:?}");
        }
    }
}
