//! The live feed as server-sent events. A client that comes back goes on where it was.

use std::sync::Arc;
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::extract::State;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use futures_util::stream::unfold;
use serde::Deserialize;
use serde_json::{Value, json};
use tokio::sync::{broadcast, watch};
use tokio::time::timeout;

use super::Hall;
use super::problem::Refused;
use super::query::Query;
use crate::serve::feed::{Part, Place, Shown};
use crate::serve::shared::Halt;

/// A comment is sent so often, so that both ends notice a dead connection.
const COMMENT_S: Duration = Duration::from_secs(15);

/// What a client wants to see.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    after: Option<u64>,
    bench: Option<String>,
    inspection: Option<String>,
    kinds: Option<String>,
}

/// `GET /v1/feed`.
pub(super) async fn feed(
    State(hall): State<Hall>,
    Query(wanted): Query<Wanted>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    let bad = |error: String| Refused::new("bad_input", error);
    let last = match headers.get("last-event-id").map(|id| id.to_str()) {
        None => None,
        Some(Ok(id)) => Some(id.parse().map_err(|_| bad(format!("`{id}` is no event id")))?),
        Some(Err(_)) => return Err(bad("the last event id is no text".into())),
    };
    let place = hall.shared.feed.read(last.or(wanted.after));
    let mut halts = hall.shared.halts();
    let halt = halts.borrow_and_update().as_ref().map(|halt| state(Some(halt)));
    let first = Bytes::from(hello(&hall) + &halt.unwrap_or_default());
    let refusals = hall.shared.refusals.listen();
    let client = Client { place, wanted, hall, halts, refusals, first: Some(first) };
    let stream = unfold(client, |mut client| async move {
        let bytes = client.next().await?;
        Some((Ok::<_, std::convert::Infallible>(bytes), client))
    });
    let kind = [(header::CONTENT_TYPE, "text/event-stream"), (header::CACHE_CONTROL, "no-store")];
    Ok((kind, Body::from_stream(stream)).into_response())
}

fn hello(hall: &Hall) -> String {
    let (oldest, newest) = hall.shared.feed.ends();
    let status = hall.shared.status();
    let station = status.as_ref().map(|status| status.station.clone());
    let data = json!({ "station": station, "seq": newest, "oldest": oldest });
    format!("event: hello\ndata: {data}\n\n")
}

/// The station stopped judging, or judges again: an event without a number, for it is no line.
fn state(halt: Option<&Halt>) -> String {
    let data = halt.map_or_else(|| json!({ "halted": null }), Halt::json);
    format!("event: state\ndata: {data}\n\n")
}

struct Client {
    place: Place,
    wanted: Wanted,
    hall: Hall,
    halts: watch::Receiver<Option<Halt>>,
    refusals: broadcast::Receiver<Arc<Value>>,
    first: Option<Bytes>,
}

impl Client {
    /// The next bytes; `None` at the end of the station.
    async fn next(&mut self) -> Option<Bytes> {
        if let Some(first) = self.first.take() {
            return Some(first);
        }
        loop {
            let part = tokio::select! {
                part = timeout(COMMENT_S, self.place.next()) => part,
                Ok(()) = self.halts.changed() => {
                    return Some(state(self.halts.borrow_and_update().as_ref()).into());
                }
                Ok(refusal) = self.refusals.recv() => {
                    if self.wanted.is_of(&refusal) {
                        return Some(format!("event: refusal\ndata: {refusal}\n\n").into());
                    }
                    continue;
                }
                _ = self.hall.stop.wait_for(Option::is_some) => return None,
            };
            let Ok(part) = part else { return Some(Bytes::from_static(b": still here\n\n")) };
            let text = match part? {
                Part::Lost { after, oldest } => {
                    let data = json!({ "after": after, "oldest": oldest });
                    format!("event: lost\ndata: {data}\n\n")
                }
                Part::Lines(lines) => lines
                    .iter()
                    .filter(|line| self.wanted.is(line))
                    .map(|line| event(line))
                    .collect(),
            };
            if !text.is_empty() {
                return Some(text.into());
            }
        }
    }
}

fn event(line: &Shown) -> String {
    format!("id: {}\nevent: {}\ndata: {}\n\n", line.seq, line.kind, line.data)
}

impl Wanted {
    /// What was refused is no line: it is told to whoever asks for no kind and no inspection.
    fn is_of(&self, refusal: &Value) -> bool {
        let here = |bench: &String| refusal["bench"] == **bench;
        self.kinds.is_none() && self.inspection.is_none() && self.bench.as_ref().is_none_or(here)
    }

    fn is(&self, line: &Shown) -> bool {
        let kind = |kinds: &String| kinds.split(',').any(|kind| kind == line.kind);
        self.bench.as_ref().is_none_or(|bench| line.bench.as_ref() == Some(bench))
            && self.inspection.as_ref().is_none_or(|id| line.book == *id)
            && self.kinds.as_ref().is_none_or(kind)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_filter_lets_through_what_was_asked_for() {
        let line = Shown {
            seq: 7,
            kind: "value".into(),
            book: "K3-20261124-0007".into(),
            bench: Some("b1".into()),
            data: "{}".into(),
        };
        let of = |text: &str| serde_json::from_str::<Wanted>(text).unwrap().is(&line);
        assert!(of("{}"));
        assert!(of(r#"{"bench":"b1","kinds":"verdict,value"}"#));
        assert!(!of(r#"{"kinds":"verdict"}"#));
        assert!(!of(r#"{"bench":"b2"}"#));
        assert!(!of(r#"{"inspection":"K3-20261124-0008"}"#));
        assert_eq!(event(&line), "id: 7\nevent: value\ndata: {}\n\n");
    }
}
