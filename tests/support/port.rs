//! A serial port that is no hardware: the instrument's side of a pty, under a stable name.

use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use rustix::fs::{Mode, OFlags, fcntl_getfl, fcntl_setfl, open};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};

/// The instrument's end of a cable. The last copy that is dropped unplugs it.
#[derive(Debug, Clone)]
pub(crate) struct Port {
    master: Arc<File>,
    name: PathBuf,
}

impl Port {
    /// Plugs in: a pty in raw mode under `name`, in place of what had it before.
    pub(crate) fn plug(name: &Path) -> Port {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let master = openpt(flags).unwrap();
        grantpt(&master).unwrap();
        unlockpt(&master).unwrap();
        let slave = ptsname(&master, Vec::new()).unwrap().into_string().unwrap();
        // Raw before anything is written, or what is said comes back.
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let raw = open(slave.as_str(), flags, Mode::empty()).unwrap();
        let mut settings = tcgetattr(&raw).unwrap();
        settings.make_raw();
        tcsetattr(&raw, OptionalActions::Now, &settings).unwrap();
        drop(raw);
        fcntl_setfl(&master, fcntl_getfl(&master).unwrap() | OFlags::NONBLOCK).unwrap();
        if name.symlink_metadata().is_ok() {
            fs::remove_file(name).unwrap();
        }
        symlink(&slave, name).unwrap();
        Port { master: Arc::new(File::from(master)), name: name.to_owned() }
    }

    /// Says something. With nobody at the other end it is lost, as on a cable.
    pub(crate) fn say(&self, bytes: &[u8]) {
        match (&*self.master).write(bytes) {
            Ok(_) => {}
            Err(error) if lost(&error) => {}
            Err(error) => panic!("{}: {error}", self.name.display()),
        }
    }

    /// What was said to the instrument since the last look.
    pub(crate) fn heard(&self) -> Vec<u8> {
        let mut buffer = [0; 4096];
        match (&*self.master).read(&mut buffer) {
            Ok(length) => buffer[..length].to_vec(),
            Err(error) if lost(&error) => Vec::new(),
            Err(error) => panic!("{}: {error}", self.name.display()),
        }
    }
}

/// Nothing to read, no room, or nobody there.
fn lost(error: &io::Error) -> bool {
    let gone = error.raw_os_error() == Some(rustix::io::Errno::IO.raw_os_error());
    gone || error.kind() == io::ErrorKind::WouldBlock
}
