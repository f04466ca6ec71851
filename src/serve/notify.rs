//! Tells the service manager how far we are (`sd_notify`, by its documented socket protocol).

use std::os::linux::net::SocketAddrExt;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::net::{SocketAddr, UnixDatagram};

/// Sends `READY=1`, `STOPPING=1` or `STATUS=…`. Without a manager, or when it does not listen,
/// nothing happens: that is no reason to stop.
pub(super) fn notify(state: &str) {
    let Some(path) = std::env::var_os("NOTIFY_SOCKET") else { return };
    if let Err(error) = send(path.as_bytes(), state) {
        tracing::warn!(%error, "The service manager can't be told.");
    }
}

fn send(path: &[u8], state: &str) -> std::io::Result<()> {
    let address = match path.strip_prefix(b"@") {
        Some(name) => SocketAddr::from_abstract_name(name)?,
        None => SocketAddr::from_pathname(std::ffi::OsStr::from_bytes(path))?,
    };
    UnixDatagram::unbound()?.send_to_addr(state.as_bytes(), &address)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_state_reaches_the_socket() {
        let temp = tempfile::tempdir().unwrap();
        let path = temp.path().join("notify");
        let manager = UnixDatagram::bind(&path).unwrap();
        send(path.as_os_str().as_bytes(), "READY=1").unwrap();
        let mut buffer = [0; 32];
        let count = manager.recv(&mut buffer).unwrap();
        assert_eq!(&buffer[..count], b"READY=1");
    }
}
