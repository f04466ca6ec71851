//! Many lines at wire rate: ports on which nothing but frames of a talking meter is said, from a
//! seed, and at the end what was said, so that nothing lost can be checked.
//!
//! Ports `line-000` … and `ports.json` are made; a line `go` on standard input starts the talk;
//! one JSON object a line and one for all go to standard output; then the ports stay open until
//! standard input ends, so that a reader gets everything.

use std::fs;
use std::io::{self, BufRead as _, Write as _};
use std::path::PathBuf;

use rustix::io::Errno;
use serde_json::json;
use sha2::{Digest, Sha256};

use super::pace::{self, Clock};
use super::pty::Pty;
use crate::noise::Noise;

/// How often bytes are handed to the ports: as a chip with a buffer hands them over.
const TURN_US: u64 = 10_000;
/// Longest that a reader may leave a port full after the talk has ended.
const STUCK_US: u64 = 10_000_000;
/// A start, eight data and a stop bit make a byte.
const BITS: u64 = 10;

/// What is said.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Options {
    folder: PathBuf,
    lines: u64,
    pace: Pace,
    seconds: u64,
    seed: u64,
    /// The value of each reading is the boot-time clock in seconds, modulo 1 000, instead of one
    /// from the seed: whoever sees the reading knows how old it is.
    stamped: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Pace {
    /// The line is never silent.
    Baud(u64),
    /// So many whole frames a second.
    PerSecond(u64),
}

const USAGE: &str = "give --folder DIR --lines N, --baud B or --per-second R, and --seconds S \
                     [--seed K] [--stamped]";

impl Options {
    fn read(args: impl IntoIterator<Item = String>) -> Result<Options, String> {
        let (mut folder, mut lines, mut pace, mut seconds) = (None, None, None, None);
        let (mut seed, mut stamped) = (1, false);
        let mut args = args.into_iter();
        while let Some(arg) = args.next() {
            if arg == "--stamped" {
                stamped = true;
                continue;
            }
            let value = args.next().unwrap_or_default();
            if arg == "--folder" {
                folder = Some(PathBuf::from(value));
                continue;
            }
            let number = value.parse::<u64>().ok().filter(|number| *number > 0);
            let number = number.ok_or_else(|| format!("`{arg}` wants a number: {USAGE}"))?;
            match arg.as_str() {
                "--lines" => lines = Some(number),
                "--baud" => pace = Some(Pace::Baud(number)),
                "--per-second" => pace = Some(Pace::PerSecond(number)),
                "--seconds" => seconds = Some(number),
                "--seed" => seed = number,
                _ => return Err(format!("unknown argument `{arg}`: {USAGE}")),
            }
        }
        let all = (folder, lines, pace, seconds);
        let (Some(folder), Some(lines), Some(pace), Some(seconds)) = all else {
            return Err(USAGE.into());
        };
        Ok(Options { folder, lines, pace, seconds, seed, stamped })
    }
}

/// Entry of the process.
///
/// # Errors
/// What to say on standard error: wrong arguments, a port that can't be made or is not read.
pub(super) fn main(args: impl IntoIterator<Item = String>) -> Result<(), String> {
    let options = Options::read(args)?;
    talk(&options).map_err(|error| error.to_string())
}

fn talk(options: &Options) -> io::Result<()> {
    let mut lines = (0..options.lines)
        .map(|number| Talker::new(options, number))
        .collect::<io::Result<Vec<_>>>()?;
    announce(options, &lines)?;
    let mut orders = io::stdin().lock().lines();
    if orders.next().transpose()?.as_deref() != Some("go") {
        return Ok(());
    }
    let clock = Clock::start();
    let end = options.seconds * 1_000_000;
    let mut behind = 0;
    let mut turn = 0;
    while clock.now() < end {
        let now = clock.now();
        for line in &mut lines {
            behind = behind.max(line.advance(options, now)?);
        }
        turn = (turn + TURN_US).max(clock.now() / TURN_US * TURN_US);
        pace::wait(&mut [], (turn + TURN_US).saturating_sub(clock.now()))?;
    }
    finish(&mut lines, clock)?;
    tell(options, &lines, behind)?;
    // Until whoever reads has read everything.
    orders.by_ref().try_for_each(|order| order.map(drop))
}

/// The frames that were begun are brought to an end.
fn finish(lines: &mut [Talker], clock: Clock) -> io::Result<()> {
    let give_up = clock.now() + STUCK_US;
    for line in lines {
        while line.flush()? > 0 {
            if clock.now() > give_up {
                return Err(io::Error::other("a port is full and nobody reads it"));
            }
            pace::wait(&mut [], TURN_US)?;
        }
    }
    Ok(())
}

fn announce(options: &Options, lines: &[Talker]) -> io::Result<()> {
    let ports: serde_json::Map<_, _> =
        lines.iter().map(|line| (line.name.clone(), json!(line.pty.link()))).collect();
    let file = options.folder.join("ports.json.new");
    fs::write(&file, format!("{}\n", serde_json::Value::Object(ports)))?;
    fs::rename(file, options.folder.join("ports.json"))
}

fn tell(options: &Options, lines: &[Talker], behind: u64) -> io::Result<()> {
    let mut out = io::stdout().lock();
    let (mut bytes, mut frames) = (0, 0);
    for line in lines {
        bytes += line.bytes;
        frames += line.frames;
        let sum = line.said.clone().finalize();
        let sha256: String = sum.iter().map(|byte| format!("{byte:02x}")).collect();
        let (line, b, f) = (&line.name, line.bytes, line.frames);
        writeln!(out, "{}", json!({ "line": line, "bytes": b, "frames": f, "sha256": sha256 }))?;
    }
    let (lines, seconds) = (options.lines, options.seconds);
    let all = json!({
        "lines": lines, "seconds": seconds, "bytes": bytes, "frames": frames,
        "behind_bytes_max": behind,
    });
    writeln!(out, "{all}")?;
    out.flush()
}

