//! What earlier inspections of an asset came to, for the one that was just opened. Their books are
//! read beside the station's work: it waits for none of it, and what comes too late compares
//! nothing.

use std::path::Path;
use std::sync::Arc;
use std::thread;

use tapline_protocols::Fact;
use tapline_protocols::fact::Opened;
use tokio::sync::mpsc;

use super::indexer::Indexer;
use super::shared::Shared;
use crate::books::{Books, OnShelf, Shelf, place};
use crate::clock;
use crate::past;
use crate::past::earlier::{AFTER_REPAIR, Before, newest};
use crate::station::event::{Event, Stored};

/// Newest records of all assets among which they are sought while the index can't name those of
/// one: some seconds of a cold disk.
const SOUGHT_MAX: usize = 50_000;

/// Reads them where a line opens an inspection.
pub(super) fn read(
    books: &Books,
    shared: &Arc<Shared>,
    (folder, line): (&Path, &Stored),
    to: &mpsc::Sender<Event>,
) {
    let Fact::Open(open) = &line.fact else { return };
    let Some(opened) = open.inspection.clone() else { return };
    let (id, folder, shelf, to) = (open.id.clone(), folder.to_owned(), books.shelf(), to.clone());
    let shared = shared.clone();
    let work = move || {
        let before = of_asset(&shelf, &folder, &opened, shared.indexer.get());
        let Before { mut list, failed } = before;
        if opened.reason == AFTER_REPAIR {
            // It begins a new reference.
            list.clear();
        }
        if !list.is_empty() || failed.is_some() {
            // The engine may have stopped; then nothing is compared.
            let _ = to.blocking_send(Event::Earlier { at: clock::now(), id, list, failed });
        }
    };
    let thread = thread::Builder::new().name("earlier".into());
    if let Err(error) = thread.spawn(work) {
        tracing::warn!(%error, "Earlier values are not compared.");
    }
}

/// The index names them, if it has every line that was stored before; else all records are passed
/// over, the newest first.
fn of_asset(shelf: &Shelf, folder: &Path, opened: &Opened, index: Option<&Indexer>) -> Before {
    let read = |record: &OnShelf| past::read(folder, record, Some(&opened.asset));
    if let Some(named) = index.and_then(|index| named(index, folder, &opened.asset)) {
        return newest(named.iter().rev(), read);
    }
    match shelf.inspections() {
        Ok(records) => newest(records.iter().rev().take(SOUGHT_MAX), read),
        Err(halted) => {
            tracing::warn!(%halted, "Earlier values are not compared.");
            Before::default()
        }
    }
}

/// Closed inspections of an asset in the order of their names.
fn named(index: &Indexer, folder: &Path, asset: &str) -> Option<Vec<OnShelf>> {
    if !index.is_level() {
        return None;
    }
    let ids = index.ask(|index| index.closed_of(asset)).ok()?;
    let sealed = |id: &str| place::sealed_path(id).is_some_and(|path| folder.join(path).is_file());
    let mut all: Vec<OnShelf> =
        ids.into_iter().map(|id| OnShelf { sealed: sealed(&id), id }).collect();
    all.sort();
    Some(all)
}
