//! Serial ports: open, lock, set, flush; look again whether it is still so; close.
//!
//! A lock is taken before the port is made exclusive: exclusiveness alone does not bind root,
//! and stays set after a crash.

use std::io;
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};

use rustix::fs::{FlockOperation, Mode, OFlags, flock};
use rustix::termios::{
    ControlModes, InputModes, OptionalActions, QueueSelector, SpecialCodeIndex, Termios,
    ioctl_tiocexcl, tcflush, tcgetattr, tcsetattr,
};
use tokio::io::AsyncReadExt;
use tokio::net::unix::pipe::{Receiver, Sender};

use super::marks::{Marks, ROOM};
use super::modem::Counts;
use super::{LinkError, modem, shut};
use crate::clock;
use crate::config::{Bits, Flow, Line, Parity};

/// While bytes come, settings and counts are looked at again no more often than this. A quiet
/// port is left alone: it costs nothing, and its first bytes are looked at.
const LOOK_US: u64 = 10_000_000;

/// The reading side of a port; dropping it closes the port, off the runtime's thread. The
/// runtime's reading end of a pipe serves for any file that can be waited for, and has no way to
/// write.
#[derive(Debug)]
pub(super) struct Port {
    file: Option<Receiver>,
    path: PathBuf,
    /// Settings as they were read back after they were set.
    took: Termios,
    counts: Option<Counts>,
    marks: Option<Marks>,
    looked_us: u64,
}

/// Opens a port for reading only. Without flow control, whatever the configuration says: with it
/// the kernel itself would send XOFF, or move RTS, when nobody reads fast enough.
pub(super) fn listen(path: &Path, line: &Line) -> Result<Port, LinkError> {
    if line.flow != Flow::None {
        tracing::warn!(port = %path.display(), "Listened to only: no flow control is used.");
    }
    let line = Line { flow: Flow::None, ..*line };
    let port = open(path, OFlags::RDONLY).and_then(|file| Port::new(file, path, &line));
    port.map_err(|error| LinkError::of(path, &error))
}

/// Opens a port for reading and writing. The writing side must be dropped first.
pub(super) fn talk(path: &Path, line: &Line) -> Result<(Sender, Port), LinkError> {
    let both = || {
        let file = open(path, OFlags::RDWR)?;
        let write = Sender::from_owned_fd_unchecked(file.try_clone()?)?;
        Ok((write, Port::new(file, path, line)?))
    };
    both().map_err(|error: io::Error| LinkError::of(path, &error))
}

/// Opens and locks a port; nothing of it is set yet.
pub(super) fn open(path: &Path, access: OFlags) -> io::Result<OwnedFd> {
    let flags = access | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
    let port = rustix::fs::open(path, flags, Mode::empty())?;
    flock(&port, FlockOperation::NonBlockingLockExclusive)?;
    ioctl_tiocexcl(&port)?;
    Ok(port)
}

impl Port {
    fn new(file: OwnedFd, path: &Path, line: &Line) -> io::Result<Port> {
        let Line { baud, bits, dtr, rts, .. } = *line;
        // First of all: a port that nobody has set yet echoes what it hears.
        let took = set(&file, line)?;
        let signals = modem::set(&file, dtr, rts)?;
        tcflush(&file, QueueSelector::IFlush)?;
        // The signals are told as they were set: what hangs on them may act on them.
        let said = if signals { "set" } else { "none on this port" };
        tracing::info!(port = %path.display(), baud, %bits, dtr, rts, said, "Opened a port.");
        Ok(Port {
            path: path.to_owned(),
            took,
            counts: modem::counts(&file),
            marks: (bits.parity != Parity::None).then(Marks::default),
            looked_us: clock::now().boot_us,
            file: Some(Receiver::from_owned_fd_unchecked(file)?),
        })
    }

