//! Seals a book: head, signature, rename into place. Each step can be repeated.

use std::io::{self, Read};

use data_encoding::HEXLOWER;
use sha2::Digest;
use tapline_protocols::fact::SealedFact;

use super::disk::{Mode, folder_of};
use super::halted::Halted;
use super::key::public_keys;
use super::place;
use super::reader::Reader;
use super::writer::{Books, refused};
use crate::station::event::BookId;

/// The head file of a book: one line in the format of `sha256sum`.
#[must_use]
pub fn head_text(sha256: &str, name: &str) -> String {
    format!("{sha256}  {name}.jsonl\n")
}

impl Books {
    /// Seals an inspection whose last commit is durable: writes and syncs `open/ID.head` and
    /// `open/ID.sig`, renames them and, last, the book into `inspections/YYYY/MM/`, and syncs
    /// both folders. What comes back is to be stored as a `sealed` fact.
    ///
    /// Sealing a book that is sealed gives the same again.
    ///
    /// # Errors
    /// Anything but success; every step is repeated by [`Books::open`].
    pub fn seal(&mut self, id: &str) -> Result<SealedFact, Halted> {
        self.guarded(|books| books.try_seal(id))
    }

    fn try_seal(&mut self, id: &str) -> Result<SealedFact, Halted> {
        let book_id = BookId::Inspection(id.to_owned());
        let Some(target) = place::sealed_path(id) else {
            return Err(refused(&book_id, "it can't be the name of an inspection".into()));
        };
        let Some(book) = self.open.get(&book_id) else {
            return self.sealed_already(id, &target);
        };
        let (open, bytes) = (book.path.clone(), book.bytes);
        let head = HEXLOWER.encode(&book.above.clone().finalize());
        let text = head_text(&head, id);
        let signature = self.key.sign(text.as_bytes());
        self.write_synced(&format!("{}/{id}.head", place::OPEN), text.as_bytes())?;
        self.write_synced(&format!("{}/{id}.sig", place::OPEN), &signature)?;
        self.sync_dir(place::OPEN)?;
        let folder = folder_of(&target);
        self.disk
            .create_dir(folder)
            .map_err(|error| Halted::disk("make the folder", folder, &error))?;
        for end in ["head", "sig"] {
            self.rename(&format!("{}/{id}.{end}", place::OPEN), &format!("{folder}/{id}.{end}"))?;
        }
        // The book comes last, and only once the other two are there for good: what lies in its
        // place always has its head and signature.
        self.sync_dir(folder)?;
        self.rename(&open, &target)?;
        // Some systems show both names after a power cut; a rename onto itself then does nothing.
        self.disk.remove(&open).map_err(|error| Halted::disk("remove", &open, &error))?;
        self.sync_dir(folder)?;
        self.sync_dir(place::OPEN)?;
        self.open.remove(&book_id);
        let key = self.key.public().fingerprint();
        Ok(SealedFact { id: id.to_owned(), head, bytes, key, later: None, waits: false })
    }

    /// What the `sealed` fact of a book that lies in its place has to say.
    pub(super) fn sealed_already(&self, id: &str, path: &str) -> Result<SealedFact, Halted> {
        let read = |error| Halted::disk("read", path, &error);
        let mut reader = Reader::new(self.disk.read(path, 0).map_err(read)?);
        for commit in &mut reader {
            commit.map_err(read)?;
        }
        let head = HEXLOWER.encode(&reader.above().finalize());
        let beside = format!("{}.head", path.trim_end_matches(".jsonl"));
        if self.small(&beside)? != head_text(&head, id).as_bytes() {
            let why = "it differs from its head: see `tapline verify`".into();
            return Err(Halted::refused(format!("can't announce `{path}`"), why));
        }
        let signature = self.small(&format!("{}.sig", path.trim_end_matches(".jsonl")))?;
        let keys = public_keys(self.disk.as_ref())
            .map_err(|error| Halted::disk("read the keys in", place::KEYS, &error))?;
        let text = head_text(&head, id);
        let Some(key) = keys.iter().find(|key| key.verifies(text.as_bytes(), &signature)) else {
            let why = "no key of this station has signed it: see `tapline verify`".into();
            return Err(Halted::refused(format!("can't announce `{path}`"), why));
        };
        let (bytes, key) = (reader.believed(), key.fingerprint());
        Ok(SealedFact { id: id.to_owned(), head, bytes, key, later: None, waits: false })
    }

    /// A missing file is no fault of the disk: the book is left alone and the rest goes on.
    fn small(&self, path: &str) -> Result<Vec<u8>, Halted> {
        let mut bytes = Vec::new();
        let read = self.disk.read(path, 0).and_then(|f| f.take(4096).read_to_end(&mut bytes));
        match read {
            Ok(_) => Ok(bytes),
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                Err(Halted::refused(format!("can't announce `{path}`"), error.to_string()))
            }
            Err(error) => Err(Halted::disk("read", path, &error)),
        }
    }

    fn write_synced(&self, path: &str, bytes: &[u8]) -> Result<(), Halted> {
        self.disk
            .write(path, bytes, Mode::Shared)
            .map_err(|error| Halted::disk("write", path, &error))
    }

    pub(super) fn rename(&self, from: &str, to: &str) -> Result<(), Halted> {
        self.disk.rename(from, to).map_err(|error| Halted::disk("rename", from, &error))
    }

    pub(super) fn sync_dir(&self, path: &str) -> Result<(), Halted> {
        self.disk.sync_dir(path).map_err(|error| Halted::disk("sync", path, &error))
    }
}
