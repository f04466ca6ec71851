//! The owner of one link: open, read, stamp, tell; and open again.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{Notify, mpsc, watch};
use tokio::time::timeout;

use super::inputs::Inputs;
use super::teller::{Ended, Teller};
use super::usbtmc::Tmc;
use super::{LinkError, LinkSpec, READ_BYTES_MAX, ReadLink, TalkLink};
use crate::clock;
use crate::config::Place;

/// How long a write may take before the link counts as stuck.
const WRITE_S_MAX: Duration = Duration::from_secs(2);

/// How long the last bytes of a link that takes no more are waited for.
const TAIL_S_MAX: Duration = Duration::from_millis(200);

/// Keeps a listen-only link.
pub(super) async fn listen(
    spec: LinkSpec,
    mut teller: Teller,
    again: Arc<Notify>,
    mut stopped: watch::Receiver<()>,
) {
    let work = async {
        loop {
            let why = match &spec.place {
                Place::Inputs(path, signals) => match Inputs::open(path, *signals) {
                    Ok(inputs) => see(&inputs, &mut teller, &again).await?,
                    Err(why) => why,
                },
                place => match ReadLink::open(place).await {
                    Ok(mut link) => {
                        let why = hear(&mut link, &mut teller).await?;
                        link.close().await;
                        why
                    }
                    Err(why) => why,
                },
            };
            if spec.place == Place::Stdin && why == LinkError::Gone {
                // It does not come back.
                teller.down(LinkError::Ended).await?;
                return std::future::pending().await;
            }
            teller.down(why).await?;
        }
    };
    until_stopped(&mut stopped, work).await;
}

/// Keeps a link that may be asked.
pub(super) async fn talk(
    spec: LinkSpec,
    mut teller: Teller,
    mut out: mpsc::Receiver<Vec<u8>>,
    mut stopped: watch::Receiver<()>,
) {
    let work = async {
        loop {
            if let Place::Usbtmc(path) = &spec.place {
                let why = match Tmc::open(path).await {
                    Ok(mut tmc) => {
                        forget(&mut out);
                        ask(&mut tmc, &mut teller, &mut out).await?
                    }
                    Err(why) => why,
                };
                teller.down(why).await?;
                continue;
            }
            let why = match TalkLink::open(&spec.place).await {
                Ok(mut link) => {
                    forget(&mut out);
                    let why = converse(&mut link, &mut teller, &mut out).await?;
                    drop(link.write);
                    link.read.close().await;
                    why
                }
                Err(why) => why,
            };
            teller.down(why).await?;
        }
    };
    until_stopped(&mut stopped, work).await;
}

/// What was meant for the link before is not for this one.
fn forget(out: &mut mpsc::Receiver<Vec<u8>>) {
    while out.try_recv().is_ok() {}
}

async fn until_stopped(
    stopped: &mut watch::Receiver<()>,
    work: impl Future<Output = Result<(), Ended>>,
) {
    tokio::select! {
        _ = work => {}
        _ = stopped.changed() => {}
    }
}

/// Contacts of a port.
async fn see(inputs: &Inputs, teller: &mut Teller, again: &Notify) -> Result<LinkError, Ended> {
    teller.up().await?;
    inputs.watch(teller, again).await
}

/// An instrument whose answers come from a thread.
async fn ask(
    tmc: &mut Tmc,
    teller: &mut Teller,
    out: &mut mpsc::Receiver<Vec<u8>>,
) -> Result<LinkError, Ended> {
    teller.up().await?;
    loop {
        tokio::select! {
            heard = tmc.from.recv() => match heard {
                Some(bytes) => teller.bytes(&bytes).await?,
                None => return Ok(LinkError::Gone),
            },
            bytes = out.recv() => {
                if tmc.to.try_send(bytes.ok_or(Ended)?).is_err() {
                    return Ok(LinkError::Stuck);
                }
            }
        }
    }
}

async fn hear(link: &mut ReadLink, teller: &mut Teller) -> Result<LinkError, Ended> {
    teller.up().await?;
    let mut buffer = vec![0; READ_BYTES_MAX];
    loop {
        match link.read(&mut buffer).await {
            Ok(0) | Err(_) => return Ok(LinkError::Gone),
            Ok(count) => teller.bytes(&buffer[..count]).await?,
        }
        if let Some(why) = link.look(clock::now().boot_us) {
            return Ok(why);
        }
    }
}

async fn converse(
    link: &mut TalkLink,
    teller: &mut Teller,
    out: &mut mpsc::Receiver<Vec<u8>>,
) -> Result<LinkError, Ended> {
    teller.up().await?;
    let mut buffer = vec![0; READ_BYTES_MAX];
    loop {
        tokio::select! {
            read = link.read.read(&mut buffer) => match read {
                Ok(0) | Err(_) => return Ok(LinkError::Gone),
                Ok(count) => {
                    teller.bytes(&buffer[..count]).await?;
                    if let Some(why) = link.read.look(clock::now().boot_us) {
                        return Ok(why);
                    }
                }
            },
            bytes = out.recv() => {
                let bytes = bytes.ok_or(Ended)?;
                let why = match timeout(WRITE_S_MAX, link.write.write_all(&bytes)).await {
                    Ok(Ok(())) => continue,
                    Ok(Err(_)) => LinkError::Gone,
                    Err(_) => LinkError::Stuck,
                };
                tail(&mut link.read, teller).await?;
                return Ok(why);
            }
        }
    }
}

/// A link that takes no more may have said something last: that is kept, up to a bound.
async fn tail(link: &mut ReadLink, teller: &Teller) -> Result<(), Ended> {
    let mut buffer = vec![0; READ_BYTES_MAX];
    for _ in 0..16 {
        match timeout(TAIL_S_MAX, link.read(&mut buffer)).await {
            Ok(Ok(count @ 1..)) => teller.bytes(&buffer[..count]).await?,
            _ => break,
        }
    }
    Ok(())
}
