//! The two harmless queries, and the only way to send them.

use std::path::Path;
use std::time::Duration;

use tokio::time::timeout;

use crate::config::{Line, Place};
use crate::inbox::{Inbox, inbox};
use crate::link::{LinkSpec, Supervised, supervise};
use crate::station::event::Event;

/// How long an answer may take (IEEE 488.2 says nothing; the driver of such meters takes as long).
const ANSWER: Duration = Duration::from_millis(2000);
/// How long a port may take to open.
const OPEN: Duration = Duration::from_secs(5);
/// Longest answer, bytes.
const ANSWER_MAX: usize = 1024;
/// Events that may wait.
const INBOX: usize = 64;

/// What can be asked. There is nothing else: bytes come from here alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Query {
    /// IEEE 488.2, 10.14.
    Identity,
    /// SCPI-99, volume 2, chapter 21.
    Errors,
}

impl Query {
    /// All of them.
    pub const ALL: [Query; 2] = [Query::Identity, Query::Errors];

    /// The bytes that are sent. Both ask what is known already: neither measures, sets or starts
    /// anything.
    #[must_use]
    pub const fn bytes(self) -> &'static [u8] {
        match self {
            Query::Identity => b"*IDN?\n",
            Query::Errors => b"SYST:ERR?\n",
        }
    }
}

/// Settings at which an instrument that is asked may listen, the commonest first. Common practice,
/// no source.
pub const SETTINGS: [(u32, &str); 6] = [
    (9600, "8N1"),
    (19_200, "8N1"),
    (115_200, "8N1"),
    (38_400, "8N1"),
    (57_600, "8N1"),
    (4800, "8N1"),
];

/// What an instrument said when it was asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// At this setting.
    pub line: Line,
    /// Who it is: `maker,model,serial,version`.
    pub identity: String,
    /// What its error queue said, if it answered that.
    pub errors: Option<String>,
}

/// Asks at one setting. `None`: it did not answer with a line of text.
///
/// # Errors
/// The port can't be opened, in words.
pub async fn ask(port: &Path, line: Line) -> Result<Option<Answer>, String> {
    let (send, mut heard) = inbox(INBOX);
    let place = Place::Serial(port.to_owned(), line);
    let link = supervise(LinkSpec { id: "identify".into(), place, talks: true }, send);
    open(&mut heard).await?;
    let identity = query(&link, &mut heard, Query::Identity).await;
    let Some(identity) = identity.filter(|text| is_identity(text)) else { return Ok(None) };
    let errors = query(&link, &mut heard, Query::Errors).await;
    Ok(Some(Answer { line, identity, errors }))
}

async fn open(inbox: &mut Inbox) -> Result<(), String> {
    let mut last = "it does not open".to_owned();
    let up = async {
        while let Some(event) = inbox.next().await {
            match event {
                Event::LinkUp { .. } => return true,
                // It may still be closing from the setting before.
                Event::LinkDown { why, .. } => last = why,
                _ => {}
            }
        }
        false
    };
    match timeout(OPEN, up).await {
        Ok(true) => Ok(()),
        Ok(false) | Err(_) => Err(last),
    }
}

/// Sends one query and waits for one line.
async fn query(link: &Supervised, inbox: &mut Inbox, query: Query) -> Option<String> {
    link.send(query.bytes().to_vec()).ok()?;
    let mut answer = Vec::new();
    let line = async {
        while answer.len() < ANSWER_MAX && !answer.ends_with(b"\n") && !answer.ends_with(b"\r") {
            match inbox.next().await {
                Some(Event::Bytes { bytes, .. }) => answer.extend(bytes),
                Some(Event::LinkDown { .. }) | None => return,
                Some(_) => {}
            }
        }
    };
    // What came until then may still be an answer without an end.
    let _ = timeout(ANSWER, line).await;
    let text = String::from_utf8(answer).ok()?;
    let text = text.trim();
    (!text.is_empty() && !text.contains(char::is_control)).then(|| text.to_owned())
}

/// Four fields of printable text; an echo of the question is none.
fn is_identity(text: &str) -> bool {
    text.split(',').count() >= 4 && text.bytes().all(|b| (0x20..0x7f).contains(&b))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The allow-list, written down a second time.
    #[test]
    fn nothing_but_two_queries_can_be_sent() {
        let all: Vec<&[u8]> = Query::ALL.iter().map(|query| query.bytes()).collect();
        assert_eq!(all, [&b"*IDN?\n"[..], b"SYST:ERR?\n"]);
    }

    #[test]
    fn an_echo_or_a_number_is_no_identity() {
        assert!(is_identity("GENERIC,BENCH-DMM,0001,1.0"));
        assert!(!is_identity("*IDN?"));
        assert!(!is_identity("+1.0E+00"));
        assert!(!is_identity("A,B,\u{e9},D"));
    }
}
