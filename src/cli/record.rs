//! `record`: what a port says, into a capture file. Nothing is ever sent.
//!
//! The file is what `decode` reads and what a test plays: a bug report is a test.

mod tape;

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::Args;
use serde_json::json;
use tokio::signal::unix::{SignalKind, signal};
use tokio::time::sleep;

use super::args::Common;
use super::{Exit, Trouble, output};
use crate::clock;
use crate::config::{Bits, Flow, Line, Place};
use crate::link::{READ_BYTES_MAX, ReadLink};
use crate::words::english;
use tape::{Sink, Tape};

/// Written bytes are made durable this often.
const SYNC_S: Duration = Duration::from_secs(1);

/// What is recorded, and into which file.
#[derive(Debug, Clone, Args)]
pub struct Record {
    /// Serial port (a path), or HOST:PORT
    #[arg(value_name = "PORT")]
    pub place: String,
    /// File to be written; one that is there already is never touched
    #[arg(long, value_name = "FILE")]
    pub write: PathBuf,
    /// Settings of a serial port, such as "9600 8N1"
    #[arg(long, value_name = "BAUD BITS")]
    pub line: Option<String>,
    /// DTR of a serial port
    #[arg(long, default_value = "on", value_parser = ["on", "off"])]
    pub dtr: String,
    /// RTS of a serial port
    #[arg(long, default_value = "on", value_parser = ["on", "off"])]
    pub rts: String,
    /// Stop after so many seconds [default: at ^C]
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..=604_800))]
    pub seconds: Option<u32>,
    /// Stop after so many bytes
    #[arg(long, value_name = "BYTES", default_value_t = 16 << 20,
          value_parser = clap::value_parser!(u64).range(1..=64 << 20))]
    pub most: u64,
    /// Driver that may understand it, for whoever decodes the file
    #[arg(long, default_value = "unknown")]
    pub driver: String,
    /// What the instrument is, never its maker's name
    #[arg(long, default_value = "instrument that was recorded")]
    pub kind: String,
}

fn tell(code: &str, values: &[(&str, &str)]) -> String {
    english().tell("record", code, values)
}

fn said(code: &str, values: &[(&str, &str)]) -> Trouble {
    Trouble::Said(tell(code, values))
}

pub(super) fn run(args: &Record, common: &Common) -> Result<Exit, Trouble> {
    let place = place(args)?;
    for text in [&args.driver, &args.kind] {
        if text.is_empty() || text.chars().any(char::is_control) {
            return Err(said("text", &[]));
        }
    }
    let file = args.write.display().to_string();
    if args.write.symlink_metadata().is_ok() {
        return Err(said("there", &[("file", &file)]));
    }
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let runtime = runtime.map_err(|error| Trouble::Said(error.to_string()))?;
    let ended = runtime.block_on(record(args, &place))?;
    let Ended { bytes, reads, why } = ended;
    let why = match &why {
        Ok(code) => english().say("record", code).to_owned(),
        Err(text) => text.clone(),
    };
    if common.json {
        output::data(
            &json!({ "file": file, "bytes": bytes, "reads": reads, "ended": why }).to_string(),
        )?;
    } else {
        let (bytes, reads) = (bytes.to_string(), reads.to_string());
        let values = [("file", file.as_str()), ("bytes", &bytes), ("reads", &reads), ("why", &why)];
        output::talk(&tell("done", &values));
    }
    if bytes == 0 {
        output::talk(&tell("nothing", &[]));
    }
    Ok(Exit::Done)
}

/// What is to be recorded.
fn place(args: &Record) -> Result<Place, Trouble> {
    if !args.place.starts_with('/') {
        let port = args
            .place
            .rsplit_once(':')
            .and_then(|(host, port)| (!host.is_empty()).then_some(port.parse::<u16>().ok()?));
        return match port {
            Some(1..) if args.line.is_none() => Ok(Place::Tcp(args.place.clone())),
            Some(1..) => Err(said("tcp_line", &[])),
            _ => Err(said("place", &[("place", &args.place)])),
        };
    }
    let text = args.line.as_deref().ok_or_else(|| said("line_needed", &[]))?;
    let wrong = || said("line", &[("line", text)]);
    let (baud, bits) = text.split_once(' ').ok_or_else(wrong)?;
    let baud =
        baud.parse().ok().filter(|baud| (50..=4_000_000).contains(baud)).ok_or_else(wrong)?;
    let bits = Bits::parse(bits).ok_or_else(wrong)?;
    let [dtr, rts] = [&args.dtr, &args.rts].map(|word| word == "on");
    let line = Line { baud, bits, dtr, rts, flow: Flow::None };
    Ok(Place::Serial(PathBuf::from(&args.place), line))
}

