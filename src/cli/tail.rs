//! `tail`: follows the live log, resumes where it was, says when it lost its place.

use std::time::Duration;

use http_body_util::BodyExt;
use hyper::Method;
use serde_json::Value;

use super::args::{Common, Tail};
use super::client::{Client, broken, runtime};
use super::render::{Paint, Renderer};
use super::{Exit, Trouble, output};

/// Longest event that is held, bytes: a stored line and its frame.
const EVENT_MAX: usize = 256 << 10;
/// Pause before the station is looked for again.
const AGAIN: Duration = Duration::from_secs(1);

pub(super) fn tail(client: &Client, tail: &Tail, common: &Common) -> Result<Exit, Trouble> {
    runtime()?.block_on(async {
        tokio::select! {
            end = watch(client, tail, common) => end,
            _ = tokio::signal::ctrl_c() => Ok(Exit::Done),
        }
    })
}

/// Follows the log until nobody reads any more.
pub(super) async fn watch(client: &Client, tail: &Tail, common: &Common) -> Result<Exit, Trouble> {
    let mut sink = Sink::new(tail, common);
    follow(client, tail, common, &mut sink).await
}

/// Reads the feed for ever; a station that goes away is waited for, once it has answered.
async fn follow(
    client: &Client,
    tail: &Tail,
    common: &Common,
    sink: &mut Sink,
) -> Result<Exit, Trouble> {
    let mut after = tail.after;
    let mut met = false;
    loop {
        match once(client, &path(tail, common, after), &mut after, sink).await {
            Err(Trouble::Quiet) => return Err(Trouble::Quiet),
            Err(Trouble::Refused(problem)) => return Err(Trouble::Refused(problem)),
            Err(trouble) if !met && after == tail.after => return Err(trouble),
            Err(_) | Ok(()) => {
                if !met {
                    output::talk("the station is away; waiting for it");
                }
                met = true;
            }
        }
        tokio::time::sleep(AGAIN).await;
    }
}

fn path(tail: &Tail, common: &Common, after: Option<u64>) -> String {
    let mut query = Vec::new();
    if let Some(after) = after {
        query.push(format!("after={after}"));
    }
    if let Some(bench) = &common.bench {
        query.push(format!("bench={bench}"));
    }
    if let Some(id) = &tail.inspection {
        query.push(format!("inspection={id}"));
    }
    format!("/v1/feed?{}", query.join("&"))
}

/// One connection to the feed, until it ends.
async fn once(
    client: &Client,
    path: &str,
    after: &mut Option<u64>,
    sink: &mut Sink,
) -> Result<(), Trouble> {
    let response = client.send(Method::GET, path, None).await?;
    if !response.status().is_success() {
        return Err(Trouble::Said(format!("the feed was refused ({})", response.status())));
    }
    let mut body = response.into_body();
    let mut held = Vec::new();
    while let Some(frame) = body.frame().await {
        let frame = frame.map_err(|error| broken(&error))?;
        let Some(bytes) = frame.data_ref() else { continue };
        held.extend_from_slice(bytes);
        for event in events(&mut held)? {
            if let Some(id) = event.id {
                *after = Some(id);
            }
            sink.event(&event)?;
        }
    }
    Ok(())
}

/// An event of the feed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
struct Event {
    id: Option<u64>,
    name: String,
    data: String,
}

/// Takes the whole events out of what is held (server-sent events, HTML standard 9.2.6).
fn events(held: &mut Vec<u8>) -> Result<Vec<Event>, Trouble> {
    let mut found = Vec::new();
    while let Some(end) = held.windows(2).position(|pair| pair == b"\n\n") {
        let rest = held.split_off(end + 2);
        let text = std::mem::replace(held, rest);
        found.push(event(&String::from_utf8_lossy(&text)));
    }
    if held.len() > EVENT_MAX {
        return Err(Trouble::Said("an event of the feed has no end".into()));
    }
    Ok(found)
}

