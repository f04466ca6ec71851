//! `keys/pins.json`: what PINs are compared with, an Argon2id string of each operator (0400).
//!
//! It lies beside the private key, which nobody but the station's user reads either, and which no
//! archive, export or restore takes along. It is lost with the folder: then each sets a new one.

use std::collections::BTreeMap;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use serde::{Deserialize, Serialize};

use super::secret::Pin;
use crate::books::disk::Mode;
use crate::books::key::fill_random;
use crate::books::{Disk, Folder};

/// OWASP Password Storage Cheat Sheet (read as of 2023, from memory): Argon2id with at least 19 MiB
/// of memory, two passes and one lane. More memory would not fit beside the station's own bound.
const MEMORY_KIB: u32 = 19 * 1024;
const PASSES: u32 = 2;
const LANES: u32 = 1;

/// RFC 9106, 3.1: 16 bytes of salt are recommended for passwords.
const SALT_BYTES: usize = 16;

const FILE: &str = "keys/pins.json";
const FORMAT: &str = "tapline-pins-1";

/// The file is never longer, bytes.
const FILE_BYTES_MAX: u64 = 1 << 20;

/// What came of a comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Compared {
    Right,
    Wrong,
    /// This operator has set none.
    Unset,
}

/// The file, by its data folder.
#[derive(Debug, Clone)]
pub(super) struct Store(PathBuf);

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Pins {
    format: String,
    pins: BTreeMap<String, String>,
}

impl Store {
    pub(super) fn of(folder: &Path) -> Store {
        Store(folder.to_owned())
    }

    /// The operator has set one.
    pub(super) fn has(&self, operator: &str) -> io::Result<bool> {
        Ok(self.read()?.pins.contains_key(operator))
    }

    /// Compares a PIN. It takes the same time for who has none, and for nobody.
    pub(super) fn compare(&self, operator: Option<&str>, pin: &Pin) -> io::Result<Compared> {
        let pins = self.read()?.pins;
        let Some(kept) = operator.and_then(|operator| pins.get(operator)) else {
            hash(pin, &[0; SALT_BYTES])?;
            return Ok(if operator.is_some() { Compared::Unset } else { Compared::Wrong });
        };
        let kept = PasswordHash::new(kept).map_err(|_| damaged())?;
        match argon2()?.verify_password(pin.bytes(), &kept) {
            Ok(()) => Ok(Compared::Right),
            Err(argon2::password_hash::Error::PasswordInvalid) => Ok(Compared::Wrong),
            Err(_) => Err(damaged()),
        }
    }

    /// Keeps what a PIN is compared with from now on.
    pub(super) fn set(&self, operator: &str, pin: &Pin) -> io::Result<()> {
        let mut salt = [0; SALT_BYTES];
        fill_random(&mut salt)?;
        let kept = hash(pin, &salt)?;
        let mut pins = self.read()?;
        pins.pins.insert(operator.into(), kept);
        self.write(&pins)
    }

    /// Forgets it.
    pub(super) fn forget(&self, operator: &str) -> io::Result<()> {
        let mut pins = self.read()?;
        match pins.pins.remove(operator) {
            Some(_) => self.write(&pins),
            None => Ok(()),
        }
    }

    fn read(&self) -> io::Result<Pins> {
        let none = || Pins { format: FORMAT.into(), pins: BTreeMap::new() };
        let mut text = String::new();
        match Folder::existing(&self.0)?.read(FILE, 0) {
            Ok(file) => file.take(FILE_BYTES_MAX).read_to_string(&mut text)?,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(none()),
            Err(error) => return Err(error),
        };
        let pins: Pins = serde_json::from_str(&text).map_err(|_| damaged())?;
        if pins.format == FORMAT { Ok(pins) } else { Err(damaged()) }
    }

    fn write(&self, pins: &Pins) -> io::Result<()> {
        let text = serde_json::to_string_pretty(pins).map_err(io::Error::other)?;
        if text.len() as u64 >= FILE_BYTES_MAX {
            return Err(io::Error::other(format!("`{FILE}` has no room for one more")));
        }
        let disk = Folder::existing(&self.0)?;
        disk.create_dir("keys")?;
        disk.write(FILE, text.as_bytes(), Mode::Secret)?;
        disk.sync_dir("keys")
    }
}

/// Nothing of the file is told: who reads the error is not who may read the file.
fn damaged() -> io::Error {
    io::Error::other(format!(
        "`{FILE}` is damaged: restore it from a copy, or take it away, and each sets a new PIN"
    ))
}

fn argon2() -> io::Result<Argon2<'static>> {
    let params = Params::new(MEMORY_KIB, PASSES, LANES, None).map_err(io::Error::other)?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

fn hash(pin: &Pin, salt: &[u8]) -> io::Result<String> {
    let hash = argon2()?.hash_password_with_salt(pin.bytes(), salt);
    hash.map(|hash| hash.to_string()).map_err(|error| io::Error::other(error.to_string()))
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    fn pin(text: &str) -> Pin {
        Pin::typed(text.into()).unwrap()
    }

    /// RFC 9106, 5.3: the test vector of Argon2id, with secret and associated data.
    #[test]
    fn the_function_is_that_of_rfc_9106() {
        let mut params = argon2::ParamsBuilder::new();
        params.m_cost(32).t_cost(3).p_cost(4).output_len(32);
        params.data(argon2::AssociatedData::new(&[4; 12]).unwrap());
        let secret = [3; 8];
        let argon2 = Argon2::new_with_secret(
            &secret,
            Algorithm::Argon2id,
            Version::V0x13,
            params.build().unwrap(),
        );
        let mut tag = [0; 32];
        argon2.unwrap().hash_password_into(&[1; 32], &[2; 16], &mut tag).unwrap();
        let want = "0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659";
        assert_eq!(data_encoding::HEXLOWER.encode(&tag), want);
    }

    #[test]
    fn a_pin_is_kept_as_something_that_nobody_else_can_read_and_that_is_no_pin() {
        let temp = tempfile::tempdir().unwrap();
        let store = Store::of(temp.path());
        assert_eq!(store.compare(Some("op-7"), &pin("271828")).unwrap(), Compared::Unset);
        store.set("op-7", &pin("271828")).unwrap();
        assert_eq!(store.compare(Some("op-7"), &pin("271828")).unwrap(), Compared::Right);
        assert_eq!(store.compare(Some("op-7"), &pin("271829")).unwrap(), Compared::Wrong);
        assert_eq!(store.compare(None, &pin("271828")).unwrap(), Compared::Wrong);
        let file = temp.path().join(FILE);
        let text = std::fs::read_to_string(&file).unwrap();
        assert!(text.contains("$argon2id$v=19$m=19456,t=2,p=1$") && !text.contains("271828"));
        assert_eq!(std::fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o400);
        store.forget("op-7").unwrap();
        assert!(!store.has("op-7").unwrap());
        std::fs::remove_file(&file).unwrap();
        std::fs::write(&file, "{}").unwrap();
        let told = store.has("op-7").unwrap_err().to_string();
        assert!(told.contains("take it away"), "{told}");
    }
}
