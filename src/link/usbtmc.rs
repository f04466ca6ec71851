//! USBTMC instruments through the kernel's node. Not exercised on hardware: no machine of ours has
//! a USB bus; the order of calls is tested against a node that is played.
//!
//! A message is written, and if it asks, one answer is read to its end. Nothing is ever read that
//! was not asked for: a read makes the instrument send. A message that took too long is aborted and
//! the instrument cleared, so that a late answer can't be taken for the next one. An answer that
//! ends without a line feed is handed over as it came: the driver waits for one and asks again.

use std::fs::File;
use std::io::{self, Read, Write};
use std::os::fd::OwnedFd;
use std::path::Path;

use rustix::fs::{FlockOperation, Mode, OFlags, flock};
use rustix::io::Errno;
use tokio::sync::mpsc;

use super::LinkError;
use super::tmc_node as node;

/// How long the kernel waits for one transfer, milliseconds: a little less than the driver waits
/// for an answer, so that all is clear when it asks again.
const TRANSFER_MS: u32 = 2_500;
/// Longest answer, bytes.
const ANSWER_MAX: usize = 64 << 10;
/// Messages that may wait for the thread of a node.
const WAITING_MAX: usize = 4;
/// Message available, of the status byte (IEEE 488.2, 11.2).
const MAV: u8 = 0x10;

/// What can be done with an instrument.
trait Instrument {
    /// Sends one message.
    fn write(&mut self, message: &[u8]) -> io::Result<()>;
    /// Reads a part of an answer; the flag says that it is the last one.
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<(usize, bool)>;
    /// Gives up what was being sent.
    fn abort_out(&mut self) -> io::Result<()>;
    /// Gives up what was being read.
    fn abort_in(&mut self) -> io::Result<()>;
    /// Empties the instrument's input and output.
    fn clear(&mut self) -> io::Result<()>;
    /// The status byte, where it can be had without asking over the data path.
    fn status(&mut self) -> Option<u8>;
}

/// How an exchange ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Ended {
    /// As it should.
    Well,
    /// It was given up, and the instrument cleared.
    Cleared,
}

/// The message asks for an answer: a `?` outside of quotes.
fn asks(message: &[u8]) -> bool {
    let mut quote = None;
    message.iter().any(|byte| {
        match (quote, *byte) {
            (None, b'"' | b'\'') => quote = Some(*byte),
            (Some(open), byte) if byte == open => quote = None,
            (None, b'?') => return true,
            _ => {}
        }
        false
    })
}

/// Sends a message and reads its answer, if it asks for one.
///
/// # Errors
/// The instrument is gone, or can't be cleared.
fn exchange(
    instrument: &mut impl Instrument,
    message: &[u8],
    heard: &mut dyn FnMut(&[u8]),
) -> io::Result<Ended> {
    if let Err(error) = instrument.write(message) {
        survives(&error)?;
        // What can't be aborted is cleared all the same.
        let _ = instrument.abort_out();
        return instrument.clear().map(|()| Ended::Cleared);
    }
    if !asks(message) {
        return Ok(Ended::Well);
    }
    let (mut buffer, mut total) = (vec![0; super::READ_BYTES_MAX], 0);
    loop {
        match instrument.read(&mut buffer) {
            Ok((count, last)) => {
                heard(&buffer[..count]);
                total += count;
                if last {
                    return Ok(Ended::Well);
                }
                if total < ANSWER_MAX {
                    continue;
                }
            }
            Err(error) => survives(&error)?,
        }
        let waits = instrument.status().map(|status| status & MAV != 0);
        tracing::warn!(answer_waits = waits, "An answer was given up; the instrument is cleared.");
        let _ = instrument.abort_in();
        return instrument.clear().map(|()| Ended::Cleared);
    }
}

