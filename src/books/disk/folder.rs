//! A folder of the real file system.

use std::fmt;
use std::fs::{DirBuilder, File, OpenOptions};
use std::io::{self, Seek, SeekFrom, Write};
use std::os::unix::fs::{DirBuilderExt, MetadataExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

use rustix::fs::{Advice, fadvise};

use super::{Append, Disk, Mode, folder_of};

/// A data folder on disk. Files are 0640, folders 0750, the private key 0400, whatever the umask.
#[derive(Debug, Clone)]
pub struct Folder {
    root: Root,
}

/// The folder that was opened, by its place and by what the system knows it as.
#[derive(Debug, Clone)]
struct Root {
    path: PathBuf,
    known: (u64, u64),
}

/// At the place of the data folder there is none, or another one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Moved;

impl fmt::Display for Moved {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the data folder was moved away, unmounted or replaced")
    }
}

impl std::error::Error for Moved {}

impl Folder {
    /// Opens a data folder; makes it if it is missing.
    ///
    /// # Errors
    /// It can't be made.
    pub fn open(root: &Path) -> io::Result<Folder> {
        make(root)?;
        Folder::existing(root)
    }

    /// Opens a data folder that must be there: an empty one in its place would pass for a new
    /// station.
    ///
    /// # Errors
    /// [`Moved`], or whatever the file system says.
    pub fn existing(root: &Path) -> io::Result<Folder> {
        let known = about(root)?;
        Ok(Folder { root: Root { path: root.to_owned(), known } })
    }

    /// Where it is.
    #[must_use]
    pub fn root(&self) -> &Path {
        &self.root.path
    }

    /// Opens it again, if it is still the same.
    ///
    /// # Errors
    /// [`Moved`], or whatever the file system says.
    pub fn again(&self) -> io::Result<Folder> {
        self.root.here()?;
        Ok(self.clone())
    }

    fn at(&self, path: &str) -> PathBuf {
        // `join("")` would add a slash: the root itself is meant.
        if path.is_empty() { self.root.path.clone() } else { self.root.path.join(path) }
    }
}

impl Root {
    /// The same folder is still there. Files that are open would go on being written wherever
    /// the folder was moved to, and names would be made in whatever took its place.
    fn here(&self) -> io::Result<()> {
        if about(&self.path)? == self.known { Ok(()) } else { Err(moved()) }
    }
}

fn moved() -> io::Error {
    io::Error::new(io::ErrorKind::NotFound, Moved)
}

/// What the system knows a folder as.
fn about(root: &Path) -> io::Result<(u64, u64)> {
    match std::fs::metadata(root) {
        Ok(about) if about.is_dir() => Ok((about.dev(), about.ino())),
        Ok(_) => Err(moved()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Err(moved()),
        Err(error) => Err(error),
    }
}

/// Makes a folder and those above it, durably.
fn make(root: &Path) -> io::Result<()> {
    if root.is_dir() {
        return Ok(());
    }
    let above = match root.parent() {
        Some(above) if !above.as_os_str().is_empty() => above,
        _ => Path::new("."),
    };
    make(above)?;
    match DirBuilder::new().mode(0o750).create(root) {
        Err(error) if error.kind() != io::ErrorKind::AlreadyExists => Err(error),
        _ => File::open(above)?.sync_all(),
    }
}

impl Disk for Folder {
    fn create_dir(&self, path: &str) -> io::Result<()> {
        self.root.here()?;
        if path.is_empty() {
            return Ok(());
        }
        self.create_dir(folder_of(path))?;
        match DirBuilder::new().mode(0o750).create(self.at(path)) {
            Err(e) if e.kind() != io::ErrorKind::AlreadyExists => Err(e),
            // Also where it is there: whoever made it may have been killed before it was durable.
            _ => self.sync_dir(folder_of(path)),
        }
    }

    fn append(&self, path: &str) -> io::Result<Box<dyn Append>> {
        self.root.here()?;
        let file = OpenOptions::new().append(true).create(true).mode(0o640).open(self.at(path))?;
        Ok(Box::new(Appending { file, root: self.root.clone() }))
    }

    fn write(&self, path: &str, bytes: &[u8], mode: Mode) -> io::Result<()> {
        self.root.here()?;
        // Beside first, then over it: a secret file is read-only, and half a file never shows.
        let beside = self.at(&format!("{path}.new"));
        self.remove(&format!("{path}.new"))?;
        let bits = match mode {
            Mode::Shared => 0o640,
            Mode::Secret => 0o400,
        };
        let mut file = OpenOptions::new().write(true).create_new(true).mode(bits).open(&beside)?;
        file.write_all(bytes)?;
        file.sync_all()?;
        std::fs::rename(&beside, self.at(path))
    }

    fn read(&self, path: &str, from: u64) -> io::Result<Box<dyn io::Read + Send>> {
        self.root.here()?;
        let mut file = File::open(self.at(path))?;
        file.seek(SeekFrom::Start(from))?;
        Ok(Box::new(file))
    }

    fn length(&self, path: &str) -> io::Result<Option<u64>> {
        self.root.here()?;
        match std::fs::metadata(self.at(path)) {
            Ok(about) => Ok(Some(about.len())),
            Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(e) => Err(e),
        }
    }

    fn list(&self, path: &str) -> io::Result<Vec<String>> {
        self.root.here()?;
        let entries = match std::fs::read_dir(self.at(path)) {
            Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            other => other?,
        };
        let mut names = Vec::new();
        for entry in entries {
            // A name that is no UTF-8 is none of ours.
            names.extend(entry?.file_name().into_string());
        }
        names.sort_unstable();
        Ok(names)
    }

    fn rename(&self, from: &str, to: &str) -> io::Result<()> {
        self.root.here()?;
        std::fs::rename(self.at(from), self.at(to))
    }

    fn remove(&self, path: &str) -> io::Result<()> {
        self.root.here()?;
        match std::fs::remove_file(self.at(path)) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => Err(e),
            _ => Ok(()),
        }
    }

    fn truncate(&self, path: &str, length: u64) -> io::Result<()> {
        self.root.here()?;
        let file = OpenOptions::new().write(true).open(self.at(path))?;
        file.set_len(length)?;
        file.sync_all()
    }

    fn settle(&self, path: &str) -> io::Result<()> {
        self.root.here()?;
        let file = File::open(self.at(path))?;
        file.sync_all()?;
        // A sync that failed earlier leaves pages that seem written: the next one says yes to
        // them. Only the disk knows. A system that can't forget goes on as before.
        let _ = fadvise(&file, 0, None, Advice::DontNeed);
        Ok(())
    }

    fn sync_dir(&self, path: &str) -> io::Result<()> {
        self.root.here()?;
        File::open(self.at(path))?.sync_all()
    }
}

