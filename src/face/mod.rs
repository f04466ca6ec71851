//! Faces: one HTTP/JSON interface over a unix socket and, for the page, over loopback TCP.
//!
//! They decide nothing: every request becomes a question to the station, and every answer is
//! given when it is durable.

mod acts;
mod due;
mod exports;
mod guard;
mod key;
mod life;
mod loopback;
mod measured;
mod month;
mod openapi;
mod page;
mod paper;
mod peer;
mod plans;
mod plug;
mod problem;
mod query;
mod records;
mod registers;
mod router;
mod sheets;
mod socket;
mod stream;
mod summary;
mod token;

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use axum::Extension;
use axum::extract::{ConnectInfo, DefaultBodyLimit};
use tokio::net::UnixListener;
use tokio::sync::watch;

use crate::serve::shared::Shared;
use crate::station::event::Origin;
use crate::station::library::Library;
use guard::Guard;
use loopback::Listeners;
use peer::Peer;
use token::Token;

/// The largest body over the socket, bytes: a register of assets.
const REGISTER_BYTES_MAX: usize = 4 << 20;

/// The largest body over loopback, bytes.
const PAGE_BYTES_MAX: usize = 1 << 20;

/// What handlers share.
#[derive(Debug, Clone)]
pub(crate) struct Hall {
    pub(crate) shared: Arc<Shared>,
    pub(crate) library: Arc<Library>,
    pub(crate) stop: watch::Receiver<Option<String>>,
    exports: exports::Turn,
}

/// Faces whose sockets are bound.
#[derive(Debug)]
pub struct Face {
    socket: UnixListener,
    path: PathBuf,
    page: Option<(Listeners, Token)>,
    shared: Arc<Shared>,
    library: Library,
}

/// Binds the unix socket and, where one is configured, the loopback address.
///
/// # Errors
/// Another station serves there, or the address can't be had.
pub async fn open(
    path: &Path,
    page: Option<SocketAddr>,
    shared: Arc<Shared>,
    library: Library,
) -> Result<Face, String> {
    let socket = socket::bind(path).await?;
    let page = match page {
        None => None,
        Some(address) => {
            let listeners = loopback::bind(address).await?;
            Some((listeners, Token::make(&path.with_extension("token"))?))
        }
    };
    let at = page.as_ref().map(|(listeners, _)| listeners.address.to_string());
    tracing::info!(socket = %path.display(), page = at.as_deref(), "Faces are open.");
    let path = path.to_owned();
    Ok(Face { socket, path, page, shared, library })
}

impl Face {
    /// Serves until `stop` says so.
    pub async fn serve(self, stop: watch::Receiver<Option<String>>) {
        let library = Arc::new(self.library);
        let exports = exports::Turn::default();
        let hall = Hall { shared: self.shared, library, stop: stop.clone(), exports };
        let told = self.page.as_ref().map(|(page, token)| (page.address, token.clone()));
        let local = router::routes(hall.clone(), REGISTER_BYTES_MAX).merge(key::address(told));
        let unix = axum::serve(self.socket, local.into_make_service_with_connect_info::<Peer>())
            .with_graceful_shutdown(stopped(stop.clone()));
        let page = async {
            if let Some((listeners, token)) = self.page {
                let routes = router::routes(hall.clone(), PAGE_BYTES_MAX)
                    .merge(page::routes(hall).layer(DefaultBodyLimit::max(PAGE_BYTES_MAX)))
                    .merge(key::trade(listeners.port, token.clone()))
                    .layer(Extension(ConnectInfo(Peer(Origin::Page))));
                let guard = Guard::new(token, listeners.port, page::OPEN);
                listeners.serve(guard.before(routes), stop).await;
            }
        };
        let ((), ()) = tokio::join!(async { log(unix.await) }, page);
        // Left behind, it would only be replaced at the next start.
        let _ = std::fs::remove_file(&self.path);
    }
}

async fn stopped(mut stop: watch::Receiver<Option<String>>) {
    // A lost sender means that the process ends: that is a stop, too.
    let _ = stop.wait_for(Option::is_some).await;
}

fn log(result: std::io::Result<()>) {
    if let Err(error) = result {
        tracing::error!(%error, "A face has ended.");
    }
}
