//! A folder that syncs nothing: what is made here can be made again.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use tapline::books::Disk;
use tapline::books::disk::{Append, Mode};

/// The calls of the books without a single sync. Everything else is as on the real folder.
#[derive(Debug)]
pub(crate) struct Loose(pub(crate) PathBuf);

impl Loose {
    fn at(&self, path: &str) -> PathBuf {
        self.0.join(path)
    }
}

impl Disk for Loose {
    fn create_dir(&self, path: &str) -> io::Result<()> {
        fs::create_dir_all(self.at(path))
    }

    fn append(&self, path: &str) -> io::Result<Box<dyn Append>> {
        let file = OpenOptions::new().append(true).create(true).open(self.at(path))?;
        Ok(Box::new(Appending(file)))
    }

    fn write(&self, path: &str, bytes: &[u8], _: Mode) -> io::Result<()> {
        fs::write(self.at(path), bytes)
    }

    fn read(&self, path: &str, from: u64) -> io::Result<Box<dyn Read + Send>> {
        let mut file = File::open(self.at(path))?;
        file.seek(SeekFrom::Start(from))?;
        Ok(Box::new(file))
    }

    fn length(&self, path: &str) -> io::Result<Option<u64>> {
        match fs::metadata(self.at(path)) {
            Ok(about) => Ok(Some(about.len())),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(error),
        }
    }

    fn list(&self, path: &str) -> io::Result<Vec<String>> {
        names(&self.at(path))
    }

    fn rename(&self, from: &str, to: &str) -> io::Result<()> {
        fs::rename(self.at(from), self.at(to))
    }

    fn remove(&self, path: &str) -> io::Result<()> {
        match fs::remove_file(self.at(path)) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
            _ => Ok(()),
        }
    }

    fn truncate(&self, path: &str, length: u64) -> io::Result<()> {
        OpenOptions::new().write(true).open(self.at(path))?.set_len(length)
    }

    fn settle(&self, _: &str) -> io::Result<()> {
        Ok(())
    }

    fn sync_dir(&self, _: &str) -> io::Result<()> {
        Ok(())
    }
}

#[derive(Debug)]
struct Appending(File);

impl Append for Appending {
    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.0.write_all(bytes)
    }

    fn sync(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Names in a folder, sorted; none if it is missing.
pub(crate) fn names(folder: &Path) -> io::Result<Vec<String>> {
    let entries = match fs::read_dir(folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        other => other?,
    };
    let mut names = Vec::new();
    for entry in entries {
        names.extend(entry?.file_name().into_string());
    }
    names.sort_unstable();
    Ok(names)
}
