//! `tapline verify FILE…`: checks books without a daemon and writes nothing.

use std::path::{Path, PathBuf};

use serde_json::json;

use crate::books::verify;

/// What a command has to say and how it ends.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Said {
    /// Lines for standard output: data.
    pub out: Vec<String>,
    /// Lines for standard error: talk.
    pub talk: Vec<String>,
    /// Exit code.
    pub exit: u8,
}

/// Checks each file: marks, head, signature, order of lines. Exit: 0 nothing is wrong, 1 something
/// was changed or is not sealed, 2 a file can't be checked; of several the worst, 2 before 1.
///
/// With `as_json` one JSON object a file: the report, or `{"file","ok":false,"trouble"}`.
#[must_use]
pub fn run(files: &[PathBuf], key: Option<&Path>, as_json: bool) -> Said {
    let mut said = Said::default();
    for file in files {
        match verify(file, key) {
            Ok(report) => {
                said.exit = said.exit.max(u8::from(!report.ok));
                said.out.push(match as_json {
                    true => json!(report).to_string(),
                    false => report.to_string(),
                });
            }
            Err(trouble) => {
                said.exit = 2;
                said.talk.push(trouble.to_string());
                if as_json {
                    let file = file.display().to_string();
                    let trouble = trouble.to_string();
                    let line = json!({ "file": file, "ok": false, "trouble": trouble });
                    said.out.push(line.to_string());
                }
            }
        }
    }
    said
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use tapline_protocols::Fact;
    use tapline_protocols::fact::NoteFact;

    use super::*;
    use crate::books::{Books, Folder, Key};
    use crate::clock::Stamp;
    use crate::station::event::{BookId, Stored};

    fn stored(seq: u64, at: Stamp) -> Stored {
        let fact = Fact::Note(NoteFact { text: "x".into() });
        Stored { book: BookId::Station, bench: None, seq, at, fact, by: None }
    }

    #[test]
    fn the_worst_file_decides_the_exit_code() {
        let temp = tempfile::tempdir().unwrap();
        let disk = Arc::new(Folder::open(temp.path()).unwrap());
        let key = Key::open(disk.as_ref(), "K3").unwrap();
        let at = Stamp { wall_us: 1_795_508_043_512_004, boot_us: 0 };
        let (mut books, _) = Books::open(disk, Arc::new(key), at).unwrap();
        books.commit(&[stored(1, at)]).unwrap();
        books.commit(&[stored(2, at)]).unwrap();
        let good = temp.path().join("station/2026.jsonl");
        let bad = temp.path().join("bad.jsonl");
        let missing = temp.path().join("missing.jsonl");
        let text = std::fs::read_to_string(&good).unwrap();
        std::fs::write(&bad, text.replacen("note", "nope", 1)).unwrap();
        assert_eq!(run(std::slice::from_ref(&good), None, false).exit, 0);
        let said = run(&[good.clone(), bad.clone()], None, false);
        assert_eq!((said.exit, said.out.len()), (1, 2));
        assert!(said.out[1].starts_with("FAILED ") && said.out[1].contains("line 2"), "{said:?}");
        let said = run(&[missing, bad, good], None, true);
        assert_eq!((said.exit, said.out.len(), said.talk.len()), (2, 3, 1));
        let json: serde_json::Value = serde_json::from_str(&said.out[1]).unwrap();
        assert_eq!((&json["faults"][0]["line"], &json["ok"]), (&1.into(), &false.into()));
    }
}
