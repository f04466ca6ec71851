//! The writer's only error: nothing more is written until the books were read again from disk.

use std::fmt;
use std::io;

use super::disk::Moved;

/// Writing stopped. What memory holds is ahead of the disk: start over from disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Halted {
    /// What was being done, and to which file.
    pub what: String,
    /// What the system said.
    pub why: String,
    /// Kind of fault.
    pub cause: Cause,
}

/// Kind of fault: it decides what a person has to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// No room, or a quota is used up.
    Full,
    /// The file system is read-only.
    ReadOnly,
    /// No permission.
    Denied,
    /// The data folder is not there any more, or another one is in its place.
    Gone,
    /// Any other fault of the disk.
    Disk,
    /// The program asked for something that the format forbids; nothing was written of it.
    Refused,
    /// A line is right by its mark and of a format that this version does not know.
    Format,
    /// An earlier fault: the writer refuses until it is opened again.
    Earlier,
}

impl Halted {
    /// A fault of the file system.
    #[must_use]
    pub fn disk(doing: &str, path: &str, error: &io::Error) -> Halted {
        let moved = error.get_ref().is_some_and(|why| why.is::<Moved>());
        let cause = match error.kind() {
            _ if moved => Cause::Gone,
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Cause::Full,
            io::ErrorKind::ReadOnlyFilesystem => Cause::ReadOnly,
            io::ErrorKind::PermissionDenied => Cause::Denied,
            io::ErrorKind::Unsupported => Cause::Format,
            _ => Cause::Disk,
        };
        Halted { what: format!("can't {doing} `{path}`"), why: error.to_string(), cause }
    }

    /// Something that the format forbids.
    #[must_use]
    pub fn refused(what: String, why: String) -> Halted {
        Halted { what, why, cause: Cause::Refused }
    }

    /// It can go on by itself when there is room again.
    #[must_use]
    pub fn waits_for_room(&self) -> bool {
        self.cause == Cause::Full
    }

    /// What to do next.
    #[must_use]
    pub fn next(&self) -> &'static str {
        match self.cause {
            Cause::Full => "make room on the disk; the station starts over by itself",
            Cause::ReadOnly => {
                "make the file system writable; the station starts over by itself, but stop it first \
                 if the file system has to be unmounted for that"
            }
            Cause::Denied => {
                "give the data folder and its files to the user that runs the station; it starts \
                 over by itself"
            }
            Cause::Gone => {
                "put the data folder back, or mount it again; the station starts over by itself"
            }
            Cause::Disk => "check the disk and its log before anything else is measured",
            Cause::Refused => "nothing was stored of it: report this as a defect",
            Cause::Format => super::format::NEXT,
            Cause::Earlier => "the books are read again from disk before anything is written",
        }
    }
}

impl fmt::Display for Halted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}; {}", self.what, self.why, self.next())
    }
}

impl std::error::Error for Halted {}
