//! `tapline month`: the numbers of a month, with what they mean and what is missing.

use serde_json::Value;

use super::args::{Common, Month};
use super::client::Client;
use super::offline::escaped;
use super::{Exit, Trouble, output};
use crate::index::LIST_MAX;
use crate::told::rows::wrapped;
use crate::words::english;

/// Prints them. Exit: 0.
pub(super) fn month(args: &Month, client: &Client, common: &Common) -> Result<Exit, Trouble> {
    let most = if args.missing == 0 { usize::MAX } else { args.missing };
    let mut path = format!("/v1/month?grace={}", args.grace);
    if let Some(month) = &args.month {
        path += &format!("&of={}", escaped(month));
    }
    if common.json {
        output::data(&client.get(&path)?.to_string())?;
        return Ok(Exit::Done);
    }
    path += &format!("&limit={}", most.min(LIST_MAX));
    let first = client.get(&path)?;
    head(&first)?;
    let (all, damaged) = (first["missing_all"].as_u64(), first["damaged"].as_u64());
    let named = missing(client, &path, first, most)?;
    let rest = all.unwrap_or_default().saturating_sub(named);
    for (code, n) in [("more", rest), ("damaged", damaged.unwrap_or_default())] {
        if n > 0 {
            output::talk(&tell(code, &[("n", n.to_string())]));
        }
    }
    Ok(Exit::Done)
}

/// Names what is missing, at most so many; returns how many.
fn missing(client: &Client, path: &str, first: Value, most: usize) -> Result<u64, Trouble> {
    let (mut named, mut page) = (0, first);
    loop {
        let next = page["next"].as_str().map(escaped);
        for one in page["missing"].as_array().into_iter().flatten().take(most - named) {
            output::data(&missed(one))?;
            named += 1;
        }
        match next {
            Some(after) if named < most => page = client.get(&format!("{path}&after={after}"))?,
            _ => return Ok(named as u64),
        }
    }
}

/// The shares, in the order in which they are told.
const SHARES: [&str; 5] = ["on_time", "location", "yield", "first_time_pass", "repeat_failure"];

fn head(month: &Value) -> Result<(), Trouble> {
    let of = |name: &str| shown(&month[name]);
    let values = [("month", of("month")), ("as_of", of("as_of")), ("grace", of("grace"))];
    output::data(&tell("head", &values))?;
    for code in SHARES {
        let one = &month["numbers"][code];
        output::data(&share("share", say(code), one))?;
        means(one)?;
    }
    let minutes = &month["minutes"];
    let named = |name: &'static str| (name, shown(&minutes[name]));
    output::data(&match minutes["median"].is_null() {
        true => tell("nothing", &[("name", say("minutes_of").to_owned())]),
        false => tell("minutes", &[named("median"), named("p90"), named("inspections")]),
    })?;
    means(minutes)?;
    for one in month["overdue"]["by_risk"].as_array().into_iter().flatten() {
        let risk = one["risk"].as_str().unwrap_or(say("no_risk")).to_owned();
        let values = [("risk", risk), ("of", number(&one["of"])), ("all", number(&one["all"]))];
        output::data(&tell("overdue", &values))?;
    }
    means(&month["overdue"])?;
    let people = month["set_aside"]["by_operator"].as_array().map_or(&[][..], Vec::as_slice);
    if people.is_empty() {
        output::data(say("none_set_aside"))?;
    }
    for one in people {
        let by = one["by"].as_str().filter(|by| !by.is_empty()).unwrap_or(say("nobody"));
        let (values, kept) = (number(&one["values"]), number(&one["in_force"]));
        let values = [("by", by.to_owned()), ("values", values), ("in_force", kept)];
        output::data(&tell("set_aside", &values))?;
    }
    means(&month["set_aside"])
}

/// A count of a count, in words.
fn share(code: &str, name: &str, one: &Value) -> String {
    let name = name.to_owned();
    match one["percent"].as_str() {
        None => tell("nothing", &[("name", name)]),
        Some(percent) => tell(
            code,
            &[
                ("name", name),
                ("percent", percent.to_owned()),
                ("of", number(&one["of"])),
                ("all", number(&one["all"])),
            ],
        ),
    }
}

fn means(of: &Value) -> Result<(), Trouble> {
    output::data(&wrapped("  ", &shown(&of["means"])))
}

fn missed(one: &Value) -> String {
    let part = |code: &str, name: &'static str, text: &Value| match text.as_str() {
        None => String::new(),
        Some(text) => tell(code, &[(name, text.to_owned())]),
    };
    let visit = one["visit"].as_str().map(|code| english().say("ended", code).to_owned());
    let values = [
        ("due", shown(&one["due"])),
        ("asset", shown(&one["asset"])),
        ("description", shown(&one["description"])),
        ("location", shown(&one["location"])),
        ("late", part("late", "day", &one["late"])),
        ("visit", part("visit", "outcome", &visit.into())),
    ];
    tell("missing", &values)
}

fn number(of: &Value) -> String {
    of.as_u64().unwrap_or_default().to_string()
}

fn shown(of: &Value) -> String {
    of.as_str().map_or_else(|| of.to_string(), str::to_owned)
}

fn say(code: &str) -> &str {
    english().say("month", code)
}

fn tell(code: &str, values: &[(&str, String)]) -> String {
    let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
    english().tell("month", code, &values)
}