/// One meter that talks by itself.
struct Talker {
    name: String,
    number: u64,
    pty: Pty,
    noise: Noise,
    /// Bytes of frames that were begun and are not said yet.
    rest: Vec<u8>,
    said: Sha256,
    bytes: u64,
    frames: u64,
}

impl Talker {
    fn new(options: &Options, number: u64) -> io::Result<Talker> {
        let name = format!("line-{number:03}");
        let pty = Pty::new(&options.folder.join(&name))?;
        let noise = Noise::new(options.seed.wrapping_add(number << 32));
        let (said, rest) = (Sha256::new(), Vec::new());
        Ok(Talker { name, number, pty, noise, rest, said, bytes: 0, frames: 0 })
    }

    /// Says what is due by `now`, microseconds since the start. Returns by how many bytes the
    /// line is late.
    fn advance(&mut self, options: &Options, now: u64) -> io::Result<u64> {
        match options.pace {
            Pace::Baud(baud) => {
                let due = now * baud / BITS / 1_000_000;
                let wants = due.saturating_sub(self.bytes);
                while (self.rest.len() as u64) < wants {
                    self.frame(options.stamped);
                }
                self.say(usize::try_from(wants).unwrap_or(usize::MAX))?;
                Ok(due.saturating_sub(self.bytes))
            }
            Pace::PerSecond(rate) => {
                // The meters are not in step with each other.
                let phase = self.number * 1_000_000 / options.lines;
                while (self.frames * 1_000_000 + phase) / rate <= now {
                    self.frame(options.stamped);
                }
                self.flush()
            }
        }
    }

    fn frame(&mut self, stamped: bool) {
        let drawn = self.noise.draw();
        let line = match (stamped, drawn % 64) {
            (true, _) => {
                let us = pace::boot_us() % 1_000_000_000;
                format!("R4 +{:03}.{:06} Ohm\r\n", us / 1_000_000, us % 1_000_000)
            }
            (false, 0) => "R4 OL Ohm\r\n".into(),
            (false, _) => format!("R4 +0.{:03} Ohm\r\n", (drawn >> 8) % 1000),
        };
        self.rest.extend_from_slice(line.as_bytes());
        self.frames += 1;
    }

    /// Says all that was begun. Returns how many bytes the port did not take.
    fn flush(&mut self) -> io::Result<u64> {
        self.say(self.rest.len())?;
        Ok(self.rest.len() as u64)
    }

    fn say(&mut self, length: usize) -> io::Result<()> {
        let length = length.min(self.rest.len());
        let taken = match self.pty.put(&self.rest[..length]) {
            Ok(taken) => taken,
            Err(Errno::AGAIN) => 0,
            Err(errno) => return Err(errno.into()),
        };
        self.said.update(&self.rest[..taken]);
        self.bytes += taken as u64;
        self.rest.drain(..taken);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Read as _;

    fn options(folder: &std::path::Path, pace: &[&str]) -> Result<Options, String> {
        let mut args = vec!["--folder", folder.to_str().unwrap(), "--lines", "2"];
        args.extend(["--seconds", "1"]);
        args.extend(pace);
        Options::read(args.into_iter().map(String::from))
    }

    #[test]
    fn wrong_arguments_are_told() {
        let folder = std::path::Path::new("/nowhere");
        assert_eq!(options(folder, &[]).unwrap_err(), USAGE);
        assert!(options(folder, &["--baud", "fast"]).unwrap_err().contains("`--baud` wants"));
        assert!(options(folder, &["--bogus", "1"]).unwrap_err().contains("`--bogus`"));
    }

    #[test]
    fn a_line_says_the_bytes_of_its_rate_and_what_it_said_has_its_hash() {
        let folder = tempfile::tempdir().unwrap();
        let options = options(folder.path(), &["--baud", "9600"]).unwrap();
        let mut line = Talker::new(&options, 0).unwrap();
        let mut reader = fs::File::options().read(true).write(true).open(line.pty.link()).unwrap();
        assert_eq!(line.advance(&options, 1_000_000).unwrap(), 0);
        assert_eq!(line.bytes, 960, "ten bits a byte");
        let mut heard = vec![0; 960];
        reader.read_exact(&mut heard).unwrap();
        line.flush().unwrap();
        let mut rest = vec![0; usize::try_from(line.bytes).unwrap() - 960];
        reader.read_exact(&mut rest).unwrap();
        heard.extend(rest);
        assert!(heard.ends_with(b" Ohm\r\n"), "whole frames in the end");
        assert_eq!(Sha256::digest(&heard), line.said.finalize());
    }

    #[test]
    fn a_full_port_takes_nothing_and_the_line_says_that_it_is_late() {
        let folder = tempfile::tempdir().unwrap();
        let options = options(folder.path(), &["--baud", "115200"]).unwrap();
        let mut line = Talker::new(&options, 1).unwrap();
        let _reader = fs::File::options().read(true).write(true).open(line.pty.link()).unwrap();
        let late = (1..=100).map(|s| line.advance(&options, s * 1_000_000).unwrap()).max();
        assert!(late.unwrap() > 1_000_000, "{late:?}");
    }
}
