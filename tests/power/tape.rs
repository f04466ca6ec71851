//! What the station did to its folder, call by call, and what it let anybody see.

use std::path::{Path, PathBuf};

use super::support::trace::{Call, calls, numbers};

/// One thing that was done.
#[derive(Debug, Clone)]
pub(crate) struct Step {
    /// Rows of the record at which it began and was over.
    pub(crate) began: usize,
    pub(crate) ended: usize,
    pub(crate) deed: Deed,
}

/// Paths are relative to the folder of the test; `""` is that folder.
#[derive(Debug, Clone)]
pub(crate) enum Deed {
    /// A file was opened that was not there, or emptied.
    Open {
        path: String,
        empty: bool,
    },
    /// Bytes, at an offset or behind the last.
    Write {
        path: String,
        at: Option<usize>,
        bytes: Vec<u8>,
    },
    /// Another length.
    Cut {
        path: String,
        length: usize,
    },
    Rename {
        from: String,
        to: String,
    },
    Remove {
        path: String,
    },
    Folder {
        path: String,
    },
    /// `fsync` or `fdatasync` of a file or folder: it returned without error.
    Sync {
        path: String,
    },
    /// These lines of the feed went out to a client.
    Shown {
        seqs: Vec<u64>,
    },
}

/// Reads a record of `strace`. Calls that failed changed nothing.
pub(crate) fn tape(trace: &str, root: &Path) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    for call in calls(trace) {
        if call.result.starts_with('-') || call.result.starts_with('?') {
            continue;
        }
        if let Some(deed) = deed(&call, root) {
            steps.push(Step { began: call.began, ended: call.ended, deed });
        }
    }
    steps
}

fn deed(call: &Call, root: &Path) -> Option<Deed> {
    let inside = |path: &str| -> Option<String> {
        let path = Path::new(path).strip_prefix(root).ok()?;
        let ours = path == Path::new("") || path.starts_with("data");
        ours.then(|| path.to_str().unwrap().to_owned())
    };
    let file = inside(&call.file).filter(|_| !call.file.is_empty());
    let texts = || strings(&call.text);
    let named = |n: usize| -> Option<String> {
        let text = texts().get(n).map(|b| String::from_utf8(b.clone()).unwrap())?;
        match text.starts_with('/') {
            true => inside(&text),
            // Relative to the folder that is the first argument.
            false => inside(PathBuf::from(&call.file).join(text).to_str().unwrap()),
        }
    };
    match call.name.as_str() {
        "open" | "openat" | "creat" => {
            let empty = call.text.contains("O_TRUNC");
            let path = named(0)?;
            (empty || call.text.contains("O_CREAT")).then_some(Deed::Open { path, empty })
        }
        "write" | "writev" | "pwrite64" if file.is_some() => {
            let mut bytes = texts().concat();
            bytes.truncate(call.result.parse().unwrap());
            let at = (call.name == "pwrite64").then(|| last_number(&call.text));
            Some(Deed::Write { path: file?, at, bytes })
        }
        "write" | "writev" | "sendto" | "sendmsg" => {
            let seqs: Vec<u64> = numbers(&call.text, "id: ").collect();
            (!seqs.is_empty()).then_some(Deed::Shown { seqs })
        }
        // The reserve: as many bytes as are named last.
        "ftruncate" | "fallocate" => {
            Some(Deed::Cut { path: file?, length: last_number(&call.text) })
        }
        "truncate" => Some(Deed::Cut { path: named(0)?, length: last_number(&call.text) }),
        "fsync" | "fdatasync" => Some(Deed::Sync { path: file? }),
        "rename" | "renameat" | "renameat2" => {
            Some(Deed::Rename { from: named(0)?, to: named(1)? })
        }
        "unlink" | "unlinkat" | "rmdir" => Some(Deed::Remove { path: named(0)? }),
        "mkdir" | "mkdirat" => Some(Deed::Folder { path: named(0)? }),
        // Starts the writing and promises nothing (sync_file_range(2), "Warning").
        "sync_file_range" => None,
        "mmap" => {
            let maps = call.text.contains("MAP_SHARED") && call.text.contains("PROT_WRITE");
            let ours = call.text.contains(&format!("<{}/data", root.display()));
            assert!(!(maps && ours), "written without a call: {call:?}");
            None
        }
        other => {
            let ours = call.text.contains(&format!("{}/data", root.display()));
            assert!(!ours, "the test does not know what `{other}` does to a disk: {call:?}");
            None
        }
    }
}

/// The number behind the last comma.
fn last_number(text: &str) -> usize {
    let text = text.rsplit_once(") = ").map_or(text, |(args, _)| args);
    let text = text.split(" <unfinished").next().unwrap();
    text.rsplit(", ").next().unwrap().trim_end_matches(')').trim().parse().unwrap()
}

/// All texts between quotes, with their C escapes undone. One that was cut short is an error of
/// the test.
fn strings(text: &str) -> Vec<Vec<u8>> {
    let bytes = text.as_bytes();
    let (mut all, mut at) = (Vec::new(), 0);
    while at < bytes.len() {
        if bytes[at] != b'"' {
            at += 1;
            continue;
        }
        at += 1;
        let mut one = Vec::new();
        while bytes[at] != b'"' {
            at += unescape(&bytes[at..], &mut one);
        }
        at += 1;
        assert!(!bytes[at..].starts_with(b"..."), "a call was recorded without all its bytes");
        all.push(one);
    }
    all
}

/// Takes one character of a C string; how many bytes it was written with.
fn unescape(text: &[u8], out: &mut Vec<u8>) -> usize {
    if text[0] != b'\\' {
        out.push(text[0]);
        return 1;
    }
    let plain = [(b'n', b'\n'), (b't', b'\t'), (b'r', b'\r'), (b'v', 11), (b'f', 12)];
    if let Some((_, byte)) = plain.iter().find(|(letter, _)| *letter == text[1]) {
        out.push(*byte);
        return 2;
    }
    let digits = text[1..].iter().take(3).take_while(|b| (b'0'..=b'7').contains(b)).count();
    if digits == 0 {
        out.push(text[1]);
        return 2;
    }
    let octal = std::str::from_utf8(&text[1..=digits]).unwrap();
    out.push(u8::try_from(u32::from_str_radix(octal, 8).unwrap()).unwrap());
    1 + digits
}
