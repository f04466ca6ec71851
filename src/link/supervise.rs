//! The owner of one link: open, read, stamp, tell; and open again.

use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::sync::{mpsc, watch};
use tokio::time::{sleep, timeout};
use tokio_serial::SerialPort;

use super::{LinkError, LinkSpec, READ_BYTES_MAX, ReadLink, TalkLink};
use crate::clock;
use crate::station::event::Event;

/// How long a write may take before the link counts as stuck.
const WRITE_S_MAX: Duration = Duration::from_secs(2);

/// How long to wait before the next attempt to open: 0.25 s, doubled up to 5 s. A link that held
/// for five seconds starts afresh; one that is only absent is looked for every 2 s at least.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BackOff {
    wait_ms: u64,
}

const FIRST_MS: u64 = 250;
const LONGEST_MS: u64 = 5_000;
const ABSENT_MS: u64 = 2_000;
const HELD_US: u64 = 5_000_000;

impl Default for BackOff {
    fn default() -> BackOff {
        BackOff { wait_ms: FIRST_MS }
    }
}

impl BackOff {
    /// The wait before the next attempt.
    pub fn next(&mut self, absent: bool) -> Duration {
        let wait = if absent { self.wait_ms.min(ABSENT_MS) } else { self.wait_ms };
        self.wait_ms = (self.wait_ms * 2).min(LONGEST_MS);
        Duration::from_millis(wait)
    }

    /// A link was open for so long, microseconds.
    pub fn held(&mut self, open_us: u64) {
        if open_us >= HELD_US {
            *self = BackOff::default();
        }
    }
}

/// Keeps a listen-only link.
pub(super) async fn listen(
    spec: LinkSpec,
    inbox: mpsc::Sender<Event>,
    mut stopped: watch::Receiver<()>,
) {
    let mut teller = Teller::new(spec.id.clone(), inbox);
    let work = async {
        loop {
            let why = match ReadLink::open(&spec.place).await {
                Ok(mut link) => {
                    teller.up().await?;
                    let why = read_only(&mut link, &teller).await?;
                    close(link);
                    why
                }
                Err(why) => why,
            };
            teller.down(why).await?;
        }
    };
    until_stopped(&mut stopped, work).await;
}

/// Keeps a link that may be asked.
pub(super) async fn talk(
    spec: LinkSpec,
    inbox: mpsc::Sender<Event>,
    mut out: mpsc::Receiver<Vec<u8>>,
    mut stopped: watch::Receiver<()>,
) {
    let mut teller = Teller::new(spec.id.clone(), inbox);
    let work = async {
        loop {
            let why = match TalkLink::open(&spec.place).await {
                Ok(link) => {
                    // What was meant for the link before is not for this one.
                    while out.try_recv().is_ok() {}
                    teller.up().await?;
                    converse(link, &teller, &mut out).await?
                }
                Err(why) => why,
            };
            teller.down(why).await?;
        }
    };
    until_stopped(&mut stopped, work).await;
}

/// The engine is gone: the end of this link.
struct Ended;

async fn until_stopped(
    stopped: &mut watch::Receiver<()>,
    work: impl Future<Output = Result<(), Ended>>,
) {
    tokio::select! {
        _ = work => {}
        _ = stopped.changed() => {}
    }
}

async fn read_only(link: &mut ReadLink, teller: &Teller) -> Result<LinkError, Ended> {
    let mut buffer = vec![0; READ_BYTES_MAX];
    loop {
        match link.read(&mut buffer).await {
            Ok(0) | Err(_) => return Ok(LinkError::Gone),
            Ok(count) => teller.bytes(&buffer[..count]).await?,
        }
    }
}

async fn converse(
    link: TalkLink,
    teller: &Teller,
    out: &mut mpsc::Receiver<Vec<u8>>,
) -> Result<LinkError, Ended> {
    match link {
        TalkLink::Serial(mut port) => {
            let why = pump(&mut port, teller, out).await;
            let _ = port.clear(tokio_serial::ClearBuffer::Output);
            close(port);
            why
        }
        TalkLink::Tcp(mut stream) => pump(&mut stream, teller, out).await,
    }
}

