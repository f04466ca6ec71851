//! `learn`: what a stranger sends, guesses of its framing, a first draft of a described driver.
//! A port is opened for reading only: there is nothing to send with.

use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::Args;

use super::{Exit, Trouble, offline, output};
use crate::config;
use crate::identify::{listen, setting};
use crate::learn::{Line, draft, guess, view};
use crate::link::Ear;
use crate::ports;
use crate::words::english;

/// A port or a file, and where the draft goes.
#[derive(Debug, Clone, Args)]
pub struct Learn {
    /// The port, or a file: a capture (.cap), else bytes
    #[arg(value_name = "PORT|FILE")]
    pub source: PathBuf,
    /// Settings of the port; `tapline identify` finds them
    #[arg(long, default_value = "9600 8N1")]
    pub setting: String,
    /// How long a port is listened to
    #[arg(long, default_value_t = 20, value_parser = clap::value_parser!(u64).range(1..=600))]
    pub seconds: u64,
    /// DTR while the port is open
    #[arg(long, default_value = "on", value_parser = ["on", "off"])]
    pub dtr: String,
    /// RTS while the port is open
    #[arg(long, default_value = "off", value_parser = ["on", "off"])]
    pub rts: String,
    /// File for the draft; one that is there already is never touched [default: standard output]
    #[arg(long, value_name = "FILE")]
    pub write: Option<PathBuf>,
}

/// Pieces with the moments of their reads, and the settings they were heard at.
type Heard = (Vec<(u64, Vec<u8>)>, Option<Line>);

fn said(code: &str, values: &[(&str, &str)]) -> Trouble {
    Trouble::Said(english().tell("learn", code, values))
}

/// Exit: 0 a draft was written, 3 nothing was found that a file could describe, 2 trouble.
pub(super) fn run(args: &Learn) -> Result<Exit, Trouble> {
    if let Some(file) = args.write.as_ref().filter(|file| file.symlink_metadata().is_ok()) {
        return Err(said("there", &[("file", &file.display().to_string())]));
    }
    let (reads, line) = if args.source.is_file() { from_file(args)? } else { from_port(args)? };
    if reads.iter().all(|(_, bytes)| bytes.is_empty()) {
        let (seconds, port) = (args.seconds.to_string(), args.source.display().to_string());
        return Err(said("nothing", &[("seconds", &seconds), ("port", &port)]));
    }
    let guess = guess(&reads);
    view(&reads, &guess).iter().for_each(|row| output::talk(row));
    let Some(draft) = draft(&guess, line.as_ref()) else {
        output::talk(english().say("learn", "no_draft"));
        return Ok(Exit::Undecided);
    };
    match &args.write {
        None => output::data(draft.trim_end())?,
        Some(file) => {
            let name = file.display().to_string();
            let unread =
                |why: io::Error| said("unread", &[("file", &name), ("why", &why.to_string())]);
            let mut new =
                File::options().write(true).create_new(true).open(file).map_err(unread)?;
            new.write_all(draft.as_bytes()).map_err(unread)?;
            output::talk(&english().tell("learn", "written", &[("file", &name)]));
        }
    }
    Ok(Exit::Done)
}

fn from_file(args: &Learn) -> Result<Heard, Trouble> {
    if args.source.extension().is_none_or(|ending| ending != "cap") {
        return Ok((vec![(0, offline::bytes(Some(&args.source))?)], None));
    }
    let capture = offline::capture(&args.source)?;
    let head = capture.head.iter().find(|(key, _)| key == "link").map(|(_, text)| text.as_str());
    let line = head.and_then(|text| {
        let mut words = text.split([' ', ',']);
        let (baud, bits) = (words.next()?.parse().ok()?, words.next()?);
        setting(baud, bits).map(|_| Line { baud, bits: bits.to_owned() })
    });
    Ok((capture.reads().map(|(at, bytes)| (at, bytes.to_vec())).collect(), line))
}

fn from_port(args: &Learn) -> Result<Heard, Trouble> {
    let port = args.source.display().to_string();
    if let Some(one) = ports::holders(Path::new("/"), &args.source).first() {
        let pid = one.pid.to_string();
        let values = [("port", port.as_str()), ("pid", &pid), ("command", &one.command)];
        return Err(said("held", &values));
    }
    let own = args.setting.split_once(' ').and_then(|(baud, bits)| {
        Some((setting(baud.parse().ok()?, bits.trim())?, bits.trim().to_owned()))
    });
    let Some((line, bits)) = own else {
        return Err(said("setting", &[("text", &args.setting)]));
    };
    let line = config::Line { dtr: args.dtr == "on", rts: args.rts == "on", ..line };
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let runtime = runtime.map_err(|error| Trouble::Said(error.to_string()))?;
    let heard = runtime.block_on(async {
        let mut ear = Ear::open(&args.source, &line).map_err(|why| why.to_string())?;
        let time = Duration::from_secs(args.seconds);
        listen(&mut ear, line, time, |_| false).await.map_err(|why| why.to_string())
    });
    let heard = heard.map_err(Trouble::Said)?;
    let begin = heard.reads.first().map_or(0, |(at, _)| *at);
    let reads = heard.reads.into_iter().map(|(at, bytes)| (at - begin, bytes)).collect();
    Ok((reads, Some(Line { baud: line.baud, bits })))
}
