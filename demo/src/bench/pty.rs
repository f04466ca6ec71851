//! A serial port that is no hardware: the master side of a pty, with a name in a folder.

use std::fs;
use std::io;
use std::os::fd::{AsFd, BorrowedFd, OwnedFd};
use std::os::unix::ffi::OsStrExt as _;
use std::path::{Path, PathBuf};

use rustix::event::{PollFd, PollFlags};
use rustix::fs::{Mode, OFlags, fcntl_getfl, fcntl_setfl, open};
use rustix::io::{Errno, ioctl_fionread, read, write};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};

use super::pace;

/// Longest wait for a reader to take what was said, before a port is closed: 50 x 10 ms.
const DRAIN_TURNS: u32 = 50;
/// The wait where nobody may count what is unread: 10 x 10 ms.
const DRAIN_TURNS_BLIND: u32 = 10;
/// What was written reaches the reader's side a moment later: nothing unread counts only when it
/// was seen three times.
const QUIET_TURNS: u32 = 3;

/// The instrument's end of a serial cable.
#[derive(Debug)]
pub(super) struct Pty {
    master: OwnedFd,
    slave: PathBuf,
    link: PathBuf,
    open: bool,
}

impl Pty {
    /// Makes a pty in raw mode and gives it the name `link`, replacing an older one.
    ///
    /// Raw mode is set before anything is written: a fresh pty echoes.
    pub(super) fn new(link: &Path) -> io::Result<Pty> {
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        grantpt(&master)?;
        unlockpt(&master)?;
        let name = ptsname(&master, Vec::new())?;
        let slave = PathBuf::from(std::ffi::OsStr::from_bytes(name.to_bytes()));
        // Opened and closed once: from now on the master sees whether somebody has it open.
        let raw = open_slave(&slave)?;
        let mut settings = tcgetattr(&raw)?;
        settings.make_raw();
        tcsetattr(&raw, OptionalActions::Now, &settings)?;
        drop(raw);
        fcntl_setfl(&master, fcntl_getfl(&master)? | OFlags::NONBLOCK)?;
        if link.symlink_metadata().is_ok() {
            fs::remove_file(link)?;
        }
        std::os::unix::fs::symlink(&slave, link)?;
        Ok(Pty { master, slave, link: link.to_owned(), open: false })
    }

    /// Path of the port.
    pub(super) fn link(&self) -> &Path {
        &self.link
    }

    /// Somebody had the port open when last looked.
    pub(super) fn is_open(&self) -> bool {
        self.open
    }

    /// Somebody has the port open. The second value: since this call, and not before.
    pub(super) fn listening(&mut self) -> io::Result<(bool, bool)> {
        let mut fds = [PollFd::new(&self.master, PollFlags::IN)];
        pace::wait(&mut fds, 0)?;
        let open = !fds[0].revents().contains(PollFlags::HUP);
        let fresh = open && !self.open;
        self.open = open;
        Ok((open, fresh))
    }

    /// Writes, if somebody listens. On a cable without a computer bytes are lost, and so are
    /// those that a full buffer does not take.
    pub(super) fn say(&mut self, bytes: &[u8]) -> io::Result<()> {
        if !self.open {
            return Ok(());
        }
        match write(&self.master, bytes) {
            Ok(_) | Err(Errno::AGAIN | Errno::IO) => Ok(()),
            Err(errno) => Err(errno.into()),
        }
    }

    /// Writes what the port takes now, and returns how much that was.
    pub(super) fn put(&self, bytes: &[u8]) -> Result<usize, Errno> {
        write(&self.master, bytes)
    }

    /// What was sent to the instrument, at most 4 096 bytes. Nothing is taken before the opening
    /// was noticed, or the answer would go to nobody.
    pub(super) fn heard(&mut self) -> io::Result<Vec<u8>> {
        if !self.open {
            return Ok(Vec::new());
        }
        let mut buffer = vec![0; 4096];
        match read(&self.master, &mut buffer) {
            Ok(length) => {
                buffer.truncate(length);
                Ok(buffer)
            }
            Err(Errno::AGAIN | Errno::IO) => Ok(Vec::new()),
            Err(errno) => Err(errno.into()),
        }
    }

    /// Waits until a reader has taken what was said: unread bytes are lost when a pty closes.
    fn drain(&self) {
        if !self.open {
            return;
        }
        // A reader that has the port exclusively keeps everybody else from counting.
        let slave = open_slave(&self.slave).ok();
        let turns = if slave.is_some() { DRAIN_TURNS } else { DRAIN_TURNS_BLIND };
        let mut quiet = 0;
        for _ in 0..turns {
            let unread = slave.as_ref().map_or(1, |slave| ioctl_fionread(slave).unwrap_or(0));
            quiet = if unread == 0 { quiet + 1 } else { 0 };
            if quiet == QUIET_TURNS {
                return;
            }
            if pace::wait(&mut [], 10_000).is_err() {
                return;
            }
        }
    }
}

fn open_slave(path: &Path) -> io::Result<OwnedFd> {
    Ok(open(path, OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC, Mode::empty())?)
}

impl AsFd for Pty {
    fn as_fd(&self) -> BorrowedFd<'_> {
        self.master.as_fd()
    }
}

impl Drop for Pty {
    fn drop(&mut self) {
        self.drain();
        let _ = fs::remove_file(&self.link);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Read as _;

    #[test]
    fn a_fresh_port_is_raw_and_says_nothing_to_nobody() {
        let folder = tempfile::tempdir().unwrap();
        let mut pty = Pty::new(&folder.path().join("ohm")).unwrap();
        assert_eq!(pty.listening().unwrap(), (false, false));
        pty.say(b"lost\r\n").unwrap();
        let mut reader = fs::File::options().read(true).write(true).open(pty.link()).unwrap();
        assert_eq!(pty.listening().unwrap(), (true, true));
        assert_eq!(pty.listening().unwrap(), (true, false));
        pty.say(b"R4 +0.182 Ohm\r\n").unwrap();
        let mut buffer = [0; 64];
        let length = reader.read(&mut buffer).unwrap();
        assert_eq!(&buffer[..length], b"R4 +0.182 Ohm\r\n", "no echo, no CR turned into LF");
        assert_eq!(pty.heard().unwrap(), b"", "what we said does not come back");
        drop(reader);
        assert_eq!(pty.listening().unwrap(), (false, false));
    }

    #[test]
    fn closing_waits_for_the_reader_and_takes_the_name_away() {
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("ohm");
        let mut pty = Pty::new(&link).unwrap();
        let mut reader = fs::File::options().read(true).write(true).open(&link).unwrap();
        pty.listening().unwrap();
        pty.say(b"last words\r\n").unwrap();
        let closing = std::thread::spawn(move || drop(pty));
        let mut buffer = [0; 64];
        let length = reader.read(&mut buffer).unwrap();
        assert_eq!(&buffer[..length], b"last words\r\n");
        closing.join().unwrap();
        assert!(link.symlink_metadata().is_err());
    }
}
