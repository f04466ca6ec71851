//! Who has a port open.

use std::fs;
use std::path::Path;

/// A process that has a port open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Holder {
    /// Its number.
    pub pid: u32,
    /// Its name, as the kernel keeps it.
    pub name: String,
}

/// The first process, besides this one, that has the port open. Processes of other users can't
/// be looked into without rights: `None` does not prove that nobody has it.
#[must_use]
pub fn holder(port: &Path) -> Option<Holder> {
    let port = fs::canonicalize(port).ok()?;
    let mut pids: Vec<u32> = fs::read_dir("/proc")
        .ok()?
        .filter_map(|entry| entry.ok()?.file_name().to_str()?.parse().ok())
        .filter(|pid| *pid != std::process::id())
        .collect();
    pids.sort_unstable();
    pids.into_iter().find(|pid| has_open(*pid, &port)).map(|pid| Holder { pid, name: name(pid) })
}

fn has_open(pid: u32, port: &Path) -> bool {
    let Ok(open) = fs::read_dir(format!("/proc/{pid}/fd")) else { return false };
    open.filter_map(Result::ok).any(|fd| fs::read_link(fd.path()).is_ok_and(|file| file == port))
}

fn name(pid: u32) -> String {
    let name = fs::read_to_string(format!("/proc/{pid}/comm"));
    name.map_or_else(|_| "?".to_owned(), |name| name.trim().to_owned())
}
