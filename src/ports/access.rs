//! Whether a user may open a port, and which group is missing.

use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

use super::{below, text};

/// The groups whose members may use ports on common systems.
const USUAL: [&str; 4] = ["dialout", "uucp", "plugdev", "input"];

/// Whoever asks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Me {
    /// User.
    pub uid: u32,
    /// All groups, the first one too.
    pub groups: Vec<u32>,
}

/// Whether somebody may open a port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Access {
    /// Yes.
    Fine,
    /// Only members of this group.
    Group(String),
    /// Only root: no group has it.
    Root,
    /// The node is not there.
    Absent,
}

impl Me {
    /// Who runs this process.
    #[must_use]
    pub fn now() -> Me {
        let mut groups: Vec<u32> = rustix::process::getgroups()
            .map(|groups| groups.iter().map(|gid| gid.as_raw()).collect())
            .unwrap_or_default();
        groups.push(rustix::process::getegid().as_raw());
        Me { uid: rustix::process::geteuid().as_raw(), groups }
    }
}

/// Reads mode and owner of the node; the node itself is not opened.
pub(super) fn access(root: &Path, node: &Path, me: &Me) -> Access {
    let Ok(found) = fs::metadata(below(root, node)) else { return Access::Absent };
    let may = |shift: u32| found.mode() >> shift & 0o6 == 0o6;
    let fine = match (me.uid == found.uid(), me.groups.contains(&found.gid())) {
        _ if me.uid == 0 => true,
        (true, _) => may(6),
        (false, true) => may(3),
        (false, false) => may(0),
    };
    match group(root, found.gid()) {
        _ if fine => Access::Fine,
        Some(name) if may(3) && (found.gid() != 0 || USUAL.contains(&name.as_str())) => {
            Access::Group(name)
        }
        _ => Access::Root,
    }
}

fn group(root: &Path, gid: u32) -> Option<String> {
    let groups = text(&root.join("etc/group"))?;
    let row = groups.lines().find(|row| row.split(':').nth(2) == Some(gid.to_string().as_str()))?;
    row.split(':').next().map(str::to_owned)
}
