//! Serial ports: open, lock, set, flush.
//!
//! A lock is taken before the port is made exclusive: exclusiveness alone does not bind root,
//! and stays set after a crash.

use std::io;
use std::os::fd::OwnedFd;
use std::path::Path;

use rustix::fs::{FlockOperation, Mode, OFlags, flock};
use rustix::termios::{
    ControlModes, InputModes, OptionalActions, QueueSelector, SpecialCodeIndex, Termios,
    ioctl_tiocexcl, tcflush, tcgetattr, tcsetattr,
};
use tokio::net::unix::pipe::Receiver;
use tokio_serial::{ClearBuffer, SerialPort, SerialPortBuilderExt, SerialStream};

use super::{LinkError, modem};
use crate::config::{Bits, Flow, Line, Parity};

/// Opens a port for reading only. The runtime's reading end of a pipe serves for any file that
/// can be waited for, and has no way to write.
pub(super) fn listen(path: &Path, line: &Line) -> Result<Receiver, LinkError> {
    let open = || {
        let flags = OFlags::RDONLY | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
        let port = rustix::fs::open(path, flags, Mode::empty())?;
        flock(&port, FlockOperation::NonBlockingLockExclusive)?;
        ioctl_tiocexcl(&port)?;
        modem::set(&port, line.dtr, line.rts)?;
        set(&port, line)?;
        tcflush(&port, QueueSelector::IFlush)?;
        Receiver::from_owned_fd_unchecked(port)
    };
    open().map_err(|error: io::Error| LinkError::of(path, &error))
}

/// Opens a port for reading and writing.
pub(super) fn talk(path: &Path, line: &Line) -> Result<SerialStream, LinkError> {
    let Line { baud, bits, .. } = *line;
    let builder = tokio_serial::new(path.display().to_string(), baud)
        .data_bits(if bits.data == 7 {
            tokio_serial::DataBits::Seven
        } else {
            tokio_serial::DataBits::Eight
        })
        .parity(match bits.parity {
            Parity::None => tokio_serial::Parity::None,
            Parity::Even => tokio_serial::Parity::Even,
            Parity::Odd => tokio_serial::Parity::Odd,
        })
        .stop_bits(if bits.stop == 2 {
            tokio_serial::StopBits::Two
        } else {
            tokio_serial::StopBits::One
        })
        .flow_control(match line.flow {
            Flow::None => tokio_serial::FlowControl::None,
            Flow::Software => tokio_serial::FlowControl::Software,
            Flow::Hardware => tokio_serial::FlowControl::Hardware,
        });
    let mut port = builder.open_native_async().map_err(|error| refused(path, &error))?;
    // A pty has neither signal; a real port that lacks them works without.
    let signals = [port.write_data_terminal_ready(line.dtr), port.write_request_to_send(line.rts)];
    for error in signals.into_iter().filter_map(Result::err) {
        tracing::debug!(port = %path.display(), %error, "Modem signals can't be set.");
    }
    port.clear(ClearBuffer::Input).map_err(|error| refused(path, &error))?;
    Ok(port)
}

/// The library tells a taken port as "no device": it means busy.
fn refused(path: &Path, error: &tokio_serial::Error) -> LinkError {
    let kind = match error.kind() {
        tokio_serial::ErrorKind::Io(kind) => kind,
        tokio_serial::ErrorKind::NoDevice if path.exists() => io::ErrorKind::ResourceBusy,
        tokio_serial::ErrorKind::NoDevice => io::ErrorKind::NotFound,
        _ => io::ErrorKind::Other,
    };
    LinkError::of(path, &io::Error::new(kind, error.to_string()))
}

/// Raw bytes, the settings of the configuration, one byte wakes the reader. Settings that the
/// port did not take are told, not refused: a pty never takes 7 bits or parity.
fn set(port: &OwnedFd, line: &Line) -> io::Result<()> {
    let mut want = tcgetattr(port)?;
    want.make_raw();
    want.control_modes = control(want.control_modes, line);
    let software = InputModes::IXON | InputModes::IXOFF;
    want.input_modes.set(software, line.flow == Flow::Software);
    want.special_codes[SpecialCodeIndex::VMIN] = 1;
    want.special_codes[SpecialCodeIndex::VTIME] = 0;
    want.set_speed(line.baud)?;
    tcsetattr(port, OptionalActions::Now, &want)?;
    let got: Termios = tcgetattr(port)?;
    if got.control_modes != want.control_modes || got.input_speed() != line.baud {
        tracing::warn!(baud = got.input_speed(), "The port did not take all settings.");
    }
    Ok(())
}

fn control(modes: ControlModes, line: &Line) -> ControlModes {
    let Bits { data, parity, stop } = line.bits;
    let mut modes = modes - ControlModes::CSIZE;
    modes |= if data == 7 { ControlModes::CS7 } else { ControlModes::CS8 };
    modes |= ControlModes::CREAD | ControlModes::CLOCAL;
    modes.set(ControlModes::PARENB, parity != Parity::None);
    modes.set(ControlModes::PARODD, parity == Parity::Odd);
    modes.set(ControlModes::CSTOPB, stop == 2);
    modes.set(ControlModes::CRTSCTS, line.flow == Flow::Hardware);
    modes
}
