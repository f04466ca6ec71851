//! Standard output is data, standard error is talk. The only place that prints.

use std::io::{self, IsTerminal, Write};

use super::plain::plain;
use super::verify::Said;
use super::{Exit, Trouble};
use crate::words::english;

/// Prints a line of data, harmless to a terminal. A reader that went away is no trouble: there is
/// nobody to tell.
///
/// # Errors
/// [`Trouble::Quiet`] when nobody reads any more.
pub(super) fn data(text: &str) -> Result<(), Trouble> {
    painted(&plain(text))
}

/// Prints a line that we coloured: whoever did has made everything else in it harmless.
///
/// # Errors
/// [`Trouble::Quiet`] when nobody reads any more.
pub(super) fn painted(text: &str) -> Result<(), Trouble> {
    let mut out = io::stdout().lock();
    writeln!(out, "{text}").and_then(|()| out.flush()).map_err(|_| Trouble::Quiet)
}

/// Writes bytes as they are where a program reads them; where a person does, they are made
/// harmless to the terminal.
///
/// # Errors
/// [`Trouble::Quiet`] when nobody reads any more.
pub(super) fn exactly(bytes: &[u8]) -> Result<(), Trouble> {
    let mut out = io::stdout().lock();
    if out.is_terminal() {
        drop(out);
        return String::from_utf8_lossy(bytes).lines().try_for_each(data);
    }
    out.write_all(bytes).and_then(|()| out.flush()).map_err(|_| Trouble::Quiet)
}

/// Writes bytes that are no text where a program reads them; a screen is none.
///
/// # Errors
/// It is a screen, or nobody reads any more.
pub(super) fn piped(bytes: &[u8]) -> Result<(), Trouble> {
    let mut out = io::stdout().lock();
    if out.is_terminal() {
        return Err(Trouble::Said(english().say("report", "screen").to_owned()));
    }
    out.write_all(bytes).and_then(|()| out.flush()).map_err(|_| Trouble::Quiet)
}

/// Says something to the person, harmless to a terminal.
pub(super) fn talk(text: &str) {
    // A person who can't be told is not there.
    let _ = writeln!(io::stderr().lock(), "{}", plain(text));
}

/// Says what went wrong and what to do next.
pub(super) fn trouble(trouble: &Trouble) -> Exit {
    if let Trouble::Quiet = trouble {
        return Exit::Done;
    }
    talk(&format!("tapline: {trouble}"));
    Exit::Trouble
}

/// Prints what a command has to say.
pub(super) fn said(said: &Said) -> Result<Exit, Trouble> {
    said.talk.iter().for_each(|line| talk(line));
    said.out.iter().try_for_each(|line| data(line))?;
    Ok(Exit::of_code(said.exit))
}