fn event(text: &str) -> Event {
    let mut event = Event::default();
    for line in text.lines() {
        match line.split_once(": ") {
            Some(("id", id)) => event.id = id.parse().ok(),
            Some(("event", name)) => name.clone_into(&mut event.name),
            Some(("data", data)) => event.data.push_str(data),
            _ => {}
        }
    }
    event
}

/// Where events go.
struct Sink {
    json: bool,
    readings: bool,
    renderer: Renderer,
}

impl Sink {
    fn new(tail: &Tail, common: &Common) -> Sink {
        let zone = jiff::tz::TimeZone::system();
        Sink {
            json: common.json,
            readings: tail.readings,
            renderer: Renderer::new(Paint::of_stdout(), zone),
        }
    }

    fn event(&mut self, event: &Event) -> Result<(), Trouble> {
        match event.name.as_str() {
            "" | "hello" => return Ok(()),
            "lost" => {
                output::talk(&format!("lost the place: {}; see `tapline status`", event.data));
                return Ok(());
            }
            "state" => {
                output::talk(&state(&event.data));
                return Ok(());
            }
            _ => {}
        }
        if self.json && !self.readings {
            return output::data(&event.data);
        }
        let Ok(line) = serde_json::from_str::<Value>(&event.data) else { return Ok(()) };
        if self.json {
            return readings(&line).iter().try_for_each(|reading| output::data(reading));
        }
        match self.renderer.line(&line) {
            Some(text) => output::painted(&text),
            None => Ok(()),
        }
    }
}

/// What the station says of itself: that it stopped judging, or judges again.
fn state(data: &str) -> String {
    let data: Value = serde_json::from_str(data).unwrap_or_default();
    let text = |key: &str| data[key].as_str().unwrap_or_default().to_owned();
    match data["halted"].as_str() {
        Some(why) => format!("{}\n  {why}\n  next: {}", text("first"), text("next")),
        None => "the station judges again".to_owned(),
    }
}

/// One object a reading of an `in` line, as the feed's contract has it.
fn readings(line: &Value) -> Vec<String> {
    let list = line["read"].as_array().map_or(&[][..], Vec::as_slice);
    let reading = |(i, read): (usize, &Value)| {
        serde_json::json!({
            "seq": line["seq"], "i": i, "at": line["t"], "bench": line["bench"],
            "link": line["link"], "function": read["f"],
            "indication": read["i"].as_str().unwrap_or("value"),
            "value": read["v"], "unit": read["u"],
            "flags": read["x"].as_array().cloned().unwrap_or_default(),
            "raw": span(line, read), "step": read["s"], "why": read["why"],
        })
        .to_string()
    };
    list.iter().enumerate().map(reading).collect()
}

/// The reading's bytes that stand in this line; a frame that began in the line before lacks its
/// beginning here.
fn span(line: &Value, read: &Value) -> String {
    let at = |n: usize| usize::try_from(read["b"][n].as_i64().unwrap_or(0)).unwrap_or(0);
    let raw = line["raw"].as_str().unwrap_or("");
    raw.chars().skip(at(0)).take(at(1).saturating_sub(at(0))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn events_are_whole_or_wait() {
        let mut held = b": hello\n\nid: 7\nevent: value\ndata: {\"a\":1}\n\nid: 8\nev".to_vec();
        let found = events(&mut held).unwrap();
        assert_eq!(found.len(), 2);
        assert_eq!(found[1], Event { id: Some(7), name: "value".into(), data: "{\"a\":1}".into() });
        assert_eq!(held, b"id: 8\nev");
    }

    #[test]
    fn a_reading_carries_its_own_bytes() {
        let line = serde_json::json!({ "seq": 1, "t": "x", "bench": "b1", "link": "ohm",
            "raw": "ab\r\ncd\r\n", "read": [{ "b": [4, 8], "f": "voltage_ac", "v": "1", "u": "V" }] });
        let text = readings(&line).remove(0);
        let value: Value = serde_json::from_str(&text).unwrap();
        assert_eq!(value["raw"], "cd\r\n");
        assert_eq!(value["indication"], "value");
    }
}