    /// Reads what has arrived; 0 means gone. Cancel safe.
    pub(super) async fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let file = self.file.as_mut().expect("it is taken by `drop` alone");
        let Some(marks) = &mut self.marks else { return file.read(buffer).await };
        loop {
            let count = file.read(&mut buffer[ROOM..]).await?;
            if count == 0 {
                return Ok(0);
            }
            let told = marks.take(buffer, count);
            let damaged = marks.damaged();
            if damaged > 0 {
                tracing::warn!(port = %self.path.display(), damaged, "Bytes came damaged.");
            }
            if told > 0 {
                return Ok(told);
            }
        }
    }

    /// What is no longer as it was when the port was opened, in words: settings that another
    /// program changed, bytes that were lost. To be asked after bytes came, at a moment of the
    /// boot-time clock.
    pub(super) fn look(&mut self, now_us: u64) -> Option<String> {
        if now_us.saturating_sub(self.looked_us) < LOOK_US {
            return None;
        }
        self.looked_us = now_us;
        let file = self.file.as_ref()?;
        if let (Some(was), Some(is)) = (self.counts, modem::counts(file)) {
            self.counts = Some(is);
            let (lost, damaged) = (is.lost - was.lost, is.damaged - was.damaged);
            if damaged > 0 {
                let port = self.path.display();
                tracing::warn!(%port, damaged, "Bytes came damaged: check baud, bits, cable.");
            }
            if lost > 0 {
                return Some(format!("{lost} bytes were lost on the way from the port"));
            }
        }
        // A port that is gone says so when it is read.
        changed(&self.took, &tcgetattr(file).ok()?)
    }

    /// Closes the port; waits for it, but not for long.
    pub(super) async fn close(mut self) {
        if let Some(closing) = self.shut() {
            closing.wait().await;
        }
    }

    fn shut(&mut self) -> Option<shut::Closing> {
        let file = self.file.take()?.into_nonblocking_fd().ok()?;
        Some(shut::serial(file, &self.path))
    }
}

impl Drop for Port {
    fn drop(&mut self) {
        self.shut();
    }
}

/// Raw bytes, the settings of the configuration, one byte wakes the reader. Gives back what the
/// port took. Settings that it did not take are told, not refused: a pty never takes 7 bits or
/// parity.
pub(super) fn set(port: &OwnedFd, line: &Line) -> io::Result<Termios> {
    let mut want = tcgetattr(port)?;
    want.make_raw();
    want.control_modes = control(want.control_modes, line);
    let software = InputModes::IXON | InputModes::IXOFF;
    want.input_modes.set(software, line.flow == Flow::Software);
    // A byte with wrong parity is marked, never given as if it were right.
    let marked = InputModes::INPCK | InputModes::PARMRK;
    want.input_modes.set(marked, line.bits.parity != Parity::None);
    want.special_codes[SpecialCodeIndex::VMIN] = 1;
    want.special_codes[SpecialCodeIndex::VTIME] = 0;
    want.set_speed(line.baud)?;
    tcsetattr(port, OptionalActions::Now, &want)?;
    let took = tcgetattr(port)?;
    if let Some(differs) = changed(&want, &took) {
        tracing::warn!(differs, "The port did not take all settings.");
    }
    Ok(took)
}

fn control(modes: ControlModes, line: &Line) -> ControlModes {
    let Bits { data, parity, stop } = line.bits;
    // Without HUPCL, DTR and RTS stay as they are when the port is closed: they are never moved.
    let mut modes = modes - ControlModes::CSIZE - ControlModes::HUPCL;
    modes |= if data == 7 { ControlModes::CS7 } else { ControlModes::CS8 };
    modes |= ControlModes::CREAD | ControlModes::CLOCAL;
    modes.set(ControlModes::PARENB, parity != Parity::None);
    modes.set(ControlModes::PARODD, parity == Parity::Odd);
    modes.set(ControlModes::CSTOPB, stop == 2);
    modes.set(ControlModes::CRTSCTS, line.flow == Flow::Hardware);
    modes
}

