//! Who is at the other end of a connection.

use axum::extract::connect_info::Connected;
use axum::serve::IncomingStream;
use tokio::net::UnixListener;

use crate::station::event::Origin;

/// Where a request came from.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Peer(pub(crate) Origin);

/// Stands for a peer that the kernel does not name; no user has this number.
const NOBODY_KNOWN: u32 = u32::MAX;

impl Connected<IncomingStream<'_, UnixListener>> for Peer {
    fn connect_info(stream: IncomingStream<'_, UnixListener>) -> Peer {
        let uid = stream.io().peer_cred().map_or(NOBODY_KNOWN, |peer| peer.uid());
        Peer(Origin::Socket(uid))
    }
}
