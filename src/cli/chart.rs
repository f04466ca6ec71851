//! `instrument chart`: what an instrument showed on check standards.

use serde_json::{Value, json};

use super::args::Common;
use super::client::Client;
use super::{Exit, Trouble, offline, output};

/// Columns on each side of the certificate's value.
const HALF: i64 = 12;

pub(super) fn chart(client: &Client, id: &str, common: &Common) -> Result<Exit, Trouble> {
    let mut last = String::new();
    client.pages("/v1/checks", |page| {
        let items = page["items"].as_array().map_or(&[][..], Vec::as_slice);
        for item in items.iter().filter(|item| judged(item) == id) {
            if common.json {
                output::data(&item.to_string())?;
                last.clear();
                continue;
            }
            let standard = item["standard"].as_str().unwrap_or_default();
            if standard != last {
                output::data(&head(item))?;
                standard.clone_into(&mut last);
            }
            output::data(&row(item))?;
        }
        Ok(())
    })?;
    if last.is_empty() && !common.json {
        output::talk(&format!("no bench check of `{id}` yet\n  next: tapline check STANDARD"));
    }
    Ok(Exit::Done)
}

/// Every standard that judges an instrument has been checked, and the newest check of each was
/// within its room: exit code 0. One is off: 1. One is missing: 3.
pub(super) fn qualify(client: &Client, id: &str, common: &Common) -> Result<Exit, Trouble> {
    let meter = client.get(&format!("/v1/instruments/{}", offline::escaped(id)))?;
    let reads = |function: &Value| {
        let ranges = meter["range"].as_array().map_or(&[][..], Vec::as_slice);
        ranges.iter().any(|range| range["function"] == *function)
    };
    let mut standards = all(client, "/v1/standards")?;
    standards.retain(|one| match one["of"].as_str() {
        Some(of) => of == id,
        None => reads(&one["function"]),
    });
    if standards.is_empty() {
        return Err(Trouble::Said(format!(
            "no check standard judges `{id}`\n  next: tapline standard import FILE"
        )));
    }
    let checks = all(client, "/v1/checks")?;
    let mut worst = Exit::Done;
    for one in &standards {
        let of = |item: &&Value| judged(item) == id && item["standard"] == one["id"];
        let last = checks.iter().filter(of).max_by_key(|item| item["t"].as_str());
        let mark = last.map_or("never", |last| text(&last["mark"]));
        worst = worst.max(match mark {
            "never" => Exit::Undecided,
            "off" => Exit::Fail,
            _ => Exit::Done,
        });
        if common.json {
            let line = json!({ "standard": one["id"], "mark": mark, "check": last });
            output::data(&line.to_string())?;
        } else {
            let day = last.map_or("-", |last| text(&last["t"]).get(..10).unwrap_or("-"));
            let (label, what) = (text(&one["id"]), text(&one["what"]));
            output::data(&format!("{label:10}  {mark:9}  {day:10}  {what}"))?;
        }
    }
    Ok(worst)
}

fn all(client: &Client, path: &str) -> Result<Vec<Value>, Trouble> {
    let mut all = Vec::new();
    client.pages(path, |page| {
        all.extend(page["items"].as_array().into_iter().flatten().cloned());
        Ok(())
    })?;
    Ok(all)
}

/// The instrument that a point judges.
fn judged(item: &Value) -> &str {
    item["of"].as_str().unwrap_or(text(&item["instrument"]))
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or("-")
}

fn head(item: &Value) -> String {
    let want = item["want"].as_str().unwrap_or("open");
    let room = item["room"].as_str().map(|room| format!(" within {room}")).unwrap_or_default();
    format!(
        "{}: {want}{room} (certificate {})",
        text(&item["standard"]),
        text(&item["certificate"])
    )
}

fn row(item: &Value) -> String {
    let shown = match (item["value"].as_str(), item["indication"].as_str()) {
        (Some(value), None) => format!("{value} {}", text(&item["unit"])),
        (Some(value), Some(word)) => format!("{word} {value} {}", text(&item["unit"])),
        (None, word) => word.unwrap_or("-").to_owned(),
    };
    let day = text(&item["t"]).get(..16).unwrap_or_default().replace('T', " ");
    let bar = item["percent_of_room"].as_i64().map(bar).unwrap_or_default();
    format!("  {day}  {shown:>16}  {bar:27}  {}", text(&item["mark"])).trim_end().to_owned()
}

/// A line from one end of the room to the other, with the point; beyond it stands at the end.
fn bar(percent: i64) -> String {
    let place = (percent.clamp(-100, 100) * HALF) / 100 + HALF;
    let cell = |at: i64| match at {
        at if at == place => 'o',
        HALF => '|',
        _ => '.',
    };
    let line: String = (0..=2 * HALF).map(cell).collect();
    format!("[{line}]")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_point_stands_where_its_share_of_the_room_is() {
        assert_eq!(bar(0), "[............o............]");
        assert_eq!(bar(-100), "[o...........|............]");
        assert_eq!(bar(250), "[............|...........o]");
    }
}
