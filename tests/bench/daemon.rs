//! A station as a process of its own, and what the kernel says of it.
#![allow(dead_code, reason = "each benchmark uses a part of it")]

use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Instant;

use rustix::process::{Pid, Signal, kill_process};
use serde_json::Value;

use super::{clock, http};

/// The program.
pub(crate) const TAPLINE: &str = env!("CARGO_BIN_EXE_tapline");

/// Ticks of a second in `/proc/PID/stat`: USER_HZ, 100 on every Linux (proc(5), sysconf(3)).
const TICKS: u64 = 100;
/// Longest wait for a start, seconds.
const START_S: f64 = 600.0;

/// A running station. Dropping it ends it.
#[derive(Debug)]
pub(crate) struct Daemon {
    child: Child,
    socket: PathBuf,
    log: PathBuf,
    /// When the process was started.
    pub(crate) began: Instant,
}

impl Daemon {
    /// Starts it; its socket and log lie in `folder`, beside the configuration.
    pub(crate) fn start(folder: &Path) -> Daemon {
        let (socket, log) = (folder.join("tapline.sock"), folder.join("log"));
        let talk = File::options().create(true).append(true).open(&log).unwrap();
        let began = clock::now();
        let child = Command::new(TAPLINE)
            .args(["serve", "--config"])
            .arg(folder.join("tapline.toml"))
            .env("TAPLINE_SOCKET", &socket)
            .env("RUST_LOG", "warn")
            .stdin(Stdio::null())
            .stdout(talk.try_clone().unwrap())
            .stderr(talk)
            .spawn()
            .unwrap();
        Daemon { child, socket, log, began }
    }

    /// Waits until its status says something; seconds since its start.
    pub(crate) fn ready(&mut self, holds: impl Fn(&Value) -> bool) -> f64 {
        loop {
            let status = self.get("/v1/status");
            if status.is_some_and(|status| status["seq"].as_u64() > Some(0) && holds(&status)) {
                return clock::seconds_since(self.began);
            }
            let ended = self.child.try_wait().unwrap();
            let late = clock::seconds_since(self.began) > START_S;
            assert!(ended.is_none() && !late, "the station does not answer:\n{}", self.log());
            clock::pause_ms(1);
        }
    }

    /// A resource of its interface; `None` while there is none.
    pub(crate) fn get(&self, path: &str) -> Option<Value> {
        let (status, text) = http::ask(&self.socket, "GET", path, "").ok()?;
        (status == 200).then(|| serde_json::from_str(&text).unwrap())
    }

    /// Posts and takes the answer.
    pub(crate) fn post(&self, path: &str, body: &Value) -> (u16, String) {
        http::ask(&self.socket, "POST", path, &body.to_string()).unwrap()
    }

    /// Its socket.
    pub(crate) fn socket(&self) -> &Path {
        &self.socket
    }

    /// What it said of itself.
    pub(crate) fn log(&self) -> String {
        fs::read_to_string(&self.log).unwrap_or_default()
    }

    /// Processor time so far, user and system, milliseconds.
    pub(crate) fn cpu_ms(&self) -> u64 {
        cpu_ms(self.child.id())
    }

    /// A line of `/proc/PID/status` in KiB: `VmRSS`, `VmHWM`.
    pub(crate) fn kib(&self, name: &str) -> u64 {
        kib(self.child.id(), name).unwrap()
    }

    /// Ends it in order.
    pub(crate) fn stop(mut self) {
        self.signal(Signal::TERM);
        let ended = self.child.wait().unwrap();
        assert!(ended.success(), "{ended}\n{}", self.log());
    }

    /// Ends it without warning.
    pub(crate) fn kill9(mut self) {
        self.signal(Signal::KILL);
        self.child.wait().unwrap();
    }

    fn signal(&self, signal: Signal) {
        let pid = i32::try_from(self.child.id()).unwrap();
        kill_process(Pid::from_raw(pid).unwrap(), signal).unwrap();
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        if self.child.try_wait().is_ok_and(|ended| ended.is_none()) {
            self.signal(Signal::KILL);
            let _ = self.child.wait();
        }
    }
}

/// A line of `/proc/PID/status` in KiB; `None` once the process has ended.
pub(crate) fn kib(pid: u32, name: &str) -> Option<u64> {
    let text = fs::read_to_string(format!("/proc/{pid}/status")).ok()?;
    let line = text.lines().find(|line| line.starts_with(name))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// Processor time of a process so far, user and system, milliseconds.
pub(crate) fn cpu_ms(pid: u32) -> u64 {
    let text = fs::read_to_string(format!("/proc/{pid}/stat")).unwrap();
    // The name in brackets may hold anything; fields 14 and 15 are the times (proc(5)).
    let rest = text.rsplit(')').next().unwrap();
    let fields: Vec<u64> =
        rest.split_whitespace().skip(11).take(2).map(|field| field.parse().unwrap()).collect();
    fields.iter().sum::<u64>() * 1000 / TICKS
}
