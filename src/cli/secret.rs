//! What is typed and not shown: badges and PINs. They come from the terminal or a pipe, never from
//! an argument or the environment, which other users of the machine can read.

use std::io::{self, IsTerminal, Write};

use rustix::termios::{LocalModes, OptionalActions, Termios, tcgetattr, tcsetattr};
use serde_json::{Value, json};

use super::client::Client;
use super::offline::escaped;
use super::{Exit, Trouble, output};
use crate::words::{english, said};

/// Asks for a signature. Where the station wants badge and PIN for it, the person is asked for
/// them; `badge` is the field that the badge goes to.
pub(super) fn signed(
    client: &Client,
    path: &str,
    mut body: Value,
    badge: &str,
) -> Result<Value, Trouble> {
    let needed = match client.post(path, &body) {
        Err(Trouble::Refused(problem)) if problem.code == "pin_needed" => problem,
        other => return other,
    };
    let mut fields = vec![(badge, "ask_badge"), ("pin", "ask_pin")];
    if body["second"].is_string() {
        fields.extend([("second", "ask_second_badge"), ("second_pin", "ask_second")]);
    }
    for (field, asks) in fields {
        let Some(text) = ask(asks)?.filter(|text| !text.is_empty()) else {
            return Err(Trouble::Refused(needed));
        };
        body[field] = json!(text);
    }
    client.post(path, &body)
}

/// Sets the PIN of an operator, or takes it away.
pub(super) fn pin(client: &Client, id: &str, reset: bool) -> Result<Exit, Trouble> {
    let body = if reset { json!({ "reset": true }) } else { wish()? };
    let answer = client.post(&format!("/v1/operators/{}/pin", escaped(id)), &body)?;
    if let Some(sentence) = said(&answer["say"]) {
        output::talk(&sentence);
    }
    Ok(Exit::Done)
}

fn wish() -> Result<Value, Trouble> {
    let trouble = |key: &str| Trouble::Said(english().say("pin", key).to_owned());
    let mut typed = Vec::new();
    for asks in ["ask_badge", "ask_before", "ask_new", "ask_again"] {
        typed.push(ask(asks)?.ok_or_else(|| trouble("nothing"))?);
    }
    let [badge, before, pin, again] = typed.as_slice() else { return Err(trouble("nothing")) };
    match pin == again {
        true => Ok(json!({ "badge": badge, "before": before, "pin": pin })),
        false => Err(trouble("differ")),
    }
}

/// One line, not shown where it is typed; `None` where nobody is there to type it.
fn ask(key: &str) -> Result<Option<String>, Trouble> {
    let terminal = io::stdin().is_terminal();
    let quiet = if terminal { Some(Quiet::begin()?) } else { None };
    if terminal {
        let mut talk = io::stderr().lock();
        // A person who can't be asked is not there.
        let _ = write!(talk, "{}", english().say("pin", key)).and_then(|()| talk.flush());
    }
    let mut line = String::new();
    let read = io::stdin().read_line(&mut line).map_err(|error| failed(&error))?;
    drop(quiet);
    Ok((read > 0).then(|| line.trim_end_matches(['\r', '\n']).to_owned()))
}

fn failed(error: &dyn std::fmt::Display) -> Trouble {
    Trouble::Said(format!("the terminal can't be read ({error})\n  next: try another one"))
}

/// While it lives, the terminal does not show what is typed.
struct Quiet(Termios);

impl Quiet {
    fn begin() -> Result<Quiet, Trouble> {
        let before = tcgetattr(io::stdin()).map_err(|error| failed(&error))?;
        let mut silent = before.clone();
        silent.local_modes.remove(LocalModes::ECHO);
        silent.local_modes.insert(LocalModes::ECHONL);
        tcsetattr(io::stdin(), OptionalActions::Flush, &silent).map_err(|error| failed(&error))?;
        Ok(Quiet(before))
    }
}

impl Drop for Quiet {
    fn drop(&mut self) {
        // Nothing else could be done about it.
        let _ = tcsetattr(io::stdin(), OptionalActions::Now, &self.0);
    }
}
