//! What the script listens to: the live value, parts of the view that changed, tones, and a beat
//! every second, so that silence is noticed.

use std::sync::Arc;
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use futures_util::stream::unfold;
use serde_json::{Value, json};
use tokio::time::{Interval, MissedTickBehavior, interval};

use super::Desk;
use super::bench::{gather, lens};
use super::reading::{Lens, Readings};
use crate::clock;
use crate::face::problem::Refused;
use crate::page::bench::{Bench, parts};
use crate::serve::feed::{Part, Place, Shown};
use crate::station::status::Status;

/// How often it is looked whether the view changed.
const LOOK: Duration = Duration::from_millis(100);

/// Looks from one beat to the next.
const LOOKS: u32 = 10;

/// `GET /bench/{bench}/live`.
pub(super) async fn live(
    State(desk): State<Desk>,
    Path(bench): Path<String>,
) -> Result<Response, Refused> {
    let place = desk.hall.shared.feed.read(None);
    let shown = gather(&desk, &bench).await?;
    let mut ticks = interval(LOOK);
    ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut listener = Listener {
        desk,
        bench,
        place,
        ticks,
        ticked: 0,
        status: None,
        readings: Readings::default(),
        link: None,
        lens: Lens::default(),
        html: String::new(),
    };
    let first = listener.view(&shown).await;
    let stream = unfold((listener, Some(first)), |(mut listener, first)| async move {
        let text = match first {
            Some(text) => text,
            None => listener.next().await?,
        };
        Some((Ok::<_, std::convert::Infallible>(Bytes::from(text)), (listener, None)))
    });
    Ok(([(header::CONTENT_TYPE, "text/event-stream")], Body::from_stream(stream)).into_response())
}

/// One script that listens.
struct Listener {
    desk: Desk,
    bench: String,
    place: Place,
    ticks: Interval,
    ticked: u32,
    /// The status that the view was last made for.
    status: Option<Arc<Status>>,
    readings: Readings,
    /// Link of the instrument that is read.
    link: Option<String>,
    /// What readings of the active step are seen through.
    lens: Lens,
    /// What the view was.
    html: String,
}

impl Listener {
    /// The next events; `None` at the end of the station.
    async fn next(&mut self) -> Option<String> {
        loop {
            let came = tokio::select! {
                part = self.place.next() => Some(part?),
                _ = self.ticks.tick() => None,
                _ = self.desk.hall.stop.wait_for(Option::is_some) => return None,
            };
            let text = match came {
                Some(part) => self.lines(part),
                None => self.tick().await,
            };
            if !text.is_empty() {
                return Some(text);
            }
        }
    }

    /// What lines of the feed say to the page.
    fn lines(&mut self, part: Part) -> String {
        let Part::Lines(lines) = part else { return String::new() };
        let now_us = clock::now().boot_us;
        let (mut newest, mut tone) = (None, None);
        for line in lines.iter().filter(|line| line.bench.as_deref() == Some(&self.bench)) {
            let moment = (now_us, &self.lens);
            match line.kind.as_str() {
                "in" => newest = self.readings.take(line, self.link.as_deref(), moment).or(newest),
                _ => tone = tone.max(tone_of(line)),
            }
        }
        let newest = newest.map(|value| event("live", &value)).unwrap_or_default();
        newest + &tone.map(|(_, tone)| event("tone", &json!(tone))).unwrap_or_default()
    }

    /// The view, if it changed, and a beat every second.
    async fn tick(&mut self) -> String {
        self.ticked += 1;
        let status = self.desk.hall.shared.status();
        let same = match (&status, &self.status) {
            (Some(new), Some(old)) => Arc::ptr_eq(new, old) || new.benches == old.benches,
            (new, old) => new.is_none() == old.is_none(),
        };
        let beat = self.ticked.is_multiple_of(LOOKS);
        let mut text = String::new();
        // Not all that is shown is in the status: once a second it is looked at as a whole.
        if !same || beat {
            self.status = status;
            text = match gather(&self.desk, &self.bench).await {
                Ok(view) => self.view(&view).await,
                Err(_) => String::new(),
            };
        }
        if beat { text + &event("beat", &json!({})) } else { text }
    }

    /// The parts, if they are others than those that were sent.
    async fn view(&mut self, view: &Bench) -> String {
        // What a reading comes to depends on ages, too.
        self.lens = self.lens().await;
        let html = parts(view).into_string();
        if html == self.html {
            return String::new();
        }
        self.html = html;
        let name = view.prompt().and_then(|prompt| prompt.instrument.as_deref());
        let links = view.status.links.iter();
        let link = links.filter(|link| name.is_some() && link.instrument.as_deref() == name);
        let link = link.map(|link| link.id.clone()).next();
        let mut text = String::new();
        if link != self.link {
            self.link = link;
            self.readings = Readings::default();
            text = event("live", &Value::Null);
        }
        text + &event("view", &json!({ "html": self.html }))
    }

    async fn lens(&self) -> Lens {
        let bench = self.bench.clone();
        let asked = self.desk.hall.shared.ask(move |core| lens(core, &bench));
        asked.await.unwrap_or_default()
    }
}

/// What a line sounds like: `(rank, tone)`; the highest rank of several is heard.
fn tone_of(line: &Shown) -> Option<(u8, &'static str)> {
    match line.kind.as_str() {
        "value" | "null" => Some((0, "captured")),
        "prove" if line.data.contains("\"ok\":false") => Some((1, "attention")),
        "verdict" if line.data.contains("fail\",\"reasons\":") => Some((2, "fail")),
        _ => None,
    }
}

fn event(name: &str, data: &Value) -> String {
    format!("event: {name}\ndata: {data}\n\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fail_is_heard_over_a_capture() {
        let line = |kind: &str, data: &str| Shown {
            seq: 1,
            kind: kind.into(),
            book: "x".into(),
            bench: None,
            data: data.into(),
        };
        let captured = tone_of(&line("value", "{}"));
        let fail = tone_of(&line("verdict", r#"{"verdict":"fail","reasons":[]}"#));
        assert_eq!(captured.max(fail), Some((2, "fail")));
        assert_eq!(tone_of(&line("verdict", r#"{"verdict":"pass","reasons":[]}"#)), None);
        assert_eq!(tone_of(&line("in", "{}")), None);
    }

    #[test]
    fn an_event_is_one_line_whatever_it_holds() {
        let text = event("view", &json!({ "html": "<p>a\nb\r\n\n</p>" }));
        assert_eq!(text.matches('\n').count(), 3);
    }
}
