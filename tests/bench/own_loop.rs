//! The loop in Python on the same ports.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use serde_json::Value;

use super::python;
use super::talk::{Load, Meters};

/// What it came to.
pub(crate) struct Loop {
    pub(crate) cpu_ms: u64,
    /// Readings that it stored.
    pub(crate) readings: u64,
    /// Readings that were said.
    pub(crate) said: u64,
    pub(crate) p50_us: u64,
    pub(crate) p99_us: u64,
}

/// Lets the meters talk to it.
pub(crate) fn run(load: Load) -> Loop {
    let folder = tempfile::tempdir().unwrap();
    let mut meters = Meters::plug(&folder.path().join("ports"), load);
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bench/own_loop.py");
    let mut child = Command::new(python::interpreter())
        .arg(script)
        .arg(folder.path().join("readings.db"))
        .args(meters.ports.values())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut out = std::io::BufReader::new(child.stdout.take().unwrap());
    let mut line = String::new();
    std::io::BufRead::read_line(&mut out, &mut line).unwrap();
    assert_eq!(line, "ready\n", "all ports are open");
    meters.go();
    let talked = meters.talked();
    writeln!(child.stdin.take().unwrap(), "{}", talked.frames).unwrap();
    let mut text = String::new();
    std::io::Read::read_to_string(&mut out, &mut text).unwrap();
    assert!(child.wait().unwrap().success());
    let told: Value = serde_json::from_str(&text).unwrap();
    let number = |key: &str| told[key].as_u64().unwrap();
    Loop {
        cpu_ms: number("cpu_ms"),
        readings: number("readings"),
        said: talked.frames,
        p50_us: number("p50_us"),
        p99_us: number("p99_us"),
    }
}
