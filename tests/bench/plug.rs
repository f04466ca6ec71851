//! A cable that is pulled out and plugged in again: a pty, what was written to it, and how much of
//! that was surely taken.

use std::fs;
use std::os::fd::OwnedFd;
use std::os::unix::fs::symlink;
use std::path::Path;

use rustix::fs::{Mode, OFlags, fcntl_getfl, fcntl_setfl, open};
use rustix::io::{Errno, ioctl_fionread, write};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};

/// What is written reaches the reader's side a moment later: nothing unread counts only when it
/// was seen so often in a row, 10 ms apart, since the last write.
const QUIET_TURNS: u32 = 3;

/// What went into one plugging.
#[derive(Debug, Default, Clone)]
pub(crate) struct Account {
    /// All that the port took.
    pub(crate) written: Vec<u8>,
    /// So much of it was read by the station: nothing was left to read.
    pub(crate) taken: usize,
}

/// One plugging. Dropping it hangs up; the kernel throws away what was not read.
#[derive(Debug)]
pub(crate) struct Plug {
    master: OwnedFd,
    /// The other side, to ask how much is unread. Never read from.
    slave: OwnedFd,
    quiet: u32,
    pub(crate) account: Account,
}

impl Plug {
    /// A pty in raw mode under `name`, in place of what had it before.
    pub(crate) fn new(name: &Path) -> Plug {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let master = openpt(flags).unwrap();
        grantpt(&master).unwrap();
        unlockpt(&master).unwrap();
        let path = ptsname(&master, Vec::new()).unwrap().into_string().unwrap();
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let slave = open(path.as_str(), flags, Mode::empty()).unwrap();
        let mut settings = tcgetattr(&slave).unwrap();
        settings.make_raw();
        tcsetattr(&slave, OptionalActions::Now, &settings).unwrap();
        fcntl_setfl(&master, fcntl_getfl(&master).unwrap() | OFlags::NONBLOCK).unwrap();
        symlink(path, name).unwrap();
        Plug { master, slave, quiet: 0, account: Account::default() }
    }

    /// Writes what the port takes.
    pub(crate) fn say(&mut self, bytes: &[u8]) {
        let taken = match write(&self.master, bytes) {
            Ok(taken) => taken,
            Err(Errno::AGAIN) => 0,
            Err(error) => panic!("a port can't be written: {error}"),
        };
        self.account.written.extend(&bytes[..taken]);
        self.quiet = 0;
    }

    /// Looks whether all was taken; once each turn.
    pub(crate) fn look(&mut self) -> bool {
        let unread = ioctl_fionread(&self.slave).unwrap();
        self.quiet = if unread == 0 { self.quiet + 1 } else { 0 };
        if self.quiet >= QUIET_TURNS {
            self.account.taken = self.account.written.len();
        }
        self.quiet >= QUIET_TURNS
    }

    /// Pulls it out.
    pub(crate) fn pull(self, name: &Path) -> Account {
        fs::remove_file(name).unwrap();
        self.account
    }
}
