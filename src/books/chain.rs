//! Addenda hang on what they add to: each names the head of the inspection and the head of the book
//! before it, so that none can be taken away, put in another's place or put in between unseen.

use std::io;
use std::path::{Path, PathBuf};

use tapline_protocols::fact::AddendumFact;

use super::place::{join, split};

/// An addendum names these books: the inspection, and the one before it, each with its head.
///
/// # Errors
/// It names others, or none: a sentence.
pub fn follows(
    named: Option<&AddendumFact>,
    (of, head): (&str, &str),
    (before, before_head): (&str, &str),
) -> Result<(), String> {
    let Some(named) = named else { return Err("it does not say what it adds to".into()) };
    if named.of != of {
        return Err(format!("it adds to {}, and lies beside {of}", named.of));
    }
    if named.head != head {
        return Err(format!("it adds to another {of} than the one that lies there"));
    }
    if named.follows != before {
        return Err(format!("it follows {}, and lies behind {before}", named.follows));
    }
    match named.follows_head == before_head {
        true => Ok(()),
        false => Err(format!("it follows another {before} than the one that lies there")),
    }
}

/// Numbers of the addenda of an inspection that lie beside its file, or beside one of them, in
/// order.
///
/// # Errors
/// The folder can't be listed.
pub fn beside(file: &Path) -> io::Result<Vec<u32>> {
    let stem = stem(file);
    let inspection = split(&stem).0;
    let folder = file.parent().unwrap_or(Path::new("")).join(".");
    let mut numbers = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let name = entry?.file_name();
        let name = name.to_string_lossy();
        let Some(name) = name.strip_suffix(".jsonl") else { continue };
        let (of, number) = split(name);
        if of == inspection && number > 0 && name == join(of, number) {
            numbers.push(number);
        }
    }
    numbers.sort_unstable();
    Ok(numbers)
}

/// The file of an addendum, or of the inspection itself (0), beside one of them.
#[must_use]
pub fn sibling(file: &Path, number: u32) -> PathBuf {
    let stem = stem(file);
    file.with_file_name(format!("{}.jsonl", join(split(&stem).0, number)))
}

fn stem(file: &Path) -> String {
    file.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default()
}
