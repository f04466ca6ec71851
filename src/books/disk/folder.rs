//! A folder of the real file system.

use std::fs::{DirBuilder, File, OpenOptions};
use std::io::{self, Seek, SeekFrom, Write};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

use super::{Append, Disk, Mode, folder_of};

/// A data folder on disk. Files are 0640, folders 0750, the private key 0400, whatever the umask.
#[derive(Debug, Clone)]
pub struct Folder {
    root: PathBuf,
}

impl Folder {
    /// Opens a data folder; makes it if it is missing.
    ///
    /// # Errors
    /// It can't be made.
    pub fn open(root: &Path) -> io::Result<Folder> {
        DirBuilder::new().recursive(true).mode(0o750).create(root)?;
        Ok(Folder { root: root.to_owned() })
    }

    /// Where it is.
    #[must_use]
    pub fn root(&self) -> &Path {
        &self.root
    }

    fn at(&self, path: &str) -> PathBuf {
        // `join("")` would add a slash: the root itself is meant.
        if path.is_empty() { self.root.clone() } else { self.root.join(path) }
    }
}

impl Disk for Folder {
    fn create_dir(&self, path: &str) -> io::Result<()> {
        if path.is_empty() || self.at(path).is_dir() {
            return Ok(());
        }
        self.create_dir(folder_of(path))?;
        match DirBuilder::new().mode(0o750).create(self.at(path)) {
            Err(e) if e.kind() != io::ErrorKind::AlreadyExists => Err(e),
            _ => self.sync_dir(folder_of(path)),
        }
    }

    fn append(&self, path: &str) -> io::Result<Box<dyn Append>> {
        let file = OpenOptions::new().append(true).create(true).mode(0o640).open(self.at(path))?;
        Ok(Box::new(Appending(file)))
    }

    fn write(&self, path: &str, bytes: &[u8], mode: Mode) -> io::Result<()> {
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
        let mut file = File::open(self.at(path))?;
        file.seek(SeekFrom::Start(from))?;
        Ok(Box::new(file))
    }

    fn length(&self, path: &str) -> io::Result<Option<u64>> {
        match std::fs::metadata(self.at(path)) {
            Ok(about) => Ok(Some(about.len())),
            Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(e) => Err(e),
        }
    }

    fn list(&self, path: &str) -> io::Result<Vec<String>> {
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
        std::fs::rename(self.at(from), self.at(to))
    }

    fn remove(&self, path: &str) -> io::Result<()> {
        match std::fs::remove_file(self.at(path)) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => Err(e),
            _ => Ok(()),
        }
    }

    fn truncate(&self, path: &str, length: u64) -> io::Result<()> {
        let file = OpenOptions::new().write(true).open(self.at(path))?;
        file.set_len(length)?;
        file.sync_all()
    }

    fn sync_dir(&self, path: &str) -> io::Result<()> {
        File::open(self.at(path))?.sync_all()
    }
}

#[derive(Debug)]
struct Appending(File);

impl Append for Appending {
    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.0.write_all(bytes)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.0.sync_data()
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
}