/// How it ended: a code of the words, or what the system said.
struct Ended {
    bytes: u64,
    reads: u64,
    why: Result<&'static str, String>,
}

async fn record(args: &Record, place: &Place) -> Result<Ended, Trouble> {
    let refused = |error: io::Error| Trouble::Said(error.to_string());
    let (mut int, mut term) = (
        signal(SignalKind::interrupt()).map_err(refused)?,
        signal(SignalKind::terminate()).map_err(refused)?,
    );
    let mut link = ReadLink::open(place).await.map_err(|why| Trouble::Said(why.to_string()))?;
    let begun = clock::now();
    let file = args.write.display().to_string();
    let unwritten =
        |error: io::Error| said("unwritten", &[("file", &file), ("why", &error.to_string())]);
    let sink = create(&args.write).map_err(unwritten)?;
    let mut tape = Tape::begin(sink, &head(args, place, begun), args.most).map_err(unwritten)?;
    let mut buffer = vec![0; READ_BYTES_MAX];
    let over = async {
        match args.seconds {
            Some(seconds) => sleep(Duration::from_secs(seconds.into())).await,
            None => std::future::pending().await,
        }
    };
    tokio::pin!(over);
    let since = || clock::now().boot_us.saturating_sub(begun.boot_us);
    let why = loop {
        tokio::select! {
            read = link.read(&mut buffer) => match read {
                Ok(count @ 1..) => {
                    if !tape.take(since(), &buffer[..count]).map_err(unwritten)? {
                        break Ok("most");
                    }
                }
                Ok(0) => break Ok("gone"),
                Err(error) => break Err(error.to_string()),
            },
            () = sleep(SYNC_S), if tape.is_dirty() => tape.sync().map_err(unwritten)?,
            () = &mut over => break Ok("over"),
            _ = int.recv() => break Ok("stopped"),
            _ = term.recv() => break Ok("stopped"),
        }
    };
    let text = match &why {
        Ok(code) => english().say("record", code).to_owned(),
        Err(text) => text.clone(),
    };
    tape.end(since(), &text).map_err(unwritten)?;
    link.close().await;
    Ok(Ended { bytes: tape.bytes(), reads: tape.reads(), why })
}

/// The header of the file.
fn head(args: &Record, place: &Place, begun: clock::Stamp) -> Vec<(&'static str, String)> {
    let link = match place {
        Place::Serial(_, Line { baud, bits, .. }) => {
            format!("{baud} {bits}, DTR {}, RTS {}", args.dtr, args.rts)
        }
        _ => "TCP".to_owned(),
    };
    let kept =
        if clock::synchronised() { "kept right by a time service" } else { "not kept right" };
    let (version, at) = (env!("CARGO_PKG_VERSION"), clock::rfc3339(begun.wall_us));
    let source = format!(
        "recorded by tapline {version} from {} at {at}, clock {kept}; nothing was sent",
        args.place
    );
    Vec::from([
        ("kind", args.kind.clone()),
        ("driver", args.driver.clone()),
        ("link", link),
        ("source", source),
    ])
}

/// A new file, and its name in the folder, are on disk before anything is in it.
fn create(path: &Path) -> io::Result<File> {
    let file = File::options().write(true).create_new(true).open(path)?;
    file.sync_all()?;
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    File::open(folder.unwrap_or(Path::new(".")))?.sync_all()?;
    Ok(file)
}

impl Sink for File {
    fn put(&mut self, text: &str) -> io::Result<()> {
        io::Write::write_all(self, text.as_bytes())
    }

    fn sync(&mut self) -> io::Result<()> {
        self.sync_data()
    }
}
