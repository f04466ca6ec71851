//! An instrument that is picky about the line setting: it talks, or answers, at one baud rate
//! only, and records every byte that is sent to it.
//!
//! A pty carries bytes whatever its baud rate is. But its settings can be read from the
//! instrument's end (`ioctl_tty(2)`: those of a pty's two ends are one), and it keeps silent unless
//! they are right. No packet mode is needed for that.

use std::fs::File;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use rustix::fs::{Mode, OFlags, fcntl_getfl, fcntl_setfl, open};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};

/// Between two looks.
const LOOK: Duration = Duration::from_millis(20);

/// What it does at its baud rate.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Manner {
    /// Says this again and again.
    Talks(&'static [u8]),
    /// Answers each line with what this gives.
    Answers(fn(&str) -> Option<&'static str>),
}

/// The instrument. Dropping it switches it off.
#[derive(Debug)]
pub(crate) struct Picky {
    /// Where it is plugged in.
    pub(crate) path: PathBuf,
    heard: Arc<Mutex<Vec<u8>>>,
    off: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Picky {
    /// Plugs one in that listens and talks at this rate alone.
    pub(crate) fn plug(baud: u32, manner: Manner) -> Picky {
        let master =
            openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).unwrap();
        grantpt(&master).unwrap();
        unlockpt(&master).unwrap();
        let path = PathBuf::from(ptsname(&master, Vec::new()).unwrap().into_string().unwrap());
        raw(&path);
        fcntl_setfl(&master, fcntl_getfl(&master).unwrap() | OFlags::NONBLOCK).unwrap();
        let heard = Arc::new(Mutex::new(Vec::new()));
        let (off, switched) = channel();
        let life = Life { master: master.into(), baud, manner, heard: Arc::clone(&heard) };
        let thread = Some(thread::spawn(move || life.live(&switched)));
        Picky { path, heard, off: Some(off), thread }
    }

    /// Everything that was sent to it, at whatever setting.
    pub(crate) fn heard(&self) -> Vec<u8> {
        self.heard.lock().unwrap().clone()
    }
}

impl Drop for Picky {
    fn drop(&mut self) {
        drop(self.off.take());
        let ended = self.thread.take().unwrap().join();
        assert!(ended.is_ok() || thread::panicking(), "the instrument's thread panicked");
    }
}

/// Raw, at a rate that nobody tries, or what is said before it is opened comes back.
fn raw(path: &Path) {
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
    let slave = open(path, flags, Mode::empty()).unwrap();
    let mut settings = tcgetattr(&slave).unwrap();
    settings.make_raw();
    settings.set_speed(110).unwrap();
    tcsetattr(&slave, OptionalActions::Now, &settings).unwrap();
}

struct Life {
    master: File,
    baud: u32,
    manner: Manner,
    heard: Arc<Mutex<Vec<u8>>>,
}

impl Life {
    fn live(mut self, off: &Receiver<()>) {
        let mut line = Vec::new();
        while off.recv_timeout(LOOK) == Err(RecvTimeoutError::Timeout) {
            self.take(&mut line);
            if let (true, Manner::Talks(text)) = (self.right(), self.manner) {
                // Nobody may be there just now.
                let _ = self.master.write(text);
            }
        }
    }

    /// The line is set as it needs it.
    fn right(&self) -> bool {
        tcgetattr(&self.master).is_ok_and(|settings| settings.input_speed() == self.baud)
    }

    fn take(&mut self, line: &mut Vec<u8>) {
        let mut buffer = [0; 4096];
        // Nothing was sent, or nobody has it open.
        let Ok(count) = self.master.read(&mut buffer) else { return };
        let sent = &buffer[..count];
        self.heard.lock().unwrap().extend(sent);
        for byte in sent.iter().filter(|_| self.right()) {
            line.push(*byte);
            if *byte == b'\n' {
                self.answer(&String::from_utf8_lossy(line));
                line.clear();
            }
        }
    }

    fn answer(&self, line: &str) {
        if let Manner::Answers(answer) = self.manner
            && let Some(text) = answer(line.trim())
        {
            (&self.master).write_all(text.as_bytes()).unwrap();
        }
    }
}
