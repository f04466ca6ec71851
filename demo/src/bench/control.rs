//! The control channel: JSON lines over a unix socket, one answer each.

use std::io::{self, Read as _, Write as _};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::Path;

use serde::Deserialize;
use serde_json::{Value, json};

use crate::hand::Hand;
use crate::world::Port;

/// Longest line, bytes: a scene with all its parts.
const LINE_MAX: usize = 65_536;
/// Most clients at a time; one more is turned away.
const CLIENTS_MAX: usize = 8;

/// What can be ordered besides the acts of hands.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(tag = "do", rename_all = "snake_case", deny_unknown_fields)]
pub(super) enum Order {
    /// Another scene: its text.
    Scene { text: String },
    /// What the bench looks like: switches, clips, the asset's own indicator.
    Look {},
    /// The data cable of an instrument is pulled.
    Unplug { port: PortWord },
    /// It is plugged in again, as another pty under the old name.
    Replug { port: PortWord },
    /// The bench ends.
    Quit {},
}

/// Ports by their words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum PortWord {
    Ohm,
    Dmm,
    Box,
    Scanner,
    Iso,
}

impl From<PortWord> for Port {
    fn from(word: PortWord) -> Port {
        match word {
            PortWord::Ohm => Port::Ohm,
            PortWord::Dmm => Port::Dmm,
            PortWord::Box => Port::Contacts,
            PortWord::Scanner => Port::Scanner,
            PortWord::Iso => Port::Iso,
        }
    }
}

/// A line of the control channel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Line {
    Order(Order),
    Hand(Hand),
}

impl Line {
    /// Reads a line; the fault says what was not understood.
    pub(super) fn parse(text: &str) -> Result<Line, String> {
        let value: Value = serde_json::from_str(text).map_err(|error| error.to_string())?;
        let word = value.get("do").and_then(Value::as_str).unwrap_or_default();
        if ["scene", "look", "unplug", "replug", "quit"].contains(&word) {
            return serde_json::from_value(value).map(Line::Order).map_err(|e| e.to_string());
        }
        serde_json::from_value(value).map(Line::Hand).map_err(|error| error.to_string())
    }
}

/// Who is connected.
#[derive(Debug)]
pub(super) struct Control {
    listener: UnixListener,
    clients: Vec<Client>,
}

#[derive(Debug)]
struct Client {
    stream: UnixStream,
    held: Vec<u8>,
}

impl Control {
    pub(super) fn bind(path: &Path) -> io::Result<Control> {
        let listener = UnixListener::bind(path)?;
        listener.set_nonblocking(true)?;
        Ok(Control { listener, clients: Vec::new() })
    }

    pub(super) fn listener(&self) -> &UnixListener {
        &self.listener
    }

    pub(super) fn streams(&self) -> impl Iterator<Item = &UnixStream> {
        self.clients.iter().map(|client| &client.stream)
    }

    /// Takes new clients and whole lines; `serve` answers each.
    pub(super) fn serve(&mut self, mut serve: impl FnMut(&str) -> Value) -> io::Result<()> {
        while let Ok((stream, _)) = self.listener.accept() {
            if self.clients.len() < CLIENTS_MAX {
                stream.set_nonblocking(true)?;
                self.clients.push(Client { stream, held: Vec::new() });
            }
        }
        self.clients.retain_mut(|client| client.lines(&mut serve).is_ok());
        Ok(())
    }
}

impl Client {
    /// An error ends this client and nobody else.
    fn lines(&mut self, serve: &mut impl FnMut(&str) -> Value) -> io::Result<()> {
        let mut buffer = [0; 4096];
        loop {
            match self.stream.read(&mut buffer) {
                Ok(0) => return Err(io::ErrorKind::UnexpectedEof.into()),
                Ok(length) => self.held.extend_from_slice(&buffer[..length]),
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => break,
                Err(error) => return Err(error),
            }
            if self.held.len() > LINE_MAX {
                return Err(io::ErrorKind::InvalidData.into());
            }
        }
        while let Some(end) = self.held.iter().position(|byte| *byte == b'\n') {
            let line: Vec<u8> = self.held.drain(..=end).collect();
            let answer = match std::str::from_utf8(&line) {
                Ok(text) => serve(text.trim()),
                Err(_) => json!({ "ok": false, "error": "not UTF-8" }),
            };
            self.stream.write_all(format!("{answer}\n").as_bytes())?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn orders_and_acts_are_told_apart() {
        assert_eq!(Line::parse(r#"{"do":"look"}"#), Ok(Line::Order(Order::Look {})));
        let unplug = Order::Unplug { port: PortWord::Box };
        assert_eq!(Line::parse(r#"{"do":"unplug","port":"box"}"#), Ok(Line::Order(unplug)));
        let plug = Hand::Plug { plugged: true };
        assert_eq!(Line::parse(r#"{"do":"plug","plugged":true}"#), Ok(Line::Hand(plug)));
        assert!(Line::parse(r#"{"do":"dance"}"#).unwrap_err().contains("dance"));
        assert!(Line::parse("nonsense").is_err());
    }
}
