//! Raw sockets: instruments on the network, terminal servers.

use std::io;
use std::path::Path;
use std::time::Duration;

use rustix::net::sockopt::{
    set_socket_keepalive, set_tcp_keepcnt, set_tcp_keepidle, set_tcp_keepintvl,
    set_tcp_user_timeout,
};
use tokio::net::TcpStream;
use tokio::net::tcp::OwnedReadHalf;
use tokio::time::timeout;

use super::LinkError;

const CONNECT_S_MAX: Duration = Duration::from_secs(3);
/// A dead peer is noticed after about four seconds: one idle, then one probe a second.
const KEEPALIVE: (Duration, Duration, u32) = (Duration::from_secs(1), Duration::from_secs(1), 3);
/// While sent bytes are not acknowledged the kernel sends no probes (tcp(7), TCP_USER_TIMEOUT) and
/// would try again for a quarter of an hour: after this time, milliseconds, the link is gone.
const UNACKNOWLEDGED_MS: u32 = 4_000;

/// Connects for reading only.
pub(super) async fn listen(address: &str) -> Result<OwnedReadHalf, LinkError> {
    let (read, write) = talk(address).await?.into_split();
    // Dropping it would tell the peer that we are done, and some hang up then.
    write.forget();
    Ok(read)
}

/// Connects for reading and writing.
pub(super) async fn talk(address: &str) -> Result<TcpStream, LinkError> {
    let connect = async {
        let stream = TcpStream::connect(address).await?;
        stream.set_nodelay(true)?;
        let (idle, between, count) = KEEPALIVE;
        set_socket_keepalive(&stream, true)?;
        set_tcp_keepidle(&stream, idle)?;
        set_tcp_keepintvl(&stream, between)?;
        set_tcp_keepcnt(&stream, count)?;
        set_tcp_user_timeout(&stream, UNACKNOWLEDGED_MS)?;
        io::Result::Ok(stream)
    };
    let tried = timeout(CONNECT_S_MAX, connect).await;
    let error = match tried {
        Ok(Ok(stream)) => return Ok(stream),
        Ok(Err(error)) => error,
        Err(_) => io::Error::from(io::ErrorKind::TimedOut),
    };
    match error.kind() {
        io::ErrorKind::ConnectionRefused
        | io::ErrorKind::TimedOut
        | io::ErrorKind::HostUnreachable
        | io::ErrorKind::NetworkUnreachable => Err(LinkError::Absent { port: address.into() }),
        _ => Err(LinkError::of(Path::new(address), &error)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustix::net::sockopt;

    // Linux: a peer that is gone is told by these and by nothing else (tcp(7)).
    #[tokio::test]
    async fn a_connection_notices_a_dead_peer_whether_it_waits_or_speaks() {
        let server = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let stream = talk(&server.local_addr().unwrap().to_string()).await.unwrap();
        assert!(sockopt::socket_keepalive(&stream).unwrap());
        assert_eq!(sockopt::tcp_keepidle(&stream).unwrap(), KEEPALIVE.0);
        assert_eq!(sockopt::tcp_keepintvl(&stream).unwrap(), KEEPALIVE.1);
        assert_eq!(sockopt::tcp_keepcnt(&stream).unwrap(), KEEPALIVE.2);
        assert_eq!(sockopt::tcp_user_timeout(&stream).unwrap(), UNACKNOWLEDGED_MS);
        assert!(stream.nodelay().unwrap());
    }
}
