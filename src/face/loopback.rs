//! The page's listeners: both loopback addresses at one port, and nothing else.

use std::io;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};

/// Connections at a time. A page holds one for its feed and one for the rest.
const CONNECTIONS_MAX: usize = 64;

/// How long the head of a request may take, also the next one of a connection that is kept.
const HEAD_S_MAX: Duration = Duration::from_secs(10);

/// Bytes of a connection that are held; a longer head is refused.
const BUFFER_BYTES_MAX: usize = 16 << 10;

/// How often another port is tried, where any will do.
const TRIES: u32 = 8;

/// Listeners of one port.
#[derive(Debug)]
pub(super) struct Listeners {
    pub(super) port: u16,
    /// The address that was asked for first.
    pub(super) address: SocketAddr,
    listeners: Vec<TcpListener>,
}

/// Binds both loopback addresses at the port; at one of the kernel's choice for port 0.
pub(super) async fn bind(wanted: SocketAddr) -> Result<Listeners, String> {
    let mut tried = 0;
    loop {
        tried += 1;
        match both(wanted).await {
            // The other address of a port that the kernel chose may be taken: another port, then.
            Err((_, io::ErrorKind::AddrInUse)) if wanted.port() == 0 && tried < TRIES => {}
            other => return other.map_err(|(text, _)| text),
        }
    }
}

async fn both(wanted: SocketAddr) -> Result<Listeners, (String, io::ErrorKind)> {
    let failed = |address: SocketAddr, error: io::Error| {
        (format!("can't listen at {address}: {error}"), error.kind())
    };
    let first = TcpListener::bind(wanted).await.map_err(|error| failed(wanted, error))?;
    let address = first.local_addr().map_err(|error| failed(wanted, error))?;
    let port = address.port();
    let other = match address.ip() {
        IpAddr::V4(_) => SocketAddr::from((Ipv6Addr::LOCALHOST, port)),
        IpAddr::V6(_) => SocketAddr::from((Ipv4Addr::LOCALHOST, port)),
    };
    let mut listeners = vec![first];
    match TcpListener::bind(other).await {
        Ok(second) => listeners.push(second),
        // `localhost` may mean either: nobody else may answer there in our name.
        Err(error) if error.kind() == io::ErrorKind::AddrInUse => return Err(failed(other, error)),
        Err(error) => tracing::info!(%other, %error, "The page has one address only."),
    }
    Ok(Listeners { port, address, listeners })
}

impl Listeners {
    /// Serves until `stop` says so.
    pub(super) async fn serve(self, routes: Router, stop: watch::Receiver<Option<String>>) {
        let room = Arc::new(Semaphore::new(CONNECTIONS_MAX));
        let each = self
            .listeners
            .into_iter()
            .map(|listener| accept(listener, routes.clone(), (room.clone(), stop.clone())));
        futures_util::future::join_all(each).await;
    }
}

type Bounds = (Arc<Semaphore>, watch::Receiver<Option<String>>);

async fn accept(listener: TcpListener, routes: Router, (room, mut stop): Bounds) {
    loop {
        let Ok(seat) = room.clone().acquire_owned().await else { return };
        let came = tokio::select! {
            came = listener.accept() => came,
            _ = stop.wait_for(Option::is_some) => return,
        };
        match came {
            Ok((stream, _)) => {
                tokio::spawn(connection(stream, routes.clone(), (seat, stop.clone())));
            }
            Err(error) => {
                tracing::warn!(%error, "A connection to the page was not taken.");
                tokio::time::sleep(Duration::from_millis(100)).await;
            }
        }
    }
}

async fn connection(
    stream: TcpStream,
    routes: Router,
    (_seat, mut stop): (OwnedSemaphorePermit, watch::Receiver<Option<String>>),
) {
    // A number that waits for the next one to fill a packet is late.
    let _ = stream.set_nodelay(true);
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_S_MAX)
        .max_buf_size(BUFFER_BYTES_MAX)
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(routes));
    let mut connection = std::pin::pin!(connection);
    let stopped = async move { drop(stop.wait_for(Option::is_some).await) };
    let ended = tokio::select! {
        ended = connection.as_mut() => Some(ended),
        () = stopped => None,
    };
    let ended = match ended {
        Some(ended) => ended,
        None => {
            connection.as_mut().graceful_shutdown();
            connection.await
        }
    };
    // Who went away in the middle of a request is no fault of ours.
    drop(ended);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn both_addresses_have_one_port_and_a_taken_one_is_refused() {
        let any = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
        let first = bind(any).await.unwrap();
        assert_ne!(first.port, 0);
        for listener in &first.listeners {
            let address = listener.local_addr().unwrap();
            assert!(address.ip().is_loopback() && address.port() == first.port, "{address}");
        }
        let refused = bind(first.address).await.unwrap_err();
        assert!(refused.starts_with("can't listen at 127.0.0.1:"), "{refused}");
    }
}
