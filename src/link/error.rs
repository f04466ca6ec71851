//! Why a link can't be opened, and what to do about it.

use std::fmt;
use std::io;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

use super::holder::{Holder, holder};

/// Why a link can't be opened or was lost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LinkError {
    /// Another program has the port.
    Busy {
        /// Port.
        port: String,
        /// Who, if it can be told.
        holder: Option<Holder>,
    },
    /// No permission.
    Denied {
        /// Port.
        port: String,
        /// Group that may open it.
        group: String,
    },
    /// Nothing is plugged in there.
    Absent {
        /// Port.
        port: String,
    },
    /// Anything else, in the system's words.
    Failed {
        /// Port.
        port: String,
        /// What the system says.
        why: String,
    },
    /// The port has no modem inputs.
    NoInputs {
        /// Port.
        port: String,
    },
    /// What is plugged in there says nothing by itself, and nothing may be sent to it.
    Mute {
        /// Port.
        port: String,
    },
    /// Standard input is at its end.
    Ended,
    /// It was open and is gone.
    Gone,
    /// It took no bytes within the time-out.
    Stuck,
    /// It is not as it was set when it was opened: what, in words.
    Changed(String),
}

impl LinkError {
    /// What an error of the system means for a port.
    pub(super) fn of(path: &Path, error: &io::Error) -> LinkError {
        let port = path.display().to_string();
        match error.kind() {
            io::ErrorKind::NotFound => LinkError::Absent { port },
            io::ErrorKind::PermissionDenied => LinkError::Denied { port, group: group(path) },
            io::ErrorKind::ResourceBusy | io::ErrorKind::WouldBlock => {
                LinkError::Busy { port, holder: holder(path) }
            }
            _ => LinkError::Failed { port, why: error.to_string() },
        }
    }
}

impl fmt::Display for LinkError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            LinkError::Busy { port, holder: Some(Holder { pid, name }) } => {
                write!(f, "{port} is in use by process {pid} ({name}): end that program first")
            }
            LinkError::Busy { port, holder: None } => {
                write!(f, "{port} is in use by another program: end that program first")
            }
            LinkError::Denied { port, group } => {
                write!(f, "no permission to open {port}: join the group `{group}`")
            }
            LinkError::Absent { port } => {
                write!(f, "{port} is not there: plug it in and switch it on")
            }
            LinkError::Failed { port, why } => write!(f, "can't open {port}: {why}"),
            LinkError::NoInputs { port } => write!(
                f,
                "{port} has no modem inputs: contacts need a port with CTS, DSR, DCD and RI"
            ),
            LinkError::Mute { port } => write!(
                f,
                "{port} says nothing unless it is asked, and this instrument may not be asked: \
                 register its source class as none or low, if that is so"
            ),
            LinkError::Ended => {
                write!(f, "standard input has ended: start the station and the program before it")
            }
            LinkError::Gone => write!(f, "unplugged or switched off"),
            LinkError::Changed(what) => write!(f, "opened anew: {what}"),
            LinkError::Stuck => write!(f, "takes no bytes: check flow control and cable"),
        }
    }
}

/// The group that owns a port, by name; `dialout`, the usual one, where it can't be told.
fn group(path: &Path) -> String {
    let find = || {
        let gid = std::fs::metadata(path).ok()?.gid().to_string();
        let groups = std::fs::read_to_string("/etc/group").ok()?;
        let row = groups.lines().find(|row| row.split(':').nth(2) == Some(gid.as_str()))?;
        row.split(':').next().filter(|name| *name != "root").map(str::to_owned)
    };
    find().unwrap_or_else(|| "dialout".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(kind: io::ErrorKind) -> String {
        LinkError::of(Path::new("/dev/none"), &io::Error::from(kind)).to_string()
    }

    #[test]
    fn each_error_says_what_to_do() {
        assert_eq!(
            of(io::ErrorKind::PermissionDenied),
            "no permission to open /dev/none: join the group `dialout`"
        );
        assert_eq!(
            of(io::ErrorKind::NotFound),
            "/dev/none is not there: plug it in and switch it on"
        );
        assert_eq!(
            of(io::ErrorKind::WouldBlock),
            "/dev/none is in use by another program: end that program first"
        );
        let holder = Some(Holder { pid: 7, name: "minicom".into() });
        let busy = LinkError::Busy { port: "/dev/ttyS0".into(), holder };
        assert!(busy.to_string().contains("process 7 (minicom)"));
    }
}
