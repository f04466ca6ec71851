//! What the books ask of a file system: a dozen calls, so that a simulated disk can stand in.

mod fault;
mod folder;
mod memory;

use std::fmt;
use std::io;

pub use fault::{Crash, Done, Fault};
pub use folder::{Folder, Moved};
pub use memory::Memory;

/// A data folder. Paths are relative to it, with `/`; `""` is the folder itself.
pub trait Disk: Send + Sync + fmt::Debug {
    /// Makes a folder and those above it, durably. An existing one is no error.
    ///
    /// # Errors
    /// Whatever the file system says.
    fn create_dir(&self, path: &str) -> io::Result<()>;

    /// Opens a file for appending; makes it if it is missing. Its name is durable only after
    /// [`Disk::sync_dir`].
    ///
    /// # Errors
    /// Whatever the file system says.
    fn append(&self, path: &str) -> io::Result<Box<dyn Append>>;

    /// Writes a whole file and syncs its bytes; replaces what was there. May be repeated.
    ///
    /// # Errors
    /// Whatever the file system says.
    fn write(&self, path: &str, bytes: &[u8], mode: Mode) -> io::Result<()>;

    /// Opens a file for reading from a byte offset.
    ///
    /// # Errors
    /// Whatever the file system says; `NotFound` if it is missing.
    fn read(&self, path: &str, from: u64) -> io::Result<Box<dyn io::Read + Send>>;

    /// Length of a file, bytes; `None` if it is missing.
    ///
    /// # Errors
    /// Whatever the file system says.
    fn length(&self, path: &str) -> io::Result<Option<u64>>;

    /// Names in a folder, sorted; none if it is missing.
    ///
    /// # Errors
    /// Whatever the file system says.
    fn list(&self, path: &str) -> io::Result<Vec<String>>;

    /// Renames a file. Durable only after [`Disk::sync_dir`] of both folders.
    ///
    /// # Errors
    /// Whatever the file system says.
    fn rename(&self, from: &str, to: &str) -> io::Result<()>;

    /// Removes a file; a missing one is no error. Durable only after [`Disk::sync_dir`].
    ///
    /// # Errors
    /// Whatever the file system says.
    fn remove(&self, path: &str) -> io::Result<()>;

    /// Cuts a file to a length, bytes, and syncs it.
    ///
    /// # Errors
    /// Whatever the file system says.
    fn truncate(&self, path: &str, length: u64) -> io::Result<()>;

    /// Makes the bytes of a file durable, whoever wrote them, and forgets what the system holds of
    /// them in memory: what is read next comes from the disk. To be called before bytes are
    /// believed that an earlier life wrote, or that a sync failed for.
    ///
    /// # Errors
    /// Whatever the file system says; `NotFound` if it is missing.
    fn settle(&self, path: &str) -> io::Result<()>;

    /// Makes the names in a folder durable.
    ///
    /// # Errors
    /// Whatever the file system says.
    fn sync_dir(&self, path: &str) -> io::Result<()>;
}

/// A file that is open for appending.
pub trait Append: Send + fmt::Debug {
    /// Appends all bytes, as one write where the system takes them so.
    ///
    /// # Errors
    /// Whatever the file system says; part of the bytes may be in the file.
    fn append(&mut self, bytes: &[u8]) -> io::Result<()>;

    /// Makes the bytes durable.
    ///
    /// # Errors
    /// Whatever the file system says. After one the file must not be believed until it was read
    /// again: a system may drop what it could not write.
    fn sync(&mut self) -> io::Result<()>;
}

/// Who may read a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mode {
    /// Owner and group: 0640.
    Shared,
    /// The owner alone, read-only: 0400.
    Secret,
}

/// The folder part of a path; `""` if there is none.
#[must_use]
pub fn folder_of(path: &str) -> &str {
    path.rsplit_once('/').map_or("", |(folder, _)| folder)
}

/// The name part of a path.
#[must_use]
pub fn name_of(path: &str) -> &str {
    path.rsplit_once('/').map_or(path, |(_, name)| name)
}
