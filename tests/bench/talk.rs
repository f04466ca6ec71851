//! Ports on which meters talk at wire rate, in a process of its own, and what it says that it said.

use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use serde_json::Value;

use super::clock;
use super::daemon::{TAPLINE, cpu_ms};

/// How fast, and for how long.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Load {
    pub(crate) lines: u64,
    pub(crate) pace: Pace,
    pub(crate) seconds: u64,
    pub(crate) seed: u64,
}

#[derive(Debug, Clone, Copy)]
pub(crate) enum Pace {
    Baud(u64),
    PerSecond(u64),
}

/// What went over one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Said {
    pub(crate) bytes: u64,
    pub(crate) frames: u64,
    pub(crate) sha256: String,
}

/// What went over all of them.
#[derive(Debug)]
pub(crate) struct Talked {
    pub(crate) lines: BTreeMap<String, Said>,
    pub(crate) frames: u64,
    pub(crate) bytes: u64,
    /// By how many bytes a line was late at most, because its port was full.
    pub(crate) behind_bytes_max: u64,
    /// Processor time of the talking process, milliseconds.
    pub(crate) cpu_ms: u64,
}

/// The process. Dropping it unplugs all ports.
pub(crate) struct Meters {
    child: Child,
    pub(crate) ports: BTreeMap<String, PathBuf>,
}

impl Meters {
    /// Plugs the ports in; nobody says anything yet.
    pub(crate) fn plug(folder: &Path, load: Load) -> Meters {
        let (pace, rate) = match load.pace {
            Pace::Baud(baud) => ("--baud", baud),
            Pace::PerSecond(rate) => ("--per-second", rate),
        };
        fs::create_dir_all(folder).unwrap();
        let mut child = Command::new(TAPLINE)
            .args(["demo-bench", "lines", "--stamped", "--folder"])
            .arg(folder)
            .args(["--lines", &load.lines.to_string(), pace, &rate.to_string()])
            .args(["--seconds", &load.seconds.to_string(), "--seed", &load.seed.to_string()])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let ports = loop {
            if let Ok(text) = fs::read_to_string(folder.join("ports.json")) {
                break serde_json::from_str(&text).unwrap();
            }
            assert!(child.try_wait().unwrap().is_none(), "the meters could not be plugged in");
            clock::pause_ms(5);
        };
        Meters { child, ports }
    }

    /// They talk. Call [`Meters::talked`] for the end of it.
    pub(crate) fn go(&mut self) {
        self.child.stdin.as_mut().unwrap().write_all(b"go\n").unwrap();
    }

    /// Waits until they have talked; the ports stay.
    pub(crate) fn talked(&mut self) -> Talked {
        let mut lines = BTreeMap::new();
        let out = BufReader::new(self.child.stdout.take().unwrap());
        for text in out.lines() {
            let value: Value = serde_json::from_str(&text.unwrap()).unwrap();
            let number = |key: &str| value[key].as_u64().unwrap();
            let (bytes, frames) = (number("bytes"), number("frames"));
            let Some(line) = value["line"].as_str() else {
                let behind_bytes_max = number("behind_bytes_max");
                let cpu_ms = cpu_ms(self.child.id());
                return Talked { lines, frames, bytes, behind_bytes_max, cpu_ms };
            };
            let sha256 = value["sha256"].as_str().unwrap().to_owned();
            lines.insert(line.to_owned(), Said { bytes, frames, sha256 });
        }
        panic!("the meters did not say what they said");
    }
}

impl Drop for Meters {
    fn drop(&mut self) {
        drop(self.child.stdin.take());
        let _ = self.child.wait();
    }
}
