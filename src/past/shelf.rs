//! Where the records of a data folder lie.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::books::place::{self, IDLE, INSPECTIONS, OPEN, STATION};
use crate::books::{Folder, OnShelf, Shelf};

/// A data folder to be read. What is none is not made into one.
///
/// # Errors
/// It is none, or can't be opened: a sentence.
pub(crate) fn folder(path: &Path) -> Result<Folder, String> {
    let refused = |why: &str| format!("{}: {why}", path.display());
    let books = [OPEN, INSPECTIONS, STATION, IDLE];
    if !books.iter().any(|name| path.join(name).is_dir()) {
        return Err(refused("no data folder is here\n  next: name the one that holds `station`"));
    }
    Folder::open(path).map_err(|error| refused(&error.to_string()))
}

/// All records of a data folder, in the order of their names.
///
/// # Errors
/// A folder can't be listed: a sentence.
pub(crate) fn records(path: &Path) -> Result<Vec<OnShelf>, String> {
    let shelf = Shelf::new(Arc::new(folder(path)?));
    shelf.inspections().map_err(|halted| halted.to_string())
}

/// The file of a record, and whether it is in work: it may have been sealed since it was listed.
pub(crate) fn place_of(folder: &Path, record: &OnShelf) -> (PathBuf, bool) {
    let open = folder.join(format!("{OPEN}/{}.jsonl", record.id));
    if !record.sealed && open.is_file() {
        return (open, true);
    }
    let sealed = place::sealed_path(&record.id).expect("its name was read when it was listed");
    (folder.join(sealed), false)
}
