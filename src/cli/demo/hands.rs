//! The control channel of the simulated bench: JSON lines over a unix socket.

use std::path::Path;

use serde_json::{Value, json};
use tapline_demo::hand::Hand;
use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};
use tokio::net::UnixStream;

use crate::cli::Trouble;

/// Hands and eyes at the bench.
#[derive(Debug)]
pub(super) struct Hands {
    stream: BufReader<UnixStream>,
}

impl Hands {
    pub(super) async fn reach(socket: &Path) -> Result<Hands, Trouble> {
        let stream = UnixStream::connect(socket).await.map_err(|error| gone(&error))?;
        Ok(Hands { stream: BufReader::new(stream) })
    }

    /// Another asset and another set-up on the same bench.
    pub(super) async fn scene(&mut self, text: &str) -> Result<(), Trouble> {
        self.order(&json!({ "do": "scene", "text": text })).await.map(drop)
    }

    /// One act of the hands.
    pub(super) async fn act(&mut self, hand: &Hand) -> Result<(), Trouble> {
        self.order(&json!(hand)).await.map(drop)
    }

    /// What the bench looks like.
    pub(super) async fn look(&mut self) -> Result<Value, Trouble> {
        self.order(&json!({ "do": "look" })).await
    }

    async fn order(&mut self, order: &Value) -> Result<Value, Trouble> {
        let line = format!("{order}\n");
        self.stream.write_all(line.as_bytes()).await.map_err(|error| gone(&error))?;
        let mut answer = String::new();
        self.stream.read_line(&mut answer).await.map_err(|error| gone(&error))?;
        let answer: Value = serde_json::from_str(&answer).map_err(|error| gone(&error))?;
        match answer["error"].as_str() {
            Some(error) => Err(Trouble::Said(format!("the simulated bench refused: {error}"))),
            None => Ok(answer),
        }
    }
}

fn gone(error: &dyn std::fmt::Display) -> Trouble {
    Trouble::Said(format!("the simulated bench went away: {error}"))
}
