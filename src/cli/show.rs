//! `show`: an inspection's result or its raw bytes, and a plan for an asset of the register.

use serde_json::Value;

use super::about::About;
use super::args::{Common, PlanShow};
use super::client::Client;
use super::offline::escaped;
use super::{Exit, Trouble, life, output};
use crate::told::{alike, clock};
use crate::words::english;

pub(super) fn inspection(
    client: &Client,
    id: &str,
    raw: bool,
    common: &Common,
) -> Result<Exit, Trouble> {
    if raw {
        return bytes(client, id, common);
    }
    let result = client.get(&format!("/v1/inspections/{}", escaped(id)))?;
    let text = match common.json {
        true => result.to_string(),
        false => page(&result, &about(client, id)),
    };
    output::data(&text)?;
    if result["damaged"] == true {
        return Ok(Exit::Trouble);
    }
    Ok(result["outcome"].as_str().map_or(Exit::Done, Exit::of_word))
}

/// What the stored lines say besides; nothing where the book is away.
fn about(client: &Client, id: &str) -> Vec<String> {
    let mut about = About::default();
    let read = client.pages(&format!("/v1/inspections/{}/facts", escaped(id)), |page| {
        page["facts"].as_array().into_iter().flatten().for_each(|fact| about.take(fact));
        Ok(())
    });
    read.map_or_else(|_| Vec::new(), |()| about.lines())
}

fn page(result: &Value, about: &[String]) -> String {
    let word = |key: &str| result[key].as_str().unwrap_or("-").to_owned();
    let mut lines = vec![format!("{}  asset {}  plan {}", word("id"), word("asset"), word("plan"))];
    if result["damaged"] == true {
        lines.push(english().say("say", "show.damaged").replace("{0}", &word("why")));
    }
    for verdict in result["verdicts"].as_array().map_or(&[][..], Vec::as_slice) {
        lines.push(row(verdict));
        lines.extend(reasons(verdict));
    }
    lines.extend_from_slice(about);
    lines.extend(clocks(result));
    lines.extend(life::lines(result));
    let outcome = result["outcome"].as_str();
    lines.push(outcome.map_or_else(
        || format!("not signed ({})", word("state")),
        |outcome| english().say("verdict", outcome).to_owned(),
    ));
    lines.join("\n")
}

/// Whether the times can be trusted, and what happened to the clock meanwhile.
fn clocks(result: &Value) -> Vec<String> {
    let Some(synced) = result["synced"].as_bool() else { return Vec::new() };
    let kept = if synced { "synced" } else { "unsynced" };
    let mut lines = vec![format!("  {}", english().say("clock", kept))];
    let changes = result["clock"].as_array().into_iter().flatten();
    let said = changes.map(|fact| clock::changed(fact, fact["at"].as_str().unwrap_or("?")));
    lines.extend(said.map(|text| format!("  ! {text}")));
    lines
}

fn row(verdict: &Value) -> String {
    let text = |value: &Value| value.as_str().unwrap_or("").to_owned();
    let unit = text(&verdict["unit"]);
    let mark = match verdict["indication"].as_str() {
        Some("above") => "> ",
        Some("below") => "< ",
        _ => "",
    };
    let limit = &verdict["limit"];
    let shown = text(&verdict["shown"]);
    let beside = alike::beside(&shown, &unit, &text(&limit["unit"]));
    let beside = beside.map(|same| format!(" ({same})")).unwrap_or_default();
    let value = format!("{mark}{shown} {unit}{beside}");
    let limit = match limit["value"].as_str() {
        Some(at) => format!(
            "{} {at} {}  {} {} {} ({})",
            text(&limit["direction"]),
            text(&limit["unit"]),
            text(&limit["standard"]),
            text(&limit["edition"]),
            text(&limit["clause"]),
            text(&limit["confidence"]).replace('_', " "),
        ),
        None => String::new(),
    };
    let word = english().say("verdict", verdict["verdict"].as_str().unwrap_or("")).to_owned();
    format!("  {:8} {:17} {value:>24}  {limit}", text(&verdict["step"]), word).trim_end().to_owned()
}

fn reasons(verdict: &Value) -> Vec<String> {
    let codes = verdict["reasons"].as_array().into_iter().flatten().filter_map(Value::as_str);
    codes.map(|code| format!("           {}", english().say("reason", code))).collect()
}

fn bytes(client: &Client, id: &str, common: &Common) -> Result<Exit, Trouble> {
    let mut told = false;
    let mut damaged = false;
    client.pages(&format!("/v1/inspections/{}/facts?raw=1", escaped(id)), |page| {
        if page["source"] == "index" && !told {
            output::talk("the book is not in its place; this comes from the index");
            told = true;
        }
        if let (Some(why), false) = (page["damaged"].as_str(), damaged) {
            output::talk(&format!("damaged: {why}; what stands before it follows"));
            damaged = true;
        }
        let facts = page["facts"].as_array().map_or(&[][..], Vec::as_slice);
        let text = |fact: &Value| if common.json { fact.to_string() } else { raw_line(fact) };
        facts.iter().try_for_each(|fact| output::data(&text(fact)))
    })?;
    Ok(if damaged { Exit::Trouble } else { Exit::Done })
}

fn raw_line(fact: &Value) -> String {
    let text = |key: &str| fact[key].as_str().unwrap_or("").to_owned();
    match fact["raw"].as_str() {
        Some(raw) => format!("{}  {:10} {:?}", text("t"), text("link"), raw),
        None => format!(
            "{}  {:10} {}",
            text("t"),
            text("step"),
            english().say("verdict", fact["verdict"].as_str().unwrap_or(""))
        ),
    }
}

pub(super) fn plan(client: &Client, show: &PlanShow, common: &Common) -> Result<Exit, Trouble> {
    let bench = common.bench.as_ref().map(|b| format!("&bench={b}")).unwrap_or_default();
    let path = format!("/v1/plans/{}?asset={}{bench}", escaped(&show.plan), escaped(&show.asset));
    let answer = client.get(&path)?;
    let text = match answer["text"].as_str() {
        Some(text) if !common.json => text.to_owned(),
        _ => answer.to_string(),
    };
    output::data(&text)?;
    Ok(Exit::Done)
}
