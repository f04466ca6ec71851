//! The unix socket.

use std::fs::{DirBuilder, Permissions, set_permissions};
use std::io;
use std::os::unix::fs::{DirBuilderExt, PermissionsExt};
use std::path::Path;

use tokio::net::{UnixListener, UnixStream};

/// Binds the socket for the station's user and group. A socket that a killed station left behind
/// is replaced; one that still answers is not.
pub(super) async fn bind(path: &Path) -> Result<UnixListener, String> {
    let failed = |error: io::Error| format!("can't open the socket {}: {error}", path.display());
    if let Some(folder) = path.parent() {
        DirBuilder::new().recursive(true).mode(0o750).create(folder).map_err(failed)?;
    }
    match UnixStream::connect(path).await {
        Ok(_) => {
            return Err(format!("another station serves at {}: stop it first", path.display()));
        }
        Err(error) if error.kind() == io::ErrorKind::ConnectionRefused => {
            std::fs::remove_file(path).map_err(failed)?;
        }
        Err(_) => {}
    }
    let socket = UnixListener::bind(path).map_err(failed)?;
    set_permissions(path, Permissions::from_mode(0o660)).map_err(failed)?;
    Ok(socket)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_dead_socket_is_replaced_and_a_living_one_is_not() {
        let temp = tempfile::tempdir().unwrap();
        let path = temp.path().join("run/tapline.sock");
        let first = bind(&path).await.unwrap();
        let refused = bind(&path).await.unwrap_err();
        assert!(refused.contains("another station serves"), "{refused}");
        drop(first);
        bind(&path).await.unwrap();
        let mode = std::fs::metadata(&path).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o660);
    }
}
