//! Links: bytes in, and for instruments that may be asked, bytes out.
//!
//! **Law.** A listen-only link is a `ReadLink`: opened for reading, without any way to write.
//! Only a `TalkLink` has a writer, and only drivers that may ask get one.
//!
//! Each link has one owner, its supervisor: it opens, reads, stamps right after the read, and
//! opens again when the link is gone. Nothing else touches the port.

mod error;
mod holder;
mod modem;
mod serial;
mod supervise;
mod tcp;

use std::io;

use tokio::io::AsyncReadExt;
use tokio::net::TcpStream;
use tokio::net::tcp::OwnedReadHalf;
use tokio::net::unix::pipe::Receiver;
use tokio::sync::{mpsc, watch};
use tokio_serial::SerialStream;

pub use error::LinkError;
pub use holder::holder;
pub use supervise::BackOff;

use crate::config::Place;
use crate::station::event::Event;

/// The most bytes that one read returns.
pub const READ_BYTES_MAX: usize = 4096;

/// Program messages that may wait for a link; one query is in flight, so two are plenty.
const OUTBOX_MAX: usize = 16;

/// A link that is to be kept open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LinkSpec {
    /// Its name.
    pub id: String,
    /// Where it is plugged in.
    pub place: Place,
    /// Its driver may ask: the link gets a writer.
    pub talks: bool,
}

/// A link under its supervisor. Dropping it stops the supervisor and closes the port.
#[derive(Debug)]
pub struct Supervised {
    outbox: Option<mpsc::Sender<Vec<u8>>>,
    _stop: watch::Sender<()>,
}

/// Keeps a link open and tells `inbox` what happens. Must be called within a runtime.
#[must_use]
pub fn supervise(spec: LinkSpec, inbox: mpsc::Sender<Event>) -> Supervised {
    let (stop, stopped) = watch::channel(());
    if spec.talks {
        let (outbox, out) = mpsc::channel(OUTBOX_MAX);
        tokio::spawn(supervise::talk(spec, inbox, out, stopped));
        return Supervised { outbox: Some(outbox), _stop: stop };
    }
    tokio::spawn(supervise::listen(spec, inbox, stopped));
    Supervised { outbox: None, _stop: stop }
}

impl Supervised {
    /// Hands bytes to the link.
    ///
    /// # Errors
    /// The link has no writer, or it is stuck and its outbox full: the bytes were not sent.
    pub fn send(&self, bytes: Vec<u8>) -> Result<(), &'static str> {
        let outbox = self.outbox.as_ref().ok_or("the link is listen-only")?;
        outbox.try_send(bytes).map_err(|_| "the link takes no bytes")
    }
}

/// A link that is open for reading only. It has no writer, by construction.
enum ReadLink {
    Serial(Receiver),
    Tcp(OwnedReadHalf),
}

/// A link that may be asked.
enum TalkLink {
    Serial(Box<SerialStream>),
    Tcp(TcpStream),
}

impl ReadLink {
    async fn open(place: &Place) -> Result<ReadLink, LinkError> {
        match place {
            Place::Serial(path, line) => Ok(ReadLink::Serial(serial::listen(path, line)?)),
            Place::Tcp(address) => Ok(ReadLink::Tcp(tcp::listen(address).await?)),
        }
    }

    /// Reads what has arrived; 0 means gone.
    async fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match self {
            ReadLink::Serial(port) => port.read(buffer).await,
            ReadLink::Tcp(stream) => stream.read(buffer).await,
        }
    }
}

impl TalkLink {
    async fn open(place: &Place) -> Result<TalkLink, LinkError> {
        match place {
            Place::Serial(path, line) => Ok(TalkLink::Serial(Box::new(serial::talk(path, line)?))),
            Place::Tcp(address) => Ok(TalkLink::Tcp(tcp::talk(address).await?)),
        }
    }
}
