//! What station books say of keys, for whoever checks one file.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::{Path, PathBuf};

use tapline_protocols::Fact;
use tapline_protocols::fact::KeyFact;

use super::key::PublicKey;
use super::line::{Line, outline};
use super::reader::{Ending, Reader};

/// A key that another one is said to vouch for is signed by that one.
pub(super) fn vouched_for(fact: &KeyFact, line: &[u8], keys: &[PublicKey]) -> bool {
    let by = |key: &&PublicKey| Some(key.fingerprint()) == fact.replaces;
    fact.before.as_deref() != Some(KeyFact::SIGNED)
        || keys.iter().filter(by).any(|key| key.verifies_line(line))
}

/// What the station books near a sealed file say.
#[derive(Debug, Default)]
pub(super) struct Said {
    /// Fingerprints of the keys that they announce.
    keys: Vec<String>,
    /// What was sealed of the inspection and its addenda: heads by name.
    pub(super) sealed: BTreeMap<String, String>,
}

impl Said {
    /// The key is one that the station announced, as far as its books are there: what is not can't
    /// be held against a record.
    pub(super) fn knows(&self, fingerprint: &str) -> bool {
        self.keys.is_empty() || self.keys.iter().any(|key| key == fingerprint)
    }

    fn take(&mut self, line: &[u8], names: &[String; 2]) {
        match outline(line) {
            Some((_, b"key")) => {
                if let Ok(Line { fact: Fact::Key(fact), .. }) = Line::read(line) {
                    self.keys.push(fact.key);
                }
            }
            // Of the many only those of this inspection are read.
            Some((_, b"sealed")) if names.iter().any(|name| holds(line, name)) => {
                if let Ok(Line { fact: Fact::Sealed(fact), .. }) = Line::read(line) {
                    self.sealed.insert(fact.id, fact.head);
                }
            }
            _ => {}
        }
    }
}

/// What the station books say, as far as they lie near the sealed file of an inspection (`of`) and
/// are whole.
pub(super) fn said(file: &Path, of: &str) -> Said {
    let folder = file.parent().unwrap_or(Path::new("")).join("../../../station");
    read(&folder, of).unwrap_or_default()
}

/// `None` if one of the books is damaged.
fn read(folder: &Path, of: &str) -> Option<Said> {
    let mut said = Said::default();
    let names = [format!("\"id\":\"{of}\""), format!("\"id\":\"{of}+")];
    for path in in_folder(folder, ".jsonl") {
        let mut reader = Reader::new(File::open(path).ok()?);
        while let Some(commit) = reader.commit().ok()? {
            commit.lines().for_each(|line| said.take(line, &names));
        }
        // A torn end may be that of a station which writes just now.
        if let Some(Ending::Damaged(_)) = reader.ending() {
            return None;
        }
    }
    Some(said)
}

fn holds(line: &[u8], words: &str) -> bool {
    line.windows(words.len()).any(|window| window == words.as_bytes())
}

/// Files of a folder whose names end so, sorted; none if it is missing.
pub(super) fn in_folder(folder: &Path, end: &str) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(folder.join(".")) else { return Vec::new() };
    let mut paths: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).collect();
    paths.retain(|path| path.to_string_lossy().ends_with(end));
    paths.sort();
    paths
}
