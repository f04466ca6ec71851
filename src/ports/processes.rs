//! Who has ports open or locked, and whether a modem prober runs: one walk over `/proc`.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

use super::{base, below, entries, text};

/// Programs that try modem commands on new ports, by the name that the kernel keeps.
const PROBERS: [&str; 1] = ["ModemManager"];

/// Longest command that is shown, characters.
const COMMAND_MAX: usize = 120;

/// A process.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Holder {
    /// Its number.
    pub pid: u32,
    /// Its command with arguments, or its name where that can't be read.
    pub command: String,
}

/// What runs.
pub(super) struct Running {
    /// Who has which node below `/dev` open.
    open: BTreeMap<PathBuf, BTreeSet<u32>>,
    /// Locks of whole files: place of the file and process.
    locks: Vec<(u32, u32, u64, u32)>,
    commands: BTreeMap<u32, String>,
    /// A modem prober.
    pub(super) prober: Option<Holder>,
    /// There were processes whose open files this user may not see.
    pub(super) hidden: bool,
}

/// Looks at every process once, this one left out.
pub(super) fn look(root: &Path) -> Running {
    let mut running = Running {
        open: BTreeMap::new(),
        locks: text(&root.join("proc/locks")).map(|text| locks(&text)).unwrap_or_default(),
        commands: BTreeMap::new(),
        prober: None,
        hidden: false,
    };
    for folder in entries(&root.join("proc")) {
        let pid = base(&folder).parse().ok().filter(|pid| *pid != std::process::id());
        if let Some(pid) = pid {
            running.add(pid, &folder);
        }
    }
    running
}

impl Running {
    fn add(&mut self, pid: u32, folder: &Path) {
        let name = text(&folder.join("comm")).unwrap_or_default();
        let command = command(folder).unwrap_or_else(|| name.clone());
        if PROBERS.contains(&name.as_str()) {
            self.prober.get_or_insert_with(|| Holder { pid, command: command.clone() });
        }
        self.commands.insert(pid, command);
        match fs::read_dir(folder.join("fd")) {
            Ok(files) => {
                let files = files.filter_map(|file| fs::read_link(file.ok()?.path()).ok());
                for file in files.filter(|file| file.starts_with("/dev")) {
                    self.open.entry(file).or_default().insert(pid);
                }
            }
            Err(_) => self.hidden = true,
        }
    }

    /// Who has the node open or locked. The kernel lists locks of everybody, so that a program of
    /// another user is found that locked the port.
    pub(super) fn holders(&self, root: &Path, node: &Path) -> Vec<Holder> {
        let node = below(root, node);
        let real = fs::canonicalize(&node).unwrap_or(node);
        let mut pids = self.open.get(&super::outside(root, &real)).cloned().unwrap_or_default();
        if let Ok(found) = fs::metadata(&real) {
            let place = (major(found.dev()), minor(found.dev()), found.ino());
            let of = self.locks.iter().filter(|lock| (lock.0, lock.1, lock.2) == place);
            pids.extend(of.map(|lock| lock.3).filter(|pid| *pid != std::process::id()));
        }
        let command = |pid: u32| self.commands.get(&pid).cloned().unwrap_or_else(|| "?".to_owned());
        pids.into_iter().map(|pid| Holder { pid, command: command(pid) }).collect()
    }
}

/// `minicom -D /dev/ttyUSB0`; `None` for a thread of the kernel or where it may not be read.
fn command(folder: &Path) -> Option<String> {
    let text = text(&folder.join("cmdline"))?;
    let words: Vec<&str> = text.split('\0').filter(|word| !word.is_empty()).collect();
    let plain = |c: char| if c.is_control() { '?' } else { c };
    let text: String = words.join(" ").chars().map(plain).take(COMMAND_MAX).collect();
    (!text.is_empty()).then_some(text)
}

/// `proc(5)`: `1: FLOCK  ADVISORY  WRITE 812 00:05:345 0 EOF`. Rows of those who wait for a lock
/// have an arrow and are passed over.
fn locks(text: &str) -> Vec<(u32, u32, u64, u32)> {
    let row = |row: &str| {
        let words: Vec<&str> = row.split_whitespace().collect();
        let [_, "FLOCK" | "POSIX" | "OFDLCK", _, _, pid, place, ..] = words[..] else {
            return None;
        };
        let mut place = place.split(':');
        let mut hex = || u32::from_str_radix(place.next()?, 16).ok();
        let (major, minor) = (hex()?, hex()?);
        Some((major, minor, place.next()?.parse().ok()?, pid.parse().ok()?))
    };
    text.lines().filter_map(row).collect()
}

fn major(dev: u64) -> u32 {
    rustix::fs::major(dev)
}

fn minor(dev: u64) -> u32 {
    rustix::fs::minor(dev)
}
