//! One daemon a data folder: `lock` holds a lock of the system and the number of its process.

use std::fmt;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

/// The data folder is ours until this is dropped. A killed process lets go by itself.
#[derive(Debug)]
pub struct Lock {
    _file: File,
    /// The folder itself is locked as well: somebody may remove the file.
    _folder: File,
}

/// Why the data folder is not ours.
#[derive(Debug)]
pub enum LockFault {
    /// Another process has it.
    Held {
        /// Data folder.
        folder: PathBuf,
        /// Number of the process, if it could be read.
        pid: Option<u32>,
    },
    /// The file can't be made or locked.
    Disk(PathBuf, io::Error),
}

impl Lock {
    /// Takes the lock of a data folder.
    ///
    /// # Errors
    /// Another process has it, or the file can't be made.
    pub fn take(folder: &Path) -> Result<Lock, LockFault> {
        let path = folder.join("lock");
        let disk = |error| LockFault::Disk(path.clone(), error);
        let itself = File::open(folder).map_err(disk)?;
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .mode(0o640)
            .open(&path)
            .map_err(disk)?;
        match file.try_lock().and_then(|()| itself.try_lock()) {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut text = String::new();
                // What can't be read is left out of the sentence; the lock stands all the same.
                let _ = (&mut file).take(32).read_to_string(&mut text);
                let pid = text.trim().parse().ok();
                return Err(LockFault::Held { folder: folder.to_owned(), pid });
            }
            Err(TryLockError::Error(error)) => return Err(disk(error)),
        }
        // On a full disk the number is missing from the sentence; the lock stands all the same.
        let _ = write_number(&mut file);
        Ok(Lock { _file: file, _folder: itself })
    }
}

fn write_number(file: &mut File) -> io::Result<()> {
    file.set_len(0)?;
    file.rewind()?;
    writeln!(file, "{}", std::process::id())
}

impl fmt::Display for LockFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            LockFault::Held { folder, pid } => {
                write!(f, "the data folder `{}` is in use by ", folder.display())?;
                match pid {
                    Some(pid) => write!(f, "process {pid}")?,
                    None => write!(f, "another process")?,
                }
                write!(f, ": stop it first, or use another folder")
            }
            LockFault::Disk(path, error) => {
                write!(f, "can't lock `{}`: {error}; check its rights", path.display())
            }
        }
    }
}

impl std::error::Error for LockFault {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_second_is_refused_with_the_number_of_the_first() {
        let temp = tempfile::tempdir().unwrap();
        let first = Lock::take(temp.path()).unwrap();
        let refused = Lock::take(temp.path()).unwrap_err().to_string();
        assert!(refused.contains(&format!("process {}", std::process::id())), "{refused}");
        std::fs::remove_file(temp.path().join("lock")).unwrap();
        assert!(Lock::take(temp.path()).is_err(), "the file is gone, the folder is still locked");
        drop(first);
        Lock::take(temp.path()).unwrap();
    }
}
