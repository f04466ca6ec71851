//! A second reader of books, written from the text of the format: it shares no code with the
//! program.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use data_encoding::HEXLOWER;
use serde_json::Value;
use sha2::{Digest, Sha256};

/// What a book holds up to its last right mark.
#[derive(Debug, Default)]
pub(crate) struct Book {
    /// Its believed lines by their numbers, as stored, in the order of the file.
    pub(crate) lines: Vec<(u64, String)>,
    /// Bytes behind the last right mark.
    pub(crate) unbelieved: usize,
}

impl Book {
    /// Reads a file.
    pub(crate) fn read(path: &Path) -> Book {
        let bytes = fs::read(path).unwrap();
        let (mut above, mut waiting) = (Sha256::new(), Vec::new());
        let (mut book, mut at) = (Book { unbelieved: bytes.len(), ..Book::default() }, 0);
        for line in bytes.split_inclusive(|byte| *byte == b'\n') {
            let Ok(json) = serde_json::from_slice::<Value>(line) else { break };
            let sum = HEXLOWER.encode(&above.clone().finalize());
            above.update(line);
            at += line.len();
            match (json["mark"].as_str(), json["seq"].as_u64()) {
                (Some(mark), _) if mark == sum && line.ends_with(b"\n") => {
                    book.lines.append(&mut waiting);
                    book.unbelieved = bytes.len() - at;
                }
                (None, Some(seq)) => {
                    let text = String::from_utf8(line.to_vec()).unwrap();
                    waiting.push((seq, text.trim_end().to_owned()));
                }
                _ => break,
            }
        }
        book
    }

    /// The believed facts.
    pub(crate) fn facts(&self) -> Vec<Value> {
        self.lines.iter().map(|(_, line)| serde_json::from_str(line).unwrap()).collect()
    }
}

/// All books of a data folder: those of stations, days and inspections.
pub(crate) fn all(data: &Path) -> BTreeMap<PathBuf, Book> {
    let mut paths = Vec::new();
    for folder in ["station", "idle", "open", "inspections"] {
        walk(&data.join(folder), &mut paths);
    }
    paths.into_iter().map(|path| (path.clone(), Book::read(&path))).collect()
}

fn walk(folder: &Path, found: &mut Vec<PathBuf>) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    for path in entries.map(|entry| entry.unwrap().path()) {
        match path.is_dir() {
            true => walk(&path, found),
            false if path.extension().is_some_and(|e| e == "jsonl") => found.push(path),
            false => {}
        }
    }
}
