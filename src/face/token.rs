//! The secret of this run: who has it may use the page.

use std::fmt;
use std::fs::OpenOptions;
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::sync::Arc;

use data_encoding::HEXLOWER;
use rustix::rand::{GetRandomFlags, getrandom};
use sha2::{Digest, Sha256};
use subtle::ConstantTimeEq;

/// A secret of this run, 256 bits, hex. What a browser keeps is derived from it: a stolen cookie
/// acts on nothing, and neither gives the secret back.
#[derive(Clone)]
pub(super) struct Token(Arc<str>);

impl fmt::Debug for Token {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Token(…)")
    }
}

impl Token {
    /// Makes a fresh token and leaves it beside the socket, for the station's own user alone.
    pub(super) fn make(path: &Path) -> Result<Token, String> {
        let failed = |error: io::Error| format!("can't write {}: {error}", path.display());
        let mut bytes = [0; 32];
        let mut have = 0;
        while have < bytes.len() {
            let got = getrandom(&mut bytes[have..], GetRandomFlags::empty());
            have += got.map_err(|error| failed(error.into()))?;
        }
        let text = HEXLOWER.encode(&bytes);
        match std::fs::remove_file(path) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(failed(error)),
            _ => {}
        }
        let file = OpenOptions::new().write(true).create_new(true).mode(0o600).open(path);
        file.and_then(|mut file| writeln!(file, "{text}")).map_err(failed)?;
        Ok(Token(text.into()))
    }

    /// The secret itself, for the address that a person opens.
    pub(super) fn secret(&self) -> &str {
        &self.0
    }

    /// What the browser's cookie holds: it opens what can be looked at.
    pub(super) fn cookie(&self) -> String {
        self.derived("cookie")
    }

    /// What the page's script sends with each act. It is kept by origin, and so by port; a
    /// cookie is sent to every port of this machine.
    pub(super) fn key(&self) -> String {
        self.derived("key")
    }

    fn derived(&self, what: &str) -> String {
        let text = format!("tapline page {what} {}", self.0);
        HEXLOWER.encode(&Sha256::digest(text.as_bytes()))
    }
}

/// Compares without telling by its time how much was right.
pub(super) fn same(a: &str, b: &str) -> bool {
    a.as_bytes().ct_eq(b.as_bytes()).into()
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    #[test]
    fn it_is_long_new_each_time_for_one_user_and_not_in_a_log() {
        let temp = tempfile::tempdir().unwrap();
        let path = temp.path().join("tapline.token");
        let first = Token::make(&path).unwrap();
        let second = Token::make(&path).unwrap();
        assert_ne!(first.secret(), second.secret());
        assert_eq!(second.secret().len(), 64);
        assert_eq!(std::fs::read_to_string(&path).unwrap().trim(), second.secret());
        assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        assert!(!format!("{second:?}").contains(&second.secret()[..8]));
        assert_ne!(second.cookie(), second.key());
        assert!(same(&second.key(), &second.key()) && !same(&second.key(), &second.cookie()));
    }
}
