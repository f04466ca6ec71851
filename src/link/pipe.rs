//! Standard input as a link: a pipe that another program fills.

use std::io;
use std::path::Path;

use rustix::fs::{FileType, Mode, OFlags, fstat, open};
use tokio::net::unix::pipe::Receiver;

use super::LinkError;

/// Opens standard input anew, for reading only and without waiting: what the shell and others know
/// it by stays as it is. A file is refused: bytes of another day are no instrument.
pub(super) fn stdin() -> Result<Receiver, LinkError> {
    let failed = |why: String| LinkError::Failed { port: "standard input".into(), why };
    match fstat(rustix::stdio::stdin()).map(|stat| FileType::from_raw_mode(stat.st_mode)) {
        Ok(FileType::Fifo) => {}
        Ok(FileType::RegularFile) => {
            let say = "it is a file, and bytes of another day are no instrument: \
                       read it with `tapline decode`";
            return Err(failed(say.into()));
        }
        _ => {
            let say = "it is no pipe: start the station behind the program that reads the \
                       instrument, as `program | tapline serve`";
            return Err(failed(say.into()));
        }
    }
    let flags = OFlags::RDONLY | OFlags::NONBLOCK | OFlags::CLOEXEC;
    let again = open(Path::new("/proc/self/fd/0"), flags, Mode::empty());
    again
        .map_err(io::Error::from)
        .and_then(Receiver::from_owned_fd_unchecked)
        .map_err(|error| failed(error.to_string()))
}
