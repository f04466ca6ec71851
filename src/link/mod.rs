//! Links: bytes in, and for instruments that may be asked, bytes out.
//!
//! **Law.** A listen-only link is a `ReadLink`: opened for reading, without any way to write.
//! Only a `TalkLink` has a writer, and only drivers that may ask get one.
//!
//! Each link has one owner, its supervisor: it opens, reads, stamps right after the read, and
//! opens again when the link is gone. Nothing else touches the port.

mod back_off;
mod ear;
mod error;
mod evdev;
mod holder;
mod inputs;
mod keymap;
mod keys;
mod marks;
mod modem;
mod pipe;
mod serial;
mod shut;
mod supervise;
mod tcp;
mod teller;
mod tmc_node;
mod usbtmc;

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::tcp::{OwnedReadHalf, OwnedWriteHalf};
use tokio::net::unix::pipe::{Receiver, Sender};
use tokio::sync::{Notify, mpsc, watch};

pub use back_off::BackOff;
pub use ear::Ear;
pub use error::LinkError;
pub use holder::holder;

use crate::config::Place;
use crate::inbox::Post;
use teller::Teller;

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
    again: Arc<Notify>,
    quiet: Arc<AtomicBool>,
    _stop: watch::Sender<()>,
}

/// Keeps a link open and tells `inbox` what happens. Must be called within a runtime.
#[must_use]
pub fn supervise(spec: LinkSpec, inbox: Post) -> Supervised {
    let (stop, stopped) = watch::channel(());
    let again = Arc::new(Notify::new());
    let quiet = Arc::new(AtomicBool::new(false));
    let teller = Teller::new(spec.id.clone(), inbox, quiet.clone());
    if spec.talks {
        let (outbox, out) = mpsc::channel(OUTBOX_MAX);
        tokio::spawn(supervise::talk(spec, teller, out, stopped));
        return Supervised { outbox: Some(outbox), again, quiet, _stop: stop };
    }
    tokio::spawn(supervise::listen(spec, teller, again.clone(), stopped));
    Supervised { outbox: None, again, quiet, _stop: stop }
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

    /// A new stream of this link begins: contacts tell their state again. Nothing is sent.
    pub fn again(&self) {
        self.again.notify_one();
    }

    /// From now on nobody waits for its bytes, or somebody does. At first somebody does.
    pub fn quiet(&self, quiet: bool) {
        self.quiet.store(quiet, Ordering::Relaxed);
    }
}

/// A link that is open for reading only. It has no writer, by construction.
#[derive(Debug)]
pub struct ReadLink(Source);

#[derive(Debug)]
enum Source {
    Serial(serial::Port),
    Tcp(OwnedReadHalf),
    Pipe(Receiver),
    Keys(Box<keys::Keys>),
}

/// A link that may be asked. The writer stands first: it is dropped first, and closing the reader
/// closes the port.
struct TalkLink {
    write: Writer,
    read: ReadLink,
}

enum Writer {
    Serial(Sender),
    Tcp(OwnedWriteHalf),
}

impl ReadLink {
    /// Opens a link for reading only.
    ///
    /// # Errors
    /// Why it can't be opened.
    pub async fn open(place: &Place) -> Result<ReadLink, LinkError> {
        Ok(ReadLink(match place {
            Place::Serial(path, line) => Source::Serial(serial::listen(path, line)?),
            Place::Tcp(address) => Source::Tcp(tcp::listen(address).await?),
            Place::Stdin => Source::Pipe(pipe::stdin()?),
            Place::Keys(path, layout) => Source::Keys(Box::new(keys::Keys::open(path, *layout)?)),
            Place::Usbtmc(path) | Place::Inputs(path, _) => {
                return Err(LinkError::Mute { port: path.display().to_string() });
            }
        }))
    }

    /// Reads what has arrived; 0 means gone. Cancel safe.
    ///
    /// # Errors
    /// Gone, too.
    pub async fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match &mut self.0 {
            Source::Serial(port) => port.read(buffer).await,
            Source::Tcp(stream) => stream.read(buffer).await,
            Source::Pipe(pipe) => pipe.read(buffer).await,
            Source::Keys(keys) => keys.read(buffer).await,
        }
    }

    /// What is no longer as it was when the link was opened; to be asked after bytes came.
    fn look(&mut self, now_us: u64) -> Option<LinkError> {
        match &mut self.0 {
            Source::Serial(port) => port.look(now_us).map(LinkError::Changed),
            Source::Tcp(_) | Source::Pipe(_) | Source::Keys(_) => None,
        }
    }

    /// Closes it; waits for that, but not for long. Dropping it closes it, too.
    pub async fn close(self) {
        match self.0 {
            Source::Serial(port) => port.close().await,
            Source::Tcp(_) | Source::Pipe(_) | Source::Keys(_) => {}
        }
    }
}

impl TalkLink {
    async fn open(place: &Place) -> Result<TalkLink, LinkError> {
        Ok(match place {
            Place::Serial(path, line) => {
                let (write, read) = serial::talk(path, line)?;
                TalkLink { write: Writer::Serial(write), read: ReadLink(Source::Serial(read)) }
            }
            Place::Tcp(address) => {
                let (read, write) = tcp::talk(address).await?.into_split();
                TalkLink { write: Writer::Tcp(write), read: ReadLink(Source::Tcp(read)) }
            }
            Place::Stdin | Place::Keys(..) | Place::Inputs(..) | Place::Usbtmc(_) => {
                return Err(LinkError::Mute { port: "the link".into() });
            }
        })
    }
}

impl Writer {
    async fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        match self {
            Writer::Serial(port) => port.write_all(bytes).await,
            Writer::Tcp(stream) => stream.write_all(bytes).await,
        }
    }
}