/// A transfer that failed may be aborted and cleared, unless the instrument is gone.
fn survives(error: &io::Error) -> io::Result<()> {
    match Errno::from_io_error(error) {
        Some(Errno::NODEV | Errno::SHUTDOWN | Errno::NXIO | Errno::BADF | Errno::IO) | None => {
            Err(io::Error::new(error.kind(), error.to_string()))
        }
        Some(_) => Ok(()),
    }
}

/// A node of the kernel.
#[derive(Debug)]
struct Node(File);

impl Instrument for Node {
    fn write(&mut self, message: &[u8]) -> io::Result<()> {
        self.0.write_all(message)
    }

    fn read(&mut self, buffer: &mut [u8]) -> io::Result<(usize, bool)> {
        let count = self.0.read(buffer)?;
        // Without the attributes, an answer that does not fill the buffer is at its end.
        let last = node::was_last(&self.0).unwrap_or(count < buffer.len());
        Ok((count, last))
    }

    fn abort_out(&mut self) -> io::Result<()> {
        Ok(node::abort_out(&self.0)?)
    }

    fn abort_in(&mut self) -> io::Result<()> {
        Ok(node::abort_in(&self.0)?)
    }

    fn clear(&mut self) -> io::Result<()> {
        Ok(node::clear(&self.0)?)
    }

    fn status(&mut self) -> Option<u8> {
        node::status(&self.0).ok()
    }
}

/// An instrument at its node, worked by a thread: the kernel's calls block.
#[derive(Debug)]
pub(super) struct Tmc {
    /// Messages to be sent; full where the instrument takes none.
    pub(super) to: mpsc::Sender<Vec<u8>>,
    /// What was answered; ends where the instrument is gone.
    pub(super) from: mpsc::Receiver<Vec<u8>>,
}

impl Tmc {
    /// Opens a node, puts the instrument under remote control where it can be, and clears it: what
    /// it had to say to somebody else is not for us.
    pub(super) async fn open(path: &Path) -> Result<Tmc, LinkError> {
        let name = path.to_owned();
        let opened = tokio::task::spawn_blocking(move || {
            let open = || -> io::Result<Node> {
                let flags = OFlags::RDWR | OFlags::CLOEXEC;
                let file: OwnedFd = rustix::fs::open(&name, flags, Mode::empty())?;
                flock(&file, FlockOperation::NonBlockingLockExclusive)?;
                node::prepare(&file, TRANSFER_MS)?;
                tracing::info!(port = %name.display(), "Opened a USBTMC instrument.");
                Ok(Node(File::from(file)))
            };
            open().map_err(|error| match Errno::from_io_error(&error) {
                Some(Errno::NOTTY | Errno::INVAL) => LinkError::Failed {
                    port: name.display().to_string(),
                    why: "it is no USBTMC node".into(),
                },
                _ => LinkError::of(&name, &error),
            })
        });
        let gone = |_| LinkError::Gone;
        Tmc::start(opened.await.map_err(gone)??, |node| node::let_go(&node.0))
    }

    fn start<I: Instrument + Send + 'static>(
        mut instrument: I,
        leave: fn(&I),
    ) -> Result<Tmc, LinkError> {
        let (to, mut messages) = mpsc::channel::<Vec<u8>>(WAITING_MAX);
        let (tell, from) = mpsc::channel(WAITING_MAX);
        let work = move || {
            while let Some(message) = messages.blocking_recv() {
                let mut heard = |bytes: &[u8]| {
                    // Nobody may listen any more: then the next message ends it.
                    let _ = tell.blocking_send(bytes.to_vec());
                };
                if let Err(error) = exchange(&mut instrument, &message, &mut heard) {
                    tracing::warn!(%error, "A USBTMC instrument is gone.");
                    return;
                }
            }
            leave(&instrument);
        };
        let thread = std::thread::Builder::new().name("usbtmc".into()).spawn(work);
        thread.map_err(|_| LinkError::Gone)?;
        Ok(Tmc { to, from })
    }
}

#[cfg(test)]
mod tests;