async fn pump(
    stream: &mut (impl AsyncRead + AsyncWrite + Unpin),
    teller: &Teller,
    out: &mut mpsc::Receiver<Vec<u8>>,
) -> Result<LinkError, Ended> {
    let mut buffer = vec![0; READ_BYTES_MAX];
    loop {
        tokio::select! {
            read = stream.read(&mut buffer) => match read {
                Ok(0) | Err(_) => return Ok(LinkError::Gone),
                Ok(count) => teller.bytes(&buffer[..count]).await?,
            },
            bytes = out.recv() => {
                let bytes = bytes.ok_or(Ended)?;
                match timeout(WRITE_S_MAX, stream.write_all(&bytes)).await {
                    Ok(Ok(())) => {}
                    Ok(Err(_)) => return Ok(LinkError::Gone),
                    Err(_) => return Ok(LinkError::Stuck),
                }
            }
        }
    }
}

/// Closing may wait for output to drain, up to half a minute: never on the runtime's thread.
fn close(port: impl Send + 'static) {
    tokio::task::spawn_blocking(move || drop(port));
}

/// Tells the engine what happened, each state once, and waits out the back-off.
struct Teller {
    link: String,
    inbox: mpsc::Sender<Event>,
    back_off: BackOff,
    up_us: Option<u64>,
    told: Option<String>,
}

impl Teller {
    fn new(link: String, inbox: mpsc::Sender<Event>) -> Teller {
        Teller { link, inbox, back_off: BackOff::default(), up_us: None, told: None }
    }

    async fn up(&mut self) -> Result<(), Ended> {
        let at = clock::now();
        self.up_us = Some(at.boot_us);
        self.told = None;
        self.tell(Event::LinkUp { at, link: self.link.clone() }).await
    }

    async fn bytes(&self, bytes: &[u8]) -> Result<(), Ended> {
        let at = clock::now();
        self.tell(Event::Bytes { at, link: self.link.clone(), bytes: bytes.to_vec() }).await
    }

    async fn down(&mut self, why: LinkError) -> Result<(), Ended> {
        let at = clock::now();
        if let Some(up_us) = self.up_us.take() {
            self.back_off.held(at.boot_us.saturating_sub(up_us));
        }
        let absent = matches!(why, LinkError::Absent { .. });
        let why = why.to_string();
        if self.told.as_ref() != Some(&why) {
            tracing::warn!(link = self.link, why, "Link is down.");
            self.told = Some(why.clone());
            self.tell(Event::LinkDown { at, link: self.link.clone(), why }).await?;
        }
        sleep(self.back_off.next(absent)).await;
        Ok(())
    }

    async fn tell(&self, event: Event) -> Result<(), Ended> {
        self.inbox.send(event).await.map_err(|_| Ended)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wait_doubles_to_five_seconds() {
        let mut back_off = BackOff::default();
        let waits: Vec<u128> = (0..7).map(|_| back_off.next(false).as_millis()).collect();
        assert_eq!(waits, [250, 500, 1000, 2000, 4000, 5000, 5000]);
    }

    #[test]
    fn a_link_that_flaps_keeps_its_wait_and_one_that_held_starts_afresh() {
        let mut back_off = BackOff::default();
        back_off.next(false);
        back_off.held(HELD_US - 1);
        assert_eq!(back_off.next(false).as_millis(), 500);
        back_off.held(HELD_US);
        assert_eq!(back_off.next(false).as_millis(), 250);
    }

    #[test]
    fn what_is_absent_is_looked_for_every_two_seconds() {
        let mut back_off = BackOff { wait_ms: LONGEST_MS };
        assert_eq!(back_off.next(true).as_millis(), 2000);
    }
}
