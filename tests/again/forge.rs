//! Books that were changed and marked anew, as one who knows the format would.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use data_encoding::HEXLOWER;
use sha2::{Digest, Sha256};
use tapline::books::Key;

/// What a command wrote, and how it ended.
#[derive(Debug)]
pub(crate) struct Said {
    pub(crate) stdout: String,
    pub(crate) stderr: String,
    pub(crate) code: i32,
}

impl Said {
    /// Its lines of JSON; the summary is the last.
    pub(crate) fn json(&self) -> (Vec<serde_json::Value>, serde_json::Value) {
        let lines = self.stdout.lines().map(|line| serde_json::from_str(line).unwrap());
        let mut lines: Vec<serde_json::Value> = lines.collect();
        let summary = lines.pop().expect("a summary ends it")["summary"].take();
        (lines, summary)
    }
}

/// Runs a program to its end.
pub(crate) fn run(command: &mut Command) -> Said {
    let done = command.stdin(Stdio::null()).output();
    let done = done.unwrap_or_else(|e| panic!("{:?} can't run: {e}", command.get_program()));
    Said {
        stdout: String::from_utf8(done.stdout).unwrap(),
        stderr: String::from_utf8(done.stderr).unwrap(),
        code: done.status.code().unwrap(),
    }
}

/// Runs the real program on a folder.
pub(crate) fn tapline(args: &[&str], folder: &Path) -> Said {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tapline"));
    run(command.args(args).arg(folder).env_remove("TAPLINE_CONFIG"))
}

/// The sealed book of an id.
pub(crate) fn sealed(folder: &Path, id: &str) -> PathBuf {
    folder.join(format!("inspections/2026/11/{id}.jsonl"))
}

/// Changes the lines of a book, marks left out, and marks it anew.
pub(crate) fn edit(path: &Path, change: impl Fn(&str) -> String) {
    let text = std::fs::read_to_string(path).unwrap();
    let (mut book, mut changed) = (String::new(), false);
    for line in text.lines() {
        let line = match line.starts_with("{\"mark\"") {
            true => format!("{{\"mark\":\"{}\"}}", hash(book.as_bytes())),
            false => change(line),
        };
        changed |= !text.contains(&line) && !line.starts_with("{\"mark\"");
        book += &line;
        book.push('\n');
    }
    assert!(changed, "nothing of {} was changed", path.display());
    std::fs::write(path, book).unwrap();
}

/// SHA-256, hex.
pub(crate) fn hash(bytes: &[u8]) -> String {
    HEXLOWER.encode(&Sha256::digest(bytes))
}

/// Head and signature of a book as it is now.
pub(crate) fn seal(path: &Path, key: &Key) {
    let sum = hash(&std::fs::read(path).unwrap());
    let head = format!("{sum}  {}\n", path.file_name().unwrap().to_str().unwrap());
    std::fs::write(path.with_extension("head"), &head).unwrap();
    std::fs::write(path.with_extension("sig"), key.sign(head.as_bytes())).unwrap();
}
