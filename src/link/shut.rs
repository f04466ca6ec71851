//! Closing a port. The kernel may wait half a minute, or for ever, until output has drained:
//! what waits is thrown away first, the closing is done by a thread of its own, and nobody waits
//! for that thread longer than two seconds.

use std::os::fd::AsFd;
use std::path::Path;
use std::time::Duration;

use rustix::fs::{FlockOperation, flock};
use rustix::termios::{QueueSelector, ioctl_tiocnxcl, tcflush};
use tokio::sync::oneshot;
use tokio::time::timeout;

/// How long a closing is waited for.
const CLOSE_S_MAX: Duration = Duration::from_secs(2);

/// A port that is being closed. Dropping this leaves the closing to itself.
#[derive(Debug)]
pub(super) struct Closing {
    port: String,
    closed: oneshot::Receiver<()>,
}

impl Closing {
    /// Waits until it is closed; after two seconds it is left to itself, and the log says so.
    pub(super) async fn wait(self) {
        // A lost sender says that it is closed, too: the thread is at its end.
        if timeout(CLOSE_S_MAX, self.closed).await.is_err() {
            let port = self.port;
            tracing::error!(port, "The port does not close: it is left to itself.");
        }
    }
}

/// Closes a serial port. What waits to be sent is thrown away while the lock is still ours: later
/// it would be what the next one wrote. Then the lock is given up, whatever the closing takes:
/// neither we nor anybody else finds the port taken by a station that has done with it.
pub(super) fn serial(port: impl AsFd + Send + 'static, path: &Path) -> Closing {
    // Nothing of this is needed where the port is gone.
    let _ = tcflush(&port, QueueSelector::OFlush);
    let _ = ioctl_tiocnxcl(&port);
    let _ = flock(&port, FlockOperation::Unlock);
    close(path, move || drop(port))
}

/// Runs a closing on a thread of its own.
fn close(path: &Path, work: impl FnOnce() + Send + 'static) -> Closing {
    let (done, closed) = oneshot::channel();
    let thread = std::thread::Builder::new().name("close".into());
    let started = thread.spawn(move || {
        work();
        // Nobody may wait for it any more.
        let _ = done.send(());
    });
    if let Err(error) = started {
        // Then it was closed here, when the work was dropped.
        tracing::warn!(%error, "No thread to close a port.");
    }
    Closing { port: path.display().to_string(), closed }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test(start_paused = true)]
    async fn a_port_that_never_closes_is_left_to_itself() {
        let (hold, held) = std::sync::mpsc::channel::<()>();
        let closing = close(Path::new("/dev/none"), move || {
            let _ = held.recv();
        });
        // Virtual time: it goes on when nothing else can.
        let waited = timeout(CLOSE_S_MAX + Duration::from_millis(1), closing.wait()).await;
        assert!(waited.is_ok(), "it was waited for longer than that");
        drop(hold);
        close(Path::new("/dev/none"), || {}).wait().await;
    }
}