/// How settings differ, in words.
fn changed(was: &Termios, is: &Termios) -> Option<String> {
    if was.input_speed() != is.input_speed() {
        return Some(format!("{} baud, was {}", is.input_speed(), was.input_speed()));
    }
    let code = |all: &Termios, index| all.special_codes[index];
    let codes = [SpecialCodeIndex::VMIN, SpecialCodeIndex::VTIME];
    let parts = [
        ("data bits, parity, stop bits or flow control", was.control_modes != is.control_modes),
        ("how its input is treated", was.input_modes != is.input_modes),
        ("how its output is treated", was.output_modes != is.output_modes),
        ("echo or editing of lines", was.local_modes != is.local_modes),
        ("when a read returns", codes.into_iter().any(|at| code(was, at) != code(is, at))),
    ];
    let parts: Vec<&str> = parts.into_iter().filter(|(_, is)| *is).map(|(what, _)| what).collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};

    const LINE: Line = Line {
        baud: 9600,
        bits: Bits { data: 8, parity: Parity::None, stop: 1 },
        dtr: true,
        rts: false,
        flow: Flow::None,
    };

    fn pty() -> (OwnedFd, PathBuf) {
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
        grantpt(&master).unwrap();
        unlockpt(&master).unwrap();
        let name = ptsname(&master, Vec::new()).unwrap().into_string().unwrap();
        (master, PathBuf::from(name))
    }

    // pty(7): the settings of the pair are one; the instrument's end changes ours.
    #[tokio::test]
    async fn settings_that_another_program_changed_are_noticed_in_ten_seconds() {
        let (other, path) = pty();
        let mut port = listen(&path, &LINE).unwrap();
        let opened = port.looked_us;
        let mut settings = tcgetattr(&other).unwrap();
        settings.set_speed(115_200).unwrap();
        tcsetattr(&other, OptionalActions::Now, &settings).unwrap();
        assert_eq!(port.look(opened + LOOK_US - 1), None);
        assert_eq!(port.look(opened + LOOK_US).as_deref(), Some("115200 baud, was 9600"));
        settings.set_speed(9600).unwrap();
        settings.local_modes |= rustix::termios::LocalModes::ECHO;
        tcsetattr(&other, OptionalActions::Now, &settings).unwrap();
        assert_eq!(port.look(opened + LOOK_US + 1), None, "not looked at again so soon");
        let found = port.look(opened + 2 * LOOK_US);
        assert_eq!(found.as_deref(), Some("echo or editing of lines"));
    }

    #[tokio::test]
    async fn settings_that_stand_are_no_news() {
        let (_other, path) = pty();
        let line = Line { bits: Bits { data: 7, parity: Parity::Odd, stop: 1 }, ..LINE };
        let mut port = listen(&path, &line).unwrap();
        // A pty takes neither 7 bits nor parity: that was told when it was opened.
        assert_eq!(port.look(port.looked_us + LOOK_US), None);
    }

    // termios(3): with IXOFF and CRTSCTS the kernel itself speaks to the instrument.
    #[tokio::test]
    async fn a_port_that_is_only_listened_to_has_no_flow_control() {
        for flow in [Flow::Software, Flow::Hardware] {
            let (other, path) = pty();
            let _port = listen(&path, &Line { flow, ..LINE }).unwrap();
            let is = tcgetattr(&other).unwrap();
            assert!(!is.input_modes.intersects(InputModes::IXON | InputModes::IXOFF));
            assert!(!is.control_modes.contains(ControlModes::CRTSCTS));
        }
    }

    #[tokio::test]
    async fn the_port_has_the_settings_that_were_asked_for() {
        let (other, path) = pty();
        let line = Line { baud: 19_230, flow: Flow::Software, ..LINE };
        let (write, port) = talk(&path, &line).unwrap();
        let is = tcgetattr(&other).unwrap();
        assert_eq!(is.input_speed(), 19_230);
        assert_eq!(is.special_codes[SpecialCodeIndex::VMIN], 1);
        assert_eq!(is.special_codes[SpecialCodeIndex::VTIME], 0);
        assert!(is.input_modes.contains(InputModes::IXON | InputModes::IXOFF));
        assert!(!is.input_modes.intersects(InputModes::PARMRK | InputModes::ICRNL));
        assert!(
            !is.local_modes.intersects(
                rustix::termios::LocalModes::ECHO | rustix::termios::LocalModes::ICANON
            )
        );
        assert!(!is.control_modes.contains(ControlModes::HUPCL));
        drop(write);
        port.close().await;
    }
}
