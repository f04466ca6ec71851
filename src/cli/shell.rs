//! What the program says of itself to a shell and to `man`, made from the same definitions as its
//! help.

use std::io;
use std::path::Path;

use clap::CommandFactory;
use clap_complete::Shell;

use super::args::Cli;
use super::{Exit, Trouble, output};

/// Prints the completions of a shell.
pub(super) fn completions(shell: Shell) -> Result<Exit, Trouble> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "tapline", &mut script);
    let script = String::from_utf8_lossy(&script);
    output::data(script.trim_end())?;
    Ok(Exit::Done)
}

/// Writes a page for `man` of the program and of each command into a folder that is there.
pub(super) fn man(folder: &Path) -> Result<Exit, Trouble> {
    let written = || -> io::Result<()> {
        std::fs::read_dir(folder)?;
        clap_mangen::generate_to(Cli::command(), folder)
    };
    written().map_err(|error| {
        let folder = folder.display();
        Trouble::Said(format!("{folder}: {error}\n  next: name a folder that you may write to"))
    })?;
    let shown = folder.join("tapline.1");
    output::talk(&format!("to read them: man -l {}", shown.display()));
    Ok(Exit::Done)
}
