//! An ear at a serial port: open for reading only, through several line settings.
//!
//! The port is opened once. Its control lines are set right after that and never moved, whatever
//! settings are tried: on some instruments they are a start input.

use std::io;
use std::os::fd::OwnedFd;
use std::path::Path;

use rustix::fs::OFlags;
use rustix::termios::{QueueSelector, tcflush};
use tokio::io::AsyncReadExt;
use tokio::net::unix::pipe::Receiver;

use super::{LinkError, modem, serial};
use crate::config::Line;

/// A port that is listened to. It has no way to write.
#[derive(Debug)]
pub struct Ear {
    /// The runtime's reading end of a pipe serves for any file that can be waited for.
    read: Receiver,
    /// The same open file, for its settings.
    port: OwnedFd,
}

impl Ear {
    /// Opens and locks the port, sets DTR and RTS as `line` says. Must be called within a runtime.
    ///
    /// # Errors
    /// Why it can't be opened.
    pub fn open(path: &Path, line: &Line) -> Result<Ear, LinkError> {
        let open = || {
            let port = serial::open(path, OFlags::RDONLY)?;
            serial::set(&port, line)?;
            modem::set(&port, line.dtr, line.rts)?;
            Ok(Ear { read: Receiver::from_owned_fd_unchecked(port.try_clone()?)?, port })
        };
        open().map_err(|error: io::Error| LinkError::of(path, &error))
    }

    /// Takes other settings; what was not read yet is of the old ones and goes.
    ///
    /// # Errors
    /// The port is gone or refuses.
    pub fn tune(&self, line: &Line) -> io::Result<()> {
        serial::set(&self.port, line)?;
        Ok(tcflush(&self.port, QueueSelector::IFlush)?)
    }

    /// Reads what has arrived; 0 means gone. Cancel safe.
    ///
    /// # Errors
    /// Gone, too.
    pub async fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.read.read(buffer).await
    }
}
