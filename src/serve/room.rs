//! Room on the disk, and a reserve that is given up so that the end can still be written.

use std::fs::{File, OpenOptions};
use std::io;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

use rustix::fs::{FallocateFlags, fallocate, statvfs};

const MEBIBYTE: u64 = 1024 * 1024;

/// The reserve of a data folder.
#[derive(Debug, Clone)]
pub struct Reserve {
    path: PathBuf,
    bytes: u64,
}

impl Reserve {
    /// The reserve of a folder, in mebibytes. Nothing is held back yet.
    #[must_use]
    pub fn of(folder: &Path, mebibytes: u32) -> Reserve {
        Reserve { path: folder.join("reserve"), bytes: u64::from(mebibytes) * MEBIBYTE }
    }

    /// Holds the room back, unless it is held already.
    ///
    /// # Errors
    /// There is not so much room, or the folder can't be written.
    pub fn hold(&self) -> io::Result<()> {
        let file = self.file()?;
        if file.metadata()?.len() >= self.bytes {
            return Ok(());
        }
        if let Err(error) = fallocate(&file, FallocateFlags::empty(), 0, self.bytes) {
            // What was had of it would stay missing.
            self.give_up()?;
            return Err(error.into());
        }
        file.sync_all()
    }

    /// Gives the room up.
    ///
    /// # Errors
    /// The file can't be removed.
    pub fn give_up(&self) -> io::Result<()> {
        match std::fs::remove_file(&self.path) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
            _ => Ok(()),
        }
    }

    fn file(&self) -> io::Result<File> {
        OpenOptions::new().write(true).create(true).truncate(false).mode(0o640).open(&self.path)
    }
}

/// Free room of a folder's file system, bytes, for users without privileges.
///
/// # Errors
/// The folder is not there.
pub fn free(folder: &Path) -> io::Result<u64> {
    let stat = statvfs(folder)?;
    Ok(stat.f_bavail.saturating_mul(stat.f_frsize))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reserve_is_held_once_and_given_up() {
        let temp = tempfile::tempdir().unwrap();
        let reserve = Reserve::of(temp.path(), 1);
        reserve.hold().unwrap();
        reserve.hold().unwrap();
        assert_eq!(std::fs::metadata(temp.path().join("reserve")).unwrap().len(), MEBIBYTE);
        reserve.give_up().unwrap();
        reserve.give_up().unwrap();
        assert!(!temp.path().join("reserve").exists());
    }

    #[test]
    fn more_than_there_is_can_not_be_held_and_nothing_of_it_stays() {
        let temp = tempfile::tempdir().unwrap();
        assert!(free(temp.path()).unwrap() < u64::from(u32::MAX) * MEBIBYTE);
        let reserve = Reserve::of(temp.path(), u32::MAX);
        assert!(reserve.hold().is_err());
        assert!(!temp.path().join("reserve").exists());
    }
}
