//! What station books say of keys, for whoever checks one file.

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

/// The key is one that the station announced, as far as its books lie near the sealed file and
/// are whole: what is not there can't be held against a record.
pub(super) fn announced(file: &Path, fingerprint: &str) -> bool {
    let folder = file.parent().unwrap_or(Path::new("")).join("../../../station");
    keys_of(&folder).is_none_or(|keys| keys.iter().any(|key| key == fingerprint))
}

/// `None` if there is none, or one of the books is damaged.
fn keys_of(folder: &Path) -> Option<Vec<String>> {
    let mut keys = Vec::new();
    for path in in_folder(folder, ".jsonl") {
        let mut reader = Reader::new(File::open(path).ok()?);
        while let Some(commit) = reader.commit().ok()? {
            let lines = commit.lines().filter(|line| outline(line).is_some_and(|o| o.1 == b"key"));
            keys.extend(lines.filter_map(|line| match Line::read(line).ok()?.fact {
                Fact::Key(fact) => Some(fact.key),
                _ => None,
            }));
        }
        // A torn end may be that of a station which writes just now.
        if let Some(Ending::Damaged(_)) = reader.ending() {
            return None;
        }
    }
    (!keys.is_empty()).then_some(keys)
}

/// Files of a folder whose names end so, sorted; none if it is missing.
pub(super) fn in_folder(folder: &Path, end: &str) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(folder.join(".")) else { return Vec::new() };
    let mut paths: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).collect();
    paths.retain(|path| path.to_string_lossy().ends_with(end));
    paths.sort();
    paths
}