#[derive(Debug)]
struct Appending {
    file: File,
    root: Root,
}

impl Append for Appending {
    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.root.here()?;
        self.file.write_all(bytes)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.file.sync_data()
    }
}

#[cfg(test)]
mod tests {
    use std::io::Read;
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    #[test]
    fn files_and_folders_have_the_rights_of_the_design() {
        let temp = tempfile::tempdir().unwrap();
        let disk = Folder::open(&temp.path().join("data")).unwrap();
        disk.create_dir("inspections/2026/11").unwrap();
        disk.create_dir("inspections/2026/11").unwrap();
        disk.append("open.jsonl").unwrap().append(b"x").unwrap();
        disk.write("a.pem", b"secret", Mode::Secret).unwrap();
        disk.write("a.pem", b"second", Mode::Secret).unwrap();
        let mode =
            |path: &str| std::fs::metadata(disk.at(path)).unwrap().permissions().mode() & 0o777;
        assert_eq!(mode(""), 0o750);
        assert_eq!(mode("inspections/2026"), 0o750);
        assert_eq!(mode("open.jsonl"), 0o640);
        assert_eq!(mode("a.pem"), 0o400);
        assert_eq!(disk.list("").unwrap(), ["a.pem", "inspections", "open.jsonl"]);
        assert!(disk.list("missing").unwrap().is_empty());
        let mut text = String::new();
        disk.read("a.pem", 3).unwrap().read_to_string(&mut text).unwrap();
        assert_eq!(text, "ond");
        disk.truncate("open.jsonl", 0).unwrap();
        assert_eq!(disk.length("open.jsonl").unwrap(), Some(0));
        assert_eq!(disk.length("nothing").unwrap(), None);
    }
    #[test]
    fn a_folder_that_was_moved_away_or_replaced_takes_nothing() {
        let temp = tempfile::tempdir().unwrap();
        let (root, away) = (temp.path().join("a/data"), temp.path().join("away"));
        let disk = Folder::open(&root).unwrap();
        let mut file = disk.append("book").unwrap();
        file.append(b"x").unwrap();
        let gone = |error: io::Error| error.get_ref().is_some_and(|why| why.is::<Moved>());
        std::fs::rename(&root, &away).unwrap();
        assert!(gone(file.append(b"y").unwrap_err()) && gone(disk.list("").unwrap_err()));
        assert!(gone(Folder::existing(&root).unwrap_err()));
        std::fs::create_dir(&root).unwrap();
        assert!(gone(file.append(b"y").unwrap_err()) && gone(disk.create_dir("b").unwrap_err()));
        std::fs::remove_dir(&root).unwrap();
        std::fs::rename(&away, &root).unwrap();
        file.append(b"z").unwrap();
        assert_eq!(disk.length("book").unwrap(), Some(2));
    }
}
